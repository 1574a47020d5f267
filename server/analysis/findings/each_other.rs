//! Two hand controls that set each other off: one finding in place of what each shows by itself.

use super::coupling::name;
use super::words::{count_of, edges_word, span};
use super::{CAUTION, Finding, Severity};
use crate::analysis::coupling::Attribution;
use crate::analysis::coupling::joined::each_other::{EachOther, Way};
use crate::analysis::stats::intervals::{CONFIDENCE, clopper_pearson};
use crate::analysis::stats::power::clean_opportunities;
use crate::analysis::strays::{LimitOrigin, Strays};
use crate::model::Capture;

/// Topics under which strays of a single line are told while nobody is sure to strike it.
const OF_ONE: [&str; 3] = ["inseparable", "stray", "uncaptured-cause"];

/// Puts a finding on each pair that sets each other off in place of the warnings on either line's strays.
pub(super) fn join(
    capture: &Capture,
    strays: &Strays,
    attribution: &Attribution,
    findings: &mut Vec<Finding>,
) {
    for pair in &attribution.each_other {
        let lines = pair.ways.each_ref().map(|way| name(capture, way.victim));
        let is_of_pair = |f: &Finding| {
            f.severity == Severity::Warning
                && OF_ONE.contains(&f.topic)
                && f.lines.first().is_some_and(|first| lines.contains(first))
        };
        findings.retain(|f| !is_of_pair(f));
        findings.push(finding(capture, strays, pair));
    }
}

fn finding(capture: &Capture, strays: &Strays, pair: &EachOther) -> Finding {
    let [a, b] = pair.ways.each_ref().map(|way| name(capture, way.victim));
    let time = |ticks: i64| span(&capture.timebase, ticks as f64);
    let [one, other] = &pair.ways;
    let title = format!(
        "{a} and {b} set each other off: {} of {} stray pulses of {a} come {} after {b} {}, {} of {} of {b} {} after {a} {}",
        one.dips,
        one.of,
        time(one.lags[1]),
        edges_word(one.edge),
        other.dips,
        other.of,
        time(other.lags[1]),
        edges_word(other.edge),
    );
    let way = |way: &Way| {
        let (victim, other) = (name(capture, way.victim), name(capture, way.other));
        format!(
            "{} of {victim}'s {}, {} to {} wide, begin {} to {} after one of {other}'s {} {}.",
            way.dips,
            count_of(way.of, &format!("stray {} pulse", way.level.word())),
            time(way.widths[0]),
            time(way.widths[1]),
            time(way.lags[0]),
            time(way.lags[2]),
            way.edges,
            edges_word(way.edge),
        )
    };
    let mut detail = format!(
        "{} {} That it goes both ways points to what the two share: a return or 0 V wire that is open, loose or thin, so that what the \
         one draws as it switches pulls the other, or the supply of their pull-ups. Wires that run side by side do it as well, and so \
         would a line without a probe that switches with both.",
        way(one),
        way(other)
    );
    if let Some(third) = pair.also {
        detail += &format!(
            " {} switches before as many of both: hold it still to see whether it is that line.",
            name(capture, third)
        );
    }
    let proof = pair.ways.each_ref().map(|way| {
        let (low, _) = clopper_pearson(way.dips.min(way.edges), way.edges, CONFIDENCE);
        clean_opportunities(low.max(1e-6), CONFIDENCE)
    });
    let proof = match proof {
        [Some(of_one), Some(of_other)] => format!(
            ": {of_one} clean {} of {b} and {of_other} clean {} of {a} would settle it",
            edges_word(one.edge),
            edges_word(other.edge)
        ),
        _ => String::new(),
    };
    let inferred = pair
        .ways
        .iter()
        .filter(|way| strays.limits[way.victim].origin == LimitOrigin::Inferred);
    let least = inferred.map(|way| way.widths[0]).min();
    let meant = least.map(|least| {
        format!(
            "If such short pulses are meant, they are no strays: say narrow_below = \"{}\" for {a} and {b} in the setup.",
            span(&capture.timebase, least as f64 / 2.0)
        )
    });
    let mut try_next = vec![
        format!(
            "First what they share: with the power off meter from the 0 V of the panel or plug that {a} and {b} come from to the 0 V \
             pin of the board that reads them, and wiggle the connector; an open ground shows there. Then give the two a second \
             ground wire, or each a return of its own, and repeat{proof}."
        ),
        format!(
            "If they stay: lead the wires of {a} and {b} apart, each with its own return beside it, and repeat; a stronger pull-up \
             at what reads them helps either way."
        ),
    ];
    try_next.extend(meant);
    try_next.push(CAUTION.to_owned());
    Finding {
        severity: Severity::Warning,
        topic: "uncaptured-cause",
        title,
        detail,
        try_next,
        lines: vec![a, b],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::strays::NarrowLimit;
    use crate::model::{Level, Line, Polarity, Ticks, TimeSpan};

    #[test]
    fn a_pair_is_told_once_in_place_of_what_each_line_shows() {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000));
        let line = |name: &str| Line::digital(name, Level::High, vec![], span);
        let capture = Capture::in_nanoseconds("panel", span, ["PLAY_N", "STOP_N", "RUN"].map(line).to_vec());
        let way = |victim: usize, other: usize| Way {
            victim,
            other,
            level: Level::Low,
            edge: Polarity::Fall,
            dips: 25 + victim as u64,
            of: 27,
            edges: 75,
            lags: [150, 200, 250],
            widths: [950, 1_400],
        };
        let attribution = Attribution {
            each_other: vec![EachOther {
                ways: [way(0, 1), way(1, 0)],
                also: Some(2),
            }],
            ..Attribution::default()
        };
        let said = |severity: Severity, topic: &'static str, lines: &[&str]| Finding {
            severity,
            topic,
            lines: lines.iter().map(|l| (*l).to_owned()).collect(),
            title: String::new(),
            detail: String::new(),
            try_next: Vec::new(),
        };
        let mut findings = vec![
            said(Severity::Warning, "uncaptured-cause", &["PLAY_N", "STOP_N"]),
            said(Severity::Warning, "inseparable", &["STOP_N", "RUN"]),
            said(Severity::Warning, "stray", &["RUN"]),
            said(Severity::Note, "stray", &["STOP_N"]),
        ];
        let told = |origin: LimitOrigin, findings: &mut Vec<Finding>| {
            let limit = NarrowLimit {
                low: Some(5_000.0),
                high: None,
                origin,
            };
            let strays = Strays {
                limits: vec![limit; 3],
                ..Strays::default()
            };
            join(&capture, &strays, &attribution, findings);
            findings.pop().expect("the pair")
        };
        let pair = told(LimitOrigin::Inferred, &mut findings);
        assert_eq!(findings.len(), 2, "{findings:?}");
        assert_eq!(
            pair.title,
            "PLAY_N and STOP_N set each other off: 25 of 27 stray pulses of PLAY_N come 200 ns after STOP_N falls, 26 of 27 of \
             STOP_N 200 ns after PLAY_N falls"
        );
        assert_eq!(pair.lines, ["PLAY_N", "STOP_N"]);
        assert!(
            pair.detail.contains("RUN switches before as many of both"),
            "{}",
            pair.detail
        );
        assert!(
            pair.try_next[0].contains("second ground wire"),
            "{:?}",
            pair.try_next
        );
        assert!(
            pair.try_next[2].contains("narrow_below = \"475 ns\""),
            "{:?}",
            pair.try_next
        );
        assert_eq!(told(LimitOrigin::Setup, &mut findings).try_next.len(), 3);
    }
}
