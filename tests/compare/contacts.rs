//! Before and after with two keys that bounce and strike each other: one trouble, as one finding tells of it. Planted truth.

use edgewitness::demo::random::Random;

/// LIFT_KEY and MUTE_KEY rest high and are pressed `presses` times each, with two or three bounces of 40 µs to 400 µs at either
/// end; a press of the one dips the other for 60 ns to 300 ns, 30 ns to 45 ns later, with the chance `rate`. Sampled every 10 ns.
fn keys(seed: u64, presses: usize, rate: f64) -> String {
    let mut random = Random::new(seed);
    let mut falls: [Vec<f64>; 2] = Default::default();
    let mut edges: [Vec<f64>; 2] = Default::default();
    for key in 0..2 {
        let mut at = 5e6 * (key + 1) as f64;
        for _ in 0..presses {
            at += random.uniform(20e6, 60e6);
            for _end in 0..2 {
                edges[key].push(at);
                if edges[key].len() % 2 == 1 {
                    falls[key].push(at);
                }
                for _bounce in 0..2 + usize::from(random.chance(0.5)) {
                    for _edge in 0..2 {
                        at += random.uniform(40e3, 400e3);
                        edges[key].push(at);
                    }
                }
                at += random.uniform(6e6, 12e6);
            }
        }
    }
    let own = edges.clone();
    for (victim, aggressor) in [(0, 1), (1, 0)] {
        for fall in &falls[aggressor] {
            let is_high = own[victim].partition_point(|edge| edge < fall) % 2 == 0;
            if is_high && random.chance(rate) {
                let at = fall + random.uniform(30.0, 45.0);
                edges[victim].extend([at, at + random.uniform(60.0, 300.0)]);
            }
        }
    }
    let mut changes: Vec<(u64, char)> = Vec::new();
    for (code, edges) in ['!', '"'].into_iter().zip(&mut edges) {
        edges.sort_by(f64::total_cmp);
        changes.extend(edges.iter().map(|at| ((at / 10.0).ceil() as u64 * 10, code)));
    }
    changes.sort_unstable();
    let mut text = "$timescale 1 ns $end\n$var wire 1 ! LIFT_KEY $end\n$var wire 1 \" MUTE_KEY $end\n$enddefinitions $end\n#0\n1!\n1\"\n"
        .to_owned();
    let mut high = [true; 2];
    let last = changes.last().map_or(0, |change| change.0);
    for (time, code) in changes {
        let level = &mut high[usize::from(code == '"')];
        *level = !*level;
        text.push_str(&format!("#{time}\n{}{code}\n", u8::from(*level)));
    }
    text + &format!("#{}\n", last + 50_000_000)
}

#[test]
fn contacts_that_strike_each_other_are_compared_as_one() {
    let (before, after) = (keys(1, 120, 0.6), keys(2, 120, 0.0));
    let found = crate::command::json_of(&[("a.vcd", &before)], &["inspect", "a.vcd"]);
    let titles: Vec<&str> = found["findings"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|f| f["title"].as_str())
        .collect();
    assert!(
        titles
            .iter()
            .any(|title| title.starts_with("LIFT_KEY and MUTE_KEY strike each other: ")),
        "{titles:?}"
    );
    let report = super::compared(("a.vcd", &before), ("b.vcd", &after), "");
    let rows = report["couplings"].as_array().unwrap();
    assert_eq!(rows.len(), 1, "{rows:?}");
    let row = &rows[0];
    assert_eq!(
        (&row["edge"], &row["verdict"]),
        (&"each-other".into(), &"gone".into()),
        "{row}"
    );
    let says = row["says"].as_str().unwrap();
    assert!(
        says.starts_with("LIFT_KEY and MUTE_KEY striking each other: gone (")
            && says.contains("one now strikes the other at most"),
        "{says}"
    );
    // Both ways are in it.
    let coupled: u64 = found["couplings"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|c| c["strays"].as_u64())
        .sum();
    let counted = row["before"]["strays"].as_u64().unwrap();
    assert!(counted >= coupled && coupled > 60, "{counted} {coupled}");
    assert_eq!(report["strays"].as_array().map(Vec::len), Some(0), "{report}");
}
