//! Telling what is narrow: a line's narrow limit, inferred from its own pulse widths on each level.
//!
//! Strays of one cause are short and their widths scatter; pulses that the line's own logic drives either
//! are much longer, or repeat to the sample. So a limit is drawn only
//! - where the number of pulses for a width falls steeply (a density that drops: `drop_cut`), or
//! - where a valley with no pulse in it parts two crowds (`valley_cut`),
//!
//! and only if the narrow crowd is not all there is on that level and does not repeat to the sample.
//!
//! Tried and dropped: the largest gap of log widths alone, which calls the shortest of a thousand irregular
//! pulses a stray; they are expected to come near zero, and the expected count says so.

mod second_crowd;

use super::driven::{DRIVEN_SAMPLES, USEFUL_NS, is_driven, repeats};
use super::long_pulses::{
    are_long, are_long_and_alike, are_long_and_few, are_scattered_far_below, come_in_trains, share_spread,
};
use super::pauses::are_pauses;
use super::{LimitOrigin, NarrowLimit, healed, slow};
use crate::analysis::stats::tails::poisson_upper;
use crate::model::{Level, Pulse};
use second_crowd::{beyond_second_crowd, with_second_crowd};

/// Induced pulses last about as long as edges and cable delays; nothing longer is inferred to be a stray, but on a contact ([`slow`]).
const NARROWEST_JOB_NS: f64 = 600.0;
/// Widths up to this are looked at for the density of a line's ordinary pulses.
const BODY_NS: f64 = 20_000.0;
/// Chance, a level, that ordinary pulses gather below the limit as these do.
const CHANCE: f64 = 1e-3;
/// The same, for a level whose other level has shown strays of such widths.
const CHANCE_SECOND: f64 = 0.05;
/// The same for a few pulses, of a gap above them ([`chance_of_gap`]): one must be shorter than all others by ten times,
/// two by three.
const CHANCE_BESIDE: f64 = 0.1;

/// Pulses that a valley would hold if the crowds beside it went on.
const MISSING: f64 = 6.0;

/// A candidate limit: how many pulses lie below it, and between which widths it falls (ticks).
#[derive(Clone, Copy, Debug, PartialEq)]
struct Cut {
    count: usize,
    longest_narrow: f64,
    shortest_wide: f64,
}

impl Cut {
    fn limit(&self, sampling: f64) -> f64 {
        let middle = (self.longest_narrow.max(sampling) * self.shortest_wide).sqrt();
        middle
            .min(3.0 * self.longest_narrow.max(sampling))
            .max(self.longest_narrow + 0.5)
    }
}

/// Narrow limits of one line from its pulses, which are gone through up to four times. `sampling`: period in ticks; `ns`:
/// ticks in a nanosecond.
pub fn infer<P: Iterator<Item = Pulse>>(pulses: impl Fn() -> P, sampling: f64, ns: f64) -> NarrowLimit {
    let widths = LEVELS.map(|level| widths_of(pulses(), level));
    let healed = |of: usize, by: &Cut| healed::widths(pulses(), LEVELS[1 - of], by.limit(sampling));
    let are_pauses = |level: usize, by: &Cut| are_pauses(pulses(), LEVELS[level], by.limit(sampling));
    let mut cuts =
        [0, 1].map(|level| cut(&widths[level], sampling, ns).filter(|cut| !are_pauses(level, cut)));
    for this in [0, 1] {
        if let (None, Some(known)) = (cuts[this], cuts[1 - this]) {
            cuts[this] = second_cut(&widths[this], known, sampling, ns)
                .or_else(|| {
                    let healed = healed(this, &known);
                    cut(&healed, sampling, ns).or_else(|| second_cut(&healed, known, sampling, ns))
                })
                .filter(|cut| !are_pauses(this, cut))
        }
    }
    for this in [0, 1] {
        if let [Some(own), Some(other)] = [cuts[this], cuts[1 - this]] {
            cuts[this] = Some(with_second_crowd(&widths[this], own, other, sampling, ns));
        }
    }
    if cuts == [None, None] {
        cuts = [0, 1]
            .iter()
            .find_map(|&first| hidden_by_each_other(first, &widths[first], &healed, sampling, ns))
            .filter(|cuts| {
                let mut both = cuts.iter().enumerate();
                both.all(|(level, cut)| cut.is_none_or(|cut| !are_pauses(level, &cut)))
            })
            .unwrap_or(cuts);
    }
    // What a level whose strays were taken out shows as few may be most of its pulses as they are.
    for (cut, widths) in cuts.iter_mut().zip(&widths) {
        *cut = cut.filter(|cut| {
            let below = widths.partition_point(|&w| w < cut.limit(sampling));
            !are_long_and_alike(&widths[..below], below as f64 / widths.len() as f64, ns)
        });
    }
    for (level, cut) in cuts.iter_mut().enumerate() {
        let long = |cut: &Cut| {
            let below = widths[level].partition_point(|&w| w < cut.limit(sampling));
            are_long(&widths[level][..below], ns)
        };
        *cut = cut.filter(|cut| !(long(cut) && come_in_trains(pulses(), LEVELS[level], cut.limit(sampling))));
    }
    let limit = |cut: Option<Cut>| cut.map(|c| c.limit(sampling));
    let origin = if cuts.iter().any(Option::is_some) {
        LimitOrigin::Inferred
    } else {
        LimitOrigin::None
    };
    NarrowLimit {
        low: limit(cuts[0]),
        high: limit(cuts[1]),
        origin,
    }
}

