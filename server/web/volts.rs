//! Volts of an analog line for a window: its samples where there are few, else the smallest and the largest in each
//! pixel column, from the pyramid of the samples.

use crate::model::{Ticks, Trace, TraceSamples};

use super::window::boundary;

/// Samples are given one by one while a pixel column has no more than this many.
const MOST_A_COLUMN: usize = 2;

/// What is drawn of a trace over a window.
#[derive(Clone, Debug, PartialEq)]
pub enum Volts {
    /// Samples: ticks from the window's start, and volts. One beyond either end where there is one.
    Points(Vec<[f64; 2]>),
    /// Smallest and largest of each column, with its neighbours' nearest samples, so that columns join; NaN where
    /// there is none.
    Envelope(Vec<[f32; 2]>),
}

/// The window `start..end` of a trace in `columns` pixel columns. Cost: O(columns · log n) for uniform samples,
/// linear in the changes inside for steps.
pub fn volts(trace: &Trace, start: Ticks, end: Ticks, columns: usize) -> Volts {
    let samples = Samples(&trace.samples);
    let from = samples.rank(start.0).saturating_sub(1);
    let to = (samples.rank(end.0) + 1).min(samples.len());
    if to.saturating_sub(from) <= MOST_A_COLUMN * columns {
        let point = |i| [(samples.time(i) - start.0) as f64, samples.value(i)];
        let mut points: Vec<[f64; 2]> = (from..to).map(point).collect();
        if let TraceSamples::Steps { .. } = trace.samples {
            points = steps(&points);
        }
        return Volts::Points(points);
    }
    let column = |column| {
        let first = samples.rank(boundary(start, end, columns, column).0);
        let last = samples.rank(boundary(start, end, columns, column + 1).0);
        if last == 0 || first == samples.len() {
            return [f32::NAN; 2];
        }
        samples.extremes(first.saturating_sub(1), (last + 1).min(samples.len()))
    };
    Volts::Envelope((0..columns).map(column).collect())
}

/// The smallest and the largest volts of all; `None` without any.
pub fn range(trace: &Trace) -> Option<[f32; 2]> {
    let samples = Samples(&trace.samples);
    Some(samples.extremes(0, samples.len())).filter(|pair| pair[0] <= pair[1])
}

/// A value that holds up to the next: its corners.
fn steps(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let corners = points
        .windows(2)
        .flat_map(|pair| [pair[0], [pair[1][0], pair[0][1]]]);
    corners.chain(points.last().copied()).collect()
}

struct Samples<'a>(&'a TraceSamples);

impl Samples<'_> {
    fn len(&self) -> usize {
        match self.0 {
            TraceSamples::Uniform { volts, .. } => (**volts).as_ref().len(),
            TraceSamples::Steps { times, .. } => times.len(),
        }
    }

    fn time(&self, index: usize) -> i64 {
        match self.0 {
            TraceSamples::Uniform { start, step, .. } => start + index as i64 * step,
            TraceSamples::Steps { times, .. } => times[index],
        }
    }

    fn value(&self, index: usize) -> f64 {
        match self.0 {
            TraceSamples::Uniform { volts, .. } => f64::from((**volts).as_ref()[index]),
            TraceSamples::Steps { values, .. } => values[index],
        }
    }

    /// Samples before `time`.
    fn rank(&self, time: i64) -> usize {
        match self.0 {
            TraceSamples::Uniform { start, step, .. } => {
                let ahead = time.saturating_sub(*start).max(0);
                let step = (*step).max(1);
                usize::try_from(ahead / step + i64::from(ahead % step != 0))
                    .unwrap_or(usize::MAX)
                    .min(self.len())
            }
            TraceSamples::Steps { times, .. } => times.partition_point(|&t| t < time),
        }
    }

    fn extremes(&self, from: usize, to: usize) -> [f32; 2] {
        let mut found = [f32::NAN; 2];
        match self.0 {
            TraceSamples::Uniform { volts, pyramid, .. } => {
                let base = |i: usize| [(**volts).as_ref()[i]; 2];
                let above = |level: usize, i: usize| (*pyramid[level]).as_ref()[i];
                climb(from, to, pyramid.len(), &base, &above, &mut found);
            }
            TraceSamples::Steps { values, .. } => {
                for &value in &values[from..to.max(from)] {
                    widen(&mut found, [value as f32; 2]);
                }
            }
        }
        found
    }
}

