//! Sentences about strays whose cause carries no clip, or is more than the one line that fits them.

use super::clues;
use super::coupling::{edges_of, last, lift, name, names};
use super::only_part::{comes_with_its_kind, differs, is_part, off_its_edge};
use super::races;
use super::tally::{self, Tally, beside_own};
use super::words::{count_of, list, percent};
use super::{CAUTION, Finding, Severity};
use crate::analysis::coupling::verdict::clues::Clue;
use crate::analysis::coupling::verdict::never_alone::Kind;
use crate::analysis::coupling::verdict::parts::Ground;
use crate::analysis::coupling::{Attribution, Coupling, Standing, Uncaptured};
use crate::analysis::strays::{StrayKind, Strays};
use crate::model::Capture;

/// Lines named with what they fit, at most.
const NAMED: usize = 3;

/// A cause that no probe was on.
pub fn uncaptured(capture: &Capture, strays: &Strays, attribution: &Attribution, u: &Uncaptured) -> Finding {
    let victim = name(capture, u.victim);
    let companions = match hardly_fit(attribution, u) {
        true => Vec::new(),
        false => names(capture, &u.companions),
    };
    let (all, its) = its_strays(strays, attribution, u);
    let mut detail = grounds(capture, strays, attribution, u);
    let again = tally::again(strays, attribution, u.victim);
    detail.extend(beside_own(all, u.of + again, &victim));
    detail.push(what_follows(capture, attribution, u, &companions));
    detail.extend(u.step.map(|step| races::looks_alike(capture, u.victim, step)));
    let mut lines = vec![victim.clone()];
    lines.extend(companions.iter().cloned());
    Finding {
        severity: Severity::Warning,
        topic: "uncaptured-cause",
        title: match sharing(attribution, u) {
            Some(kind) => format!(
                "{victim}: {}, a lead that it shares with {}, or a line that carries no clip causes {its}",
                name(capture, kind.line),
                list(&names(capture, &kind.company)),
            ),
            None => who_or_behind(capture, attribution, u, &its, &victim, &companions),
        },
        lines,
        detail: detail.join(" "),
        try_next: what_to_try(capture, u, &victim, &companions),
    }
}

/// "STEP fits 12 of them best (of its 40 rises)", line by line.
fn what_fits(capture: &Capture, attribution: &Attribution, u: &Uncaptured) -> Vec<String> {
    let rows = || rows_of(attribution, u);
    let mut goes: Vec<String> = rows()
        .take(NAMED)
        .map(|c| {
            format!(
                "{} fits {} of them best (of its {} {})",
                name(capture, c.aggressor),
                c.strays,
                c.opportunities,
                edges_of(c.edge)
            )
        })
        .collect();
    let others: u64 = rows().skip(NAMED).map(|c| c.strays).sum();
    if others > 0 {
        goes.push(format!("other lines {others}"));
    }
    goes
}

/// The counts that the doubt rests on, a sentence each.
fn grounds(capture: &Capture, strays: &Strays, attribution: &Attribution, u: &Uncaptured) -> Vec<String> {
    let mut detail: Vec<String> = Vec::new();
    let goes = what_fits(capture, attribution, u);
    if !goes.is_empty() {
        detail.push(format!("{}.", list(&goes)));
    }
    let pulses = strays
        .of_line(u.victim)
        .iter()
        .filter(|s| s.kind == StrayKind::Pulse);
    let mut widths: Vec<i64> = pulses.map(|s| s.width.0).collect();
    widths.sort_unstable();
    detail.extend(last(capture, &widths));
    if let Some((line, edge)) = u.both_ways {
        detail.push(format!(
            "After the same {} of {} the line is lifted where it is low and dipped where it is high; what one edge induces pulls one way.",
            edges_of(edge),
            name(capture, line)
        ));
    }
    if let Some([(lifts, falls), (dips, rises)]) = u.against {
        detail.push(format!(
            "{} of {} seem to lift it and {} of {} to dip it, each against its edge. A line without a probe that rises at the first and falls at the second would pull each way as capacitance does.",
            edges_of(falls),
            name(capture, lifts),
            edges_of(rises),
            name(capture, dips)
        ));
    }
    if let Some(together) = &u.together {
        detail.push(format!(
            "{} of the {} that fit no captured line come together with strays of {}, as the others do: what strikes both does so without any of these.",
            together.with,
            count_of(together.of, "stray pulse"),
            name(capture, together.other)
        ));
    }
    if let Some((line, edge)) = u.drifts {
        detail.push(format!(
            "Their distance to {}'s {} drifts from one stray to the next: what strikes runs on a clock of its own, nearly in step with these.",
            name(capture, line),
            edges_of(edge)
        ));
    }
    detail.extend(u.untimely.map(|untimely| off_its_edge(capture, untimely)));
    if let Some(part) = part_of(attribution, u) {
        detail.push(is_part(capture, part));
    }
    if let Some(kind) = &u.kind {
        detail.push(comes_with_its_kind(capture, kind));
    }
    if let Some(contrast) = &u.contrast {
        detail.push(differs(capture, contrast));
    }
    detail.extend(clues::told(capture, &name(capture, u.victim), &u.clues));
    if u.strays > 0 && !goes.is_empty() {
        let share = u.strays as f64 / u.of.max(1) as f64;
        detail.push(format!(
            "{} of {} ({} %) fit no captured line.",
            u.strays,
            count_of(u.of, "stray pulse"),
            percent(share)
        ));
    }
    detail
}