fn widths_of(pulses: impl Iterator<Item = Pulse>, level: Level) -> Vec<f64> {
    let of_level = pulses.filter(|pulse| pulse.level == level);
    let mut widths: Vec<i64> = of_level.map(|pulse| pulse.width().0).collect();
    widths.sort_unstable();
    widths.into_iter().map(|width| width as f64).collect()
}

/// As [`infer`], of the pulses between the bursts of a line that bounces: short ones are strays only far below all others, since a
/// contact makes pulses of any width. `rests`: how long the line stood at a level as the record began, and as it ended.
pub fn infer_of_contact<P: Iterator<Item = Pulse>>(
    pulses: impl Fn() -> P,
    rests: &[(Level, f64)],
    sampling: f64,
    ns: f64,
) -> NarrowLimit {
    let of = |level: Level| {
        let mut widths = widths_of(pulses(), level);
        widths.extend(rests.iter().filter(|rest| rest.0 == level).map(|rest| rest.1));
        widths.sort_unstable_by(f64::total_cmp);
        let longest_narrow = slow::far_below_most(&widths, ns)?;
        let count = widths.partition_point(|&w| w <= longest_narrow);
        let cut = Cut {
            count,
            longest_narrow,
            shortest_wide: widths[count],
        };
        let is_job = is_driven(&widths, count, sampling, ns) || repeats(&widths, count, sampling, ns);
        (!is_job).then(|| cut.limit(sampling))
    };
    match LEVELS.map(of) {
        [None, None] => NarrowLimit::NONE,
        [low, high] => NarrowLimit {
            low,
            high,
            origin: LimitOrigin::Inferred,
        },
    }
}

/// Whether most of ascending `widths` (ticks) lie in a few crowds as tight as sampling allows, as a clock's whole periods do.
/// `sampling`: period in ticks; `ns`: ticks in a nanosecond.
pub fn are_driven(widths: &[f64], sampling: f64, ns: f64) -> bool {
    !widths.is_empty() && is_driven(widths, widths.len(), sampling, ns)
}

/// The levels, in the order of their cuts.
const LEVELS: [Level; 2] = [Level::Low, Level::High];

/// Strays on both levels, each of which cut the other's pulses into pieces: the narrow pulses of the `first` level are all
/// there is until the other's strays are taken out, and these show once the first level's are. `healed`: widths of a
/// level without the strays of the other.
fn hidden_by_each_other(
    first: usize,
    widths: &[f64],
    healed: &impl Fn(usize, &Cut) -> Vec<f64>,
    sampling: f64,
    ns: f64,
) -> Option<[Option<Cut>; 2]> {
    // Neither is a job: pulses that repeat, or that are too long for what each of two levels catches.
    let may_be_strays = |cut: &Cut, widths: &[f64]| {
        !repeats(widths, cut.count, sampling, ns) && !are_long(&widths[..cut.count], ns)
    };
    let supposed = candidate(widths, sampling, ns).filter(|cut| may_be_strays(cut, widths))?;
    let others = healed(1 - first, &supposed);
    let other = cut(&others, sampling, ns).filter(|cut| may_be_strays(cut, &others))?;
    let own = cut(&healed(first, &other), sampling, ns)?;
    let mut cuts = [None, None];
    cuts[first] = Some(own);
    cuts[1 - first] = Some(other);
    Some(cuts)
}

