//! One alignment from several shared lines: the most convincing line leads, the others add their edges.

use super::fit::fit_line;
use super::grow::{Growth, grow};
use super::{Alignment, Edges, Error, LEAST_EDGES, Matched, align_upright, candidates};

/// Least share of another line's edges that must follow the leading line for them to count.
const FOLLOWS: f64 = 0.5;

/// Aligns B to A by the edges of several lines in each: one line that tells the clocks by itself is enough, and
/// regular ones then add to its precision. Cost: that of [`super::align`] for each line.
///
/// # Errors
/// That of the line which came closest, when no line tells the clocks by itself.
pub fn align_several(lines: &[(Edges, Edges)]) -> Result<Alignment, Error> {
    let mut lead: Option<(usize, bool, Growth)> = None;
    let mut failed: Option<Error> = None;
    for (index, (a, b)) in lines.iter().enumerate() {
        match grown(a, b) {
            Ok((inverted, growth)) => {
                if lead.as_ref().is_none_or(|l| growth.matched() > l.2.matched()) {
                    lead = Some((index, inverted, growth));
                }
            }
            // An ambiguous line says more than one that shares nothing.
            Err(error) if failed.is_none() || matches!(error, Error::Ambiguous { .. }) => {
                failed = Some(error)
            }
            Err(_) => {}
        }
    }
    let Some((leading, inverted, growth)) = lead else {
        return Err(failed.unwrap_or(Error::NothingShared { matched: 0 }));
    };
    let (a, b) = &lines[leading];
    let alone = Alignment {
        inverted,
        ..growth.finish(a, b)
    };
    let mut points: Vec<(f64, f64)> = Vec::new();
    let mut matched = Matched {
        pairs: 0,
        unmatched_a: 0,
        unmatched_b: 0,
    };
    for (index, (x, y)) in lines.iter().enumerate() {
        let found = if index == leading {
            Some(growth.clone())
        } else {
            following(x, y, &alone)
        };
        let Some(found) = found else { continue };
        let counts = found.counts();
        matched.pairs += counts.pairs;
        matched.unmatched_a += counts.unmatched_a;
        matched.unmatched_b += counts.unmatched_b;
        let (shift_a, shift_b) = (x.origin_s - a.origin_s, y.origin_s - b.origin_s);
        points.extend(found.pairs.iter().map(|p| {
            let (at_a, at_b) = (x.times[p.0 as usize] + shift_a, y.times[p.1 as usize] + shift_b);
            (at_b, at_a - at_b)
        }));
    }
    if matched.pairs == growth.matched() {
        return Ok(alone);
    }
    points.sort_unstable_by(|p, q| p.0.total_cmp(&q.0));
    let (x, y): (Vec<f64>, Vec<f64>) = points.into_iter().unzip();
    let fit = fit_line(&x, &y);
    Ok(Alignment {
        inverted,
        ..Alignment::of_line(&fit, a, b, matched)
    })
}

/// The alignment of one line by itself, upright or upside down.
pub(super) fn grown(a: &Edges, b: &Edges) -> Result<(bool, Growth), Error> {
    for (which, edges) in [("the first capture", a), ("the second capture", b)] {
        if edges.times.len() < LEAST_EDGES {
            return Err(Error::TooFewEdges {
                which,
                edges: edges.times.len(),
                least: LEAST_EDGES,
            });
        }
    }
    match align_upright(a, b) {
        Ok(growth) => Ok((false, growth)),
        Err(Error::NothingShared { matched }) => {
            // A buffer between the two probes may turn the line over.
            let turned = align_upright(a, &b.inverted());
            turned
                .map(|growth| (true, growth))
                .map_err(|_| Error::NothingShared { matched })
        }
        Err(error) => Err(error),
    }
}

/// The edges of another line that lie where the leading one puts them.
fn following(a: &Edges, b: &Edges, lead: &Alignment) -> Option<Growth> {
    if a.times.len() < LEAST_EDGES || b.times.len() < LEAST_EDGES {
        return None;
    }
    let in_b = |at: f64| (at + a.origin_s - lead.offset_s) / (1.0 + lead.drift_ppm * 1e-6) - b.origin_s;
    let (from, to) = (b.times[0], b.times[b.times.len() - 1]);
    let first = a.times.partition_point(|&t| in_b(t) < from);
    let end = a.times.partition_point(|&t| in_b(t) <= to);
    let part = candidates::blocks(end.checked_sub(first).filter(|&n| n >= 3)?, 1)
        .into_iter()
        .next()?;
    let block = first + part.start..first + part.end;
    let at = 0.5 * (a.times[block.start] + a.times[block.end - 1]);
    let candidate = candidates::Candidate {
        block,
        at,
        offset: at - in_b(at),
        reach: 2.0 * (a.sample_s + b.sample_s) + 4e-9,
    };
    let upright = grow(a, b, &candidate);
    let best = match upright.filter(|g| g.share() >= FOLLOWS) {
        Some(growth) => growth,
        None => grow(a, &b.inverted(), &candidate).filter(|g| g.share() >= FOLLOWS)?,
    };
    // It must have stayed with the leading line to the ends, not slid off to a period of its own.
    let strays = |at: f64| (best.offset_at(at) - (at - in_b(at))).abs() > 4.0 * best.tolerance;
    (!strays(a.times[best.overlap_a.start]) && !strays(a.times[best.overlap_a.end - 1])).then_some(best)
}
