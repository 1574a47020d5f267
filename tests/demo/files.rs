//! The demo tells the truth about itself: what it writes is what it planted, as independent readers see it.

use std::collections::BTreeMap;

use edgewitness::demo;
use edgewitness::demo::wires::Net;
use edgewitness::harness::{Clips, Harness};
use edgewitness::setup::Setup;

use crate::truth::truth;

fn file(name: &str) -> String {
    let files = demo::files();
    let found = files.into_iter().find(|f| f.name == name);
    found.expect("the demo has this file").text
}

/// Changes of each bit in nanoseconds, first values left out, by the independent crate `vcd`.
fn read_vcd(text: &str) -> BTreeMap<String, Vec<(u64, bool)>> {
    let mut parser = vcd::Parser::new(text.as_bytes());
    let header = parser.parse_header().expect("a header");
    let (scale, unit) = header.timescale.expect("a timescale");
    let ns = u64::from(scale) * 1_000_000_000 / unit.divisor();
    let scope = header.find_scope(&["carillon"]).expect("one scope");
    let mut names = BTreeMap::new();
    for item in &scope.items {
        let vcd::ScopeItem::Var(var) = item else { continue };
        names.insert(var.code, (var.reference.clone(), var.size));
    }
    let mut levels: BTreeMap<String, bool> = BTreeMap::new();
    let mut lines: BTreeMap<String, Vec<(u64, bool)>> = BTreeMap::new();
    let (mut now, mut first) = (0, true);
    for command in parser {
        let changes = match command.expect("a command") {
            vcd::Command::Timestamp(time) => {
                now = time * ns;
                Vec::new()
            }
            vcd::Command::End(_) => {
                first = false;
                Vec::new()
            }
            vcd::Command::ChangeScalar(code, value) => vec![(names[&code].0.clone(), value)],
            vcd::Command::ChangeVector(code, values) => {
                let (name, size) = &names[&code];
                let bits: Vec<vcd::Value> = values.iter().collect();
                (0..*size as usize)
                    .map(|bit| {
                        let value = bits.iter().rev().nth(bit).copied().unwrap_or(vcd::Value::V0);
                        (format!("{name}[{bit}]"), value)
                    })
                    .collect()
            }
            _ => Vec::new(),
        };
        for (name, value) in changes {
            let high = value == vcd::Value::V1;
            if first {
                lines.entry(name.clone()).or_default();
            } else if levels[&name] != high {
                lines.get_mut(&name).expect("declared").push((now, high));
            }
            levels.insert(name, high);
        }
    }
    lines
}

/// Changes of each column in nanoseconds, by the independent crate `csv`.
fn read_csv(text: &str) -> BTreeMap<String, Vec<(u64, bool)>> {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let headings = reader.headers().expect("headings").clone();
    let mut levels: Vec<Option<bool>> = vec![None; headings.len()];
    let mut lines: BTreeMap<String, Vec<(u64, bool)>> = BTreeMap::new();
    for record in reader.records() {
        let record = record.expect("a row");
        let ns = (record[0].parse::<f64>().expect("a time") * 1e9).round() as u64;
        for (index, name) in headings.iter().enumerate().skip(1) {
            let high = &record[index] == "1";
            let line = lines.entry(name.to_owned()).or_default();
            if levels[index].is_some_and(|before| before != high) {
                line.push((ns, high));
            }
            levels[index] = Some(high);
        }
    }
    lines
}

#[test]
fn sample_captures_are_what_the_demo_writes() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-captures");
    let mut size = 0;
    let mut names = Vec::new();
    for file in demo::files() {
        let kept = std::fs::read_to_string(folder.join(file.name)).unwrap_or_default();
        assert!(
            kept == file.text,
            "{}: run `cargo run -- demo sample-captures`",
            file.name
        );
        size += file.text.len();
        names.push(file.name.to_owned());
    }
    assert!(size < 3_000_000, "{size} bytes");
    let mut found: Vec<String> = std::fs::read_dir(&folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    found.sort();
    names.sort();
    assert_eq!(found, names, "nothing else lies there");
}

#[test]
fn vcd_and_changes_hold_the_same_edges() {
    let from_vcd = read_vcd(&file("as-found.vcd"));
    let from_csv = read_csv(&file("as-found-changes.csv"));
    assert_eq!(from_vcd.len(), 19);
    assert!(from_vcd.values().map(Vec::len).sum::<usize>() > 1000);
    assert_eq!(from_vcd, from_csv);
}

