//! The samples of an analog line and the pyramid over them: smallest and largest of each run, level by level.

use std::io;
use std::sync::Arc;

use crate::ingest::columns::{Growing, SpillFolder};
use crate::model::{PyramidLevel, TraceSamples};

/// Samples and their pyramid, spilled to disk when large.
#[derive(Debug)]
pub struct SampleStore {
    volts: Growing<f32>,
    levels: Vec<PyramidStore>,
    folder: Arc<SpillFolder>,
    number: usize,
    room: usize,
}

#[derive(Debug)]
struct PyramidStore {
    pairs: Growing<[f32; 2]>,
    open: [f32; 2],
    count: usize,
}

const NONE: [f32; 2] = [f32::NAN, f32::NAN];

impl SampleStore {
    /// An empty store; beyond `room` samples in memory they go to file `number` in `folder`.
    pub fn new(folder: &Arc<SpillFolder>, number: usize, room: usize) -> SampleStore {
        SampleStore {
            volts: Growing::new(folder, format!("volts-{number}.f32"), room),
            levels: Vec::new(),
            folder: folder.clone(),
            number,
            room,
        }
    }

    /// Adds one sample; NaN: missing.
    ///
    /// # Errors
    /// Writing to the spill file failed.
    #[inline]
    pub fn push(&mut self, volts: f32) -> io::Result<()> {
        self.volts.push(volts);
        if self.volts.is_full() {
            self.volts.flush()?;
        }
        self.add(0, [volts, volts])
    }

    /// As [`push`](SampleStore::push) for each, faster for long runs.
    pub fn push_run(&mut self, volts: &[f32]) -> io::Result<()> {
        let lead = match self.levels.first() {
            Some(first) if first.count > 0 => (TraceSamples::PYRAMID - first.count).min(volts.len()),
            _ => 0,
        };
        let (head, rest) = volts.split_at(lead);
        for &v in head {
            self.push(v)?;
        }
        let (whole, remainder) = rest.as_chunks::<{ TraceSamples::PYRAMID }>();
        self.volts.extend(&rest[..rest.len() - remainder.len()])?;
        for run in whole {
            self.whole_run(extremes(run))?;
        }
        if self.volts.is_full() {
            self.volts.flush()?;
        }
        for &v in remainder {
            self.push(v)?;
        }
        Ok(())
    }

    /// A whole run of the first level at once.
    fn whole_run(&mut self, pair: [f32; 2]) -> io::Result<()> {
        if self.levels.is_empty() {
            let name = format!("pyramid-{}-0.f32", self.number);
            self.levels.push(PyramidStore {
                pairs: Growing::new(&self.folder, name, self.room / 16),
                open: NONE,
                count: 0,
            });
        }
        let pairs = &mut self.levels[0].pairs;
        pairs.push(pair);
        if pairs.is_full() {
            pairs.flush()?;
        }
        self.add(1, pair)
    }

    #[inline]
    fn add(&mut self, level: usize, pair: [f32; 2]) -> io::Result<()> {
        if level == self.levels.len() {
            let name = format!("pyramid-{}-{level}.f32", self.number);
            self.levels.push(PyramidStore {
                pairs: Growing::new(&self.folder, name, self.room / 16),
                open: NONE,
                count: 0,
            });
        }
        let store = &mut self.levels[level];
        // min and max pass NaN over.
        store.open = [store.open[0].min(pair[0]), store.open[1].max(pair[1])];
        store.count += 1;
        if store.count == TraceSamples::PYRAMID {
            let pair = store.open;
            store.open = NONE;
            store.count = 0;
            store.pairs.push(pair);
            if store.pairs.is_full() {
                store.pairs.flush()?;
            }
            return self.add(level + 1, pair);
        }
        Ok(())
    }

    /// The samples, mapped when they went to a file, and the levels of the pyramid, finest first.
    #[allow(clippy::type_complexity)]
    pub fn finish(mut self) -> io::Result<(Arc<dyn AsRef<[f32]> + Send + Sync>, Vec<PyramidLevel>)> {
        let mut level = 0;
        while level < self.levels.len() {
            if self.levels[level].count > 0 {
                let pair = self.levels[level].open;
                self.levels[level].pairs.push(pair);
                self.levels[level].count = 0;
                if level + 1 < self.levels.len() || self.levels[level].pairs.len() > 1 {
                    self.add(level + 1, pair)?;
                }
            }
            level += 1;
        }
        let volts = self.volts.finish()?;
        let mut pyramid: Vec<PyramidLevel> = Vec::new();
        for store in self.levels {
            let pairs = store.pairs.finish()?;
            if !(*pairs).as_ref().is_empty() {
                pyramid.push(pairs);
            }
        }
        Ok((volts, pyramid))
    }
}

/// Smallest and largest of a whole run, NaN passed over; both NaN where all are.
#[inline]
fn extremes(run: &[f32]) -> [f32; 2] {
    // A comparison with NaN is false, so that it changes nothing.
    let fold = |start: f32, better: fn(f32, f32) -> bool| {
        run.iter()
            .fold(start, |best, &v| if better(v, best) { v } else { best })
    };
    let low = fold(f32::INFINITY, |v, best| v < best);
    let high = fold(f32::NEG_INFINITY, |v, best| v > best);
    if low > high { NONE } else { [low, high] }
}