fn cut(widths: &[f64], sampling: f64, ns: f64) -> Option<Cut> {
    let candidate = candidate(widths, sampling, ns).map(|cut| below_a_job(widths, cut, sampling, ns));
    candidate.filter(|cut| {
        let is_job = is_driven(widths, cut.count, sampling, ns)
            || are_long_and_few(widths, cut.count, sampling, ns)
            || are_all_there_is(widths, cut, sampling, ns);
        !is_job
    })
}

/// The cut moved below the longest pulses under it where these are a job of their own: of one width, long enough to be of
/// use, and far beyond the others.
fn below_a_job(widths: &[f64], cut: Cut, sampling: f64, ns: f64) -> Cut {
    let gap = |at: usize| widths[at] / (widths[at - 1] + sampling);
    let Some(at) = (1..cut.count).max_by(|&a, &b| gap(a).total_cmp(&gap(b))) else {
        return cut;
    };
    let (below, above) = (widths[at - 1], &widths[at..cut.count]);
    let is_job = gap(at) >= FAR
        && above[0] > USEFUL_NS * ns
        && above.len() >= FEWEST_OF_JOB
        && repeats(above, above.len(), sampling, ns);
    let are_strays = chance_of(widths, at, below + sampling.max(1.0)) < CHANCE;
    match is_job && are_strays {
        true => Cut {
            count: at,
            longest_narrow: below,
            shortest_wide: above[0],
        },
        false => cut,
    }
}

/// Where widths part, whoever makes the narrow ones.
fn candidate(widths: &[f64], sampling: f64, ns: f64) -> Option<Cut> {
    let candidates = widths.partition_point(|&w| w <= NARROWEST_JOB_NS * ns);
    if candidates == 0 {
        return None;
    }
    let dropped = drop_cut(widths, candidates, sampling, ns);
    let inside = dropped.map_or(candidates, |c| c.count);
    let valley = valley_cut(widths, inside, sampling, ns);
    let beyond = valley.zip(dropped);
    beyond
        .and_then(|(below, all)| beyond_second_crowd(widths, below, all, sampling, ns))
        .or(valley)
        .or(dropped)
}

/// Most pulses of a level that is not a line's rest are its job, unless they are short and lie far from the others.
pub(super) const MOST: f64 = 0.5;
const FAR: f64 = 2.5;
/// Pulses of one width that are a job, rather than alike by chance.
const FEWEST_OF_JOB: usize = 8;
/// With so many short pulses for one long one, that one is the odd one out, unless it is longer by far.
const NEARLY_ALL: f64 = 0.95;
const VERY_FAR: f64 = 10.0;

/// Whether the narrow pulses are what the level consists of, and the wide ones only their tail.
fn are_all_there_is(widths: &[f64], cut: &Cut, sampling: f64, ns: f64) -> bool {
    let share = cut.count as f64 / widths.len() as f64;
    let ratio = cut.shortest_wide / cut.longest_narrow.max(1e-9);
    let narrow = &widths[..cut.count];
    if are_long_and_alike(narrow, share, ns) {
        return true;
    }
    if is_below_own(widths, cut.count, sampling, ns) {
        return false;
    }
    share > MOST && ratio < FAR || share > NEARLY_ALL && ratio < VERY_FAR
}

/// The cut where the density of widths falls most: two constant densities, by likelihood.
fn drop_cut(widths: &[f64], candidates: usize, sampling: f64, ns: f64) -> Option<Cut> {
    let body = widths.partition_point(|&w| w <= BODY_NS * ns);
    let end = BODY_NS * ns;
    let mut best: Option<(f64, Cut)> = None;
    for count in 1..=candidates.min(widths.len() - 1) {
        let (longest_narrow, shortest_wide) = (widths[count - 1], widths[count]);
        if shortest_wide - sampling <= longest_narrow + sampling * 0.5 || shortest_wide < 1.2 * longest_narrow
        {
            continue;
        }
        let edge = longest_narrow + sampling.max(1.0);
        let (n, m) = (count as f64, (body - count.min(body)) as f64);
        let right = if m > 0.0 { m * (m / (end - edge)).ln() } else { 0.0 };
        let whole = (n + m) * ((n + m) / end).ln();
        let gain = n * (n / edge).ln() + right - whole;
        let cut = Cut {
            count,
            longest_narrow,
            shortest_wide,
        };
        let wins = best.is_none_or(|(g, _)| gain > g);
        let is_far = count >= SHOWN && longest_narrow <= USEFUL_NS * ns;
        let is_chance =
            chance_of(widths, count, edge) >= CHANCE && (!is_far || chance_of_gap(&cut, sampling) >= CHANCE);
        if wins && !is_chance && !repeats(widths, count, sampling, ns) {
            best = Some((gain, cut));
        }
    }
    best.map(|(_, cut)| with_tail(widths, cut, sampling, ns))
}

