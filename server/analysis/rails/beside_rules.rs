//! Rules that are broken while a captured supply is outside its limits: then the supply comes before the part.
//!
//! That a rule is broken in dips says little where it is looked at in dips only (a latch around the edge whose load makes them):
//! the occasions that kept it are the measure, or the dips' depth.

use super::{AGAINST_DIPS, Excursion, RailResult};
use crate::analysis::findings::Finding;
use crate::analysis::rules::edges::Edges;
use crate::analysis::rules::{RuleResult, Violation};
use crate::analysis::stats::order::middle;
use crate::analysis::stats::ranks::rank_sum_lower;
use crate::analysis::stats::tails::binomial_upper;
use crate::model::units::{engineering, p_is, percent};
use crate::model::{Capture, Ticks};
use crate::rule::{Demand, EdgeOf, Limit, Rail, Rule};

/// Violations that say something, the share of them inside excursions, and the chance at or below which that is none.
const FEWEST: usize = 5;
const MOST: f64 = 0.8;
const CHANCE: f64 = 1e-6;
/// The chance at or below which it is the deep dips that violations fall into.
const CHANCE_OF_DEPTH: f64 = 1e-3;
/// Occasions that kept the rule, from which its chance to be looked at in a dip is taken; else the time is the measure alone.
const FEWEST_KEPT: usize = 5;

/// What speaks for the supply.
#[derive(Clone, Debug, PartialEq)]
struct Beside {
    inside: usize,
    of: usize,
    /// Share of the time, or of the occasions that kept the rule, that is inside excursions; and the chance of so many.
    share: f64,
    chance: f64,
    depth: Option<Depth>,
}

/// The dips that hold a violation and the others: how many, and to how many volts (from zero) the middle one of them goes.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Depth {
    with: (usize, f64),
    without: (usize, f64),
    chance: f64,
}

/// Adds to the finding of each broken rule that (nearly) all of its violations fall while a supply is outside its limits, where that
/// is no chance, and lets that lead what to try. `rules` and their results: as many; supplies and theirs as well. Cost: edges of
/// the rule's lines × log of the excursions, for each supply.
pub fn tell(
    capture: &Capture,
    (rules, results): (&[Rule], &[RuleResult]),
    (supplies, rails): (&[Rail], &[RailResult]),
    findings: &mut [Finding],
) {
    for (rule, result) in rules.iter().zip(results).filter(|(_, r)| r.tally.broken > 0) {
        let begins = format!("Rule \"{}\".", rule.name);
        let Some(finding) = findings.iter_mut().find(|f| f.detail.starts_with(&begins)) else {
            continue;
        };
        let found = supplies.iter().zip(rails).find_map(|(rail, supply)| {
            // A supply's own limits in volts are no rule of this kind, but its line may stand in one.
            let is_its_own = result
                .lines
                .iter()
                .any(|&line| capture.lines[line].name == rail.line);
            let beside = beside(capture, rule, result, supply).filter(|_| !is_its_own)?;
            Some((&rail.line, beside))
        });
        if let Some((supply, beside)) = found {
            finding.title = format!(
                "{}; {supply} is outside its limits then",
                finding.title.trim_end_matches('.')
            );
            finding.detail.push_str(&words(supply, &beside));
            finding.try_next.insert(
                0,
                format!(
                    "See to {supply} first, as its own finding says: {AGAINST_DIPS}, then repeat. What is below is for what is left."
                ),
            );
        }
    }
}

fn words(supply: &str, beside: &Beside) -> String {
    let mut text = format!(
        " {} of {} violations fall while {supply} is outside its limits",
        beside.inside, beside.of
    );
    if beside.chance <= CHANCE {
        text += &format!(
            ", as {} of what kept the rule, or of the time, does ({})",
            percent(beside.share),
            p_is(beside.chance)
        );
    }
    if let Some(depth) = beside.depth {
        text += &format!(
            ", and into its deeper dips: the {} that hold one go down to {} (the middle one), the {} others to {} ({} by their ranks)",
            depth.with.0,
            engineering(depth.with.1, "V"),
            depth.without.0,
            engineering(depth.without.1, "V"),
            p_is(depth.chance)
        );
    }
    text + ": a part whose supply sags forgets or shows what its logic never gave."
}

