//! What several instruments recorded of one run, on clocks of their own: delays between them, captures that can't be joined,
//! and two conditions of such runs, from outside on files made here with a known truth.

use crate::supply;
use std::collections::BTreeMap;

use crate::dice::Dice;
use crate::outcome::run;
use serde_json::Value;

/// How an instrument stamps and writes: samples every so many ns; true time = its time × (1 + drift) + offset.
#[derive(Clone, Copy)]
struct Instrument {
    period_ns: f64,
    offset: f64,
    drift: f64,
    /// Milliseconds with five decimals after a first row with six, as loggers write; else whole ns.
    in_ms: bool,
}

/// A sequencer's logger, whose last written digit is its sample.
const LOGGER: Instrument = Instrument {
    period_ns: 10.0,
    offset: 0.0,
    drift: 0.0,
    in_ms: true,
};
/// The tower's instrument, which began 3.2 ms earlier and runs 40 ppm slow.
const TOWER: Instrument = Instrument {
    period_ns: 5.0,
    offset: -3.2e-3,
    drift: -4e-5,
    in_ms: false,
};

/// A list of changes of lines (name, edges in seconds of true time, all low at first).
fn table(lines: &[(&str, Vec<f64>)], by: Instrument) -> String {
    let mut changes: BTreeMap<i64, Vec<usize>> = BTreeMap::new();
    for (line, (_, edges)) in lines.iter().enumerate() {
        for edge in edges {
            let own = (edge - by.offset) / (1.0 + by.drift) * 1e9;
            changes
                .entry((own / by.period_ns).ceil() as i64 * by.period_ns as i64)
                .or_default()
                .push(line);
        }
    }
    let names: Vec<&str> = lines.iter().map(|(name, _)| *name).collect();
    let rest = ",0".repeat(lines.len());
    let mut text = match by.in_ms {
        true => format!("Time (ms),{}\n0.000000{rest}\n", names.join(",")),
        false => format!("time (ns),{}\n0{rest}\n", names.join(",")),
    };
    let mut levels = vec![0; lines.len()];
    for (at, moved) in changes {
        moved.iter().for_each(|&line| levels[line] = 1 - levels[line]);
        let at = match by.in_ms {
            true => format!("{:.5}", at as f64 / 1e6),
            false => at.to_string(),
        };
        let levels: Vec<String> = levels.iter().map(i32::to_string).collect();
        text.push_str(&format!("{at},{}\n", levels.join(",")));
    }
    text
}

/// Irregular edges in seconds, 1 µs to some 60 µs apart.
fn irregular(seed: u64, n: usize) -> Vec<f64> {
    let mut dice = Dice(seed);
    let mut at = 4e-4;
    let next = |_| {
        at += 1e-6 - 1.5e-5 * dice.unit().max(1e-9).ln();
        at
    };
    (0..n).map(next).collect()
}

fn later(edges: &[f64], by: f64) -> Vec<f64> {
    edges.iter().map(|edge| edge + by).collect()
}

fn titles(report: &Value) -> Vec<&str> {
    let findings = report["findings"].as_array().expect("findings").iter();
    findings
        .map(|finding| finding["title"].as_str().unwrap_or_default())
        .collect()
}

const LINK: &str = "[[link]]\nfrom = \"STRIKE_OUT\"\nto = \"STRIKE_IN\"\nmax_delay = \"200 ns\"\n";

/// The files of a run: STEP on both, STRIKE_OUT at the sequencer, STRIKE_IN at the tower 85 ns later; of 20 pulses so many
/// are lost on the way.
fn of_run(seed: u64, step_in_tower: &str, lost: usize) -> [String; 2] {
    let (step, strike) = (irregular(seed, 1200), irregular(seed + 100, 1200));
    let pulses: Vec<&[f64]> = strike.chunks(2).collect();
    let arrived = pulses.iter().enumerate().filter(|(at, _)| at % 20 >= lost);
    let arrived: Vec<f64> = arrived
        .flat_map(|(_, pulse)| pulse.iter().map(|at| at + 85e-9))
        .collect();
    [
        table(&[("STEP", step.clone()), ("STRIKE_OUT", strike)], LOGGER),
        table(&[(step_in_tower, step), ("STRIKE_IN", arrived)], TOWER),
    ]
}

