//! The capture that strays are looked for in: without the lines of which nothing can be told, and without levels that the
//! reader took for runts.

use super::standing::Plateau;
use super::{Kind, Trouble};
use crate::model::{Capture, Line, Runt};

/// A runt is a level as far as it lies within one for this much of its width: its slopes don't (no source).
const WITHIN: f64 = 0.7;

/// As `capture`, line by line, where a line that is not judged shows no edge and no runt; `None` where that changes nothing.
pub fn to_judge(capture: &Capture, troubles: &[Trouble]) -> Option<Capture> {
    if troubles.is_empty() {
        return None;
    }
    let mut judged = capture.clone();
    for trouble in troubles {
        let line = &mut judged.lines[trouble.line];
        match trouble.kind {
            _ if is_left_out(&trouble.kind) => *line = still(line),
            Kind::Between { .. } => {
                let plateaus = &trouble.plateaus;
                line.runts.retain(|runt| !is_level(runt, plateaus));
            }
            // A short level just before or after it floats, or one that it floats away from, is its drivers' turn.
            Kind::Bus { .. } => {
                let floats = &trouble.plateaus;
                line.runts.retain(|runt| !touches(runt, floats));
            }
            _ => {}
        }
    }
    Some(judged)
}

/// Whether nothing is judged of a line with such levels.
fn is_left_out(kind: &Kind) -> bool {
    match kind {
        // What strikes it is judged: nothing holds it.
        Kind::Open { .. } => false,
        Kind::Between { with: None, .. } | Kind::Bus { .. } => false,
        // Where two outputs fight, their pulses are what either of them happens to win.
        Kind::Between { .. } => true,
        Kind::Factor { .. } | Kind::AboutZero { .. } | Kind::Other { .. } | Kind::Weak { .. } => true,
    }
}

/// Positions of the lines of which nothing is judged, ascending.
pub fn left_out(troubles: &[Trouble]) -> Vec<usize> {
    let of_lines = troubles.iter().filter(|trouble| is_left_out(&trouble.kind));
    let mut lines: Vec<usize> = of_lines.map(|trouble| trouble.line).collect();
    lines.sort_unstable();
    lines.dedup();
    lines
}

fn still(line: &Line) -> Line {
    Line {
        edges: Vec::new().into(),
        flips: Vec::new(),
        runts: Vec::new(),
        landmarks: None,
        tally: None,
        ..line.clone()
    }
}

/// `floats`: ascending and apart.
fn touches(runt: &Runt, floats: &[Plateau]) -> bool {
    let (start, end) = (runt.start.0 as f64, (runt.start + runt.width).0 as f64);
    let first = floats.partition_point(|p| p.end < start);
    floats.get(first).is_some_and(|p| p.start <= end)
}

/// `plateaus`: ascending.
fn is_level(runt: &Runt, plateaus: &[Plateau]) -> bool {
    let (start, end) = (runt.start.0 as f64, (runt.start + runt.width).0 as f64);
    let first = plateaus.partition_point(|p| p.end <= start);
    let of_runt = plateaus[first..].iter().take_while(|p| p.start < end);
    let within: f64 = of_runt.map(|p| p.end.min(end) - p.start.max(start)).sum();
    within >= WITHIN * (end - start)
}