/// Whom that leaves.
fn what_follows(
    capture: &Capture,
    attribution: &Attribution,
    u: &Uncaptured,
    companions: &[String],
) -> String {
    let fitting = fits_all(attribution, u).len();
    match &u.kind {
        Some(kind) => format!(
            "So it may be {}, or what they share, or a line that carries no clip and switches along with them.",
            name(capture, kind.line)
        ),
        None if fitting == 1 => {
            "So either it strikes otherwise as others switch with it or against it, or a line that carries no clip strikes and switches along with them.".to_string()
        }
        None if fitting > 1 => {
            "So either they strike otherwise as others switch with them or against them (neighbours add up, and cancel), or a line that carries no clip strikes and switches along with them.".to_string()
        }
        None if companions.is_empty() && hardly_fit(attribution, u) => {
            "So the cause is more likely a line that carries no clip.".to_string()
        }
        None => "So the cause is more likely a line that carries no clip and switches along with them."
            .to_string(),
    }
}

/// What settles it, the cheapest first.
fn what_to_try(capture: &Capture, u: &Uncaptured, victim: &str, companions: &[String]) -> Vec<String> {
    let along = match companions.first() {
        Some(first) => format!("when {first} does"),
        None => "in the machine's step".to_string(),
    };
    let mut try_next = Vec::new();
    if u.step.is_some() {
        try_next.push(races::harmless(victim));
    }
    if let Some(kind) = &u.kind {
        let accused = name(capture, kind.line);
        try_next.push(format!(
            "Scope between the 0 V pin of the chip that drives {accused} and the 0 V pin of the one that reads {victim}, then likewise at their supply pins, clip on the machine's 0 V only: a spike at these moments is a lead that {accused} and {} share.",
            list(&names(capture, &kind.company))
        ));
    }
    try_next.push(format!(
        "Cheapest, move one clip: put a spare channel on a line that runs beside {victim} in its cable or connector and switches {along}, an enable, a load or an output of the same step, and repeat. Clips on the inputs of the part that drives {victim} tell whether it makes them itself."
    ));
    if let Some(first) = companions.first() {
        try_next.push(format!(
            "Else {}. If {victim} shows as many strays as before, it is not {first}, or not {first} alone (a machine that stops without {first} shows none, and proves nothing).",
            lift(first)
        ));
    }
    try_next.push(CAUTION.to_string());
    try_next
}

/// What was found for the strays that the doubt is about: rows that stand by themselves are told apart.
fn rows_of<'a>(attribution: &'a Attribution, u: &'a Uncaptured) -> impl Iterator<Item = &'a Coupling> {
    let of_victim = attribution.couplings.iter().filter(|c| c.victim == u.victim);
    of_victim.filter(|c| c.standing != Standing::Clear)
}

/// How many strays the doubt is about, and "its 12 stray pulses", or "7 of its 12 stray pulses" where some are put down to a
/// line that is judged by itself.
fn its_strays(strays: &Strays, attribution: &Attribution, u: &Uncaptured) -> (u64, String) {
    let listed = tally::listed(strays, u.victim);
    let couplings = attribution.couplings.iter().enumerate();
    let apart = couplings.filter(|(_, c)| c.victim == u.victim && c.standing == Standing::Clear);
    let apart: u64 = apart
        .map(|(at, _)| Tally::of(strays, attribution, at).put_down)
        .sum();
    let (all, pulses) = (listed.saturating_sub(apart), count_of(listed, "stray pulse"));
    match apart {
        0 => (all, format!("its {pulses}")),
        _ => (all, format!("{all} of its {pulses}")),
    }
}