/// So many pulses far below the others make a limit; fewer may be a reset, a key or a second job, and are only told.
const SHOWN: usize = 6;

/// The few pulses, longest first, of a level for which no limit was found that lie so far below all others that chance
/// leaves such a gap one time in 1,000; none where there are more than a few. `sampling`: period in ticks; `ns`: ticks in a
/// nanosecond.
pub fn few_far_below(pulses: impl Iterator<Item = Pulse>, sampling: f64, ns: f64) -> Vec<Pulse> {
    let mut shortest: Vec<Pulse> = Vec::new();
    for pulse in pulses {
        let at = shortest.partition_point(|p| p.width() <= pulse.width());
        // Most are longer than all that are kept.
        if at <= SHOWN {
            shortest.insert(at, pulse);
            shortest.truncate(SHOWN + 1);
        }
    }
    let width = |at: usize| shortest[at].width().0 as f64;
    let is_far = |&count: &usize| {
        let cut = Cut {
            count,
            longest_narrow: width(count - 1),
            shortest_wide: width(count),
        };
        let is_short = cut.longest_narrow <= USEFUL_NS * ns
            || cut.longest_narrow <= NARROWEST_JOB_NS * ns
                && are_scattered_far_below((width(0), cut.longest_narrow), cut.shortest_wide, sampling);
        is_short && chance_of_gap(&cut, sampling) < CHANCE
    };
    let found = (1..shortest.len().min(SHOWN)).rev().find(is_far);
    shortest.truncate(found.unwrap_or(0));
    shortest.reverse();
    shortest
}

/// Chance that the widths of a line's ordinary pulses leave such a gap above the shortest of them: where they are as likely
/// to be of any width, the k-th and the one after it differ by a factor of r or more with chance r⁻ᵏ (order statistics of a
/// uniform sample; David, Nagaraja, *Order Statistics*, section 2.3).
fn chance_of_gap(cut: &Cut, sampling: f64) -> f64 {
    let ratio = (cut.longest_narrow + sampling) / (cut.shortest_wide - sampling).max(1e-9);
    ratio.min(1.0).powi(cut.count as i32)
}

/// A crowd's longest pulses may stand a little apart from it: this share of the crowd, this much longer than its bound,
/// and parted from the line's own by a gap that is wider by this factor and a factor of two at least.
const TAIL_SHARE: f64 = 0.25;
const TAIL_REACH: f64 = 1.5;
const TAIL_GAP: f64 = 1.3;

/// The cut moved beyond the crowd's tail, where a wider gap follows.
fn with_tail(widths: &[f64], cut: Cut, sampling: f64, ns: f64) -> Cut {
    let gap = |count: usize| widths[count] / (widths[count - 1] + sampling);
    let last = cut.count + (TAIL_SHARE * cut.count as f64) as usize;
    let longest = TAIL_REACH * NARROWEST_JOB_NS * ns;
    let best = (cut.count + 1..=last.min(widths.len() - 1))
        .filter(|&count| widths[count - 1] <= longest)
        .max_by(|&a, &b| gap(a).total_cmp(&gap(b)));
    match best {
        Some(count) if gap(count) >= (TAIL_GAP * gap(cut.count)).max(2.0) => Cut {
            count,
            longest_narrow: widths[count - 1],
            shortest_wide: widths[count],
        },
        _ => cut,
    }
}

/// Chance that as many as `count` ordinary pulses are shorter than `edge`, from how many lie just above it.
fn chance_of(widths: &[f64], count: usize, edge: f64) -> f64 {
    let mut expected: f64 = 0.0;
    for reach in [4.0, 16.0, 64.0, 256.0] {
        let within = widths.partition_point(|&w| w <= edge * reach) - count;
        expected = expected.max(within as f64 / (reach - 1.0));
    }
    poisson_upper(count as u64, expected + 0.002)
}