/// Half a sample is taken off on both sides or on neither, be the samples the digits that are written or not.
#[test]
fn a_delay_between_instruments_has_no_half_sample_of_one_of_them() {
    for period_ns in [10.0, 40.0] {
        let (step, strike) = (irregular(3, 2400), irregular(103, 2400));
        let logger = Instrument { period_ns, ..LOGGER };
        let arrived = later(&strike, 85e-9);
        let near = table(&[("STEP", step.clone()), ("STRIKE_OUT", strike)], logger);
        let far = table(&[("STEP", step), ("STRIKE_IN", arrived)], TOWER);
        let files = [
            ("sequencer.csv", near.as_str()),
            ("tower.csv", far.as_str()),
            ("setup.toml", LINK),
        ];
        let words = [
            "inspect",
            "sequencer.csv",
            "tower.csv",
            "--setup",
            "setup.toml",
            "--align-on",
            "STEP",
            "--json",
        ];
        let (_, report, problem) = run(&words, &files);
        let delay = report["links"][0]["delay_s"]["median"].as_f64().expect(&problem);
        // Median of 1,200 differences, each uniform over the longer period, and the alignment's own error.
        assert!(
            (delay - 85e-9).abs() < 2.5e-9 * period_ns / 10.0,
            "{period_ns} ns: {delay:e}"
        );
    }
}

/// One line at both instruments under two names, said either way round.
#[test]
fn lines_to_join_by_may_be_said_either_way_round() {
    let [near, far] = of_run(5, "D0 - STEP", 0);
    let files = [("sequencer.csv", near.as_str()), ("tower.csv", far.as_str())];
    let aligned = |on: &str| {
        run(
            &["align", "sequencer.csv", "tower.csv", "--on", on, "--json"],
            &files,
        )
    };
    let (_, right, problem) = aligned("STEP=D0 - STEP");
    assert!(right["matched"].as_u64() > Some(1000), "{problem}");
    assert_eq!(aligned("D0 - STEP=STEP").1, right);
    // What is nowhere is told as it was said.
    let (code, _, problem) = aligned("D0 - STEP=BEAT");
    assert_eq!(code, Some(2));
    assert!(problem.contains("D0 - STEP"), "{problem}");
}

/// The supply's instrument can't be joined to the others: what it shows by itself is told all the same.
#[test]
fn a_capture_that_can_t_be_joined_is_looked_at_by_itself() {
    let [near, far] = of_run(7, "STEP", 2);
    let supply = supply::dipping();
    let setup = format!(
        "{LINK}[rail.\"+5V tower\"]\nnominal = \"5 V\"\ntolerance = \"5 %\"\n\
         [[limit]]\nname = \"wide enough\"\nkind = \"pulse-width\"\nline = \"STRIKE_IN\"\nat_least = \"100 ns\"\n\
         [[limit]]\nname = \"no dip\"\nkind = \"exclusive\"\nlines = [\"STRIKE_OUT\", \"+5V tower\"]\nlevel = \"low\"\nat_most = \"1 s\"\n"
    );
    let files = [
        ("sequencer.csv", near.as_str()),
        ("supply.csv", supply.as_str()),
        ("tower.csv", far.as_str()),
        ("setup.toml", setup.as_str()),
    ];
    let all = [
        "sequencer.csv",
        "supply.csv",
        "tower.csv",
        "--setup",
        "setup.toml",
    ];
    let words = [&["inspect"], &all[..], &["--align-on", "STEP", "--json"]].concat();
    let (code, report, problem) = run(&words, &files);
    assert_eq!(code, Some(0), "{problem}");
    let titles = titles(&report);
    let tells = |part: &str| titles.iter().any(|title| title.contains(part));
    assert!(
        tells("supply.csv could not be brought to the clock of the other captures"),
        "{titles:?}"
    );
    let findings = report["findings"].as_array().expect("findings").iter();
    let why = findings.filter(|f| f["topic"] == "alignment").find(|f| {
        f["title"]
            .as_str()
            .is_some_and(|title| title.contains("supply.csv"))
    });
    assert!(
        why.is_some_and(|f| f["detail"].as_str().is_some_and(|d| d.contains("edges"))),
        "{why:?}"
    );
    // What it shows, and what the others show.
    assert!(
        report["findings"]
            .as_array()
            .expect("findings")
            .iter()
            .any(|f| f["topic"] == "rail" && f["severity"] == "fault"),
        "{titles:?}"
    );
    assert!(tells("never reach STRIKE_IN"), "{titles:?}");
    assert!(!tells("this capture has no"), "{titles:?}");
    assert_eq!(report["rails"].as_array().map(Vec::len), Some(1));
    assert_eq!(report["rails"][0]["verdict"], "broken");
    assert_eq!(report["captures"].as_array().map(Vec::len), Some(3));
    // Each name is one line's.
    let mut names: Vec<&str> = report["lines"]
        .as_array()
        .expect("lines")
        .iter()
        .filter_map(|row| row["line"].as_str())
        .collect();
    let count = names.len();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), count, "{names:?}");
    let ids: Vec<&str> = report["findings"]
        .as_array()
        .expect("findings")
        .iter()
        .filter_map(|f| f["id"].as_str())
        .collect();
    let expected: Vec<String> = (1..=ids.len()).map(|n| format!("F{n}")).collect();
    assert_eq!(ids, expected);
    let verdict = |name: &str| {
        let mut rows = report["rules"].as_array().expect("rules").iter();
        rows.find(|row| row["name"] == name)
            .map(|row| row["verdict"].clone())
    };
    assert_eq!(verdict("wide enough"), Some("kept".into()));
    assert_eq!(verdict("no dip"), Some("not-judged".into()));
    // Tables of what was found go out; the lines of two clocks don't.
    let words = [
        &["export"],
        &all[..],
        &["--align-on", "STEP", "--to", "links.csv"],
    ]
    .concat();
    assert_eq!(run(&words, &files).0, Some(0));
    let words = [&["export"], &all[..], &["--align-on", "STEP", "--to", "all.vcd"]].concat();
    assert_eq!(run(&words, &files).0, Some(2));
    // A name that is in no other capture is a slip of the pen.
    let words = [&["inspect"], &all[..], &["--align-on", "STRIKE_OUT"]].concat();
    let (code, _, problem) = run(&words, &files);
    assert_eq!(code, Some(2));
    assert!(problem.contains("expected a line called STRIKE_OUT"), "{problem}");
}