/// The lines that look like a part of one without a probe.
fn part_lines(part: &Ground) -> Vec<usize> {
    match part {
        Ground::LeftOut { line, .. } | Ground::Toggled { line, .. } => vec![*line],
        Ground::TakeTurns { lines, .. } => lines.to_vec(),
    }
}

/// Whether rows of `lines` explain more than this share of the victim's strays.
fn explain(attribution: &Attribution, u: &Uncaptured, lines: &[usize], share: f64) -> bool {
    let rows = rows_of(attribution, u);
    let strikes: u64 = rows
        .filter(|c| lines.contains(&c.aggressor))
        .map(|c| c.strays)
        .sum();
    strikes as f64 > share * u.of as f64
}

/// What shows lines to be a part of one without a probe, where no other line goes along as well (then they are no more than
/// some of many) and they fit most strays.
fn part_of<'a>(attribution: &Attribution, u: &'a Uncaptured) -> Option<&'a Ground> {
    let is_all = |part: &&Ground| {
        let lines = part_lines(part);
        u.companions.iter().all(|line| lines.contains(line)) && explain(attribution, u, &lines, 0.5)
    };
    u.part.as_ref().filter(is_all)
}

/// Share of the strays below which lines that fit them hardly do: what causes the others is no company of theirs.
const HARDLY: f64 = 0.2;

/// Whether the companions fit hardly any of the strays.
fn hardly_fit(attribution: &Attribution, u: &Uncaptured) -> bool {
    !u.companions.is_empty() && !explain(attribution, u, &u.companions, HARDLY)
}

/// Share of the strays from which on a line that fits them is named beside what may hide behind it.
const ALL: f64 = 0.95;

/// The one or two lines that fit (nearly) all strays, if nothing but who switches along with them speaks against them.
fn fits_all(attribution: &Attribution, u: &Uncaptured) -> Vec<usize> {
    let rows = rows_of(attribution, u);
    let mut lines: Vec<usize> = rows.map(|c| c.aggressor).collect();
    lines.sort_unstable();
    lines.dedup();
    let speaks_else = u.untimely.is_some()
        || u.drifts.is_some()
        || u.against.is_some()
        || u.both_ways.is_some()
        || u.part.is_some()
        || u.clues.iter().any(|clue| matches!(clue, Clue::StaysStill { .. }));
    match lines.len() {
        1 | 2
            if !speaks_else
                && (lines.len() == 1 || u.kind.is_none())
                && explain(attribution, u, &lines, ALL) =>
        {
            lines
        }
        _ => Vec::new(),
    }
}

/// "CLEAR_N: no captured line seems to cause its 12 stray pulses; something that switches along with STEP does"
fn who_or_behind(
    capture: &Capture,
    attribution: &Attribution,
    u: &Uncaptured,
    its: &str,
    victim: &str,
    companions: &[String],
) -> String {
    let parts = part_of(attribution, u).map_or(Vec::new(), part_lines);
    let fitting = names(capture, &fits_all(attribution, u));
    if parts.is_empty() && !fitting.is_empty() {
        let (them, cause) = match fitting.len() {
            1 => ("it", "causes"),
            _ => ("them", "cause"),
        };
        let along = match companions.len() > fitting.len() {
            true => list(companions),
            false => them.to_owned(),
        };
        return format!(
            "{victim}: {}, or something that switches along with {along}, {cause} {its}",
            list(&fitting)
        );
    }
    match (parts.len(), companions.is_empty()) {
        (0, true) => format!("{victim}: no captured line seems to cause {its}"),
        (0, false) => format!(
            "{victim}: no captured line seems to cause {its}; something that switches along with {} does",
            list(companions)
        ),
        (many, _) => format!(
            "{victim}: {}, or a line without a probe behind {}, causes {its}",
            list(&names(capture, &parts)),
            if many > 1 { "them" } else { "it" }
        ),
    }
}

