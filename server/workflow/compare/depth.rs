//! How deep a rail goes before and after: a rank test beside the one of how often.

use super::says::as_much;
use crate::analysis::stats::normal::normal_quantile;
use crate::analysis::stats::order::middle;
use crate::analysis::stats::ranks::{mann_whitney, shift_interval};
use crate::model::units::{engineering, p_is};
use crate::report::compare::{DepthRow, DepthSideRow, Tallies, Trouble, TroubleKind};

/// Level of the test: 5 %, parted between how often and how deep (Bonferroni).
const ALPHA: f64 = 0.025;
/// A middle depth that changes less than by a twentieth is no change worth the name (no source: about what eight bits over 10 V
/// tell of a dip of 1 V).
const WORTH_THE_NAME: f64 = 0.95;

/// "120 mV deeper", "40 mV less deep".
fn by(deeper_v: f64) -> String {
    match deeper_v {
        deeper if deeper > 0.0 => format!("{} deeper", engineering(deeper, "V")),
        less => format!("{} less deep", engineering(-less, "V")),
    }
}

/// What is told of the depth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Change {
    Shallower,
    Deeper,
    Unclear,
}

/// How deep a rail goes on one side. Volts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Side {
    measured: u64,
    median_v: f64,
    deepest_v: f64,
}

/// How deep a rail goes on both sides, compared.
#[derive(Clone, Debug, PartialEq)]
pub struct Depth {
    at_edges: bool,
    before: Side,
    after: Side,
    p_value: Option<f64>,
    /// By how much it may go deeper after, in volts, from and to, at the same level.
    deeper_by_v: Option<(f64, f64)>,
    pub(super) change: Change,
}

/// Values of a side of which all differences are taken, at most.
const MOST_PAIRED: usize = 400;
/// Nobody captures so many times as much.
const MOST_TIMES: f64 = 100.0;

impl Depth {
    /// Compares how deep the rail of `trouble` goes in the runs `before` and `after`; `None` of another trouble, and where a
    /// side has nothing to measure.
    pub(super) fn of(
        tallies: &Tallies,
        trouble: &Trouble,
        before: &[usize],
        after: &[usize],
    ) -> Option<Depth> {
        if trouble.kind != TroubleKind::Rail {
            return None;
        }
        let all = tallies.depths.iter().find(|all| all.rail == trouble.lines[0])?;
        let sign = all.nominal_v.signum();
        // Towards zero is down, on a negative rail too.
        let depths = |runs: &[usize]| -> Vec<f64> {
            let values = runs.iter().filter_map(|&run| all.lowest_v.get(run)).flatten();
            let mut depths: Vec<f64> = values.map(|volts| all.nominal_v.abs() - volts * sign).collect();
            depths.sort_by(f64::total_cmp);
            depths
        };
        let (before, after) = (depths(before), depths(after));
        let side = |depths: &[f64]| {
            let volts = |depth: f64| (all.nominal_v.abs() - depth) * sign;
            Some(Side {
                measured: depths.len() as u64,
                median_v: volts(middle(depths)?),
                deepest_v: volts(*depths.last()?),
            })
        };
        let p_value = mann_whitney(&before, &after);
        let (was, is) = (middle(&before)?, middle(&after)?);
        let change = match p_value {
            Some(p) if p < ALPHA && is < WORTH_THE_NAME * was => Change::Shallower,
            Some(p) if p < ALPHA && was < WORTH_THE_NAME * is => Change::Deeper,
            _ => Change::Unclear,
        };
        let few = |depths: &[f64]| -> Vec<f64> {
            let step = depths.len().div_ceil(MOST_PAIRED).max(1);
            depths.iter().copied().step_by(step).collect()
        };
        Some(Depth {
            at_edges: all.at_edges,
            deeper_by_v: shift_interval(&few(&before), &few(&after), 1.0 - ALPHA),
            before: side(&before)?,
            after: side(&after)?,
            p_value,
            change,
        })
    }

    /// What is said of it, in a sentence with a space before it.
    pub(super) fn says(&self) -> String {
        let volts = |value: f64| engineering(value, "V");
        let change = match (self.change, self.deeper_by_v) {
            (Change::Shallower, _) => "less deep".to_owned(),
            (Change::Deeper, _) => "deeper".to_owned(),
            (Change::Unclear, Some((from, to))) => format!(
                "no difference is shown; after it may go anywhere from {} to {}{}",
                by(from),
                by(to),
                self.as_much()
            ),
            (Change::Unclear, None) => "no difference is shown".to_owned(),
        };
        let test = match self.p_value {
            // A p below the usual 5 % must not look forgotten.
            Some(p) if p >= ALPHA => format!(
                "rank test, {}; less than {ALPHA} is asked for, as how often and how deep are both tested",
                p_is(p)
            ),
            Some(p) => format!("rank test, {}", p_is(p)),
            None => "too few for a test, which takes nine on either side".to_owned(),
        };
        format!(
            " How deep: half of the {} bring it to {} or lower before, {} after; the deepest {} and {}: {change} ({test}).",
            if self.at_edges { "edges" } else { "dips" },
            volts(self.before.median_v),
            volts(self.after.median_v),
            volts(self.before.deepest_v),
            volts(self.after.deepest_v)
        )
    }

    /// How many times as much would tell, if the depths stay as they are: U's distance grows with the root of the counts.
    fn as_much(&self) -> String {
        let z = |p: f64| -normal_quantile(p / 2.0);
        let Some(p) = self.p_value.filter(|p| (ALPHA..1.0).contains(p)) else {
            return String::new();
        };
        let by = (z(ALPHA) / z(p)).powi(2);
        match by <= MOST_TIMES {
            true => format!(
                "; {} as much on both sides would tell at the depths of now",
                as_much(by)
            ),
            false => String::new(),
        }
    }

    /// The row of the report.
    pub(super) fn row(&self) -> DepthRow {
        let side = |side: &Side| DepthSideRow {
            measured: side.measured,
            median_v: side.median_v,
            deepest_v: side.deepest_v,
        };
        DepthRow {
            at_edges: self.at_edges,
            before: side(&self.before),
            after: side(&self.after),
            p_value: self.p_value,
            verdict: match self.change {
                Change::Shallower => "shallower",
                Change::Deeper => "deeper",
                Change::Unclear => "unclear",
            }
            .to_owned(),
        }
    }
}
