//! Rows whose times are written with too few digits: several share one time, and only their order parts them.

use crate::ingest::grid::Grid;

/// What is seen of the rows while their times are taken as written.
///
/// Samples at a steady period P, rounded to r, come in runs of one time: m rows in a run and a step s to the next time go
/// together only if s / (m + 1) ≤ P ≤ s / (m − 1). What all runs leave of P says whether the rows keep a rate; a gap longer
/// than the rounding does not fit.
#[derive(Debug)]
pub struct CoarseTimes {
    rows: i64,
    /// Rows with the time of the row before, and the first of them.
    shared: u64,
    first_shared: u64,
    /// Rows that say what the row before says, but for the time.
    repeated: u64,
    before: Vec<u8>,
    /// Time of the present run, and how many rows it has; the first run may have lost its head.
    now: Option<i64>,
    run: i64,
    is_first_run: bool,
    /// Bounds of the period that the runs leave.
    low: f64,
    high: f64,
    longest_step: i64,
    last_step: i64,
    /// What a step much longer than the one before asks of the period at least: of no account when the steps stay so long,
    /// as they do where the writer gives one digit less from some time on.
    pending: Option<f64>,
    /// Row and time where the second run began, and where the latest did.
    first: Option<(i64, i64)>,
    last: (i64, i64),
}

impl Default for CoarseTimes {
    fn default() -> CoarseTimes {
        CoarseTimes {
            rows: 0,
            shared: 0,
            first_shared: 0,
            repeated: 0,
            before: Vec::new(),
            now: None,
            run: 0,
            is_first_run: true,
            low: 0.0,
            high: f64::INFINITY,
            longest_step: 0,
            last_step: i64::MAX,
            pending: None,
            first: None,
            last: (0, 0),
        }
    }
}

