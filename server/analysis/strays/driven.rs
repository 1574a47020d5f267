//! Widths that somebody drives: pulses of a line's own logic repeat to the sample, those that are induced scatter.

use crate::analysis::stats::order::at_shares;

/// Shorter pulses are nobody's job, unless they are seen to repeat: flip-flops of the TTL families are specified for
/// pulses of 20 to 40 ns and more (from memory of their data books).
pub(super) const USEFUL_NS: f64 = 45.0;
/// Pulses of one driven width scatter less than this, beyond what sampling does.
const DRIVEN_SPREAD: f64 = 1.10;
/// Of so many pulses of one driven width the ninth tenth is hardly beyond the first (common practice, no source).
const DRIVEN_MANY: usize = 24;
const DRIVEN_SPREAD_MOST: f64 = 0.08;
/// Widths of so many samples show whether they repeat.
pub(super) const DRIVEN_SAMPLES: f64 = 8.0;
/// Crowds of driven widths are parted by at least so many samples.
const DRIVEN_GAP_SAMPLES: f64 = 4.0;
/// Fewer pulses than this of one width may be alike by chance.
const DRIVEN_CROWD: usize = 4;
/// Crowds of driven widths are parted by at least this share of their width.
const DRIVEN_GAP: f64 = 0.15;
/// This share of the narrow pulses in tight crowds means that they are driven.
const DRIVEN_SHARE: f64 = 0.7;

/// Whether `count` shortest widths repeat to the sample, as driven pulses do. A few samples can't show it of pulses that
/// are too short for a job.
pub(super) fn repeats(widths: &[f64], count: usize, sampling: f64, ns: f64) -> bool {
    let (shortest, longest) = (widths[0], widths[count - 1]);
    if longest <= USEFUL_NS * ns && longest < DRIVEN_SAMPLES * sampling {
        return false;
    }
    // One driven width shows as two neighbouring numbers of samples, apart from its own jitter.
    let scatter = 1.05 * sampling + (DRIVEN_SPREAD - 1.0) * longest;
    let Some([first, last]) = at_shares(&widths[..count], [0.1, 0.9]) else {
        return false;
    };
    // A few of many lie farther off.
    let mostly = count >= DRIVEN_MANY
        && first >= DRIVEN_SAMPLES * sampling
        && last - first <= 1.05 * sampling + DRIVEN_SPREAD_MOST * first;
    !are_several(&widths[..count], sampling.max(1.0), ns)
        && count >= 3
        && longest > 2.5 * sampling.max(1e-9)
        && (longest - shortest <= scatter || mostly)
}

/// Whether most of the `count` shortest widths lie in a few crowds, each as tight as sampling allows and parted
/// from the next: a clock that drives the line makes its pulses whole multiples of a period, and no induced pulse
/// repeats like that.
pub(super) fn is_driven(widths: &[f64], count: usize, sampling: f64, ns: f64) -> bool {
    let step = sampling.max(1.0);
    if widths[0] < DRIVEN_SAMPLES * step {
        return false;
    }
    let mut in_crowds = 0;
    let mut from = 0;
    for at in 1..=count {
        let goes_on = at < count && widths[at] - widths[at - 1] <= 1.5 * step;
        if goes_on {
            continue;
        }
        let crowd = &widths[from..at];
        let is_tight = crowd[crowd.len() - 1] - crowd[0] <= 2.5 * step && !are_several(crowd, step, ns);
        // Widths that scatter gather by chance as well, but not far from each other.
        let next = widths.get(at).map_or(f64::INFINITY, |w| w - widths[at - 1]);
        let before = if from == 0 {
            f64::INFINITY
        } else {
            widths[from] - widths[from - 1]
        };
        let is_parted = next.min(before) >= (DRIVEN_GAP * widths[at - 1]).max(DRIVEN_GAP_SAMPLES * step);
        if is_tight && is_parted && at - from >= DRIVEN_CROWD {
            in_crowds += at - from;
        }
        from = at;
    }
    count >= 3 && in_crowds as f64 >= DRIVEN_SHARE * count as f64
}

/// Share of a crowd that lies about its middle where its pulses have one width.
const ABOUT_MIDDLE: f64 = 0.5;

/// Whether an ascending crowd of pulses too short for a job is of several widths: one shows as two numbers of samples, and
/// its own jitter as a third beside a strong middle.
fn are_several(crowd: &[f64], step: f64, ns: f64) -> bool {
    let (least, most) = (crowd[0], crowd[crowd.len() - 1]);
    let quarter = 0.25 * (most - least);
    let inside = crowd
        .iter()
        .filter(|w| (least + quarter..=most - quarter).contains(*w));
    let has_middle = inside.count() as f64 >= ABOUT_MIDDLE * crowd.len() as f64;
    most <= USEFUL_NS * ns && most - least > 1.5 * step && !has_middle
}
