//! One-to-one matching in order: which far edge is which sent edge, and what the unmatched ones are.
//!
//! Edges of equal polarity pair up inside the window around the estimated delay. Where a window holds several
//! candidates, the chain (rising on both sides) of greatest total weight is taken, so that one lost edge never
//! shifts the rest. Between two matched edges the levels agree, so as many edges modulo two are left over on
//! either side: pairs of left-over sent edges are missing pulses, pairs of left-over far edges extra ones, and
//! one odd edge on each side is a pulse stretched or shortened.

use super::delay::Cluster;
use super::train::Train;

/// What became of the edges. Indices are into the two trains.
#[derive(Debug, Default)]
pub(super) struct Matching {
    /// Matched edges (sent, far), ascending in both.
    pub pairs: Vec<(usize, usize)>,
    /// Edges that arrived outside the usual window: ends of stretched or shortened pulses, late pulses.
    pub displaced: Vec<(usize, usize)>,
    /// First edges of sent pulses that never arrived.
    pub missing: Vec<usize>,
    /// First edges of far pulses that nobody sent.
    pub extra: Vec<usize>,
}

/// Delays of rising and falling edges (of the sent polarity), and the widest allowed range.
pub(super) struct Windows {
    pub rise: Cluster,
    pub fall: Cluster,
    /// Ticks from the sent edge, both ends allowed.
    pub range: (i64, i64),
}

impl Windows {
    fn of(&self, rise: bool) -> &Cluster {
        if rise { &self.rise } else { &self.fall }
    }
}

/// Matches two trains. Cost: linear in edges where windows do not overlap, n·ln n where they do.
pub(super) fn match_trains(sent: &Train, far: &Train, windows: &Windows) -> Matching {
    let mut result = Matching {
        pairs: match_edges(sent, far, windows),
        ..Matching::default()
    };
    let pairs = result.pairs.clone();
    let (mut i, mut j) = (0, 0);
    for &(next_i, next_j) in pairs.iter().chain([&(sent.times.len(), far.times.len())]) {
        if next_i > i || next_j > j {
            settle_gap(sent, far, windows, i..next_i, j..next_j, &mut result);
        }
        (i, j) = (next_i + 1, next_j + 1);
    }
    result.displaced.sort_unstable();
    result
}

/// Pairs of edges inside the windows, one to one and in order.
fn match_edges(sent: &Train, far: &Train, windows: &Windows) -> Vec<(usize, usize)> {
    let lowest = |c: &Cluster| c.center - c.tolerance;
    let least = lowest(&windows.rise).min(lowest(&windows.fall));
    let mut pairs = Vec::with_capacity(sent.times.len());
    let mut open: Vec<(usize, usize, f64)> = Vec::new();
    let mut reach = None;
    let mut first = 0;
    for (i, (&s, &rise)) in sent.times.iter().zip(&sent.rises).enumerate() {
        let window = windows.of(rise);
        while first < far.times.len() && ((far.times[first] - s) as f64) < least {
            first += 1;
        }
        for j in first..far.times.len() {
            let off = (far.times[j] - s) as f64 - window.center;
            if off > window.tolerance {
                // The other polarity's window may reach further, but not for this edge.
                break;
            }
            let used = pairs.last().is_some_and(|p: &(usize, usize)| j <= p.1);
            if off < -window.tolerance || far.rises[j] != rise || used {
                continue;
            }
            if reach.is_some_and(|r| j > r) && open.last().is_some_and(|o| o.0 < i) {
                close(&mut open, &mut pairs);
            }
            let share = off / window.tolerance.max(f64::MIN_POSITIVE);
            open.push((i, j, 2.0 - share * share));
            reach = Some(reach.map_or(j, |r: usize| r.max(j)));
        }
    }
    close(&mut open, &mut pairs);
    pairs
}

