//! The times of a VCD: its unit, and the ticks of a capture in it.

use std::io;

use crate::model::{Capture, Ticks, Timebase};

/// How ticks become the times of the file.
pub(super) struct Grid {
    /// As `$timescale` says it.
    pub unit: String,
    exponent: i32,
    /// Units of the first moment's origin and of a tick, where whole numbers of them are.
    exact: Option<(i128, i128)>,
    /// By how many units times are later, so that none is negative.
    pub shift: i128,
}

impl Grid {
    /// The coarsest that holds the capture's ticks.
    ///
    /// # Errors
    /// The capture is too long for 64-bit times.
    pub fn of(capture: &Capture) -> io::Result<Grid> {
        const FINER: f64 = 1000.0;
        let timebase = &capture.timebase;
        let exact = (-15..=2)
            .rev()
            .find_map(|exponent| Some((exponent, whole_units(timebase, exponent)?)));
        let exponent = exact.map_or_else(
            || {
                // Ticks may be parts of a sample already, where edges lie between samples.
                let samples = capture.lines.iter().map(|line| line.sample_ticks);
                let sample = samples.filter(|ticks| *ticks > 0.0).min_by(f64::total_cmp);
                let sample_s = timebase.length_s(sample.unwrap_or(1.0).clamp(1.0, FINER));
                (sample_s / FINER).log10().floor().clamp(-15.0, 2.0) as i32
            },
            |(exponent, _)| exponent,
        );
        const UNITS: [&str; 6] = ["fs", "ps", "ns", "us", "ms", "s"];
        let steps = exponent + 15;
        let factor = 10u32.pow((steps % 3) as u32);
        let mut grid = Grid {
            unit: format!("{factor} {}", UNITS[(steps / 3) as usize]),
            exponent,
            exact: exact.map(|(_, units)| units),
            shift: 0,
        };
        let (start, end) = (
            grid.units(capture, capture.span.start),
            grid.units(capture, capture.span.end),
        );
        grid.shift = (-start).max(0);
        if end + grid.shift > i128::from(i64::MAX) {
            let message = format!("the capture is too long for a VCD in steps of {}", grid.unit);
            return Err(io::Error::new(io::ErrorKind::InvalidInput, message));
        }
        Ok(grid)
    }

    fn units(&self, capture: &Capture, time: Ticks) -> i128 {
        if let Some((origin, per_tick)) = self.exact {
            return origin + i128::from(time.0) * per_tick;
        }
        // Ticks first, so that a long capture keeps its whole ticks apart at every distance from 0.
        let per_tick = capture.timebase.tick_s() * 10f64.powi(-self.exponent);
        let origin = capture.timebase.origin_s * 10f64.powi(-self.exponent);
        (origin.round() as i128) + ((time.0 as f64) * per_tick).round() as i128
    }

    /// A moment in units, as the file says it.
    pub fn time(&self, capture: &Capture, time: Ticks) -> i128 {
        self.units(capture, time) + self.shift
    }
}

/// Origin and tick in units of `10^exponent` seconds, if both are whole numbers of them as far as the timebase says.
fn whole_units(timebase: &Timebase, exponent: i32) -> Option<(i128, i128)> {
    /// Over 10⁹ ticks this is a thousandth of one.
    const TICK_ERROR: f64 = 1e-12;
    /// An origin is a moment as a float: nearer to a whole number than this, it is meant so.
    const ORIGIN_ERROR: f64 = 1e-6;
    let in_units = |seconds: f64| match exponent {
        ..0 => seconds * 10f64.powi(-exponent),
        _ => seconds / 10f64.powi(exponent),
    };
    let tick = in_units(timebase.numerator_s) / timebase.denominator;
    let origin = in_units(timebase.origin_s);
    let is_whole = tick.round() >= 1.0
        && (tick - tick.round()).abs() <= TICK_ERROR * tick
        && (origin - origin.round()).abs() <= ORIGIN_ERROR;
    is_whole.then(|| (origin.round() as i128, tick.round() as i128))
}