/// What speaks for this supply, where enough does.
fn beside(capture: &Capture, rule: &Rule, result: &RuleResult, supply: &RailResult) -> Option<Beside> {
    let violations = &result.tally.violations;
    let excursions = &supply.excursions;
    let held: Vec<usize> = violations
        .iter()
        .filter_map(|v| holding(excursions, v.at))
        .collect();
    let (inside, of) = (held.len(), violations.len());
    if of < FEWEST || (inside as f64) < MOST * of as f64 {
        return None;
    }
    let covered: i64 = excursions.iter().map(|e| (e.end - e.start).0 + 1).sum();
    let whole = (capture.span.end - capture.span.start).0.max(1);
    let in_time = (covered as f64 / whole as f64).min(1.0);
    let share = in_time.max(share_of_kept(capture, rule, result, excursions).unwrap_or(0.0));
    let chance = binomial_upper(inside as u64, of as u64, share);
    let depth = depth(excursions, &held).filter(|depth| depth.chance <= CHANCE_OF_DEPTH);
    (chance <= CHANCE || depth.is_some()).then_some(Beside {
        inside,
        of,
        share,
        chance,
        depth,
    })
}

/// The excursion that holds a moment, by position.
fn holding(excursions: &[Excursion], at: Ticks) -> Option<usize> {
    let position = excursions.partition_point(|e| e.end < at);
    let excursion = excursions.get(position)?;
    (excursion.start <= at).then_some(position)
}

/// Of the occasions that kept the rule the share that falls into excursions, as long after them as violations come; `None` where
/// they are few.
fn share_of_kept(
    capture: &Capture,
    rule: &Rule,
    result: &RuleResult,
    excursions: &[Excursion],
) -> Option<f64> {
    let violations = &result.tally.violations;
    let mut lags: Vec<i64> = violations.iter().map(|v| (v.at - v.start).0.max(0)).collect();
    lags.sort_unstable();
    let lag = middle(&lags).unwrap_or(0);
    let is_kept = |at: &Ticks| !is_in(violations, *at);
    let occasions: Vec<Ticks> = match strobe(rule) {
        Some(edge) => {
            let line = &capture.lines[capture.line_index(&edge.line)?];
            Edges::of(line, edge.polarity).iter().filter(is_kept).collect()
        }
        None => {
            let lines = result.lines.iter().map(|&line| &capture.lines[line]);
            let edges = lines.flat_map(|line| line.edges.iter().copied());
            edges.filter(is_kept).collect()
        }
    };
    if occasions.len() < FEWEST_KEPT {
        return None;
    }
    let is_inside = |at: &&Ticks| holding(excursions, Ticks(at.0 + lag)).is_some();
    let inside = occasions.iter().filter(is_inside).count();
    Some(inside as f64 / occasions.len() as f64)
}

/// Whether a moment lies in the evidence of a violation; these ascend by their starts.
fn is_in(violations: &[Violation], at: Ticks) -> bool {
    let before = violations.partition_point(|v| v.start <= at);
    // One that began earlier may last longer; a few are looked at.
    let near = &violations[before.saturating_sub(4)..before];
    near.iter().any(|v| at <= v.end)
}

/// The edge at which the rule is looked at, where it has one.
fn strobe(rule: &Rule) -> Option<&EdgeOf> {
    match &rule.demand {
        Demand::Limit(limit) => match limit {
            Limit::Setup { strobe, .. }
            | Limit::Hold { strobe, .. }
            | Limit::Recovery { strobe, .. }
            | Limit::Stay { strobe, .. } => Some(strobe),
            Limit::Answer { from, .. } | Limit::Delay { from, .. } => Some(from),
            Limit::Period { of, .. } => Some(of),
            Limit::PulseWidth { .. } | Limit::Exclusive { .. } => None,
        },
        Demand::Sequence(sequence) => Some(&sequence.strobe),
        Demand::Logic(_) | Demand::Latch(_) => None,
    }
}