/// The far end is another instrument's, before as after.
#[test]
fn conditions_of_two_instruments_are_compared_on_one_clock_or_said_not_to_be() {
    let ([near, far], [fixed, fixed_far]) = (of_run(11, "STEP", 2), of_run(13, "STEP", 0));
    let ([again, again_far], setup) = (
        of_run(17, "STEP", 2),
        format!(
            "{LINK}[[limit]]\nname = \"in time\"\nkind = \"delay\"\nfrom = \"STRIKE_OUT\"\nfrom_edge = \"rise\"\nto = \"STRIKE_IN\"\nto_edge = \"rise\"\nat_most = \"300 ns\"\n\
             [[limit]]\nname = \"strike waits\"\nkind = \"pulse-width\"\nline = \"D0 - STEP\"\nat_least = \"100 ns\"\n"
        ),
    );
    let files = [
        ("found.csv", near.as_str()),
        ("found_tower.csv", far.as_str()),
        ("again.csv", again.as_str()),
        ("again_tower.csv", again_far.as_str()),
        ("fixed.csv", fixed.as_str()),
        ("fixed_tower.csv", fixed_far.as_str()),
        ("setup.toml", setup.as_str()),
        // STEP moves once in it.
        (
            "odd.csv",
            "time (ns),STEP,LAMP\n0,0,0\n500,1,0\n900,1,1\n1200,1,0\n",
        ),
    ];
    let words = [
        "compare",
        "--before",
        "found.csv",
        "found_tower.csv",
        "again.csv",
        "again_tower.csv",
        "odd.csv",
        "--after",
        "fixed.csv",
        "fixed_tower.csv",
        "--setup",
        "setup.toml",
        "--json",
    ];
    let (code, report, problem) = run(&[&words[..], &["--align-on", "STEP"]].concat(), &files);
    assert_eq!(code, Some(0), "{problem}");
    let odd = "odd.csv is counted as a run of its own. ";
    assert!(report["notes"].to_string().contains(odd), "{}", report["notes"]);
    // 600 pulses a run, one in ten lost; the last of a record may be cut off.
    assert!(
        report["links"][0]["before"]["sent"].as_u64() >= Some(1198),
        "{report}"
    );
    let link = &report["links"][0];
    assert_eq!(link["before"]["missing"], 120, "{report}");
    assert_eq!(
        (&link["after"]["missing"], &link["verdict"]),
        (&0.into(), &"gone".into())
    );
    assert_eq!(report["limits"][0]["name"], "in time", "{report}");
    let (code, _, problem) = run(&[&words[..], &["--align-on", "BEAT"]].concat(), &files);
    assert_eq!(code, Some(2));
    assert!(problem.contains("BEAT"), "{problem}");

    // By two names, nothing shows that the files are of one run.
    let ([_, far], [_, fixed_far]) = (of_run(11, "D0 - STEP", 2), of_run(13, "D0 - STEP", 0));
    let files = [
        files[0],
        ("found_tower.csv", far.as_str()),
        files[4],
        ("fixed_tower.csv", fixed_far.as_str()),
        files[6],
    ];
    let words = [&words[..4], &words[7..]].concat();
    let (_, report, problem) = run(&words, &files);
    let notes = report["notes"].to_string();
    for what in [
        "The link from STRIKE_OUT to STRIKE_IN",
        "The rule \\\"in time\\\"",
    ] {
        // Once, for both sides.
        assert!(
            notes.contains(&format!("{what} is not compared: before and after, no run has")),
            "{notes} {problem}"
        );
        assert_eq!(notes.matches(what).count(), 1, "{notes}");
    }
    assert!(notes.contains("--align-on"), "{notes}");
    let (_, report, problem) = run(&[&words[..], &["--align-on", "STEP=D0 - STEP"]].concat(), &files);
    assert_eq!(report["links"][0]["before"]["missing"], 60, "{problem}");
    // The rule names the tower's record of STEP, of which the sequencer's stands for both.
    let judged = report["limits"].as_array().expect("limits").iter();
    let own = judged
        .filter(|row| row["name"] == "strike waits")
        .find(|row| row["before"]["occasions"].as_u64() > Some(100));
    assert!(own.is_some(), "{report}");
    assert!(!report["notes"].to_string().contains("not compared:"), "{report}");
}

