//! Lines that two instruments of one run recorded under one name, or that a person says are one: one signal, and no suspect
//! beside itself.
//!
//! Captures on one clock tell it by their edges: each edge that both could see, both show.

mod once;

use crate::model::{Capture, Line, Ticks};

pub use once::{each_once, is_whole, part_links, with_first_records, without_copies};

/// Edges of a line must match in this share: a fault that loses a pulse in twenty between two ends of one name is not taken
/// for one signal. No source.
const ALIKE: f64 = 0.95;
/// Of lines that go by two names, and are said to be one, this share: one may be the far end of the other's wire, and what
/// strikes it there now and then must not be put to rest. No source.
const SAID_ALIKE: f64 = 0.995;
/// Fewest matching edges by which captures are taken to have recorded lines together: fewer match by chance, or by a start
/// that both waited for. No source.
const FEWEST: usize = 8;
/// Where windows around the edges fill more than this share of the record, anything matches. No source.
const MOST_FILLED: f64 = 0.25;
/// A pulse narrower than so many samples of the other instrument may fall between them.
const SURE_SAMPLES: f64 = 2.0;

/// Marks each line that is the same signal as one of an earlier capture ([`Line::same_as`]), and gives that one its plain
/// name, under which captures of other conditions have it. `names`: of each line of the merged `capture`, what its file calls
/// it; `shared`: pairs of lines by which the captures were joined; `slack_s`: how well the clocks are known; `is_said`: names
/// that must stay, as a setup names them. Returns the pairs.
///
/// Cost: linear in the edges of lines of one name.
pub fn join(
    capture: &mut Capture,
    names: &[String],
    shared: &Shared,
    slack_s: f64,
    is_said: &dyn Fn(&str) -> bool,
) -> Vec<(usize, usize)> {
    let slack = capture.timebase.ticks_of(slack_s);
    let mut pairs: Vec<(usize, usize)> = shared.alike.clone();
    for &(line, twin) in &shared.otherwise {
        let edges = matching(&capture.lines[twin], &capture.lines[line], slack, SAID_ALIKE);
        let is_free = pairs.iter().all(|(copy, _)| *copy != line && *copy != twin);
        if is_free && edges.is_some_and(|edges| edges >= FEWEST) {
            pairs.push((line, twin));
        }
    }
    let mut idle = Vec::new();
    for line in 0..names.len() {
        if pairs.iter().any(|(copy, _)| *copy == line) {
            continue;
        }
        let lines = &capture.lines;
        let of_name = |&other: &usize| {
            last_part(&names[other]) == last_part(&names[line])
                && lines[other].capture < lines[line].capture
                && lines[other].same_as.is_none()
                && pairs.iter().all(|(copy, _)| *copy != other)
        };
        let Some(twin) = (0..line).find(of_name) else {
            continue;
        };
        match matching(&lines[twin], &lines[line], slack, ALIKE) {
            Some(0) => idle.push((line, twin)),
            Some(edges) if edges >= FEWEST => pairs.push((line, twin)),
            _ => {}
        }
    }
    // Two lines at rest say nothing, unless others show that the files were recorded together.
    let of = |(line, twin): &(usize, usize)| (capture.lines[*line].capture, capture.lines[*twin].capture);
    idle.retain(|pair| pairs.iter().any(|other| of(other) == of(pair)));
    pairs.extend(idle);
    pairs.sort_unstable();
    for &(line, twin) in &pairs {
        capture.lines[line].same_as = Some(twin);
        let stays = is_said(&capture.lines[twin].name) || is_said(&capture.lines[line].name);
        if !stays && names[line] == names[twin] && capture.line_index(&names[line]).is_none() {
            capture.lines[twin].name = names[line].clone();
        }
    }
    plain_names(capture, names, is_said);
    pairs
}

/// Gives a name that several captures have for one signal, which goes by another in the first of them, to the first of these
/// lines: under `STEM/LINE` no other condition, nor a setup, would know it.
fn plain_names(capture: &mut Capture, names: &[String], is_said: &dyn Fn(&str) -> bool) {
    for line in 0..names.len() {
        let name = &names[line];
        if capture.lines[line].name == *name || capture.line_index(name).is_some() {
            continue;
        }
        let of_name = || (0..names.len()).filter(|&other| names[other] == *name);
        let root = |line: usize| capture.lines[line].same_as.unwrap_or(line);
        let is_one = of_name().all(|other| root(other) == root(line));
        if is_one && !of_name().any(|other| is_said(&capture.lines[other].name)) {
            capture.lines[line].name = name.clone();
        }
    }
}

