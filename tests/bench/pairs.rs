//! Benchmark of lag histograms of all ordered pairs: 32 lines, 10⁷ edges, ±1 µs in bins of 10 ns.
//!
//! `cargo bench --bench pairs`; `taskset -c 0` before it keeps it to one core. With `EDGEWITNESS_EDGES=FILE` it also
//! writes its edges there, for `tests/bench/pairs.py FILE`, which does the same with NumPy and prints the same sums.
//! Before anything is timed the sweep is compared with two pointers a pair.

use std::io::Write;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use edgewitness::analysis::coupling::all_pairs::{LagTable, lag_table};

#[path = "edges.rs"]
mod edges;

const REACH: i64 = 1_000;
const BIN: i64 = 10;

/// One pair: every edge of `a` with those of `b` around it.
fn two_pointers(a: &[i64], b: &[i64]) -> Vec<u64> {
    let mut counts = vec![0; (2 * REACH / BIN) as usize];
    let mut from = 0;
    for &t in a {
        while from < b.len() && b[from] < t - REACH {
            from += 1;
        }
        for &u in b[from..].iter().take_while(|&&u| u < t + REACH) {
            counts[((u - t + REACH) / BIN) as usize] += 1;
        }
    }
    counts
}

/// Coincidences, and the sum of all counts times their position from 1: what the NumPy twin prints too.
fn sums(table: &LagTable) -> (u64, u64) {
    let pairs = (0..table.lines).flat_map(|a| (0..table.lines).map(move |b| (a, b)));
    let counts = pairs.flat_map(|(a, b)| table.of(a, b).to_vec());
    counts.zip(1u64..).fold((0, 0), |(all, check), (n, at)| {
        (all + n, check.wrapping_add(n.wrapping_mul(at)))
    })
}

/// The number of lines, their lengths, then their edges, as little-endian 64-bit words.
fn write(lines: &[Vec<i64>], path: &str) -> std::io::Result<()> {
    let mut file = std::io::BufWriter::new(std::fs::File::create(path)?);
    file.write_all(&(lines.len() as u64).to_le_bytes())?;
    for line in lines {
        file.write_all(&(line.len() as u64).to_le_bytes())?;
    }
    for edge in lines.iter().flatten() {
        file.write_all(&edge.to_le_bytes())?;
    }
    file.flush()
}

fn all_pairs(c: &mut Criterion) {
    let mut group = c.benchmark_group("all ordered pairs of 32 lines");
    group.sample_size(10);
    for total in [100_000, 1_000_000, 10_000_000] {
        let lines = edges::lines(total);
        let slices: Vec<&[i64]> = lines.iter().map(Vec::as_slice).collect();
        let edges: usize = lines.iter().map(Vec::len).sum();
        let table = lag_table(&slices, REACH, BIN);
        for (a, of_a) in slices.iter().enumerate() {
            for (b, of_b) in slices.iter().enumerate() {
                assert_eq!(table.of(a, b), two_pointers(of_a, of_b), "lines {a} and {b}");
            }
        }
        let expected = sums(&table);
        println!(
            "{edges} edges: {} coincidences, checksum {}",
            expected.0, expected.1
        );
        if let (10_000_000, Ok(path)) = (total, std::env::var("EDGEWITNESS_EDGES")) {
            write(&lines, &path).expect("the edges can be written where EDGEWITNESS_EDGES says");
        }
        group.throughput(Throughput::Elements(edges as u64));
        group.bench_function(BenchmarkId::from_parameter(total), |bench| {
            bench.iter(|| {
                let found = lag_table(&slices, REACH, BIN);
                assert_eq!(found, table);
                found
            });
        });
    }
}

criterion_group!(benches, all_pairs);
criterion_main!(benches);