/// Takes the best chain out of the open candidates. A new candidate beyond all open ones closes them, but one
/// that shares its sent edge with an open one may still be the better choice, so sent edges are never split.
fn close(open: &mut Vec<(usize, usize, f64)>, pairs: &mut Vec<(usize, usize)>) {
    if open.len() <= 1 {
        pairs.extend(open.drain(..).map(|(i, j, _)| (i, j)));
        return;
    }
    let base = open.iter().map(|o| o.1).min().unwrap_or(0);
    let size = open.iter().map(|o| o.1).max().unwrap_or(0) - base + 1;
    // A Fenwick tree over far edges holds the best chain that ends at or before each.
    let mut tree: Vec<(f64, usize)> = vec![(0.0, usize::MAX); size + 1];
    let mut before: Vec<usize> = vec![usize::MAX; open.len()];
    let mut total: Vec<f64> = vec![0.0; open.len()];
    let mut at = 0;
    while at < open.len() {
        let i = open[at].0;
        let end = at + open[at..].iter().take_while(|o| o.0 == i).count();
        // Query all candidates of one sent edge before any is entered: it can be used once only.
        for c in at..end {
            let mut k = open[c].1 - base;
            let mut best = (0.0, usize::MAX);
            while k > 0 {
                if tree[k].0 > best.0 {
                    best = tree[k];
                }
                k &= k - 1;
            }
            total[c] = best.0 + open[c].2;
            before[c] = best.1;
        }
        for c in at..end {
            let mut k = open[c].1 - base + 1;
            while k <= size {
                if total[c] > tree[k].0 {
                    tree[k] = (total[c], c);
                }
                k += k & k.wrapping_neg();
            }
        }
        at = end;
    }
    let mut last = (0..open.len())
        .max_by(|&a, &b| total[a].total_cmp(&total[b]))
        .unwrap_or(usize::MAX);
    let from = pairs.len();
    while last != usize::MAX {
        pairs.push((open[last].0, open[last].1));
        last = before[last];
    }
    pairs[from..].reverse();
    open.clear();
}

/// Says what the left-over edges between two matched ones are.
fn settle_gap(
    sent: &Train,
    far: &Train,
    windows: &Windows,
    sent_edges: std::ops::Range<usize>,
    far_edges: std::ops::Range<usize>,
    result: &mut Matching,
) {
    let arrival = |i: usize| sent.times[i] as f64 + windows.of(sent.rises[i]).center;
    let slack = windows.rise.tolerance.max(windows.fall.tolerance);
    // Edges whose counterpart would lie where the other line was not recorded say nothing.
    let judged_sent = |i: usize| {
        let at = arrival(i);
        far.is_known((at - slack) as i64, (at + slack) as i64)
    };
    let judged_far = |j: usize| {
        let at = far.times[j] as f64 - windows.of(far.rises[j]).center;
        sent.is_known((at - slack) as i64, (at + slack) as i64)
    };
    let mut s: Vec<usize> = sent_edges.filter(|&i| judged_sent(i)).collect();
    let mut f: Vec<usize> = far_edges.filter(|&j| judged_far(j)).collect();
    // One odd edge on either side: the nearest pair of equal polarity that leaves whole pulses around it.
    if s.len() % 2 == 1 && f.len() % 2 == 1 {
        let mut best: Option<(f64, usize, usize)> = None;
        for a in (0..s.len()).step_by(2) {
            let from = f.partition_point(|&j| (far.times[j] as f64) < arrival(s[a]));
            for b in [from.saturating_sub(2), from.saturating_sub(1), from, from + 1] {
                if b < f.len() && b % 2 == 0 && sent.rises[s[a]] == far.rises[f[b]] {
                    let off = (far.times[f[b]] as f64 - arrival(s[a])).abs();
                    if best.is_none_or(|(least, _, _)| off < least) {
                        best = Some((off, a, b));
                    }
                }
            }
        }
        if let Some((_, a, b)) = best {
            result.displaced.push((s[a], f[b]));
            s.remove(a);
            f.remove(b);
        }
    }
    // Before the first match an odd edge belongs to a pulse that began before the recording.
    if result
        .pairs
        .first()
        .is_some_and(|p| s.iter().all(|&i| i < p.0) && f.iter().all(|&j| j < p.1))
    {
        s.drain(..s.len() % 2);
        f.drain(..f.len() % 2);
    }
    // Whole pulses, in order: one that comes within the allowed range is late or early, not lost.
    let pulses = |edges: &[usize], rises: &[bool]| -> Vec<(usize, usize)> {
        let mut out = Vec::with_capacity(edges.len() / 2);
        let mut k = 0;
        while k + 1 < edges.len() {
            if edges[k + 1] == edges[k] + 1 && rises[edges[k]] != rises[edges[k + 1]] {
                out.push((edges[k], edges[k + 1]));
                k += 2;
            } else {
                k += 1;
            }
        }
        out
    };
    let (sp, fp) = (pulses(&s, &sent.rises), pulses(&f, &far.rises));
    let (mut a, mut b) = (0, 0);
    while a < sp.len() || b < fp.len() {
        if a == sp.len() {
            result.extra.push(fp[b].0);
            b += 1;
            continue;
        }
        if b == fp.len() {
            result.missing.push(sp[a].0);
            a += 1;
            continue;
        }
        let lag = far.times[fp[b].0] - sent.times[sp[a].0];
        if lag < windows.range.0 {
            result.extra.push(fp[b].0);
            b += 1;
        } else if lag > windows.range.1 || sent.rises[sp[a].0] != far.rises[fp[b].0] {
            result.missing.push(sp[a].0);
            a += 1;
        } else {
            result.displaced.push((sp[a].0, fp[b].0));
            result.displaced.push((sp[a].1, fp[b].1));
            a += 1;
            b += 1;
        }
    }
}
