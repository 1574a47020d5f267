//! Links that nobody declared: pairs of lines so alike, at a fixed delay, that one is likely the other's far end.
//!
//! Of each pair a few stretches, spread over the whole record, are looked at first: where nearly every edge of the line with
//! fewer edges has one of the other at one delay, the two are compared in full. A far end may lack pulses: then every edge that
//! it has must still be the sender's, and the losses must lie scattered. A line that is let through by another for a while,
//! such as a gated clock, lacks its pulses in a row, and a line that another one's edges clock has them a varying time later.

use super::delay::fullest;
use super::elsewhere::is_same;
use super::fit::Fit;
use super::train::Train;
use super::{LinkOptions, pulses, quantum};
use crate::analysis::parallel::on_all_cores;
use crate::model::{Capture, Line};

/// Two lines that look like the two ends of one link.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Proposal {
    /// Positions in the capture: what seems the sending end, and the far end.
    pub from: usize,
    pub to: usize,
    pub inverted: bool,
    /// Median delay in ticks.
    pub delay: f64,
    /// Share of the edges of both lines that match, from 0 to 1.
    pub quality: f64,
    /// Share of the sender's pulses that do not arrive, from 0 to 1; one that comes late or with another width did arrive.
    pub lost: f64,
}

/// Of more lines than this only the busiest are compared with each other: pairs grow with the square of the lines.
pub(super) const MOST_LINES: usize = 512;
/// Lines with fewer edges are alike by luck.
const LEAST_EDGES: usize = 16;
/// Least share of the edges of both lines that match for a link to be proposed.
const ALIKE: f64 = 0.97;
/// A far end with losses: at least this share of its edges was sent …
const SENT: f64 = 0.98;
/// … and at least this share of the sender's edges arrives (no source: with more losses it is as well a line of its own) …
const ARRIVES: f64 = 0.75;
/// … and so many edges at least are there, and are missing: fewer say nothing of how the losses lie.
const LEAST_WITH_LOSSES: usize = 100;
const LEAST_LOST: usize = 6;
/// … and the losses fall into at least this share of the stretches that scattered losses would make.
const SCATTERED: f64 = 0.7;
/// Both edges of a pulse come over one wire, so they are as late but for this share of the narrowest usual pulse (no source: a
/// slow edge makes them differ; a strobe that stands inside a select has its edges on either side of the other's) …
const ONE_LAG: f64 = 0.25;
/// … or so many samples.
const ONE_LAG_SAMPLES: f64 = 2.0;
/// Edges that arrived are looked at in an even choice of so many, when it is asked who carries the others.
const MOST_LOOKED_AT: usize = 10_000;
/// Stretches of the first look, and edges of each.
const STRETCHES: usize = 8;
const STRETCH: usize = 32;
/// Share of the edges of the first look that must lie at one delay.
const GLANCE: f64 = 0.85;

/// Proposes links that were not declared, the most alike first. Cost: pairs of lines × a look at [`STRETCHES`] short stretches,
/// of the [`MOST_LINES`] busiest lines at most, and one pass for each pair that passes; shared out over the cores.
pub fn propose(capture: &Capture, declared: &[LinkOptions]) -> Vec<Proposal> {
    propose_among(capture, declared, MOST_LINES)
}

/// [`propose`] among the `most` busiest lines.
pub(super) fn propose_among(capture: &Capture, declared: &[LinkOptions], most: usize) -> Vec<Proposal> {
    let lines = &capture.lines;
    let mut busiest = able_to_be_proposed(capture);
    busiest.sort_by_key(|&l| std::cmp::Reverse(lines[l].edges.len()));
    busiest.truncate(most);
    busiest.sort_unstable();
    let trains: Vec<(usize, Train)> = on_all_cores(&busiest, |&l| (l, Train::of(&lines[l], false)));
    let mut pairs = Vec::new();
    for (at, (a, _)) in trains.iter().enumerate() {
        for (off, (b, _)) in trains[at + 1..].iter().enumerate() {
            let is_told = declared
                .iter()
                .any(|o| (o.from, o.to) == (*a, *b) || (o.from, o.to) == (*b, *a));
            let (na, nb) = (lines[*a].edges.len(), lines[*b].edges.len());
            let is_near = na.min(nb) as f64 >= ARRIVES * na.max(nb) as f64;
            if is_near && !is_told && !is_same(capture, *a, *b) {
                pairs.push((at, at + 1 + off));
            }
        }
    }
    let found = on_all_cores(&pairs, |&(a, b)| compare(capture, &trains, a, b));
    let mut found: Vec<Proposal> = found.into_iter().flatten().collect();
    found.sort_by(|x, y| {
        y.quality
            .total_cmp(&x.quality)
            .then((x.from, x.to).cmp(&(y.from, y.to)))
    });
    found
}

