//! What becomes of crowds: strays that another line's edges bring, a part's job, or a question that stays open.

use super::apart;
use super::crowd_parts;
use super::crowds::{Crowd, FEWEST, MOST, Unsure, are_all, may_follow};
use super::part_signs::{are_ended, goes_with_rest, is_own};
use super::scatter::scatter_like_strays;
use crate::analysis::coupling::in_volts::heights;
use crate::analysis::coupling::{Attribution, Coupling, CouplingOptions, Edge, attribute};
use crate::analysis::strays::{self, LimitOrigin, NarrowLimit, Stray, StrayOptions, Strays};
use crate::model::{Capture, Level};

/// What strikes leaves some edges out; what is answered this often may be answered on purpose.
const EVERY: f64 = 0.95;

/// What became of the crowds: limits to find strays with, by line, and crowds that stay open.
#[derive(Debug, Default)]
pub struct Settled {
    pub limits: Vec<(usize, NarrowLimit)>,
    pub unsure: Vec<Unsure>,
}

/// Tries the crowds as strays and keeps those that another line's edges bring. `strays`: what was found without them. Cost:
/// that of finding and attributing once more, if some line's edges precede a crowd.
pub fn settle(
    capture: &Capture,
    strays: &Strays,
    crowds: Vec<Crowd>,
    options: &StrayOptions,
    coupling: &CouplingOptions,
) -> Settled {
    let mut settled = Settled::default();
    let (tried, alone): (Vec<Crowd>, Vec<Crowd>) = crowds.into_iter().partition(|c| may_follow(capture, c));
    settled.unsure.extend(alone.into_iter().filter_map(without_cause));
    if tried.is_empty() {
        return settled;
    }
    let mut as_strays = options.clone();
    for crowd in tried.iter().filter(|c| !c.is_part) {
        let limit = limit_with(strays, &as_strays, crowd, crowd.limit);
        as_strays.taken_over.insert(crowd.line, limit);
    }
    // What is known of the other lines stays.
    for (line, limit) in strays.limits.iter().enumerate() {
        as_strays.taken_over.entry(line).or_insert(*limit);
    }
    let mut tentative = strays::find(capture, &as_strays);
    // Nobody else's strays are asked about.
    tentative
        .strays
        .retain(|s| tried.iter().any(|c| c.line == s.line));
    let attribution = attribute(capture, &tentative, coupling);
    let mut taken = StrayOptions::default();
    let (parts, tried): (Vec<Crowd>, Vec<Crowd>) = tried.into_iter().partition(|c| c.is_part);
    for crowd in tried {
        match look_at(capture, &tentative, &attribution, &crowd) {
            Look::Strays(limit) => {
                let limit = limit_with(strays, &taken, &crowd, limit);
                taken.taken_over.insert(crowd.line, limit);
            }
            Look::Open(line, edge, followers, of) => settled.unsure.push(Unsure {
                whole: false,
                crowd,
                follows: Some((line, edge, followers, of)),
            }),
            Look::Unexplained => settled.unsure.extend(without_cause(crowd)),
            Look::Driven => {}
        }
    }
    crowd_parts::settle(capture, &tentative, parts, coupling, &mut settled.unsure);
    settled.limits = taken.taken_over.into_iter().collect();
    settled
}

/// A crowd that follows nobody is worth a word where it is most of what its level consists of, and scatters or is too short
/// for a job.
fn without_cause(crowd: Crowd) -> Option<Unsure> {
    ((crowd.scatters || crowd.is_useless) && 2 * crowd.pulses >= crowd.of).then_some(Unsure {
        crowd,
        follows: None,
        whole: false,
    })
}

/// The line's limits with that of the crowd's level.
fn limit_with(strays: &Strays, options: &StrayOptions, crowd: &Crowd, limit: f64) -> NarrowLimit {
    let known = options
        .taken_over
        .get(&crowd.line)
        .unwrap_or(&strays.limits[crowd.line]);
    let mut limits = NarrowLimit {
        origin: LimitOrigin::Inferred,
        ..*known
    };
    match crowd.level {
        Level::Low => limits.low = Some(limit),
        _ => limits.high = Some(limit),
    }
    limits
}

enum Look {
    /// With the limit that takes in what follows.
    Strays(f64),
    /// The line and edge it follows, how many do, and the edges that could have brought one.
    Open(usize, Edge, u64, u64),
    Unexplained,
    Driven,
}

fn look_at(capture: &Capture, strays: &Strays, attribution: &Attribution, crowd: &Crowd) -> Look {
    let rows = attribution.couplings.iter();
    let rows: Vec<&Coupling> = rows
        .filter(|c| c.victim == crowd.line && c.levels.contains(&crowd.level))
        .collect();
    let Some(first) = rows.iter().max_by_key(|row| row.strays) else {
        return Look::Unexplained;
    };
    let mut followers: Vec<&Stray> = rows
        .iter()
        .flat_map(|row| &row.occurrences)
        .map(|o| &strays.strays[o.stray])
        .filter(|s| s.level == crowd.level)
        .collect();
    followers.sort_by_key(|s| s.start);
    followers.dedup_by_key(|s| s.start);
    let fewest = if crowd.is_apart { apart::FEWEST } else { FEWEST };
    if followers.len() < fewest || (followers.len() as f64) < MOST * crowd.pulses as f64 {
        return Look::Unexplained;
    }
    let mut widths: Vec<i64> = followers.iter().map(|s| s.width.0).collect();
    widths.sort_unstable();
    let every = rows.iter().any(|row| row.strike_rate.high >= EVERY);
    let is_all = are_all(crowd.pulses, crowd.of);
    let scatters =
        crowd.is_apart || scatter_like_strays(capture, &widths, strays.sampling[crowd.line], is_all);
    let is_answer = every && !scatters;
    let longest = widths[widths.len() - 1] as f64;
    let all = (1.2 * longest).min(crowd.limit).max(longest + 0.5);
    if heights::are_partial(capture, crowd.line, crowd.level, followers.iter().copied()) {
        return Look::Strays(all);
    }
    if is_answer || are_ended(capture, crowd, &followers) || is_own(capture, crowd, first) {
        return Look::Driven;
    }
    if every || !scatters || is_all && goes_with_rest(capture, strays, crowd, first) {
        let of_level = first.occurrences.iter();
        let of_level = of_level.filter(|o| strays.strays[o.stray].level == crowd.level);
        let count = of_level.count() as u64;
        return Look::Open(first.aggressor, first.edge, count, first.opportunities);
    }
    if let Some(limit) = crowd_parts::below_own(capture, strays, crowd, &rows) {
        return Look::Strays(limit);
    }
    Look::Strays(all)
}
