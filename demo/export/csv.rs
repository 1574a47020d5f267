//! Tables: one row a sample, or one row a change.

use std::fmt::Write;

use crate::demo::instrument::Recording;
use crate::model::Level;

/// One row for every sample: time in seconds, then a 0 or 1 a line.
pub fn samples_csv(recording: &Recording) -> String {
    let mut text = heading(recording, "Time (s)");
    let changes = recording.changes();
    let mut levels = first_levels(recording);
    let mut at = 0;
    for sample in 0..recording.samples {
        while at < changes.len() && changes[at].0 == sample {
            levels[changes[at].1] = changes[at].2;
            at += 1;
        }
        row(&mut text, recording, sample, &levels);
    }
    text
}

/// One row for the start, one for every sample at which a line changed, one for the last sample.
pub fn changes_csv(recording: &Recording) -> String {
    let mut text = heading(recording, "Time (s)");
    let mut levels = first_levels(recording);
    let changes = recording.changes();
    row(&mut text, recording, 0, &levels);
    for moment in changes.chunk_by(|a, b| a.0 == b.0) {
        for &(_, line, level) in moment {
            levels[line] = level;
        }
        row(&mut text, recording, moment[0].0, &levels);
    }
    if changes.last().is_none_or(|c| c.0 < recording.samples - 1) {
        row(&mut text, recording, recording.samples - 1, &levels);
    }
    text
}

fn first_levels(recording: &Recording) -> Vec<Level> {
    recording.lines.iter().map(|l| l.first).collect()
}

fn heading(recording: &Recording, time: &str) -> String {
    let mut text = time.to_owned();
    for line in &recording.lines {
        text.push(',');
        text.push_str(&line.name);
    }
    text.push('\n');
    text
}

fn row(text: &mut String, recording: &Recording, sample: i64, levels: &[Level]) {
    // Whole nanoseconds are written as such; else as many digits as keep the grid visible.
    let digits = if (recording.period_s * 1e9).fract().abs() < 1e-6 {
        9
    } else {
        12
    };
    write!(text, "{:.digits$}", sample as f64 * recording.period_s).expect("text grows");
    for level in levels {
        text.push_str(if *level == Level::High { ",1" } else { ",0" });
    }
    text.push('\n');
}
