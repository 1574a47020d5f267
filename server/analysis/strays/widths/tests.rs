//! What is narrow: the limits that a line's own pulses give.

use super::*;
use crate::model::Ticks;

/// Pulses of these widths (low, high), one after another.
fn in_turns(widths: impl Iterator<Item = (i64, i64)>) -> Vec<Pulse> {
    let mut at = 0;
    let both = widths.flat_map(|(low, high)| [(Level::Low, low), (Level::High, high)]);
    let pulse = |(edge, (level, width)): (usize, (Level, i64))| {
        let start = Ticks(at);
        at += width;
        Pulse {
            edge,
            start,
            end: Ticks(at),
            level,
        }
    };
    both.enumerate().map(pulse).collect()
}

#[test]
fn slices_below_a_level_s_strays_don_t_hide_them() {
    // Low and high strays of 40 to 76; beside the line's own edges they leave slices of 4 to 8 of the high level.
    let mut widths: Vec<(i64, i64)> = (0..60).map(|n| (9_000 + 131 * n, 8_000 + 173 * n)).collect();
    widths.extend((0..20).map(|n| (40 + n * 23 % 37, 12_000 + 97 * n)));
    widths.extend((0..20).map(|n| (11_000 + 89 * n, 41 + n * 29 % 36)));
    let scattered = widths.clone();
    widths.extend((0..7).map(|n| (13_000 + 61 * n, 4 + n % 3 * 2)));
    let both = |widths: &[(i64, i64)]| {
        let pulses = in_turns(widths.iter().copied());
        infer(|| pulses.clone().into_iter(), 1.0, 1.0)
    };
    for widths in [scattered, widths] {
        let limit = both(&widths);
        assert!(limit.low.is_some_and(|l| l > 76.0), "{limit:?}");
        assert!(limit.high.is_some_and(|l| l > 76.0), "{limit:?}");
    }
}

#[test]
fn long_short_pulses_in_trains_are_the_line_s_own() {
    // Forty pulses of 300 to 600 among ten of microseconds: in trains of four, or each by itself.
    let inferred = |gap: i64| {
        let (mut at, mut pulses) = (0, Vec::new());
        let mut push = |level: Level, width: i64| {
            let edge = pulses.len();
            pulses.push(Pulse {
                edge,
                start: Ticks(at),
                end: Ticks(at + width),
                level,
            });
            at += width;
        };
        for n in 0..40i64 {
            push(Level::High, 300 + n * 37 % 301);
            push(Level::Low, if n % 4 == 3 { 40_000 + 97 * n } else { gap + n });
            if n % 4 == 3 {
                push(Level::High, 30_000 + 911 * n);
                push(Level::Low, 50_000 + 31 * n);
            }
        }
        infer(|| pulses.clone().into_iter(), 1.0, 1.0).high
    };
    assert_eq!(inferred(800), None);
    assert!(inferred(60_000).is_some_and(|limit| limit > 600.0));
}

fn inferred(high: &[i64], sampling: f64, ns: f64) -> NarrowLimit {
    infer(|| pulses(high).into_iter(), sampling, ns)
}

fn pulses(high: &[i64]) -> Vec<Pulse> {
    let mut at = 0;
    let mut edge = 0;
    let mut pulses = Vec::new();
    for &width in high {
        pulses.push(Pulse {
            edge,
            start: Ticks(at),
            end: Ticks(at + width),
            level: Level::High,
        });
        at += width;
        pulses.push(Pulse {
            edge: edge + 1,
            start: Ticks(at),
            end: Ticks(at + 50_000),
            level: Level::Low,
        });
        at += 50_000;
        edge += 2;
    }
    pulses
}

#[test]
fn a_crowd_of_short_pulses_on_a_slow_line_is_narrow() {
    let mut widths = vec![18, 22, 25, 29, 31];
    widths.extend((0..40).map(|i| 5_000 + 977 * i));
    let limit = inferred(&widths, 0.0, 1.0);
    let high = limit.high.unwrap();
    assert!(high > 31.0 && high < 5_000.0, "{high}");
    assert_eq!(limit.low, None);
}

#[test]
fn a_few_samples_do_not_show_that_pulses_too_short_for_a_job_repeat() {
    // Samples of 10 ns: 20 and 30 ns beside pulses of 8 µs and more.
    let mut widths: Vec<i64> = (0..24).map(|i| 2 + i64::from(i > 13)).collect();
    widths.extend((0..60).map(|i| 809 + 271 * (i % 30)));
    let high = inferred(&widths, 1.0, 0.1).high.unwrap();
    assert!(high > 3.0 && high < 809.0, "{high}");
    // As wide in samples, but 120 ns long: a strobe's width.
    assert_eq!(inferred(&widths, 1.0, 0.01).high, None);
}