/// Takes in samples `from..to` by the largest whole runs of the pyramid.
fn climb(
    mut from: usize,
    mut to: usize,
    levels: usize,
    base: &dyn Fn(usize) -> [f32; 2],
    above: &dyn Fn(usize, usize) -> [f32; 2],
    found: &mut [f32; 2],
) {
    const RUN: usize = TraceSamples::PYRAMID;
    let mut level = 0;
    loop {
        let pair = |i: usize| if level == 0 { base(i) } else { above(level - 1, i) };
        if level == levels || to.saturating_sub(from) < 2 * RUN {
            (from..to).for_each(|i| widen(found, pair(i)));
            return;
        }
        while !from.is_multiple_of(RUN) {
            widen(found, pair(from));
            from += 1;
        }
        while !to.is_multiple_of(RUN) {
            to -= 1;
            widen(found, pair(to));
        }
        (from, to, level) = (from / RUN, to / RUN, level + 1);
    }
}

/// NaN is left out.
fn widen(found: &mut [f32; 2], pair: [f32; 2]) {
    *found = [found[0].min(pair[0]), found[1].max(pair[1])];
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Thresholds;
    use proptest::prelude::*;
    use std::sync::Arc;

    /// A trace with its pyramid, built plainly.
    fn trace(volts: Vec<f32>, start: i64, step: i64) -> Trace {
        let mut levels: Vec<crate::model::PyramidLevel> = Vec::new();
        let mut below: Vec<[f32; 2]> = volts.iter().map(|&v| [v; 2]).collect();
        while below.len() > 1 || levels.is_empty() {
            below = below
                .chunks(TraceSamples::PYRAMID)
                .map(|run| {
                    let mut pair = [f32::NAN; 2];
                    run.iter().for_each(|&p| widen(&mut pair, p));
                    pair
                })
                .collect();
            levels.push(Arc::new(below.clone()));
        }
        Trace {
            thresholds: Thresholds {
                low_v: 0.8,
                high_v: 2.0,
            },
            family: "ttl-5v".to_owned(),
            declared: true,
            samples: TraceSamples::Uniform {
                start,
                step,
                volts: Arc::new(volts),
                pyramid: Arc::new(levels),
            },
        }
    }

    #[test]
    fn few_samples_are_given_one_by_one() {
        let trace = trace(vec![0.0, 1.0, 2.0, 3.0, 4.0], 10, 10);
        let Volts::Points(points) = volts(&trace, Ticks(25), Ticks(40), 10) else {
            panic!("five samples in ten columns");
        };
        assert_eq!(points, [[-5.0, 1.0], [5.0, 2.0], [15.0, 3.0]]);
        assert_eq!(range(&trace), Some([0.0, 4.0]));
    }

    #[test]
    fn columns_outside_of_the_samples_are_empty() {
        let trace = trace((0..1000).map(|i| (i % 7) as f32).collect(), 0, 1);
        let Volts::Envelope(pairs) = volts(&trace, Ticks(-1000), Ticks(2000), 30) else {
            panic!("a thousand samples in thirty columns");
        };
        assert!(
            pairs[..10]
                .iter()
                .chain(&pairs[20..])
                .all(|pair| pair[0].is_nan())
        );
        assert!(pairs[10..20].iter().all(|pair| *pair == [0.0, 6.0]));
    }

    #[test]
    fn a_value_that_holds_has_corners() {
        assert_eq!(
            steps(&[[0.0, 5.0], [10.0, 3.0]]),
            [[0.0, 5.0], [10.0, 5.0], [10.0, 3.0]]
        );
    }

    proptest! {
        #[test]
        fn the_pyramid_says_what_the_samples_say(
            volts in proptest::collection::vec(prop_oneof![9 => -5.0f32..5.0, 1 => Just(f32::NAN)], 1..3000),
            a in 0.0..1.0f64, b in 0.0..1.0f64,
        ) {
            let n = volts.len();
            let at = |share: f64| (share * n as f64) as usize;
            let (from, to) = (at(a.min(b)), at(a.max(b)));
            let mut plain = [f32::NAN; 2];
            volts[from..to].iter().for_each(|&v| widen(&mut plain, [v; 2]));
            let trace = trace(volts, 0, 4);
            let found = Samples(&trace.samples).extremes(from, to);
            prop_assert_eq!(found.map(f32::to_bits), plain.map(f32::to_bits));
        }
    }
}
