//! Links with planted truth: made here from a seed, so that every missing and extra pulse is known.

use super::delay::Cluster;
use super::matching::Windows;
use super::*;
use crate::analysis::findings::Severity;
use crate::dice::Dice;
use crate::model::{Bus, Stretch, TimeSpan};

/// Dice that roll the same for the same seed.
fn dice(seed: u64) -> Dice {
    Dice(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
}

const END: i64 = 60_000_000;

/// Pulses (start, end) in ns, bursts and rests, high 200 ns to 2 µs.
fn pulses(dice: &mut Dice, n: usize) -> Vec<(i64, i64)> {
    let mut at = 10_000;
    let mut out = Vec::new();
    while out.len() < n && at < END - 10_000 {
        at += if dice.chance(0.4) {
            400 + dice.below(600) as i64
        } else {
            20_000 + dice.below(400_000) as i64
        };
        let width = 200 + dice.below(1800) as i64;
        out.push((at, at + width));
        at += width;
    }
    out
}

fn line(name: &str, pulses: &[(i64, i64)], sample: i64, high: bool) -> Line {
    let mut edges: Vec<i64> = pulses.iter().flat_map(|p| [p.0, p.1]).collect();
    edges
        .iter_mut()
        .for_each(|e| *e = (*e + sample - 1).div_euclid(sample) * sample);
    let edges = edges.into_iter().map(Ticks).collect();
    let first = if high { Level::High } else { Level::Low };
    let mut line = Line::digital(name, first, edges, TimeSpan::new(Ticks(0), Ticks(END)));
    line.sample_ticks = if sample > 1 { sample as f64 } else { 0.0 };
    line
}

fn capture(lines: Vec<Line>) -> Capture {
    Capture::in_nanoseconds("bench.vcd", TimeSpan::new(Ticks(0), Ticks(END)), lines)
}

fn option(from: usize, to: usize) -> LinkOptions {
    LinkOptions {
        from,
        to,
        max_delay: Some(Ticks(500)),
        inverted: false,
    }
}

/// What arrives of `sent`: each pulse lost with chance `loss`, delays of 30 + jitter at each edge.
fn send(dice: &mut Dice, sent: &[(i64, i64)], loss: f64, jitter: i64) -> (Vec<(i64, i64)>, Vec<i64>) {
    let (mut arrived, mut lost) = (Vec::new(), Vec::new());
    for &(start, end) in sent {
        if dice.chance(loss) {
            lost.push(start);
        } else {
            arrived.push((
                start + 30 + dice.below(jitter as u64 + 1) as i64,
                end + 38 + dice.below(jitter as u64 + 1) as i64,
            ));
        }
    }
    (arrived, lost)
}

/// Adds pulses nobody sent, clear of the others.
fn disturb(dice: &mut Dice, arrived: &mut Vec<(i64, i64)>, n: usize) -> Vec<i64> {
    let mut extra = Vec::new();
    while extra.len() < n {
        let at = 20_000 + dice.below(END as u64 - 40_000) as i64;
        let width = 25 + dice.below(200) as i64;
        if arrived.iter().all(|p| at + width + 60 < p.0 || p.1 + 60 < at) {
            arrived.push((at, at + width));
            arrived.sort_unstable();
            extra.push(at);
        }
    }
    extra.sort_unstable();
    extra
}

/// Whether the two lists agree to within `slack`, one to one.
fn agree(found: &[EndPulse], planted: &[i64], slack: i64) -> bool {
    found.len() == planted.len()
        && found
            .iter()
            .zip(planted)
            .all(|(f, p)| (f.start.0 - p).abs() <= slack)
}

#[test]
fn planted_losses_and_noise_are_listed_exactly() {
    for seed in 0..60 {
        let mut dice = dice(seed);
        let sample = [1, 5, 20][seed as usize % 3];
        let loss = [0.0, 0.02, 0.1, 0.4][seed as usize % 4];
        let noise = [0, 6, 0, 20, 1][seed as usize % 5];
        let sent = pulses(&mut dice, 200);
        let (mut arrived, lost) = send(&mut dice, &sent, loss, 12);
        let extra = disturb(&mut dice, &mut arrived, noise);
        let capture = capture(vec![
            line("OUT", &sent, sample, false),
            line("IN", &arrived, sample, false),
        ]);
        let link = &check(&capture, &[option(0, 1)])[0];
        assert!(
            agree(&link.missing, &lost, sample),
            "seed {seed}: {:?} for {lost:?}",
            link.missing
        );
        assert!(
            agree(&link.extra, &extra, sample),
            "seed {seed}: {:?} for {extra:?}",
            link.extra
        );
        let verdict = match (lost.is_empty(), extra.is_empty()) {
            (true, true) => Verdict::Intact,
            (false, true) => Verdict::Lossy,
            (true, false) => Verdict::Noisy,
            (false, false) => Verdict::LossyNoisy,
        };
        assert_eq!(link.verdict, verdict, "seed {seed}");
        assert_eq!(
            (link.sent, link.arrived),
            (sent.len(), sent.len() - lost.len()),
            "seed {seed}"
        );
        let delay = link.delay.unwrap();
        assert!(
            (delay.median - 36.0).abs() <= 4.0 + 0.1 * sample as f64,
            "seed {seed}: {delay:?}"
        );
        assert!(delay.low <= delay.median && delay.median <= delay.high);
    }
}

#[test]
fn upside_down_stuck_floating_and_late_ends_are_told_apart() {
    let mut dice = dice(7);
    let sent = pulses(&mut dice, 60);
    let (arrived, _) = send(&mut dice, &sent, 0.0, 5);
    let late: Vec<(i64, i64)> = sent.iter().map(|p| (p.0 + 3000, p.1 + 3000)).collect();
    let mut floating = line("Z", &[], 1, false);
    floating.stretches.push(Stretch {
        span: TimeSpan::new(Ticks(0), Ticks(END)),
        kind: StretchKind::Floating,
    });
    let c = capture(vec![
        line("OUT", &sent, 1, false),
        line("TURNED", &arrived, 1, true),
        line("STUCK", &[], 1, true),
        floating,
        line("LATE", &late, 1, false),
    ]);
    let turned = LinkOptions {
        inverted: true,
        ..option(0, 1)
    };
    let links = check(
        &c,
        &[option(0, 1), turned, option(0, 2), option(0, 3), option(0, 4)],
    );
    let verdicts: Vec<Verdict> = links.iter().map(|l| l.verdict).collect();
    use Verdict::{Dead, Intact, Inverted};
    assert_eq!(verdicts, [Inverted, Intact, Dead, Dead, Dead]);
    assert_eq!(links[2].far_end, FarEnd::Stuck(Level::High));
    assert_eq!(links[3].far_end, FarEnd::Floating);
    assert!(matches!(links[4].far_end, FarEnd::Late(d) if (d - 3000.0).abs() < 1.0));
    assert_eq!(links[2].missing.len(), 60);
    // TURNED is the only line in time; upside down it is still named, for the stuck end and the floating one.
    assert_eq!(
        links[2].better_match.map(|b| (b.line, b.inverted)),
        Some((1, true))
    );
    let said = findings(&c, &links);
    assert_eq!(said.len(), 4);
    assert!(
        said[1].title.contains("STUCK never leaves high"),
        "{}",
        said[1].title
    );
}

#[test]
fn swapped_wires_and_a_reversed_bus_are_named() {
    let mut dice = dice(11);
    let sent: Vec<Vec<(i64, i64)>> = (0..5).map(|_| pulses(&mut dice, 80)).collect();
    let far: Vec<Vec<(i64, i64)>> = sent.iter().map(|s| send(&mut dice, s, 0.0, 6).0).collect();
    let wire = |order: [usize; 5]| {
        let mut lines: Vec<Line> = (0..5)
            .map(|i| line(&format!("A[{i}]"), &sent[i], 5, false))
            .collect();
        lines.extend((0..5).map(|i| line(&format!("B[{i}]"), &far[order[i]], 5, false)));
        let mut c = capture(lines);
        c.buses = vec![
            Bus {
                name: "A".into(),
                bits: vec![4, 3, 2, 1, 0],
                base: None,
            },
            Bus {
                name: "B".into(),
                bits: vec![9, 8, 7, 6, 5],
                base: None,
            },
        ];
        c
    };
    let outcome = |order: [usize; 5]| {
        let c = wire(order);
        let options: Vec<LinkOptions> = expand(&c, "A", "B")
            .unwrap()
            .into_iter()
            .map(|(from, to)| option(from, to))
            .collect();
        let links = check(&c, &options);
        (crossings(&links), links, c)
    };
    assert_eq!(outcome([0, 1, 2, 3, 4]).0, []);
    let (swapped, links, c) = outcome([0, 2, 1, 3, 4]);
    assert_eq!(swapped.len(), 1);
    assert_eq!((swapped[0].links.len(), swapped[0].reversed), (2, false));
    assert!(
        findings(&c, &links)[0]
            .title
            .contains("A[2] and A[1] are swapped")
    );
    let dead: Vec<&Link> = links.iter().filter(|l| l.verdict == Verdict::Dead).collect();
    assert_eq!(dead.len(), 2);
    assert_eq!(dead[0].better_match.map(|b| (b.line, b.arrived)), Some((6, 80)));
    let (reversed, ..) = outcome([4, 3, 2, 1, 0]);
    assert_eq!(
        (reversed.len(), reversed[0].links.len(), reversed[0].reversed),
        (1, 5, true)
    );
    let (rotated, ..) = outcome([1, 2, 0, 3, 4]);
    assert_eq!(
        (rotated.len(), rotated[0].links.len(), rotated[0].reversed),
        (1, 3, false)
    );
    assert!(
        expand(&c, "A", "C")
            .unwrap_err()
            .contains("no line or bus called C")
    );
}

#[test]
fn a_far_end_on_the_wrong_clocked_signal_is_dead_though_edges_coincide() {
    // Two signals that only switch with one clock: many of their edges coincide.
    let mut dice = dice(3);
    let mut clocked = |p: f64| {
        let (mut out, mut open) = (Vec::new(), None);
        for tick in 1..2000 {
            match open {
                None if dice.chance(p) => open = Some(tick * 1000),
                Some(start) if dice.chance(0.6) => {
                    out.push((start, tick * 1000));
                    open = None;
                }
                _ => {}
            }
        }
        out
    };
    let (a, b) = (clocked(0.4), clocked(0.4));
    let late = |s: &[(i64, i64)]| -> Vec<(i64, i64)> { s.iter().map(|p| (p.0 + 20, p.1 + 20)).collect() };
    let c = capture(vec![
        line("A_OUT", &a, 1, false),
        line("B_OUT", &b, 1, false),
        line("A_IN", &late(&b), 1, false),
        line("B_IN", &late(&a), 1, false),
    ]);
    // The same with the true sender not captured: coincidences at every clock period are no link.
    let alone = capture(vec![
        line("A_OUT", &a, 1, false),
        line("A_IN", &late(&b), 1, false),
    ]);
    let link = &check(&alone, &[option(0, 1)])[0];
    assert_eq!((link.verdict, link.far_end), (Verdict::Dead, FarEnd::Unexplained));
    let links = check(&c, &[option(0, 2), option(1, 3)]);
    assert_eq!(
        (links[0].verdict, links[1].verdict),
        (Verdict::Dead, Verdict::Dead)
    );
    assert_eq!(links[0].better_match.map(|b| b.line), Some(3));
    assert_eq!(
        links[0].far_end,
        FarEnd::Follows {
            line: 1,
            inverted: false
        }
    );
}

#[test]
fn a_stretched_pulse_is_neither_missing_nor_extra() {
    let mut dice = dice(5);
    let sent = pulses(&mut dice, 100);
    let (mut arrived, _) = send(&mut dice, &sent, 0.0, 3);
    arrived[40].1 += 150;
    arrived[70].1 -= 120;
    let c = capture(vec![line("OUT", &sent, 1, false), line("IN", &arrived, 1, false)]);
    let link = &check(&c, &[option(0, 1)])[0];
    assert_eq!((link.verdict, link.arrived), (Verdict::Intact, 100));
    let starts: Vec<i64> = link.distorted.iter().map(|d| d.sent.start.0).collect();
    assert_eq!(starts, [sent[40].0, sent[70].0]);
    assert!(
        findings(&c, std::slice::from_ref(link))[0]
            .title
            .contains("2 pulses from OUT arrive at IN with another width")
    );
}

#[test]
fn what_lies_outside_the_recording_is_not_held_against_the_link() {
    let mut dice = dice(9);
    let sent = pulses(&mut dice, 120);
    let (arrived, _) = send(&mut dice, &sent, 0.0, 3);
    let mut far = line("IN", &arrived, 1, false);
    // The far end was not recorded for a while: its edges there are gone.
    let (from, to) = (arrived[50].0 - 100, arrived[60].1 + 100);
    far.edges = far
        .edges
        .iter()
        .copied()
        .filter(|e| e.0 < from || e.0 > to)
        .collect::<Vec<_>>()
        .into();
    far.stretches.push(Stretch {
        span: TimeSpan::new(Ticks(from), Ticks(to)),
        kind: StretchKind::Unrecorded,
    });
    let c = capture(vec![line("OUT", &sent, 1, false), far]);
    let link = &check(&c, &[option(0, 1)])[0];
    assert_eq!(link.verdict, Verdict::Intact);
    assert_eq!((link.sent, link.arrived), (109, 109));
}

#[test]
fn undeclared_links_are_proposed() {
    let mut dice = dice(13);
    let (a, b) = (pulses(&mut dice, 90), pulses(&mut dice, 90));
    let (far, _) = send(&mut dice, &a, 0.005, 4);
    let c = capture(vec![
        line("IN", &far, 1, false),
        line("OTHER", &b, 1, false),
        line("OUT", &a, 1, false),
    ]);
    let proposals = propose(&c, &[]);
    assert_eq!(proposals.len(), 1);
    assert_eq!(
        (proposals[0].from, proposals[0].to, proposals[0].inverted),
        (2, 0, false)
    );
    assert!(propose(&c, &[option(2, 0)]).is_empty());
    let said = proposed(&c, &proposals);
    assert_eq!(said[0].title, "IN looks like the far end of OUT");
}

#[test]
fn of_too_many_lines_the_busiest_are_compared_and_the_others_told() {
    let mut dice = dice(13);
    let (a, b) = (pulses(&mut dice, 90), pulses(&mut dice, 60));
    let (far_a, _) = send(&mut dice, &a, 0.005, 4);
    let (far_b, _) = send(&mut dice, &b, 0.005, 4);
    let c = capture(vec![
        line("SLOW", &b, 1, false),
        line("SLOW_FAR", &far_b, 1, false),
        line("OUT", &a, 1, false),
        line("IN", &far_a, 1, false),
    ]);
    let pairs = |most| -> Vec<(usize, usize)> {
        let found = super::propose::propose_among(&c, &[], most);
        found.iter().map(|p| (p.from, p.to)).collect()
    };
    assert_eq!(pairs(4).len(), 2);
    assert_eq!(pairs(2), vec![(2, 3)]);
    assert!(proposed(&c, &[]).is_empty());

    let many = capture((0..600).map(|i| line(&format!("L{i}"), &b, 1, false)).collect());
    let proposal = super::Proposal {
        from: 0,
        to: 1,
        inverted: false,
        delay: 1.0,
        quality: 1.0,
        lost: 0.0,
    };
    let said = proposed(&many, &[proposal; 130]);
    assert_eq!(said.len(), 2);
    assert_eq!(
        said[0].title,
        "130 pairs of lines look like the two ends of one signal"
    );
    assert!(said[0].detail.contains("; and 118 more"), "{}", said[0].detail);
    assert!(
        said[1].title.starts_with("only the 512 busiest of 600 lines"),
        "{}",
        said[1].title
    );
}

#[test]
fn pulses_missing_a_step_later_are_no_warning() {
    let mut dice = dice(13);
    let sent = pulses(&mut dice, 90);
    let (far, _) = send(&mut dice, &sent, 0.1, 4);
    let c = capture(vec![line("OUT", &sent, 1, false), line("IN", &far, 1, false)]);
    let severity = |delay: f64| {
        let proposal = super::Proposal {
            from: 0,
            to: 1,
            inverted: false,
            delay,
            quality: 0.9,
            lost: 0.1,
        };
        proposed(&c, &[proposal])[0].severity
    };
    let wire = c.timebase.ticks_of(200e-9);
    assert_eq!(
        [severity(wire), severity(2.0 * wire)],
        [Severity::Warning, Severity::Note]
    );
}

#[test]
fn the_best_chain_agrees_with_trying_all() {
    // Dense windows that overlap: the chain must be as heavy as the best of all chains (plain twin by recursion).
    fn plain(sent: &[i64], far: &[i64], tolerance: i64) -> f64 {
        match sent.split_first() {
            None => 0.0,
            Some((s, rest)) => {
                let skip = plain(rest, far, tolerance);
                (0..far.len())
                    .filter(|&j| (far[j] - s).abs() <= tolerance)
                    .fold(skip, |best, j| {
                        let share = (far[j] - s) as f64 / tolerance as f64;
                        best.max(2.0 - share * share + plain(rest, &far[j + 1..], tolerance))
                    })
            }
        }
    }
    for seed in 0..200 {
        let mut dice = dice(seed);
        let mut times = |n: i64| {
            let mut t: Vec<i64> = (0..n).map(|_| dice.below(60) as i64).collect();
            t.sort_unstable();
            t.dedup();
            t
        };
        let (s, f) = (times(7), times(8));
        let train = |t: &[i64]| Train {
            times: t.to_vec(),
            rises: vec![true; t.len()],
            known: vec![TimeSpan::new(Ticks(0), Ticks(100))],
            span: TimeSpan::new(Ticks(0), Ticks(100)),
        };
        let cluster = Cluster {
            center: 0.0,
            tolerance: 6.0,
            ln_chance: -50.0,
            ln_local: -50.0,
        };
        let windows = Windows {
            rise: cluster,
            fall: cluster,
            range: (-6, 6),
        };
        let pairs = matching::match_trains(&train(&s), &train(&f), &windows).pairs;
        assert!(pairs.windows(2).all(|p| p[0].0 < p[1].0 && p[0].1 < p[1].1));
        let weight: f64 = pairs
            .iter()
            .map(|&(i, j)| 2.0 - ((f[j] - s[i]) as f64 / 6.0).powi(2))
            .sum();
        let best = plain(&s, &f, 6);
        assert!(
            (weight - best).abs() < 1e-9,
            "seed {seed}: {weight} for {best}: {s:?} {f:?}"
        );
    }
}

/// A fifth of the pulses lost and the rest late: told as late, not as dead.
#[test]
fn what_comes_late_and_not_whole_is_late() {
    let sent: Vec<(i64, i64)> = (0..60i64)
        .map(|n| {
            let at = 20_000 + 50_000 * n + 1_300 * (n * n % 11);
            (at, at + 4_000 + 700 * (n % 7))
        })
        .collect();
    let arrived = sent.iter().enumerate().filter(|(n, _)| n % 5 != 2);
    let late: Vec<(i64, i64)> = arrived.map(|(_, p)| (p.0 + 3_000, p.1 + 3_000)).collect();
    let c = capture(vec![line("SENT", &sent, 1, false), line("LATE", &late, 1, false)]);
    let far_end = check(&c, &[option(0, 1)])[0].far_end;
    assert!(
        matches!(far_end, FarEnd::Late(d) if (d - 3_000.0).abs() < 2.0),
        "{far_end:?}"
    );
}
