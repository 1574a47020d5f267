//! Causes of strays that attribution left out, once it is known who strikes.

use super::able::OwnEdges;
use super::{Attribution, Cause, Coupling, Standing};
use crate::analysis::strays::{StrayKind, Strays};
use crate::model::{Level, Polarity};

/// Strays beside an edge of the victim's own say nothing about who did it; once that is known they are put down to
/// the same edges, where the lag fits that of the others.
pub fn explain_the_rest(strays: &Strays, edges: &[OwnEdges], attribution: &mut Attribution) {
    for (at, stray) in strays.strays.iter().enumerate() {
        if attribution.causes[at].is_some() || stray.kind == StrayKind::Bounce {
            continue;
        }
        let clear = attribution.couplings.iter().enumerate();
        let fits = clear
            .filter(|(_, c)| c.standing == Standing::Clear && c.victim == stray.line)
            .find_map(|(coupling, c)| {
                let strike = lag_like_the_others(c, stray.level, stray.start.0, &edges[c.aggressor])?;
                Some(Cause { coupling, ..strike })
            });
        attribution.causes[at] = fits;
    }
}

/// The edge of a coupling's aggressor that a stray of `level` starting at `start` follows as its strikes do.
fn lag_like_the_others(c: &Coupling, level: Level, start: i64, edges: &OwnEdges) -> Option<Cause> {
    if !c.levels.contains(&level) {
        return None;
    }
    [Polarity::Rise, Polarity::Fall].into_iter().find_map(|polarity| {
        let lags = c
            .occurrences
            .iter()
            .filter(|o| o.polarity == polarity)
            .map(|o| o.lag);
        let (least, most) = (lags.clone().min()?, lags.max()?);
        let times = edges.of(polarity);
        let edge = *times.get(times.partition_point(|&t| t < start - most))?;
        (edge <= start - least).then_some(Cause {
            coupling: 0,
            polarity,
            lag: start - edge,
        })
    })
}