#[test]
fn a_table_of_samples_shows_what_the_exact_record_holds() {
    let sampled = read_csv(&file("bench-samples.csv"));
    let exact = demo::bench();
    let steps = &exact.waves[&Net::Step].edges;
    // Time here is 3.1 ns behind the machine; an edge is noted at the first sample of 10 ns that shows it.
    let expected: Vec<u64> = steps
        .iter()
        .map(|edge| ((edge.0 as f64 - 3_100.0) / 10_000.0).ceil() as u64 * 10)
        .filter(|&ns| ns < 240_000)
        .collect();
    let found: Vec<u64> = sampled["STEP"].iter().map(|&(ns, _)| ns).collect();
    assert!(found.len() > 150);
    assert_eq!(found, expected);
}

#[test]
fn what_was_planted_is_in_the_waves() {
    for run in [demo::as_found(), demo::clear_moved(), demo::bench()] {
        let clear = &run.waves[&Net::ClearN];
        for dip in &run.dips {
            let at = clear
                .edges
                .binary_search(&dip.start)
                .expect("the dip starts with an edge");
            assert_eq!(clear.edges[at + 1], dip.start + dip.width);
        }
        let narrow = clear
            .edges
            .windows(2)
            .filter(|w| (w[1] - w[0]).0 < 100_000)
            .count();
        assert_eq!(narrow, run.dips.len(), "no other narrow pulse");
        let sent = run.waves[&Net::StrikeOut].edges.len() / 2;
        let arrived = run.waves[&Net::StrikeIn].edges.len() / 2;
        assert_eq!(sent - run.lost.len(), arrived);
        assert!(run.waves[&Net::Bell(4)].edges.is_empty());
    }
}

#[test]
fn the_evening_has_enough_of_everything() {
    let found = truth("as-found.vcd");
    let coupling = &found.couplings[0];
    assert_eq!(
        (coupling.victim.as_str(), coupling.aggressor.as_str()),
        ("CLEAR_N", "STEP")
    );
    assert!(
        coupling.strays >= 35 && coupling.opportunities >= 80,
        "{coupling:?}"
    );
    assert_eq!(found.strays.iter().filter(|s| s.aggressor.is_none()).count(), 2);
    assert_eq!(found.innocent, ["BEAT"]);
    assert_eq!(found.stuck, ["BELL[4]"]);
    assert_eq!(found.bounces.len(), 6);
    let link = &found.links[0];
    assert!(link.missing_s.len() > 10 && link.arrived > 30, "{link:?}");
    // BEAT switches within 10 ns of most falls of STEP, and now and then by itself.
    let run = demo::as_found();
    let beat = &run.waves[&Net::Beat];
    let step = &run.waves[&Net::Step];
    let falls: Vec<_> = step.edges_towards(edgewitness::model::Polarity::Fall).collect();
    let with = falls
        .iter()
        .filter(|fall| {
            beat.edges
                .iter()
                .any(|edge| (0..10_000).contains(&(*edge - **fall).0))
        })
        .count();
    let share = with as f64 / falls.len() as f64;
    assert!((0.7..0.9).contains(&share), "{share}");
    assert!(beat.edges.len() > with + 10);
    let after = truth("clear-moved.vcd");
    assert!(after.couplings.is_empty());
    assert_eq!(after.strays.len(), 2);
    assert!(!after.links[0].missing_s.is_empty());
}

#[test]
fn the_same_seed_gives_the_same_machine() {
    let (first, second) = (demo::as_found(), demo::as_found());
    assert_eq!(first.waves, second.waves);
}

#[test]
fn setup_and_harness_name_lines_that_are_there() {
    let lines = read_vcd(&file("as-found.vcd"));
    let setup = Setup::parse(&file("setup.toml"), "setup.toml").expect("a setup file without mistakes");
    assert_eq!(setup.links.len(), 1);
    for link in &setup.links {
        assert!(lines.contains_key(&link.from) && lines.contains_key(&link.to));
    }
    let rules = Setup::parse(&file("key-multiplexer.toml"), "key-multiplexer.toml").expect("no mistakes");
    assert_eq!(rules.rules.len(), 1);
    let harness = Harness::parse(&file("harness.csv"), "harness.csv").expect("a sheet without mistakes");
    let clips = Clips::default();
    for line in lines.keys() {
        assert!(harness.place(line, &clips).is_some(), "{line} has a place");
    }
    assert_eq!(
        harness.place("STRIKE_IN", &clips).as_deref(),
        Some("tower J9-2, yellow")
    );
    assert_eq!(harness.side_by_side("STEP", "CLEAR_N", &clips).len(), 1);
}