impl CoarseTimes {
    /// The next row: its number in the file, its time, its cells but for the time.
    pub fn row<'c>(&mut self, number: u64, time: i64, cells: impl Iterator<Item = &'c [u8]>) {
        let mut now = std::mem::take(&mut self.before);
        let old = now.len();
        for cell in cells {
            now.extend_from_slice(cell);
            now.push(b',');
        }
        self.repeated += u64::from(self.rows > 0 && now[..old] == now[old..]);
        now.drain(..old);
        self.before = now;
        match self.now {
            Some(last) if last == time => {
                if self.shared == 0 {
                    self.first_shared = number;
                }
                self.shared += 1;
                self.run += 1;
            }
            Some(last) => self.next_run(time, time.saturating_sub(last)),
            None => (self.now, self.run) = (Some(time), 1),
        }
        self.rows += 1;
    }

    fn next_run(&mut self, time: i64, step: i64) {
        /// Times as longer a step that is another digit's.
        const DIGIT: i64 = 5;
        self.longest_step = self.longest_step.max(step);
        if !self.is_first_run {
            let (length, run) = (step as f64, self.run as f64);
            if let Some(pending) = self.pending.take()
                && step < self.last_step / 2
            {
                self.low = self.low.max(pending);
            }
            match length / (run + 1.0) {
                least if step / DIGIT >= self.last_step => self.pending = Some(least),
                least => self.low = self.low.max(least),
            }
            if run > 1.0 {
                self.high = self.high.min(length / (run - 1.0));
            }
            self.last_step = step;
        }
        self.is_first_run = false;
        self.first.get_or_insert((self.rows, time));
        self.last = (self.rows, time);
        (self.now, self.run) = (Some(time), 1);
    }

    /// Most rows repeat the one before, as samples do; rows of a change list may share a time, one for each line that changes.
    fn is_quiet(&self) -> bool {
        self.repeated * 2 > self.rows as u64
    }

    /// The period of the rows in written units, where they are samples of a steady rate whose times were rounded too
    /// much to part them.
    fn steady_period(&self) -> Option<f64> {
        const FEWEST: i64 = 16;
        /// The steps of decimal numbers are exact, those of a clock are not.
        const NEAR: f64 = 1.0 + 1e-6;
        let first = self.first?;
        let is_steady = self.low <= self.high * NEAR;
        if self.shared == 0 || !self.is_quiet() || self.rows < FEWEST || !is_steady || self.last.0 == first.0
        {
            return None;
        }
        let period = (self.last.1 - first.1) as f64 / (self.last.0 - first.0) as f64;
        (period > 0.0).then(|| period.clamp(self.low.min(self.high), self.high))
    }

    /// How well [`CoarseTimes::steady_period`] is known, in written units: one rounding over the whole record.
    fn period_error(&self) -> f64 {
        self.longest_step as f64 / self.rows.max(1) as f64
    }

    /// What to say of rows that share their time, when nothing parts them.
    pub fn told(&self, rounding: &str) -> Option<String> {
        (self.shared > 0 && self.is_quiet()).then(|| {
            format!(
                "{}: times are written to {rounding}, which is too coarse to part them, and of rows with one time only \
                 the last counts. Export the times with more digits, or leave them out with sample_rate = … and the time \
                 column as \"ignore\" under [read]",
                self.share()
            )
        })
    }

    fn share(&self) -> String {
        format!(
            "{} of {} rows have the time of the row before (first in row {})",
            self.shared, self.rows, self.first_shared
        )
    }

    /// The grid of the rows where they keep a rate, and what to say of it. `stated`: a known period, in written units;
    /// `in_words`: a length in written units in words.
    pub fn counted(&self, stated: Option<f64>, in_words: &dyn Fn(f64) -> String) -> Option<(Grid, String)> {
        let found = self.steady_period()?;
        let (grid, period, advice) = match stated {
            Some(period) => (Grid::exact(period), in_words(period), ""),
            None => {
                let error = in_words(self.period_error());
                let grid = Grid {
                    period: found,
                    exact: false,
                    periods: 1.0,
                    rounding: 0.0,
                };
                let advice = ". If the instrument's rate is known, say sample_rate = … under [read]";
                (
                    grid,
                    format!("{} (give or take {error})", in_words(found)),
                    advice,
                )
            }
        };
        let told = format!(
            "{}: the times are written too coarsely to part them; as far as they go the rows keep a steady rate, so they \
             were taken for samples {period} apart, and a gap shorter than the rounding can't be seen{advice}",
            self.share()
        );
        Some((grid, told))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(times: impl Iterator<Item = i64>, level: impl Fn(i64) -> u8) -> CoarseTimes {
        let mut seen = CoarseTimes::default();
        for (row, time) in times.enumerate() {
            let cell = [level(row as i64)];
            seen.row(row as u64 + 2, time, [&cell[..]].into_iter());
        }
        seen
    }

    #[test]
    fn rounded_samples_keep_their_rate() {
        let slow = |row: i64| b'0' + (row / 20 % 2) as u8;
        for (period, rounding) in [(10, 100), (10, 64), (417, 1000), (33, 50)] {
            let rounded = |time: i64| (time + rounding / 2) / rounding * rounding;
            let found = seen((0..5000).map(|row| rounded(row * period)), slow).steady_period();
            assert!(
                (found.unwrap() / period as f64 - 1.0).abs() < 0.01,
                "{found:?} for {period}"
            );
            // Not so when a stretch is missing.
            let gap = |row: i64| row * period + if row > 2500 { 7 * rounding } else { 0 };
            assert_eq!(
                seen((0..5000).map(|row| rounded(gap(row))), slow).steady_period(),
                None
            );
        }
        // Digits that get fewer as the times grow.
        let growing = |row: i64| if row < 100 { row * 10 } else { row * 10 / 100 * 100 };
        assert!(seen((0..5000).map(growing), slow).steady_period().is_some());
        // From a tenth of the record on with one digit less, rounded.
        let fewer = |row: i64| {
            if row < 1000 {
                row * 10
            } else {
                (row * 10 + 50) / 100 * 100
            }
        };
        assert!((seen((0..5000).map(fewer), slow).steady_period().unwrap() - 10.0).abs() < 0.1);
        // A change list with a row for each line that changes.
        let pairs = seen((0..5000).map(|row| row / 2 * 20), |row| b'0' + (row % 2) as u8);
        assert_eq!((pairs.steady_period(), pairs.told("1 ns")), (None, None));
    }
}
