//! Benchmark of 50 rules on 32 lines: every kind of limit, sequences, logic, exclusions of up to eight lines.
//!
//! Lines that are high half the time overlap pair by pair at every edge, so an exclusion of n of them costs n² / 4
//! measurements an edge: exclusions are for enables and selects, which seldom overlap.
//!
//! `cargo bench --bench rules`. What the rules say of these lines means nothing; that they look at every edge does.

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use edgewitness::analysis::rules::check_rules;
use edgewitness::setup::Setup;

mod edges;

fn limit(kind: &str, more: String) -> String {
    format!("[[limit]]\nkind = \"{kind}\"\n{more}\n")
}

fn line(k: usize) -> String {
    format!("LINE_{:02}", k % edges::LINES)
}

fn list(lines: impl Iterator<Item = usize>) -> String {
    let names: Vec<String> = lines.map(|k| format!("\"{}\"", line(k))).collect();
    format!("[{}]", names.join(", "))
}

/// Fifty rules: the busy lines are asked more often than the lazy ones, as strobes and buses are.
fn rules() -> String {
    let mut text = String::new();
    for k in 0..10 {
        text += &limit(
            "pulse-width",
            format!("line = \"{}\"\nlevel = \"high\"\nat_least = \"3 ns\"", line(k)),
        );
        let strobe = format!(
            "strobe = \"{}\"\nedge = \"rise\"\nat_least = \"5 ns\"",
            line(k + 1)
        );
        text += &limit("setup", format!("data = \"{}\"\n{strobe}", line(k)));
        text += &limit("hold", format!("data = \"{}\"\n{strobe}", line(k + 2)));
    }
    for k in 0..4 {
        text += &limit(
            "period",
            format!("line = \"{}\"\nedge = \"rise\"\nat_least = \"8 ns\"", line(k)),
        );
        let from = format!(
            "from = \"{}\"\nfrom_edge = \"rise\"\nto = \"{}\"\nto_edge = \"rise\"",
            line(k),
            line(k + 3)
        );
        text += &limit("answer", format!("{from}\nat_most = \"40 us\""));
        text += &limit("delay", format!("{from}\nat_most = \"40 us\""));
    }
    text += &limit(
        "exclusive",
        format!("lines = {}\nlevel = \"high\"\nat_most = \"2 us\"", list(0..2)),
    );
    text += &limit(
        "exclusive",
        format!("lines = {}\nlevel = \"high\"\nat_most = \"2 us\"", list(0..8)),
    );
    text += &limit(
        "exclusive",
        format!("lines = {}\nlevel = \"high\"\nat_most = \"2 us\"", list(8..12)),
    );
    let sequence = |bus: String, strobe: usize, rule: &str| {
        format!(
            "[[sequence]]\nbus = {bus}\nstrobe = \"{}\"\nedge = \"rise\"\nrule = \"{rule}\"\n",
            line(strobe)
        )
    };
    text += &sequence(list(4..8), 0, "count-up");
    text += &sequence(list(8..16), 1, "shift-left");
    let logic = |output: usize, is: String| {
        format!(
            "[[logic]]\noutput = \"{}\"\nis = \"{is}\"\nsettle = \"20 ns\"\n",
            line(output)
        )
    };
    text += &logic(6, format!("{} & {}", line(0), line(1)));
    text += &logic(7, format!("{} ^ {} | {}", line(2), line(3), line(4)));
    text += &logic(8, (9..25).map(line).collect::<Vec<_>>().join(" ^ "));
    text
}

fn fifty_rules(c: &mut Criterion) {
    let setup = Setup::parse(&rules(), "bench.toml").expect("the rules are well formed");
    assert_eq!(setup.rules.len(), 50);
    let mut group = c.benchmark_group("50 rules on 32 lines");
    group.sample_size(10);
    for total in [100_000, 1_000_000, 10_000_000] {
        let capture = edges::capture(total);
        let judged = |results: &[edgewitness::analysis::rules::RuleResult]| {
            assert!(results.iter().all(|r| r.missing.is_empty()));
            results
                .iter()
                .map(|r| r.tally.kept + r.tally.not_judged)
                .sum::<u64>()
        };
        let expected = judged(&check_rules(&capture, &setup.rules));
        group.throughput(Throughput::Elements(capture.edge_count() as u64));
        group.bench_function(BenchmarkId::from_parameter(total), |bench| {
            bench.iter(|| {
                let results = check_rules(&capture, &setup.rules);
                assert_eq!(judged(&results), expected);
                results
            });
        });
    }
}

criterion_group!(benches, fifty_rules);
criterion_main!(benches);