/// Who brings most of the strays, if what it does by itself does not show.
fn sharing<'a>(attribution: &Attribution, u: &'a Uncaptured) -> Option<&'a Kind> {
    let kind = u.kind.as_ref()?;
    let rows = rows_of(attribution, u);
    let strikes: u64 = rows.filter(|c| c.aggressor == kind.line).map(|c| c.strays).sum();
    (2 * strikes > u.of && part_of(attribution, u).is_none()).then_some(kind)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::verdict::never_alone::Shows;
    use crate::analysis::coupling::verdict::untimely::Untimely;
    use crate::analysis::coupling::{Edge, fixtures};
    use crate::model::{Level, Line, Polarity, Ticks, TimeSpan};

    const NAMES: [&str; 4] = ["CLEAR_N", "BEAT_2", "BEAT_1", "BEAT_0"];

    /// What is said of CLEAR_N's 20 strays, of which rows of lines explain so many.
    fn told(strikes: &[(usize, u64)], doubt: impl Fn(&mut Uncaptured)) -> Finding {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000));
        let line = |name: &str| Line::digital(name, Level::Low, vec![], span);
        let capture = Capture::in_nanoseconds("doubts", span, NAMES.map(line).to_vec());
        let mut uncaptured = Uncaptured {
            victim: 0,
            strays: 0,
            of: 20,
            companions: vec![1],
            contrast: None,
            both_ways: None,
            against: None,
            together: None,
            part: None,
            kind: None,
            untimely: None,
            drifts: None,
            clues: Vec::new(),
            step: None,
        };
        doubt(&mut uncaptured);
        let rows = strikes.iter().map(|&(line, strays)| Coupling {
            strays,
            standing: Standing::Companion,
            ..fixtures::row([0, line], Edge::Rise, 10, Vec::new(), 30)
        });
        let attribution = Attribution {
            couplings: rows.collect(),
            ..Attribution::default()
        };
        self::uncaptured(&capture, &Strays::default(), &attribution, &uncaptured)
    }

    #[test]
    fn a_lead_is_named_where_most_strays_come_with_their_kind() {
        let kind = |shows: Shows| {
            move |u: &mut Uncaptured| {
                u.kind = Some(Kind {
                    line: 1,
                    polarity: Polarity::Rise,
                    company: vec![2, 3],
                    shows,
                });
            }
        };
        let most = told(&[(1, 19), (2, 1)], kind(Shows::NeverAlone));
        let lead = "CLEAR_N: BEAT_2, a lead that it shares with BEAT_1 and BEAT_0, or a line that carries no clip causes";
        assert!(most.title.starts_with(lead), "{}", most.title);
        let why = "BEAT_2 hardly ever rises without any of BEAT_1 and BEAT_0";
        assert!(most.detail.contains(why), "{}", most.detail);
        assert!(most.try_next[0].contains("supply pins"));
        let few = told(&[(1, 4), (2, 16)], kind(Shows::MoreTogether));
        assert!(
            few.title.contains("no captured line seems to cause"),
            "{}",
            few.title
        );
        let why = "strikes oftener where more of BEAT_1 and BEAT_0 go the same way";
        assert!(few.detail.contains(why), "{}", few.detail);
    }

    #[test]
    fn a_line_is_named_for_as_many_strays_as_it_fits() {
        let toggled = |u: &mut Uncaptured| u.part = Some(Ground::Toggled { line: 1, next: None });
        let behind = "CLEAR_N: BEAT_2, or a line without a probe behind it, causes";
        let most = told(&[(1, 19)], toggled);
        assert!(most.title.starts_with(behind), "{}", most.title);
        let few = told(&[(1, 6)], toggled);
        assert!(
            few.title.contains("no captured line seems to cause"),
            "{}",
            few.title
        );
        // What fits hardly any is not said to go along with their cause.
        let hardly = told(&[(1, 3)], |_| {});
        assert!(!hardly.title.contains("switches along"), "{}", hardly.title);
        assert!(!hardly.detail.contains("switches along"), "{}", hardly.detail);
        let all = told(&[(1, 20)], |u| u.companions = vec![1, 2]);
        let along = "CLEAR_N: BEAT_2, or something that switches along with BEAT_2 and BEAT_1, causes";
        assert!(all.title.starts_with(along), "{}", all.title);
        assert!(
            all.detail.contains("So either it strikes otherwise"),
            "{}",
            all.detail
        );
        let two = told(&[(1, 12), (2, 8)], |u| u.companions = vec![1, 2]);
        let them = "CLEAR_N: BEAT_2 and BEAT_1, or something that switches along with them, cause its";
        assert!(two.title.starts_with(them), "{}", two.title);
        let some = told(&[(1, 12)], |u| u.companions = vec![1, 2]);
        assert!(
            some.title.contains("no captured line seems to cause"),
            "{}",
            some.title
        );
        let off = |lag: f64| {
            let (line, edge) = (1, Edge::Rise);
            let off = told(&[(1, 20)], |u| u.untimely = Some(Untimely { line, edge, lag }));
            assert!(
                off.title.contains("no captured line seems to cause"),
                "{}",
                off.title
            );
            off.detail
        };
        assert!(off(-9.0).contains("They begin before BEAT_2's rises"));
        assert!(
            off(61.4).contains("61.4 ns after BEAT_2's rises"),
            "{}",
            off(61.4)
        );
    }
}
