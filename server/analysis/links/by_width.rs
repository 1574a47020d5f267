//! Whether a link loses its narrow pulses and passes the wide ones: what a receiver too slow, or an edge too slow, does; a contact
//! loses all widths alike.
//!
//! Losses and arrivals are parted by width where Fisher's test parts them best, all widths that were tried allowed for (Bonferroni).
//! The test takes pulses for independent, which those of a contact that is open for a while are not: losses in an unbroken row count
//! once in it, with the widest of their widths.

use super::Link;
use crate::analysis::stats::fisher::fisher;
use crate::analysis::stats::order::at_share;

/// Chance, the widths that were tried allowed for, up to which losses are put down to the width. No source.
const CHANCE: f64 = 1e-3;
/// Wider pulses get lost at most so many times as often as narrow ones. No source: a fifth is what nobody would call alike.
const MUCH_LESS: f64 = 0.2;
/// Widths that are tried, at most.
const MOST_SPLITS: usize = 64;

/// Losses up to a width, and beyond.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ByWidth {
    /// The widest of the narrow pulses, in ticks.
    pub up_to: i64,
    /// Pulses up to that width that got lost, and all that were sent.
    pub lost: u64,
    pub of: u64,
    /// Wider ones.
    pub wider_lost: u64,
    pub wider: u64,
    /// Fisher's exact test, one-sided, the widths that were tried allowed for.
    pub p_value: f64,
}

/// A pulse that was sent, of the level that is not the sender's rest.
#[derive(Clone, Copy)]
struct Sent {
    start: i64,
    width: i64,
    is_lost: bool,
}

/// The width up to which pulses get lost, where width decides; `None` where it doesn't, or too few got lost to tell. Pauses that got
/// lost say nothing of it. Cost: n log n in pulses.
pub fn by_width(link: &Link) -> Option<ByWidth> {
    let level = link.arrivals.first()?.sent.level;
    let is_late = |start| {
        link.late
            .binary_search_by_key(&start, |late| late.sent.start)
            .is_ok()
    };
    let missing = link.missing.iter();
    let lost = missing.filter(|p| p.level == level && !is_late(p.start));
    let sent = |pulse: &super::EndPulse, is_lost| Sent {
        start: pulse.start.0,
        width: (pulse.end - pulse.start).0,
        is_lost,
    };
    let mut all: Vec<Sent> = link.arrivals.iter().map(|a| sent(&a.sent, false)).collect();
    all.extend(lost.map(|pulse| sent(pulse, true)));
    all.sort_by_key(|pulse| pulse.start);
    let tested = rows_once(&all);
    let mut widths: Vec<i64> = tested.iter().filter(|p| p.is_lost).map(|p| p.width).collect();
    widths.sort_unstable();
    widths.dedup();
    let tries = widths.len().min(MOST_SPLITS);
    let share = |at: usize| at as f64 / tries.saturating_sub(1).max(1) as f64;
    let splits = (0..tries).filter_map(|at| at_share(&widths, share(at)));
    let judged = splits.map(|up_to| {
        let test = counts(&tested, up_to);
        (
            fisher(test.lost, test.of, test.wider_lost, test.wider).ln_greater,
            up_to,
        )
    });
    let (ln_p, up_to) = judged.min_by(|a, b| a.0.total_cmp(&b.0))?;
    let p_value = (ln_p.exp() * tries as f64).min(1.0);
    let told = counts(&all, up_to);
    let rate = |lost: u64, of: u64| lost as f64 / of.max(1) as f64;
    let much = rate(told.wider_lost, told.wider) <= MUCH_LESS * rate(told.lost, told.of);
    (p_value <= CHANCE && much).then_some(ByWidth { p_value, ..told })
}

/// Losses in an unbroken row as one, as wide as the widest of them.
fn rows_once(all: &[Sent]) -> Vec<Sent> {
    let rows = all.chunk_by(|a, b| a.is_lost && b.is_lost);
    let widest = |row: &[Sent]| row.iter().copied().max_by_key(|pulse| pulse.width);
    rows.filter_map(widest).collect()
}