#[test]
fn short_pulses_spread_evenly_over_three_samples_are_of_several_widths() {
    // Samples of 2 ns: 16, 18 and 20 ns so often, below strobes of 60 to 76 ns.
    let high = |counts: [usize; 3]| {
        let short = counts.into_iter().zip([16, 18, 20]);
        let short = short.flat_map(|(count, width)| std::iter::repeat_n(width, count));
        let own = (0..150).map(|i| 60 + 2 * (i % 3 + i / 11 % 3 + i / 31 % 5));
        inferred(&short.chain(own).collect::<Vec<i64>>(), 2.0, 1.0).high
    };
    let limit = high([6, 5, 9]).unwrap();
    assert!(limit > 20.0 && limit < 60.0, "{limit}");
    // About a middle: one width, which a part drives.
    assert_eq!(high([3, 14, 3]), None);
}

#[test]
fn strays_of_two_causes_are_narrow_both() {
    // Low pulses of 10 to 18 ns and of 32 to 62 ns in samples of 2 ns, the line's own from 4 µs on.
    let mut widths: Vec<i64> = (0..21).map(|i| 5 + i % 5).collect();
    widths.extend((0..45).map(|i| 16 + i % 16));
    widths.extend((0..60).map(|i| 2_134 + 413 * i));
    let high = inferred(&widths, 1.0, 0.5).high.unwrap();
    assert!(high > 31.0 && high < 2_134.0, "{high}");
}

#[test]
fn the_tail_of_a_crowd_belongs_to_it() {
    // A bridge's strays last as long as another line's irregular pulses.
    let mut widths: Vec<i64> = (0..20).map(|i| 260 + 9 * i).collect();
    widths.extend([540, 600, 750]);
    widths.extend((0..60).map(|i| 2_460 + 61 * i));
    let high = inferred(&widths, 1.0, 1.0).high.unwrap();
    assert!(high > 750.0 && high < 2_460.0, "{high}");
}

#[test]
fn a_strobe_line_gives_no_ground() {
    let widths: Vec<i64> = (0..60).map(|i| 60 + i % 3).collect();
    assert_eq!(inferred(&widths, 0.0, 1.0).origin, LimitOrigin::None);
}

#[test]
fn a_strobe_beside_long_pulses_repeats_and_is_driven() {
    let mut widths: Vec<i64> = (0..60).map(|i| 60 + i % 3).collect();
    widths.extend((0..40).map(|i| 5_000 + 977 * i));
    assert_eq!(inferred(&widths, 0.0, 1.0).high, None);
}

#[test]
fn whole_multiples_of_a_clock_are_driven() {
    let mut widths: Vec<i64> = (0..12).map(|i| 300 + 5 * (i % 3)).collect();
    widths.extend((0..6).map(|_| 600));
    widths.extend((0..40).map(|i| 15_000 + 9_775 * i));
    assert_eq!(inferred(&widths, 5.0, 1.0).high, None);
}

#[test]
fn strays_below_a_line_s_own_strobes_are_parted_by_the_valley() {
    let mut widths: Vec<i64> = (0..20).map(|i| 10 + i).collect();
    widths.extend((0..60).map(|i| 60 + i));
    let high = inferred(&widths, 0.0, 1.0).high.unwrap();
    assert!(high > 29.0 && high < 60.0, "{high}");
}

#[test]
fn a_job_of_one_width_between_strays_and_the_rest_is_none() {
    let with_job = |job: &dyn Fn(i64) -> i64| {
        let mut widths: Vec<i64> = (0..20).map(|i| 10 + i * 7 % 13).collect();
        widths.extend((0..19).map(job));
        widths.extend((0..20).map(|i| 5_000 + 911 * i));
        inferred(&widths, 1.0, 1.0).high.unwrap()
    };
    let limit = with_job(&|i| 488 + i % 2);
    assert!(limit > 22.0 && limit < 488.0, "{limit}");
    // Widths that scatter are a bridge's or a second cause's.
    assert!(with_job(&|i| 250 + 17 * i) > 556.0);
}

