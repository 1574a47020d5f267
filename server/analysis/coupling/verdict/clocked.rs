//! Strays that begin as the victim's own long pulses of that level do: at the same edges of the accused, at the same lag.
//!
//! What begins a line's long pulses clocks the part that drives it, and a part may send short pulses as well as long ones: an
//! acknowledge of two widths, a monostable's. `legitimate::own` takes those that are long enough to be read for the line's job; of
//! shorter ones nothing in the record tells, so the person is asked. A coupling from that clock comes at a time of its own, mostly
//! sooner than the part answers. A register that holds from one edge of its clock to the next cuts no pulse short
//! (`legitimate::register`), so there the accusation stands; and the person's `narrow_below` has the last word.

use super::one_lag::rank_sum;
use super::races::{Race, Sign};
use crate::analysis::coupling::fit::rows::edges_of;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::legitimate::register;
use crate::analysis::coupling::suspects::able::{self, OwnEdges, first_from};
use crate::analysis::coupling::{Coupling, Edge};
use crate::analysis::stats::tails::binomial_upper;
use crate::analysis::strays::{LimitOrigin, Strays};
use crate::model::{Capture, Level, Polarity};

/// Fewer long pulses show nothing.
const FEWEST: usize = 6;
/// Share of the long pulses that must begin so.
const MOST: f64 = 0.75;
/// Chance at or below which so many do.
const CHANCE: f64 = 1e-6;
/// Chance at or below which lags of strays and of long pulses are two.
const DIFFER: f64 = 0.01;

/// What shows of one victim level's rows that the part which drives it may send its strays, if the first that brings most of them looks
/// so. Cost: linear in the victim's own edges, the rows' edges and strikes, × log of the accused's edges.
pub fn find(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    victim: &Victim,
    rows: &[Coupling],
) -> Option<Race> {
    let limits = &strays.limits[victim.line];
    let limit = limits
        .of(victim.level)
        .filter(|_| limits.origin == LimitOrigin::Inferred)?;
    let most = rows.iter().max_by_key(|row| row.strays)?;
    if 2 * most.strays < victim.times.len() as u64 {
        return None;
    }
    let sign = sign(capture, strays, edges, victim, most)?;
    (!register::is_cut_short(capture, strays, most, victim.level, limit)).then(|| Race {
        sign,
        lines: vec![most.aggressor],
        edge: Some(most.edge),
        in_step: false,
    })
}

fn sign(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    victim: &Victim,
    row: &Coupling,
) -> Option<Sign> {
    let begins = match victim.level {
        Level::High => Polarity::Rise,
        _ => Polarity::Fall,
    };
    let (own, times) = (edges[victim.line].of(begins), edges_of(edges, row));
    if own.len() < FEWEST || row.edge == Edge::Both {
        return None;
    }
    let lags = || row.occurrences.iter().map(|o| o.lag);
    let (least, greatest) = (lags().min()?, lags().max()?);
    let slack = victim.unit.max(strays.sampling[row.aggressor]).ceil() as i64;
    let (lo, hi) = (least - slack, greatest + slack);
    let lag = |&start: &i64| {
        let edge = first_from(times, start - hi)?;
        (edge <= start - lo).then_some((start - edge) as f64)
    };
    let of_long: Vec<f64> = own.iter().filter_map(lag).collect();
    let span = (capture.span.end.0 - capture.span.start.0).max(1) as f64;
    let covered = able::covered(times, std::slice::from_ref(&(0..times.len())), lo, hi) / span;
    let (so, of) = (of_long.len() as u64, own.len() as u64);
    if (so as f64) < MOST * of as f64 || binomial_upper(so, of, covered.min(1.0)) > CHANCE {
        return None;
    }
    let of_strays: Vec<f64> = lags().map(|lag| lag as f64).collect();
    let mean = |lags: &[f64]| lags.iter().sum::<f64>() / lags.len() as f64;
    if std::env::var("CLOCKED_DEBUG").is_ok() {
        let w = |v: &[f64]| { let m = mean(v); (v.iter().map(|x| (x-m).powi(2)).sum::<f64>()/v.len() as f64).sqrt() };
        let unit = 1e9/capture.timebase.ticks_of(1.0);
        let mut widths: Vec<i64> = row.occurrences.iter().map(|o| strays.strays[o.stray].width.0).collect();
        widths.sort_unstable();
        eprintln!("CLOCKED {} by {}: {so}/{of} cov {covered:.3} strays {} lag {:.1}±{:.1} own {:.1}±{:.1} unit {:.1} p {:.2e} w {:.0}..{:.0} cut {}", capture.lines[row.victim].name, capture.lines[row.aggressor].name, of_strays.len(), mean(&of_strays)*unit, w(&of_strays)*unit, mean(&of_long)*unit, w(&of_long)*unit, victim.unit*unit, rank_sum(&of_strays,&of_long), widths[widths.len()/4] as f64*unit, widths[widths.len()*3/4] as f64*unit,
          register::is_cut_short(capture, strays, row, victim.level, strays.limits[victim.line].of(victim.level).unwrap()));
    }
    (rank_sum(&of_strays, &of_long) > DIFFER).then(|| Sign::Clocked {
        own: so,
        of,
        lags: [mean(&of_strays), mean(&of_long)],
    })
}