fn counts(all: &[Sent], up_to: i64) -> ByWidth {
    let of = |is_wider: bool| {
        let own = all.iter().filter(move |pulse| (pulse.width > up_to) == is_wider);
        (
            own.clone().filter(|p| p.is_lost).count() as u64,
            own.count() as u64,
        )
    };
    let ((lost, all_narrow), (wider_lost, wider)) = (of(false), of(true));
    ByWidth {
        up_to,
        lost,
        of: all_narrow,
        wider_lost,
        wider,
        p_value: 1.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::links::{LinkOptions, check, findings};
    use crate::demo::random::Random;
    use crate::model::{Capture, Level, Line, Ticks, TimeSpan};

    /// What the pulses of a machine are, by number; which get lost, by number and width.
    struct Plan<'a> {
        width: &'a dyn Fn(&mut Random, usize) -> i64,
        is_lost: &'a dyn Fn(&mut Random, usize, i64) -> bool,
    }

    fn any_width(random: &mut Random, _: usize) -> i64 {
        [90, 110, 250, 480][(random.draw() % 4) as usize]
    }

    /// 400 pulses of HIT, and what arrives at HIT_TWR 65 ns later.
    fn made(seed: u64, plan: &Plan) -> (Capture, Link) {
        let mut random = Random::new(seed);
        let (mut sent, mut arrived, mut at) = (Vec::new(), Vec::new(), 10_000);
        for number in 0..400 {
            let width = (plan.width)(&mut random, number);
            sent.extend([Ticks(at), Ticks(at + width)]);
            if !(plan.is_lost)(&mut random, number, width) {
                arrived.extend([Ticks(at + 65), Ticks(at + 65 + width)]);
            }
            at += 3_000 + (random.draw() % 9_000) as i64;
        }
        let span = TimeSpan::new(Ticks(0), Ticks(at + 10_000));
        let line = |name: &str, edges| Line::digital(name, Level::Low, edges, span);
        let lines = vec![line("HIT", sent), line("HIT_TWR", arrived)];
        let option = LinkOptions {
            from: 0,
            to: 1,
            max_delay: None,
            inverted: false,
        };
        let capture = Capture::in_nanoseconds("widths", span, lines);
        let link = check(&capture, &[option]).remove(0);
        (capture, link)
    }

    fn told(seed: u64, is_lost: &dyn Fn(&mut Random, usize, i64) -> bool) -> Option<ByWidth> {
        let width = &any_width;
        by_width(&made(seed, &Plan { width, is_lost }).1)
    }

    #[test]
    fn narrow_pulses_that_get_lost_are_told_with_the_width() {
        let only = told(1, &|random, _, width| width <= 110 && random.chance(0.6)).unwrap();
        assert_eq!((only.up_to, only.wider_lost), (110, 0));
        assert!(
            only.lost > 60 && only.of > only.lost && only.wider > 100,
            "{only:?}"
        );
        // A wide one among them.
        let is_lost = |random: &mut Random, number, width| {
            (200..204).contains(&number) || width <= 110 && random.chance(0.6)
        };
        let nearly = told(2, &is_lost).unwrap();
        assert!(
            nearly.up_to == 110 && (1..4).contains(&nearly.wider_lost),
            "{nearly:?}"
        );
    }

    #[test]
    fn the_finding_says_so_and_leads_with_the_width_at_the_receiver() {
        let plan = Plan {
            width: &any_width,
            is_lost: &|random, _, width| width <= 110 && random.chance(0.6),
        };
        let (capture, link) = made(1, &plan);
        let found = findings(&capture, &[link]);
        assert!(
            found[0]
                .title
                .ends_with("never reach HIT_TWR: only pulses up to 110 ns get lost."),
            "{}",
            found[0].title
        );
        assert!(found[0].detail.contains("none of "), "{}", found[0].detail);
        let next = found[0].try_next.join(" ");
        assert!(found[0].try_next[0].starts_with("Scope HIT_TWR at the receiver's own pin"));
        assert!(
            next.contains("series resistor") && !next.contains("connector"),
            "{next}"
        );
    }

    #[test]
    fn what_loses_all_widths_is_not_put_down_to_width() {
        for seed in 0..60 {
            // A bad contact, and one that opens once, while the machine sends narrow pulses only.
            assert_eq!(told(seed, &|random, _, _| random.chance(0.2)), None, "{seed}");
            let open = |number: usize| (100..140).contains(&number);
            let plan = Plan {
                width: &|random, number| {
                    if open(number) {
                        90
                    } else {
                        any_width(random, number)
                    }
                },
                is_lost: &|_, number, _| open(number),
            };
            assert_eq!(by_width(&made(seed, &plan).1), None, "{seed}");
        }
    }
}
