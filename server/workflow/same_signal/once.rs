//! A signal that is in a run twice, judged and counted once: a second instrument's record of it, or the far end of a link that is
//! whole.

use std::borrow::Cow;

use crate::analysis::links::{Link, Verdict};
use crate::model::{Capture, Column, Line};
use crate::setup::Setup;

/// Takes lines that go by two names for two again where the setup declares them the two ends of a link: each is looked at.
/// Returns those pairs, the later capture's line first.
pub fn part_links(capture: &mut Capture, setup: &Setup) -> Vec<(usize, usize)> {
    let mut parted = Vec::new();
    let is_link = |a: &str, b: &str| {
        let mut links = setup.links.iter();
        links.any(|link| (link.from == a && link.to == b) || (link.from == b && link.to == a))
    };
    for at in 0..capture.lines.len() {
        let line = &capture.lines[at];
        let twin = line.same_as.map(|twin| &capture.lines[twin]);
        let own = |name: &str| name.split_once('/').map_or(name, |(_, own)| own).to_owned();
        let is_other = |twin: &Line| twin.capture != line.capture && own(&twin.name) != own(&line.name);
        if twin.is_some_and(|twin| is_other(twin) && is_link(&twin.name, &line.name)) {
            parted.extend(capture.lines[at].same_as.take().map(|twin| (at, twin)));
        }
    }
    parted
}

/// The capture in which it is asked who strikes whom: each signal once, also that of the two ends of a link that were `parted`
/// ([`part_links`]) and of which the one shows every pulse of the other. `None`: nothing is there twice.
pub fn each_once(capture: &Capture, parted: &[(usize, usize)], links: &[Link]) -> Option<Capture> {
    let mut capture = Cow::Borrowed(capture);
    for &(line, twin) in parted.iter().filter(|pair| is_whole(**pair, links)) {
        capture.to_mut().lines[line].same_as = Some(twin);
    }
    copies_at_rest(&capture)
}

/// Whether the link between the two ends of a pair that was parted shows every pulse at both, and no other.
pub fn is_whole((line, twin): (usize, usize), links: &[Link]) -> bool {
    let ends = [(line, twin), (twin, line)];
    let mut links = links.iter().filter(|link| ends.contains(&(link.from, link.to)));
    links.any(|link| link.verdict == Verdict::Intact)
}

/// Whether a line is a second instrument's record of a signal.
fn is_copy(line: &Line, lines: &[Line]) -> bool {
    line.same_as
        .is_some_and(|twin| lines[twin].capture != line.capture)
}

/// The capture without second instruments' records of a signal: what is counted is counted once.
pub fn without_copies(mut capture: Capture) -> Capture {
    let mut place = Vec::with_capacity(capture.lines.len());
    let mut kept = 0;
    for line in &capture.lines {
        let stays = !is_copy(line, &capture.lines);
        place.push(stays.then_some(kept));
        kept += usize::from(stays);
    }
    if kept == capture.lines.len() {
        return capture;
    }
    let lines = std::mem::take(&mut capture.lines);
    let staying = lines.into_iter().zip(&place).filter(|(_, to)| to.is_some());
    capture.lines = staying.map(|(line, _)| line).collect();
    for line in &mut capture.lines {
        line.same_as = line.same_as.and_then(|twin| place[twin]);
    }
    capture
        .buses
        .retain(|bus| bus.bits.iter().all(|&bit| place[bit].is_some()));
    for bus in &mut capture.buses {
        bus.bits = bus.bits.iter().filter_map(|&bit| place[bit]).collect();
    }
    capture
}

/// The setup with its links by the names that [`without_copies`] leaves: of a signal that two instruments recorded, the first's.
pub fn with_first_records(setup: &Setup, capture: &Capture) -> Setup {
    let first = |name: &mut String| {
        let line = capture.line_index(name).map(|at| &capture.lines[at]);
        let copy = line.filter(|line| is_copy(line, &capture.lines));
        if let Some(twin) = copy.and_then(|line| line.same_as) {
            *name = capture.lines[twin].name.clone();
        }
    };
    let mut setup = setup.clone();
    for link in &mut setup.links {
        first(&mut link.from);
        first(&mut link.to);
    }
    setup
}

/// Puts each second instrument's record of a signal to rest: what a signal does is judged once, with the first instrument's
/// other lines. `None`: there is none. Cost: that of cloning a capture, whose edges are shared.
fn copies_at_rest(capture: &Capture) -> Option<Capture> {
    if !capture.lines.iter().any(|line| is_copy(line, &capture.lines)) {
        return None;
    }
    let mut once = capture.clone();
    for (line, own) in once.lines.iter_mut().zip(&capture.lines) {
        if is_copy(own, &capture.lines) {
            line.edges = Column::default();
            line.landmarks = None;
            line.tally = None;
            line.flips = Vec::new();
            line.runts = Vec::new();
            line.judged = Vec::new();
        }
    }
    Some(once)
}