/// Pulses that make a crowd of the line's own above a valley.
const OWN_CROWD: usize = 10;
/// Widths of such a crowd reach so far.
const OWN_REACH: f64 = 1.45;

/// Whether the `count` shortest pulses lie below a crowd of the line's own that is tighter than they are: that crowd is
/// driven, so they are not.
fn is_below_own(widths: &[f64], count: usize, sampling: f64, ns: f64) -> bool {
    let (longest, next) = (widths[count - 1], widths[count]);
    let end = widths.partition_point(|&w| w <= next * OWN_REACH + sampling);
    end - count >= OWN_CROWD
        && next >= 1.5 * longest
        && share_spread(&widths[count..end]) < share_spread(&widths[..count])
        && !repeats(widths, count, sampling, ns)
}

/// So many samples don't show whether widths scatter, nor do so many of pulses that are too short for a job.
const UNSEEN: f64 = 2.0;
const UNSEEN_USELESS: f64 = 3.0;

/// Whether pulses no longer than this may scatter for all that sampling shows.
fn is_unseen(longest: f64, sampling: f64, ns: f64) -> bool {
    longest <= UNSEEN * sampling || longest <= UNSEEN_USELESS * sampling && longest <= USEFUL_NS * ns
}

/// The widest valley without any pulse between two crowds among the `inside` shortest widths and the next.
fn valley_cut(widths: &[f64], inside: usize, sampling: f64, ns: f64) -> Option<Cut> {
    let mut best: Option<(f64, Cut)> = None;
    for count in 5..=inside.min(widths.len() - 1) {
        let (longest_narrow, shortest_wide) = (widths[count - 1], widths[count]);
        let valley = (shortest_wide - sampling) - (longest_narrow + sampling * 0.5);
        if valley <= 0.0 || shortest_wide < 1.3 * (longest_narrow + sampling * 0.5) {
            continue;
        }
        let scattered = longest_narrow - sampling > (widths[0] + sampling) * 1.25
            || is_unseen(longest_narrow, sampling, ns);
        let above = widths.len().min(count + 20) - 1;
        if !(scattered || is_below_own(widths, count, sampling, ns)) || above < count + 4 {
            continue;
        }
        let left = count as f64 / (longest_narrow - widths[0] + sampling.max(1.0));
        let right = (above - count) as f64 / (widths[above] - shortest_wide + sampling.max(1.0));
        let missing = valley * left.min(right);
        if missing >= MISSING && best.is_none_or(|(m, _)| missing > m) {
            best = Some((
                missing,
                Cut {
                    count,
                    longest_narrow,
                    shortest_wide,
                },
            ));
        }
    }
    best.map(|(_, cut)| cut)
}

/// A limit for a level that has too few strays of its own, beside a level whose strays are known.
fn second_cut(widths: &[f64], known: Cut, sampling: f64, ns: f64) -> Option<Cut> {
    let limit = known.limit(sampling);
    let count = widths.partition_point(|&w| w < limit);
    if count == 0 || count == widths.len() {
        return None;
    }
    let (longest_narrow, shortest_wide) = (widths[count - 1], widths[count]);
    let parted =
        shortest_wide - sampling > longest_narrow + sampling * 0.5 && shortest_wide >= 1.3 * longest_narrow;
    let are_as_wide = longest_narrow <= 2.0 * known.longest_narrow.max(sampling);
    // Beside strays of such widths a few samples show no driven width, where all else is longer by far.
    let is_beside = longest_narrow < DRIVEN_SAMPLES * sampling
        && are_as_wide
        && shortest_wide >= VERY_FAR * longest_narrow;
    let cut = Cut {
        count,
        longest_narrow,
        shortest_wide,
    };
    // Fewer than make a limit by themselves: those of the other level vouch for them.
    let is_vouched_for = count < SHOWN
        && are_as_wide
        && shortest_wide >= FAR * (longest_narrow + sampling)
        && chance_of_gap(&cut, sampling) < CHANCE_BESIDE
        && !(count > 1 && longest_narrow > USEFUL_NS * ns && longest_narrow - widths[0] <= sampling.max(1.0));
    let fits = (is_vouched_for || chance_of(widths, count, limit) < CHANCE_SECOND)
        && (is_beside || !repeats(widths, count, sampling, ns))
        && !is_driven(widths, count, sampling, ns);
    (parted && fits).then_some(cut)
}

#[cfg(test)]
mod tests;
