//! Benchmarks of alignment and links: irregular edges from a fixed seed, offset unknown within ± 1 s.
//!
//! `cargo bench --bench comparisons`. Each timed closure checks its answer.

#[path = "../common/dice.rs"]
mod dice;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use dice::Dice;
use edgewitness::analysis::align::{Edges, align};
use edgewitness::analysis::links::{LinkOptions, Verdict, check, propose};
use edgewitness::model::{Capture, Format, Level, Line, Ticks, TimeSpan, Timebase};

/// `n` edges with rests of 0.2 µs and more, 1.2 µs on average.
fn times(n: usize) -> Vec<f64> {
    let (mut dice, mut at) = (Dice(0x9E37_79B9_7F4A_7C15), 0.0);
    (0..n)
        .map(|_| {
            at += 2e-7 - 1e-6 * dice.unit().max(1e-12).ln();
            at
        })
        .collect()
}

fn seen(times: &[f64], offset: f64, drift: f64, sample: f64) -> Edges {
    let stamp = |t: &f64| ((t - offset) / (1.0 + drift) / sample).ceil() * sample;
    let first = stamp(&times[0]);
    Edges {
        times: times.iter().map(|t| stamp(t) - first - 0.5 * sample).collect(),
        rises: (0..times.len()).map(|i| i % 2 == 0).collect(),
        sample_s: sample,
        origin_s: first,
    }
}

fn in_nanoseconds(span: TimeSpan, lines: Vec<Line>) -> Capture {
    Capture {
        file: "bench.vcd".to_owned(),
        format: Format::Vcd,
        timebase: Timebase::decimal(-9),
        span,
        resolution_ticks: 1.0,
        lines,
        buses: Vec::new(),
        not_logic: Vec::new(),
        warnings: Vec::new(),
    }
}

fn alignment(c: &mut Criterion) {
    let mut group = c.benchmark_group("align");
    group.sample_size(10);
    for n in [10_000, 100_000, 1_000_000] {
        let times = times(n);
        let (a, b) = (seen(&times, 0.0, 0.0, 1e-8), seen(&times, -0.731, 2.3e-5, 2e-8));
        group.throughput(Throughput::Elements(n as u64));
        group.bench_function(BenchmarkId::from_parameter(n), |bench| {
            bench.iter(|| {
                let found = align(&a, &b).unwrap();
                assert!((found.offset_s + 0.731).abs() < 1e-8);
                found
            });
        });
    }
}

fn links(c: &mut Criterion) {
    let mut group = c.benchmark_group("links");
    group.sample_size(10);
    for n in [10_000, 100_000, 1_000_000] {
        let ns: Vec<i64> = times(n).iter().map(|t| (t * 1e9) as i64).collect();
        let span = TimeSpan::new(Ticks(0), Ticks(ns[n - 1] + 1000));
        let line = |name: &str, delay: i64| {
            let edges = ns.iter().map(|t| Ticks(t + delay)).collect();
            Line::digital(name, Level::Low, edges, span)
        };
        let capture = in_nanoseconds(span, vec![line("STRIKE_OUT", 0), line("STRIKE_IN", 35)]);
        let option = LinkOptions {
            from: 0,
            to: 1,
            max_delay: Some(Ticks(150)),
            inverted: false,
        };
        group.throughput(Throughput::Elements(n as u64));
        group.bench_function(BenchmarkId::from_parameter(n), |bench| {
            bench.iter(|| {
                let found = check(&capture, &[option]);
                assert_eq!(found[0].verdict, Verdict::Intact);
                found
            });
        });
    }
}

/// Sixteen lines, two of them the ends of one link, the others as busy: the worst case for proposals.
fn proposals(c: &mut Criterion) {
    let mut group = c.benchmark_group("propose");
    group.sample_size(10);
    for n in [10_000, 100_000, 1_000_000] {
        let spread = |k: i64| -> Vec<Ticks> {
            let all = times(n + k as usize);
            let own = all
                .iter()
                .skip(k as usize)
                .map(|t| Ticks((t * 1e9) as i64 + 35 * (k / 15)));
            own.collect()
        };
        let base = spread(0);
        let end = base[n - 1].0 + 100_000;
        let span = TimeSpan::new(Ticks(0), Ticks(end));
        let lines = (0..16).map(|k: i64| {
            // The last line is the far end of the first; the rest keep other times.
            let edges: Vec<Ticks> = match k {
                15 => base.iter().map(|t| Ticks(t.0 + 35)).collect(),
                k => spread(97 * k)
                    .iter()
                    .map(|t| Ticks((t.0 + 313 * k) % end))
                    .collect(),
            };
            let mut edges = edges;
            edges.sort_unstable();
            edges.dedup();
            Line::digital(format!("LINE_{k}"), Level::Low, edges, span)
        });
        let capture = in_nanoseconds(span, lines.collect());
        group.throughput(Throughput::Elements(16 * n as u64));
        group.bench_function(BenchmarkId::from_parameter(n), |bench| {
            bench.iter(|| {
                let found = propose(&capture, &[]);
                assert!(found.iter().any(|p| (p.from, p.to) == (0, 15)));
                found
            });
        });
    }
}

criterion_group!(benches, alignment, links, proposals);
criterion_main!(benches);