#[test]
fn a_few_pulses_far_below_all_others_are_told() {
    fn told_of(short: &[i64], wide: impl Iterator<Item = i64>) -> (bool, Vec<i64>) {
        let (mut at, mut pulses) = (0, Vec::new());
        for (edge, width) in short.iter().copied().chain(wide).enumerate() {
            pulses.push(Pulse {
                edge: 2 * edge,
                start: Ticks(at),
                end: Ticks(at + width),
                level: Level::High,
            });
            at += width + 9_000;
        }
        let limit = infer(|| pulses.clone().into_iter(), 1.0, 1.0).high;
        let few = few_far_below(pulses.into_iter(), 1.0, 1.0);
        (
            limit.is_some(),
            few.iter().map(|p| p.width().0).collect::<Vec<i64>>(),
        )
    }
    let told = |short: &[i64]| told_of(short, (0..60).map(|n| 4_000 + 37 * n));
    // The chance of such a gap is (21/3,999)².
    assert_eq!(told(&[12, 20]), (false, vec![20, 12]));
    // One pulse leaves such a gap more than once in 1,000 times, and so do two with a third in sight.
    assert_eq!(
        [told(&[12]), told(&[12, 20, 600])],
        [(false, vec![]), (false, vec![])]
    );
    assert!(told(&[12, 14, 17, 20, 24, 29]).0, "six make a limit");
    // Longer than what is induced as a rule: only on a line that moves a thousand times more slowly.
    assert_eq!(told(&[200, 400]), (false, vec![]));
    let slow = (0..60).map(|n| 4_000_000 + 37_000 * n);
    assert_eq!(told_of(&[200, 400], slow.clone()), (false, vec![400, 200]));
    assert_eq!(told_of(&[400, 400], slow), (false, vec![]), "a job repeats");
}

#[test]
fn a_second_crowd_of_strays_ends_before_a_few_pulses_of_the_line_s_own() {
    // Strays of two causes, two pulses of the line's own ten times as long, and its ordinary ones.
    let crowds = [
        (13, 16.0, 0.8),
        (60, 39.0, 0.33),
        (2, 300.0, 150.0),
        (40, 4_000.0, 2_000.0),
    ];
    let widths: Vec<f64> = crowds
        .iter()
        .flat_map(|&(count, first, step)| (0..count).map(move |at| f64::round(first + step * at as f64)))
        .collect();
    let cut = cut(&widths, 1.0, 1.0).unwrap();
    assert_eq!(cut.count, 73);
}

#[test]
fn an_odd_piece_between_strays_and_the_line_s_own_does_not_split_the_strays() {
    // Strays of 15 to 64 with a gap at 21 to 30, a piece of 150 that a stray of the other level cut off, and the line's own.
    let strays = [15, 15, 16, 20, 21]
        .into_iter()
        .chain((0..28).map(|n| 30 + n * 5 / 7))
        .chain([64]);
    let own = (0..190).map(|n| if n < 7 { 486 + 200 * n } else { 2_118 + n % 4 });
    let widths: Vec<i64> = strays.chain([150]).chain(own).collect();
    let limit = inferred(&widths, 0.0, 1.0).high.unwrap();
    assert!(limit > 64.0 && limit < 150.0, "{limit}");
}

#[test]
fn a_few_strays_are_told_beside_those_of_the_other_level() {
    // Low strays of 27 to 69; high pulses of 5,079 and more, and `few`.
    let high = |few: &[i64]| {
        let low = (0..200).map(|n| {
            if n % 10 == 0 {
                27 + n * 29 / 130
            } else {
                5_163 + n % 7
            }
        });
        let own = (0..).map(|n| 5_079 + n * 7 % 90);
        let pulses = in_turns(low.zip(few.iter().copied().chain(own)));
        infer(|| pulses.clone().into_iter(), 1.0, 1.0).high
    };
    for few in [&[22][..], &[11, 62], &[11, 18, 22]] {
        assert!(
            high(few).is_some_and(|limit| limit > 62.0 && limit < 5_079.0),
            "{few:?}"
        );
    }
    assert_eq!(
        high(&[60, 600]),
        None,
        "one that is parted from the next by ten times"
    );
    assert_eq!(high(&[60, 60]), None, "two of one width, long enough for a job");
    assert_eq!(high(&[180]), None, "longer than those of the other level");
}

#[test]
fn three_samples_of_pulses_too_short_for_a_job_need_not_scatter() {
    // Samples of 10 ns: pulses of 10 to 30 ns, mostly of 20, below strobes of 60 to 120 ns.
    let short = [(1, 3), (2, 21), (3, 2)];
    let own = (0..296).map(|n| 6 + n % 7);
    let short = short
        .into_iter()
        .flat_map(|(width, count)| std::iter::repeat_n(width, count));
    let high = inferred(&short.chain(own).collect::<Vec<i64>>(), 1.0, 0.1).high;
    assert!(high.is_some_and(|limit| limit > 3.0 && limit < 6.0), "{high:?}");
}
