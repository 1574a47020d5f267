//! Causes of strays that attribution left out, once it is known who strikes.

use std::collections::{BTreeMap, BTreeSet};

use crate::analysis::coupling::suspects::able::{OwnEdges, first_from};
use crate::analysis::coupling::suspects::victims;
use crate::analysis::coupling::{Attribution, Cause, Coupling, Standing};
use crate::analysis::strays::{Stray, StrayKind, Strays};
use crate::model::{Capture, Level, Polarity};

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
    let guards: BTreeMap<usize, i64> = victims
        .into_iter()
        .map(|line| (line, victims::guard_of(strays, line)))
        .collect();
    let ranges: Vec<[Option<(i64, i64)>; 2]> = attribution.couplings.iter().map(lags_of).collect();
    for (at, stray) in strays.strays.iter().enumerate() {
        let Some(&guard) = guards.get(&stray.line) else {
            continue;
        };
        if attribution.causes[at].is_some() || stray.kind == StrayKind::Bounce {
            continue;
        }
        let apart = victims::is_apart(&capture.lines[stray.line], stray, guard);
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
