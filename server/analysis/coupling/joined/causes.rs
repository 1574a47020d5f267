//! Causes of strays that attribution left out, once it is known who strikes.

use std::collections::{BTreeMap, BTreeSet};

use crate::analysis::coupling::fit::twice::Second;
use crate::analysis::coupling::suspects::able::{OwnEdges, first_from};
use crate::analysis::coupling::suspects::places::{Place, Places};
use crate::analysis::coupling::suspects::victims;
use crate::analysis::coupling::{Attribution, Cause, Coupling, Edge, Standing};
use crate::analysis::strays::{Stray, StrayKind, Strays};
use crate::model::{Capture, Level, Polarity};

/// Second strays of edges that strike twice are put down to who strikes, or noted as those of a line about which a doubt is left. Cost:
/// couplings for each.
pub fn explain_the_seconds(seconds: &[Second], strays: &Strays, attribution: &mut Attribution) {
    for second in seconds {
        let (victim, suspect) = (strays.strays[second.stray].line, second.suspect);
        let is_its = |c: &Coupling| {
            c.victim == victim
                && c.aggressor == suspect.line
                && [Edge::Both, suspect.polarity.into()].contains(&c.edge)
        };
        let Some(coupling) = attribution.couplings.iter().position(is_its) else {
            continue;
        };
        attribution.again.push(second.stray);
        match attribution.couplings[coupling].standing {
            Standing::Clear => {
                attribution.causes[second.stray] = Some(Cause {
                    coupling,
                    polarity: suspect.polarity,
                    lag: second.lag,
                });
            }
            _ => attribution.beside.push(second.stray),
        }
    }
}

/// Strays beside an edge of the victim's own say nothing about who did it; once that is known they are put down to
/// the same edges, where the lag fits that of the others. Those that fit a line about which a doubt is left are noted as that.
/// Cost: log of the edges for each stray without a cause and each coupling.
pub fn explain_the_rest(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    attribution: &mut Attribution,
) {
    let victims: BTreeSet<usize> = attribution.couplings.iter().map(|c| c.victim).collect();
    let places: BTreeMap<usize, Places> = victims
        .into_iter()
        .map(|line| {
            let guard = victims::guard_of(strays, line);
            (line, Places::of(&capture.lines[line], strays, line, guard))
        })
        .collect();
    let ranges: Vec<[Option<(i64, i64)>; 2]> = attribution.couplings.iter().map(lags_of).collect();
    let told: BTreeSet<usize> = attribution.again.iter().copied().collect();
    let in_doubt: BTreeSet<usize> = of_doubtful(attribution).collect();
    for (at, stray) in strays.strays.iter().enumerate() {
        let Some(places) = places.get(&stray.line) else {
            continue;
        };
        if attribution.causes[at].is_some() || told.contains(&at) || stray.kind == StrayKind::Bounce {
            continue;
        }
        let place = places.at(stray);
        if place == Place::Again {
            // What brought the first of its event brought this one.
            let is_before = |s: &&Stray| s.edge == stray.edge.map(|edge| edge - 2);
            let Some(before) = strays.strays[..at]
                .iter()
                .rev()
                .take_while(|s| s.line == stray.line)
                .position(|s| is_before(&s))
            else {
                continue;
            };
            let before = at - 1 - before;
            let later = stray.start.0 - strays.strays[before].start.0;
            let cause = attribution.causes[before];
            // But for another accused line whose own lag it keeps.
            let others = attribution.couplings.iter().zip(&ranges).enumerate();
            let anothers = others
                .filter(|(other, (c, _))| {
                    let is_the_same = cause.is_some_and(|cause| cause.coupling == *other);
                    !is_the_same && c.victim == stray.line && c.standing == Standing::Clear
                })
                .find_map(|(coupling, (c, lags))| {
                    let strike = follows_alike(c, lags, stray.level, stray.start.0, &edges[c.aggressor])?;
                    Some(Cause { coupling, ..strike })
                });
            if anothers.is_some() && cause.is_some() {
                attribution.causes[at] = anothers;
                continue;
            }
            attribution.causes[at] = cause.map(|cause| Cause {
                lag: cause.lag + later,
                ..cause
            });
            attribution.again.push(at);
            if in_doubt.contains(&before) || attribution.beside.contains(&before) {
                attribution.beside.push(at);
            }
            continue;
        }
        let apart = place == Place::Apart;
        let of_line = attribution.couplings.iter().zip(&ranges).enumerate();
        let fits = of_line
            .filter(|(_, (c, _))| c.victim == stray.line && (!apart || c.standing == Standing::Clear))
            .find_map(|(coupling, (c, lags))| {
                let strike = like_the_others(c, lags, stray, apart, &edges[c.aggressor])?;
                Some(Cause { coupling, ..strike })
            });
        let Some(cause) = fits else { continue };
        match attribution.couplings[cause.coupling].standing {
            Standing::Clear => attribution.causes[at] = Some(cause),
            _ => attribution.beside.push(at),
        }
    }
    attribution.beside.sort_unstable();
    attribution.again.sort_unstable();
    attribution.again.dedup();
}

/// Strays of the couplings that are no accusation.
fn of_doubtful(attribution: &Attribution) -> impl Iterator<Item = usize> + '_ {
    let doubtful = attribution
        .couplings
        .iter()
        .filter(|c| c.standing != Standing::Clear);
    doubtful.flat_map(|c| c.occurrences.iter().map(|o| o.stray))
}

/// Least and greatest lag, in ticks, of a coupling's strikes by rises and by falls.
fn lags_of(c: &Coupling) -> [Option<(i64, i64)>; 2] {
    [Polarity::Rise, Polarity::Fall].map(|polarity| {
        let strikes = c.occurrences.iter().filter(|o| o.polarity == polarity);
        let lags = strikes.map(|o| o.lag);
        Some((lags.clone().min()?, lags.max()?))
    })
}

/// The strike of a coupling that a stray is, if it is one like the others. One that is not `apart` from the edges of the
/// line's own may be the level after it as well.
fn like_the_others(
    c: &Coupling,
    lags: &[Option<(i64, i64)>; 2],
    stray: &Stray,
    apart: bool,
    edges: &OwnEdges,
) -> Option<Cause> {
    let here = follows_alike(c, lags, stray.level, stray.start.0, edges);
    if here.is_some() || apart {
        return here;
    }
    let end = stray.start.0 + stray.width.0;
    follows_alike(c, lags, stray.level.inverted(), end, edges)
}

/// The edge of a coupling's aggressor that a stray of `level` starting at `start` follows as its strikes do.
fn follows_alike(
    c: &Coupling,
    lags: &[Option<(i64, i64)>; 2],
    level: Level,
    start: i64,
    edges: &OwnEdges,
) -> Option<Cause> {
    if !c.levels.contains(&level) {
        return None;
    }
    let polarities = [Polarity::Rise, Polarity::Fall];
    polarities.into_iter().zip(lags).find_map(|(polarity, lags)| {
        let (least, most) = (*lags)?;
        let edge = first_from(edges.of(polarity), start - most)?;
        (edge <= start - least).then_some(Cause {
            coupling: 0,
            polarity,
            lag: start - edge,
        })
    })
}