/// Pairs (line, line of an earlier capture) by which captures were brought to one clock, by position in the merged capture.
#[derive(Default)]
pub struct Shared {
    /// Called alike: one signal without a word.
    pub alike: Vec<(usize, usize)>,
    /// Called otherwise: one signal if they are alike at nearly every edge; else perhaps two ends of a wire.
    pub otherwise: Vec<(usize, usize)>,
}

/// A line's name without the scopes that a file may put before it.
pub fn last_part(name: &str) -> &str {
    name.rsplit('.').next().unwrap_or(name)
}

/// Edges that both show, where the share `alike` of those that both could see are; `None` where they differ.
fn matching(a: &Line, b: &Line, slack: f64, alike: f64) -> Option<usize> {
    let (start, end) = (a.span.start.max(b.span.start), a.span.end.min(b.span.end));
    if start >= end || a.trace.is_some() || b.trace.is_some() {
        return None;
    }
    let within = slack + a.sample_ticks + b.sample_ticks + 1.0;
    // An edge at the rim of what one recorded may be missing there.
    let rim = Ticks(within.ceil() as i64);
    let (start, end) = (Ticks(start.0 + rim.0), Ticks(end.0 - rim.0));
    let edges = |line: &Line| line.edges[line.edges_within(start, end)].to_vec();
    let (of_a, of_b) = (edges(a), edges(b));
    let most = of_a.len().max(of_b.len()) as f64;
    if most * 2.0 * within > MOST_FILLED * (end.0 - start.0).max(1) as f64 {
        return None;
    }
    let a_in_b = matched(&seen_by(&of_a, b), &of_b, rim, alike)?;
    let b_in_a = matched(&seen_by(&of_b, a), &of_a, rim, alike)?;
    match a_in_b.min(b_in_a) {
        0 if a_in_b + b_in_a > 0 || a.level_at(start) != b.level_at(start) => None,
        edges => Some(edges),
    }
}

/// Edges without those of pulses that the other instrument's samples may miss.
fn seen_by(edges: &[Ticks], other: &Line) -> Vec<Ticks> {
    let sure = SURE_SAMPLES * other.sample_ticks;
    let mut seen: Vec<Ticks> = Vec::with_capacity(edges.len());
    for &edge in edges {
        match seen.last() {
            Some(last) if ((edge.0 - last.0) as f64) < sure => {
                seen.pop();
            }
            _ => seen.push(edge),
        }
    }
    seen
}