/// Lines with edges enough to be either end of a proposed link.
pub(super) fn able_to_be_proposed(capture: &Capture) -> Vec<usize> {
    let enough = |line: &Line| line.edges.len() >= LEAST_EDGES && line.same_as.is_none();
    (0..capture.lines.len())
        .filter(|&l| enough(&capture.lines[l]))
        .collect()
}

fn compare(capture: &Capture, trains: &[(usize, Train)], a: usize, b: usize) -> Option<Proposal> {
    let ((a, sent), (b, far)) = (&trains[a], &trains[b]);
    let q = quantum(&capture.lines[*a], &capture.lines[*b]);
    let option = LinkOptions {
        from: *a,
        to: *b,
        max_delay: None,
        inverted: false,
    };
    let longest = super::range_of(capture, &option, q).1;
    let range = (-longest, longest);
    let [upright, upside_down] = glance(sent, far, range, q);
    let try_it = |far: &Train, inverted: bool| {
        let fit = Fit::of(sent, far, range, q);
        let pair = Pair {
            capture,
            ends: (*a, *b),
            trains: (sent, far),
            fit: &fit,
            quantum: q,
        };
        pair.proposal(inverted, trains)
    };
    let first = upright.then(|| try_it(far, false)).flatten();
    first.or_else(|| upside_down.then(|| try_it(&far.inverted(), true)).flatten())
}

/// Two lines that passed the first look, compared in full.
struct Pair<'a> {
    capture: &'a Capture,
    ends: (usize, usize),
    trains: (&'a Train, &'a Train),
    fit: &'a Fit,
    quantum: f64,
}

impl Pair<'_> {
    fn proposal(&self, inverted: bool, all: &[(usize, Train)]) -> Option<Proposal> {
        let ((a, b), (sent, far), q) = (self.ends, self.trains, self.quantum);
        if !self.fit.is_link() {
            return None;
        }
        let bias = |line: usize| pulses::bias_of(&self.capture.lines[line]);
        let quality = self.fit.quality(sent, far);
        let delay = self.fit.center() - bias(b) + bias(a);
        let (recall, precision) = (self.fit.recall(sent), self.fit.precision(far));
        let is_alike = quality >= ALIKE && self.is_at_one_lag();
        let sparse_is_far = far.times.len() < sent.times.len();
        // The end that lacks edges must be the later one.
        let is_whole = match sparse_is_far {
            true => precision >= SENT && recall >= ARRIVES && delay >= -q,
            false => recall >= SENT && precision >= ARRIVES && delay <= q,
        };
        let is_link = is_alike || is_whole && self.has_scattered_losses(sparse_is_far, all);
        if !is_link {
            return None;
        }
        let is_turned = if is_alike { delay < 0.0 } else { !sparse_is_far };
        let matching = &self.fit.matching;
        let (from, to, delay, pulses_lost, sent_edges) = match is_turned {
            true => (b, a, -delay, matching.extra.len(), far.times.len()),
            false => (a, b, delay, matching.missing.len(), sent.times.len()),
        };
        Some(Proposal {
            from,
            to,
            inverted,
            delay,
            quality,
            lost: 2.0 * pulses_lost as f64 / sent_edges.max(1) as f64,
        })
    }

    /// Whether rises and falls come equally late, and so the widths are alike, and both on the same side.
    fn is_at_one_lag(&self) -> bool {
        let windows = &self.fit.windows;
        let (rise, fall) = (windows.rise.center, windows.fall.center);
        let usual = [self.trains.0, self.trains.1].map(usual_pulse);
        let slack = (ONE_LAG * usual[0].min(usual[1])).max(ONE_LAG_SAMPLES * self.quantum);
        let is_one_side = rise.min(fall) >= -ONE_LAG_SAMPLES * self.quantum
            || rise.max(fall) <= ONE_LAG_SAMPLES * self.quantum;
        (rise - fall).abs() <= slack && is_one_side
    }

    /// Whether the edges that the sparser line lacks are whole pulses here and there that no other line carries instead, and
    /// both polarities come at one delay.
    fn has_scattered_losses(&self, sparse_is_far: bool, all: &[(usize, Train)]) -> bool {
        let ((sent, far), fit) = (self.trains, self.fit);
        let (dense, sparse_line) = if sparse_is_far {
            (sent, self.ends.1)
        } else {
            (far, self.ends.0)
        };
        let mut matched = vec![false; dense.times.len()];
        for &(i, j) in &fit.matching.pairs {
            matched[if sparse_is_far { i } else { j }] = true;
        }
        // A pulse is lost with both its edges; `n` pulses of which `lost` are lost make about lost × (1 − lost/n) stretches.
        let lost = matched.iter().filter(|m| !**m).count() / 2;
        let pulses = (matched.len() / 2).max(1);
        let runs = matched.chunk_by(|a, b| a == b).filter(|run| !run[0]).count();
        let expected = lost as f64 * (1.0 - lost as f64 / pulses as f64);
        let mut widths: Vec<i64> = dense.times.windows(2).map(|w| w[1] - w[0]).collect();
        let middle = widths.len() / 2;
        let width = *widths.select_nth_unstable(middle).1 as f64;
        let skew = (fit.windows.rise.center - fit.windows.fall.center).abs();
        let spread = fit.windows.rise.tolerance.max(fit.windows.fall.tolerance);
        let narrow = (0.25 * width).max(2.0 * self.quantum);
        pulses * 2 >= LEAST_WITH_LOSSES
            && lost >= LEAST_LOST
            && runs as f64 >= SCATTERED * expected
            && skew <= narrow
            && spread <= narrow
            && !fit.has_echo(sent, far)
            && !all.iter().any(|(line, other)| {
                *line != self.ends.0
                    && *line != self.ends.1
                    && !is_same(self.capture, *line, sparse_line)
                    && self.carries_the_rest(dense, &matched, other)
            })
    }

    /// Whether `other` moves with the edges that are not matched and hardly with the others: the two share the sender's pulses
    /// out between them, as the outputs of a decoder do.
    fn carries_the_rest(&self, dense: &Train, matched: &[bool], other: &Train) -> bool {
        // Either way in time: the dense line may be either end.
        let center = self.fit.center().abs();
        let spread = self
            .fit
            .windows
            .rise
            .tolerance
            .max(self.fit.windows.fall.tolerance);
        let reach = (center + spread + 2.0 * self.quantum).ceil() as i64;
        let step = (dense.times.len() / MOST_LOOKED_AT).max(1);
        let (mut of, mut moved) = ([0usize; 2], [0usize; 2]);
        for (&time, &is_matched) in dense
            .times
            .iter()
            .zip(matched)
            .filter(|(_, m)| !**m)
            .chain(dense.times.iter().zip(matched).filter(|(_, m)| **m).step_by(step))
        {
            let at = other.times.partition_point(|&t| t < time - reach);
            of[usize::from(is_matched)] += 1;
            moved[usize::from(is_matched)] +=
                usize::from(other.times.get(at).is_some_and(|&t| t <= time + reach));
        }
        let share = |k: usize| moved[k] as f64 / of[k].max(1) as f64;
        share(0) > 0.5 && share(1) < 0.5 * share(0)
    }
}