/// Whether the dips that hold a violation (positions, some perhaps more than once) are deeper than the others.
fn depth(excursions: &[Excursion], held: &[usize]) -> Option<Depth> {
    let (mut with, mut without) = (Vec::new(), Vec::new());
    for (i, dip) in excursions.iter().enumerate().filter(|(_, e)| e.is_dip) {
        // A dip is deeper the nearer to zero it goes; to the microvolt.
        let volts = (dip.extreme_v.abs() * 1e6).round() as i64;
        match held.contains(&i) {
            true => with.push(volts),
            false => without.push(volts),
        }
    }
    let chance = rank_sum_lower(&with, &without)?;
    let half = |volts: &mut Vec<i64>| {
        volts.sort_unstable();
        Some((volts.len(), middle(volts)? as f64 * 1e-6))
    };
    Some(Depth {
        with: half(&mut with)?,
        without: half(&mut without)?,
        chance,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::rules::check_one;
    use crate::model::{Level, Line, TimeSpan};
    use crate::setup::Setup;

    const STAY: &str = "[[limit]]\nkind = \"stay\"\nline = \"MUTE\"\nlevel = \"high\"\nstrobe = \"LIFT\"\nedge = \"rise\"\nafter = \"2 us\"\n";

    /// LIFT rises every 20 µs, 39 times; MUTE goes low 1 µs after it where `forgets` says so.
    fn capture(forgets: impl Fn(i64) -> bool) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000_000));
        let line = |name: &str, first: Level, edges: Vec<i64>| {
            Line::digital(name, first, edges.into_iter().map(Ticks).collect(), span)
        };
        let at = |n: i64| 20_000 * n;
        let lift = (1..40).flat_map(|n| [at(n), at(n) + 5_000]).collect();
        let mute = (1..40)
            .filter(|n| forgets(*n))
            .flat_map(|n| [at(n) + 1_000, at(n) + 9_000])
            .collect();
        let lines = vec![line("LIFT", Level::Low, lift), line("MUTE", Level::High, mute)];
        Capture::in_nanoseconds("sagging", span, lines)
    }

    /// A dip 500 ns after each rise of LIFT of which `depth` says to what it goes.
    fn dips(depth: impl Fn(i64) -> Option<f64>) -> RailResult {
        let dip = |n: i64| {
            Some(Excursion {
                start: Ticks(20_000 * n + 500),
                end: Ticks(20_000 * n + 4_000),
                extreme_v: depth(n)?,
                is_dip: true,
            })
        };
        RailResult {
            excursions: (1..40).filter_map(dip).collect(),
            ..RailResult::default()
        }
    }

    fn told(capture: &Capture, supply: &RailResult) -> Option<Beside> {
        let rules = Setup::parse(STAY, "s.toml").unwrap().rules;
        let result = check_one(capture, &rules[0]);
        assert!(result.tally.broken > 0);
        beside(capture, &rules[0], &result, supply)
    }

    #[test]
    fn violations_in_deep_dips_are_the_supply_s() {
        let forgetful = capture(|n| n % 3 == 0);
        let told_of = told(
            &forgetful,
            &dips(|n| Some(if n % 3 == 0 { 3.5 } else { 4.2 + 0.001 * n as f64 })),
        );
        let beside = told_of.unwrap();
        let depth = beside.depth.unwrap();
        assert_eq!((beside.inside, beside.of), (13, 13));
        assert_eq!((depth.with, depth.without.0), ((13, 3.5), 26));
        assert!((depth.without.1 - 4.22).abs() < 2e-3, "{depth:?}");
        // scipy.stats.mannwhitneyu(alternative="less", method="asymptotic"), SciPy 1.17.1.
        assert!(
            (depth.chance / 1.5679414807e-07 - 1.0).abs() < 1e-6,
            "{}",
            depth.chance
        );
        // The rule is looked at in dips only: that they are dips says nothing.
        assert_eq!(beside.chance, 1.0);
    }

    #[test]
    fn violations_in_dips_like_the_others_are_not() {
        let forgetful = capture(|n| n % 3 == 0);
        assert_eq!(
            told(&forgetful, &dips(|n| Some(4.0 + 0.01 * ((7 * n) % 10) as f64))),
            None
        );
    }

    #[test]
    fn violations_in_dips_that_come_only_then_are_the_supply_s() {
        let forgetful = capture(|n| n % 3 == 0);
        let beside = told(&forgetful, &dips(|n| (n % 3 == 0).then_some(4.0))).unwrap();
        assert_eq!((beside.inside, beside.of, beside.depth), (13, 13, None));
        assert!(beside.chance <= CHANCE, "{}", beside.chance);
        // Too few to say.
        let seldom = capture(|n| n % 10 == 0);
        assert_eq!(told(&seldom, &dips(|n| (n % 10 == 0).then_some(4.0))), None);
        // Beside the dips.
        assert_eq!(told(&forgetful, &dips(|n| (n % 3 == 1).then_some(4.0))), None);
    }
}