/// How many of `edges` have one of `others` within `rim`; `None` where that is less than the share `alike` of them.
fn matched(edges: &[Ticks], others: &[Ticks], rim: Ticks, alike: f64) -> Option<usize> {
    let mut at = 0;
    let mut count = 0;
    for edge in edges {
        while others.get(at).is_some_and(|other| other.0 < edge.0 - rim.0) {
            at += 1;
        }
        count += usize::from(others.get(at).is_some_and(|other| other.0 <= edge.0 + rim.0));
    }
    (count as f64 >= alike * edges.len() as f64).then_some(count)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Level, TimeSpan};
    use crate::report::inspect::InspectReport;
    use crate::setup::Setup;
    use crate::workflow::compare::compare;
    use crate::workflow::inspect::{Question, inspect};

    const SPAN: TimeSpan = TimeSpan {
        start: Ticks(0),
        end: Ticks(10_000_000),
    };

    /// Irregular edges.
    fn edges(count: i64, salt: i64) -> Vec<i64> {
        (1..count).map(|k| k * 20_000 + k * k * salt % 9_973).collect()
    }

    fn line(name: &str, first: Level, edges: &[i64]) -> Line {
        Line::digital(name, first, edges.iter().map(|&at| Ticks(at)).collect(), SPAN)
    }

    /// Some falls of STRIKE dip CLEAR_N for some 40 ns; the carillon's tower instrument has both, and HAMMER.
    fn both(salt: i64, struck: bool) -> [Capture; 2] {
        let strike = edges(400, salt);
        // Of its own CLEAR_N goes low for 5 µs, away from the strikes.
        let mut clear: Vec<i64> = (1..90)
            .flat_map(|k| [k * 100_000 + 9_000 + k * 13 % 700, k * 100_000 + 14_000])
            .collect();
        let falls = strike.iter().skip(1).step_by(2).enumerate();
        let struck = falls.filter(|(k, _)| struck && k * 7_919 % 101 % 5 < 2);
        let dips: Vec<[i64; 2]> = struck
            .map(|(k, at)| [at + 12 + k as i64 % 2, at + 40 + k as i64 * 31 % 17])
            .filter(|[at, _]| (at % 100_000 - 11_000).abs() > 5_000)
            .collect();
        clear.extend(dips.iter().flatten());
        clear.sort_unstable();
        let lines = |late: i64, own: &str| {
            let moved = |edges: &[i64]| edges.iter().map(|at| at + late).collect::<Vec<i64>>();
            vec![
                line("STRIKE", Level::Low, &moved(&strike)),
                line("CLEAR_N", Level::High, &moved(&clear)),
                line(own, Level::Low, &moved(&edges(300, salt + 90))),
            ]
        };
        [
            Capture::in_nanoseconds("sequencer.csv", SPAN, lines(0, "BEAT")),
            Capture::in_nanoseconds("tower.csv", SPAN, lines(1, "HAMMER")),
        ]
    }

    #[test]
    fn what_two_instruments_saw_alike_is_one_suspect() {
        let setup = Setup::default();
        let align_on = Some("STRIKE");
        let setup = &setup;
        let report = inspect(both(7, true).to_vec(), &Question { setup, align_on })
            .unwrap()
            .report;
        let named: Vec<&str> = report.lines.iter().map(|row| row.line.as_str()).collect();
        assert_eq!(named[..3], ["STRIKE", "CLEAR_N", "BEAT"]);
        let found: Vec<(&str, &str)> = report
            .couplings
            .iter()
            .map(|row| (row.victim.as_str(), row.aggressor.as_str()))
            .collect();
        assert_eq!(found, [("CLEAR_N", "STRIKE")]);
    }

    /// The tower's instrument calls STRIKE by its channel: the person says that they are one.
    #[test]
    fn lines_joined_on_are_one_signal_by_whatever_names() {
        let setup = Setup::default();
        let with = |captures: &[Capture; 2], setup: &Setup| {
            let align_on = Some("STRIKE=D0 - STRIKE");
            inspect(captures.to_vec(), &Question { setup, align_on })
                .unwrap()
                .report
        };
        let mut captures = both(7, true);
        captures[1].lines[0].name = "D0 - STRIKE".to_owned();
        let report = with(&captures, &setup);
        let found: Vec<(&str, &str, &str)> = report
            .couplings
            .iter()
            .map(|row| (row.victim.as_str(), row.aggressor.as_str(), row.standing.as_str()))
            .collect();
        assert_eq!(found, [("CLEAR_N", "STRIKE", "clear")]);
        let is_of = |name: &str| name.ends_with("STRIKE");
        assert!(
            report.proposals.iter().all(|p| !is_of(&p.from) && !is_of(&p.to)),
            "{:?}",
            report.proposals
        );
        // As exports have it.
        let struck = report.strays.iter().filter(|stray| stray.line == "CLEAR_N");
        let causes: Vec<_> = struck
            .map(|s| (s.aggressor.as_deref(), s.edge.as_deref(), s.lag_s.is_some()))
            .collect();
        assert!(causes.len() > 20, "{causes:?}");
        assert!(
            causes
                .iter()
                .all(|cause| *cause == (Some("STRIKE"), Some("fall"), true)),
            "{causes:?}"
        );
        let one = "STRIKE and D0 - STRIKE are looked at as one line";
        assert!(
            report.findings.iter().any(|f| f.detail.contains(one)),
            "{:?}",
            report.findings
        );

        // The two ends of a link stay two, as do lines of which one shows more than the other.
        let link = "[[link]]\nfrom = \"STRIKE\"\nto = \"D0 - STRIKE\"\n";
        let linked = with(&captures, &Setup::parse(link, "setup.toml").unwrap());
        assert!(linked.findings.iter().all(|f| !f.detail.contains(one)));
        let words = |report: &InspectReport| -> Vec<String> {
            report.links.iter().map(|link| link.verdict.clone()).collect()
        };
        assert_eq!(words(&linked), ["intact"]);
        // But one suspect, where each shows what the other does.
        let suspects = |report: &InspectReport| -> Vec<String> {
            let rows = report.couplings.iter().filter(|row| row.victim == "CLEAR_N");
            rows.map(|row| format!("{} {}", row.aggressor, row.standing))
                .collect()
        };
        assert_eq!(suspects(&linked), ["STRIKE clear"]);
        let mut lossy = captures.clone();
        let mut far: Vec<Ticks> = lossy[1].lines[0].edges.iter().copied().collect();
        far.drain(201..203);
        lossy[1].lines[0].edges = far.into();
        let linked = with(&lossy, &Setup::parse(link, "setup.toml").unwrap());
        assert_eq!(words(&linked), ["lossy"]);
        assert_eq!(suspects(&linked), ["STRIKE inseparable"]);
        let far: Vec<Ticks> = captures[1].lines[0].edges.iter().copied().collect();
        let dip = [Ticks(far[101].0 + 5_000), Ticks(far[101].0 + 5_040)];
        let mut struck = far.clone();
        for k in (101..141).step_by(2) {
            struck.extend([Ticks(far[k].0 + 5_000), Ticks(far[k].0 + 5_040)]);
        }
        assert!(dip[1] < far[102]);
        struck.sort_unstable();
        captures[1].lines[0].edges = struck.into();
        let report = with(&captures, &setup);
        assert!(report.findings.iter().all(|f| !f.detail.contains(one)));
    }

    #[test]
    fn the_two_ends_of_a_whole_link_are_one_suspect_before_and_after() {
        let renamed = |struck: bool| {
            let mut captures = both(if struck { 7 } else { 11 }, struck);
            captures[1].lines[0].name = "D0 - STRIKE".to_owned();
            captures
        };
        let link = "[[link]]\nfrom = \"STRIKE\"\nto = \"D0 - STRIKE\"\n";
        let setup = Setup::parse(link, "setup.toml").unwrap();
        let on = &["STRIKE=D0 - STRIKE".to_owned()];
        let counted = |before: [Capture; 2]| -> Vec<(String, String, u64)> {
            let report = compare(before.to_vec(), renamed(false).to_vec(), on, &setup).unwrap();
            let rows = report.couplings.iter();
            rows.map(|row| (row.victim.clone(), row.aggressor.clone(), row.before.strays))
                .collect()
        };
        let [(victim, aggressor, strays)] = &counted(renamed(true))[..] else {
            panic!("{:?}", counted(renamed(true)));
        };
        assert_eq!((victim.as_str(), aggressor.as_str()), ("CLEAR_N", "STRIKE"));
        assert!(*strays > 20);
        // Two in one run are two in all.
        let mut lossy = renamed(true);
        let mut far: Vec<Ticks> = lossy[1].lines[0].edges.iter().copied().collect();
        far.drain(201..203);
        lossy[1].lines[0].edges = far.into();
        assert!(counted(lossy).is_empty(), "which of them can't be told");
    }

    #[test]
    fn what_two_instruments_saw_alike_is_counted_once() {
        let setup = Setup::default();
        let report = compare(both(7, true).to_vec(), both(11, false).to_vec(), &[], &setup).unwrap();
        assert_eq!(report.couplings.len(), 1, "{report:?}");
        let row = &report.couplings[0];
        let alone = compare(
            both(7, true)[..1].to_vec(),
            both(11, false)[..1].to_vec(),
            &[],
            &setup,
        )
        .unwrap();
        assert_eq!(
            (row.before, row.after),
            (alone.couplings[0].before, alone.couplings[0].after)
        );
        assert!(row.before.strays > 20, "{row:?}");
        assert!(
            report.notes.iter().any(|note| note.contains("STRIKE, CLEAR_N")),
            "{:?}",
            report.notes
        );
        // By the same clips at the same sampling it is another run.
        let [one, _] = both(7, true);
        let [mut other, _] = both(7, true);
        other.file = "again.csv".to_owned();
        let report = compare(vec![one, other], both(11, false).to_vec(), &[], &setup).unwrap();
        let twice = report.couplings[0].before.strays;
        assert_eq!(twice, 2 * alone.couplings[0].before.strays);
    }

    #[test]
    fn lines_of_one_name_that_differ_stay_two() {
        let slow = Line {
            sample_ticks: 100.0,
            ..line("A", Level::Low, &edges(100, 3))
        };
        let mut with_dip = edges(100, 3);
        with_dip.splice(50..50, [with_dip[50] - 120, with_dip[50] - 80]);
        assert!(
            matching(&slow, &line("A", Level::Low, &with_dip), 0.0, ALIKE).is_some(),
            "40 ns fall between samples"
        );
        assert_eq!(
            matching(&slow, &line("A", Level::Low, &edges(100, 5)), 0.0, ALIKE),
            None
        );
        assert_eq!(matching(&slow, &line("A", Level::Low, &[]), 0.0, ALIKE), None);
        let lost: Vec<i64> = edges(100, 3).into_iter().skip(10).collect();
        assert_eq!(
            matching(&slow, &line("A", Level::Low, &lost), 0.0, ALIKE),
            None,
            "pulses got lost between"
        );
        let quiet = |level| line("A", level, &[]);
        assert_eq!(
            matching(&quiet(Level::High), &quiet(Level::High), 0.0, ALIKE),
            Some(0)
        );
        assert_eq!(
            matching(&quiet(Level::High), &quiet(Level::Low), 0.0, ALIKE),
            None
        );
    }
}