/// The median width of the level that is the shorter one on a line, in ticks.
fn usual_pulse(train: &Train) -> f64 {
    let median = |first: usize| {
        let mut widths: Vec<i64> = train.times[first..]
            .windows(2)
            .step_by(2)
            .map(|w| w[1] - w[0])
            .collect();
        let middle = widths.len() / 2;
        match widths.is_empty() {
            true => f64::INFINITY,
            false => *widths.select_nth_unstable(middle).1 as f64,
        }
    };
    median(0).min(median(1))
}

/// Whether the two may be one signal the right way up, and upside down. Both polarities of the sparser line must pile up.
fn glance(a: &Train, b: &Train, range: (i64, i64), quantum: f64) -> [bool; 2] {
    let (few, many, range) = if a.times.len() <= b.times.len() {
        (a, b, range)
    } else {
        (b, a, (-range.1, -range.0))
    };
    let stretches = STRETCHES.min(few.times.len().div_ceil(STRETCH));
    let mut used = [0usize; 2];
    // Differences by the polarity of the sparser line's edge, of equal and of opposite polarity.
    let mut differences: [[Vec<i64>; 2]; 2] = Default::default();
    for k in 0..stretches {
        let last_start = few.times.len().saturating_sub(STRETCH);
        let start = last_start * k / (stretches - 1).max(1);
        let end = (start + STRETCH).min(few.times.len());
        let mut first = many.times.partition_point(|&t| t < few.times[start] + range.0);
        for i in start..end {
            let (at, rise) = (few.times[i], few.rises[i]);
            used[usize::from(rise)] += 1;
            while first < many.times.len() && many.times[first] < at + range.0 {
                first += 1;
            }
            for j in (first..many.times.len()).take_while(|&j| many.times[j] <= at + range.1) {
                differences[usize::from(many.rises[j] != rise)][usize::from(rise)].push(many.times[j] - at);
            }
        }
    }
    differences.map(|both| {
        both.into_iter().zip(used).all(|(mut of, used)| {
            of.sort_unstable();
            piles_up(&of, used, range, quantum)
        })
    })
}

/// Whether nearly all of `used` edges have a difference in one narrow window, far more than lie there by chance.
fn piles_up(sorted: &[i64], used: usize, range: (i64, i64), quantum: f64) -> bool {
    let reach = (range.1 - range.0) as f64;
    let enough = (GLANCE * used as f64).ceil().max(1.0) as usize;
    if used == 0 || sorted.len() < enough {
        return false;
    }
    let mut width = quantum.max(1.0);
    while width <= 0.25 * reach {
        let (count, _) = fullest(sorted, width);
        let by_chance = sorted.len() as f64 * (width + quantum) / (reach + quantum);
        if count >= enough && count as f64 > 1.5 * by_chance {
            return true;
        }
        width = (2.0 * width).max(width + 1.0);
    }
    false
}