/// Each side has a line of its own to go by, and the tower's instrument names the sequencer's STEP by its channel.
#[test]
fn files_of_either_side_are_joined_each_by_its_own_line() {
    let ([near, far], [fixed, fixed_far]) = (of_run(11, "D0 - STEP", 2), of_run(13, "CH1 - STEP", 0));
    let files = [
        ("found.csv", near.as_str()),
        ("found_tower.csv", far.as_str()),
        ("fixed.csv", fixed.as_str()),
        ("fixed_tower.csv", fixed_far.as_str()),
        ("setup.toml", LINK),
    ];
    let words = "compare --before found.csv found_tower.csv --after fixed.csv fixed_tower.csv --setup setup.toml --json";
    let words: Vec<&str> = words.split(' ').collect();
    let by = ["--align-on", "STEP=D0 - STEP", "--align-on", "STEP=CH1 - STEP"];
    let (code, report, problem) = run(&[&words[..], &by].concat(), &files);
    assert_eq!(code, Some(0), "{problem}");
    let link = &report["links"][0];
    assert_eq!(
        (&link["before"]["missing"], &link["after"]["missing"]),
        (&60.into(), &0.into()),
        "{report}"
    );
    let notes = report["notes"].to_string();
    assert!(
        !notes.contains("not compared:") && !notes.contains("a run of its own"),
        "{notes}"
    );
    // One that joins nothing is a slip of the pen, and named.
    let by = [&by[..], &["--align-on", "STEP=D7"]].concat();
    let (code, _, problem) = run(&[&words[..], &by].concat(), &files);
    assert_eq!(code, Some(2));
    assert!(problem.contains("found none by STEP=D7"), "{problem}");
}

/// A third instrument names the line as the second does: one signal, which keeps that name.
#[test]
fn a_line_that_two_further_files_name_alike_keeps_its_name() {
    let side = |seed: u64, lost: usize| {
        let [near, far] = of_run(seed, "D0 - STEP", lost);
        let belfry = table(
            &[
                ("D0 - STEP", irregular(seed, 1200)),
                ("HAMMER", irregular(seed + 200, 400)),
            ],
            TOWER,
        );
        [near, far, belfry]
    };
    let ([near, far, belfry], [fixed, fixed_far, fixed_belfry]) = (side(11, 2), side(13, 0));
    let rule = "[[limit]]\nname = \"step waits\"\nkind = \"pulse-width\"\nline = \"D0 - STEP\"\nat_least = \"100 ns\"\n";
    let files = [
        ("found.csv", near.as_str()),
        ("found_tower.csv", far.as_str()),
        ("found_belfry.csv", belfry.as_str()),
        ("fixed.csv", fixed.as_str()),
        ("fixed_tower.csv", fixed_far.as_str()),
        ("fixed_belfry.csv", fixed_belfry.as_str()),
        ("setup.toml", rule),
    ];
    let words = "compare --before found.csv found_tower.csv found_belfry.csv --after fixed.csv fixed_tower.csv fixed_belfry.csv \
                 --setup setup.toml --json --align-on";
    let words: Vec<&str> = words.split(' ').chain(["STEP=D0 - STEP"]).collect();
    let (code, report, problem) = run(&words, &files);
    assert_eq!(code, Some(0), "{problem}");
    let rows = report["limits"].as_array().expect("limits");
    assert_eq!(rows.len(), 1, "{report}");
    assert!(
        rows[0]["before"]["occasions"].as_u64() > Some(100)
            && rows[0]["after"]["occasions"].as_u64() > Some(100),
        "{report}"
    );
    assert!(
        !report.to_string().contains("_tower/") && !report.to_string().contains("_belfry/"),
        "{report}"
    );
}
