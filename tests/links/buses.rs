//! Links over several bits: which far end each bit arrives at, from outside by the command line on captures made here.

use crate::declared::finding;
use crate::inspected::{inspect, inspect_text};
use crate::pulsed::{later, pulses};
use serde_json::Value;

#[test]
fn swapped_and_reversed_bits_are_named() {
    let bits: Vec<Vec<(u64, u64)>> = (0..4).map(|i| pulses(31 + i, 90)).collect();
    let bus = |order: [usize; 4]| {
        let names = ["OUT0", "OUT1", "OUT2", "OUT3", "IN0", "IN1", "IN2", "IN3"];
        type Named<'a> = (&'a str, Vec<(u64, u64)>, bool);
        let lines: Vec<Named> = names
            .iter()
            .enumerate()
            .map(|(i, name)| {
                let pulses = if i < 4 {
                    bits[i].clone()
                } else {
                    later(&bits[order[i - 4]], 15)
                };
                (*name, pulses, false)
            })
            .collect();
        let setup: String = (0..4)
            .map(|i| format!("[[link]]\nfrom = \"OUT{i}\"\nto = \"IN{i}\"\nmax_delay = \"200 ns\"\n"))
            .collect();
        inspect(&lines, &setup)
    };
    finding(&bus([0, 2, 1, 3]), "OUT1 and OUT2 are swapped");
    let reversed = bus([3, 2, 1, 0]);
    finding(&reversed, "arrive in the opposite order");
    let table = &reversed["permutations"][0];
    assert_eq!(
        (&table["order"], &table["from"]),
        (&"reversed".into(), &Value::Null)
    );
    let arrives = |table: &Value| -> Vec<String> {
        let bits = table["bits"].as_array().expect("bits");
        bits.iter()
            .map(|bit| {
                format!(
                    "{} {}",
                    bit["from"].as_str().unwrap_or(""),
                    bit["arrives_at"].as_str().unwrap_or("-")
                )
            })
            .collect()
    };
    assert_eq!(arrives(table), ["OUT0 IN3", "OUT1 IN2", "OUT2 IN1", "OUT3 IN0"]);
    let straight = bus([0, 1, 2, 3]);
    assert_eq!(straight["permutations"].as_array().map(Vec::len), Some(0));
    assert!(
        straight["links"]
            .as_array()
            .expect("links")
            .iter()
            .all(|l| l["verdict"] == "intact")
    );
}

/// Two vectors of four bits, the far one wired as `order` says; `None`: that far end gets nothing.
fn vectors(order: [Option<usize>; 4]) -> Value {
    let bits: Vec<Vec<(u64, u64)>> = (0..4).map(|i| pulses(71 + i, 90)).collect();
    // Moment, vector (0 the sending end), bit, level.
    let mut changes: Vec<(u64, usize, usize, char)> = Vec::new();
    for i in 0..4 {
        let far = order[i].map_or(Vec::new(), |from| later(&bits[from], 15));
        for (vector, pulses) in [(0, &bits[i]), (1, &far)] {
            changes.extend(
                pulses
                    .iter()
                    .flat_map(|p| [(p.0, vector, i, '1'), (p.1, vector, i, '0')]),
            );
        }
    }
    changes.sort_unstable();
    let mut text = "$timescale 1 ns $end\n$scope module carillon $end\n".to_owned();
    text.push_str("$var wire 4 o NOTE_OUT [3:0] $end\n$var wire 4 i NOTE_IN [3:0] $end\n");
    text.push_str("$upscope $end\n$enddefinitions $end\n#0\nb0000 o\nb0000 i\n");
    let mut values = [['0'; 4]; 2];
    let mut last = 0;
    for (at, vector, bit, level) in changes {
        values[vector][3 - bit] = level;
        if at != last {
            text.push_str(&format!("#{at}\n"));
            last = at;
        }
        let value: String = values[vector].iter().collect();
        text.push_str(&format!("b{value} {}\n", ["o", "i"][vector]));
    }
    inspect_text(
        &text,
        "[[link]]\nfrom = \"NOTE_OUT\"\nto = \"NOTE_IN\"\nmax_delay = \"200 ns\"\n",
    )
}

#[test]
fn the_permutation_of_a_linked_bus_is_a_table_of_all_its_bits() {
    let told = |order: [Option<usize>; 4]| {
        let report = vectors(order);
        let rows = report["permutations"].as_array().expect("a list").clone();
        assert!(rows.len() <= 1, "{rows:?}");
        rows.first().map(|row| {
            assert_eq!(
                (&row["from"], &row["to"]),
                (&"NOTE_OUT".into(), &"NOTE_IN".into())
            );
            let bits = row["bits"].as_array().expect("bits");
            // The most significant first; full counts where a bit arrives.
            let at = bits.iter().map(|bit| {
                let line = bit["arrives_at"].as_str();
                assert_eq!(
                    bit["arrived"].as_u64(),
                    Some(if line.is_some() { 90 } else { 0 }),
                    "{bit}"
                );
                line.map_or("-".to_owned(), |line| line.replace("NOTE_IN", ""))
            });
            (
                row["order"].as_str().unwrap_or("").to_owned(),
                at.collect::<Vec<_>>().join(" "),
            )
        })
    };
    let is = |order: &str, at: &str| Some((order.to_owned(), at.to_owned()));
    assert_eq!(told([Some(0), Some(1), Some(2), Some(3)]), None);
    assert_eq!(
        told([Some(3), Some(2), Some(1), Some(0)]),
        is("reversed", "[0] [1] [2] [3]")
    );
    assert_eq!(
        told([Some(0), Some(2), Some(1), Some(3)]),
        is("swapped", "[3] [1] [2] [0]")
    );
    assert_eq!(
        told([Some(1), Some(2), Some(3), Some(0)]),
        is("rotated", "[2] [1] [0] [3]")
    );
    // Put in one pin beside: bit 0 arrives nowhere, the top far end gets nothing.
    assert_eq!(
        told([Some(1), Some(2), Some(3), None]),
        is("shifted", "[2] [1] [0] -")
    );
}
