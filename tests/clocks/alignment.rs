//! Two captures by two instruments → one clock, from outside: the command line on files made here, and the line
//! through matched edges against numpy and SciPy (tests/data/alignment.py says how the values were made).
//!
//! Not covered: clocks that change their rate within a capture.

use crate::dice::Dice;
use crate::outcome::run;
use assert_cmd::Command;
use edgewitness::analysis::align::fit_line;
use serde_json::Value;

/// Irregular edges, 1 µs to some 40 µs apart.
fn irregular(dice: &mut Dice, n: usize) -> Vec<f64> {
    let mut at = 1e-4;
    (0..n)
        .map(|_| {
            at += 1e-6 - 1e-5 * dice.unit().max(1e-9).ln();
            at
        })
        .collect()
}

/// A list of changes as an instrument with samples every `period_ns` stamps them; its clock lies so that true time =
/// its time × (1 + drift) + offset.
fn table(name: &str, edges: &[f64], period_ns: f64, offset: f64, drift: f64) -> String {
    let mut text = format!("time (ns),{name}\n0,0\n");
    let mut level = 0;
    for edge in edges {
        let own = (edge - offset) / (1.0 + drift) * 1e9;
        if own <= 0.0 {
            level = 1 - level;
            continue;
        }
        level = 1 - level;
        text.push_str(&format!(
            "{},{level}\n",
            ((own / period_ns).ceil() * period_ns).round() as i64
        ));
    }
    text
}

#[test]
fn offset_and_drift_are_found_within_the_error_they_state() {
    let mut within = 0;
    for seed in 1..=20u64 {
        let mut dice = Dice(seed * 7919);
        let edges = irregular(&mut dice, 600);
        let (offset, drift) = (0.004 * (dice.unit() - 0.5), 80e-6 * (dice.unit() - 0.5));
        let a = table("NOTE", &edges, 10.0, 0.0, 0.0);
        let b = table("NOTE_T", &edges, 40.0, offset, drift);
        let words = ["align", "a.csv", "b.csv", "--on", "NOTE=NOTE_T", "--json"];
        let (code, answer, problem) = run(&words, &[("a.csv", &a), ("b.csv", &b)]);
        assert_eq!(code, Some(0), "seed {seed}: {problem}");
        let of = |name: &str| answer[name].as_f64().unwrap_or(f64::NAN);
        let middle = of("middle_s");
        let at = |offset_s: f64, drift: f64| middle * (1.0 + drift) + offset_s;
        let error = (at(of("offset_s"), of("drift_ppm") * 1e-6) - at(offset, drift)).abs();
        // Never worse than a sample of the coarser instrument.
        assert!(error < 40e-9, "seed {seed}: off by {error}");
        within += i32::from(error < 1.96 * of("middle_se_s"));
        assert!(
            (of("drift_ppm") - drift * 1e6).abs() < 4.0 * of("drift_se_ppm"),
            "seed {seed}: {answer}"
        );
        assert!(of("matched") > 200.0);
    }
    // 19 of 20 on average; with 95 % each, 15 or fewer happen once in 3,900 such sets (binomial).
    assert!(within >= 16, "{within} of 20 inside their 95 % interval");
}

#[test]
fn a_regular_line_alone_is_refused_and_helps_beside_an_irregular_one() {
    let mut dice = Dice(11);
    let square: Vec<f64> = (0..400).map(|k| 1e-4 + k as f64 * 1e-5).collect();
    let irregular: Vec<f64> = irregular(&mut dice, 40)
        .into_iter()
        .filter(|t| *t < 4e-3)
        .collect();
    let both = |period: f64, offset: f64| {
        let mut edges: Vec<(f64, usize)> = square.iter().map(|&t| (t, 0)).collect();
        edges.extend(irregular.iter().map(|&t| (t, 1)));
        edges.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut levels = [0, 0];
        let mut text = "time (ns),CLOCK,NOTE\n0,0,0\n".to_owned();
        let mut last = 0;
        for (at, line) in edges {
            levels[line] = 1 - levels[line];
            let stamp = (((at - offset) * 1e9 / period).ceil() * period) as i64;
            if stamp == last {
                text.truncate(text.trim_end().rfind('\n').map_or(0, |n| n + 1));
            }
            text.push_str(&format!("{stamp},{},{}\n", levels[0], levels[1]));
            last = stamp;
        }
        text
    };
    let (a, b) = (both(10.0, 0.0), both(20.0, -3.3e-5));
    let files = [("a.csv", a.as_str()), ("b.csv", b.as_str())];
    let (code, _, problem) = run(&["align", "a.csv", "b.csv", "--on", "CLOCK"], &files);
    assert_eq!(code, Some(2));
    assert!(problem.contains("too regular"), "{problem}");
    let (_, alone, problem) = run(&["align", "a.csv", "b.csv", "--on", "NOTE", "--json"], &files);
    assert!(alone["matched"].as_u64() >= Some(20), "{problem}");
    let (code, together, problem) = run(
        &["align", "a.csv", "b.csv", "--on", "NOTE,CLOCK", "--json"],
        &files,
    );
    assert_eq!(code, Some(0), "{problem}");
    assert!(together["matched"].as_u64() > Some(300), "{together}");
    let error = |answer: &Value| (answer["offset_s"].as_f64().unwrap_or(f64::NAN) + 3.3e-5).abs();
    assert!(error(&together) < 1e-8, "{together}");
    assert!(together["drift_se_ppm"].as_f64() < alone["drift_se_ppm"].as_f64());
}

#[test]
fn captures_that_share_nothing_or_name_no_line_are_refused() {
    let mut dice = Dice(5);
    let (p, q) = (irregular(&mut dice, 300), irregular(&mut dice, 300));
    let files = [
        ("a.csv", table("NOTE", &p, 10.0, 0.0, 0.0)),
        ("b.csv", table("NOTE", &q, 20.0, 0.0, 0.0)),
    ];
    let files = [("a.csv", files[0].1.as_str()), ("b.csv", files[1].1.as_str())];
    let (code, _, problem) = run(&["align", "a.csv", "b.csv", "--on", "NOTE"], &files);
    assert_eq!(code, Some(2));
    assert!(problem.contains("do not share enough edges"), "{problem}");
    let (code, _, problem) = run(&["align", "a.csv", "b.csv", "--on", "BEAT"], &files);
    assert_eq!(code, Some(2));
    assert!(
        problem.contains("expected a line called BEAT") && problem.contains("NOTE"),
        "{problem}"
    );
}

#[test]
fn the_line_through_matched_edges_is_numpy_s_and_scipy_s() {
    let data: Value = serde_json::from_str(include_str!("../data/alignment.json")).expect("JSON");
    for row in data["rows"].as_array().expect("rows") {
        let list = |name: &str| -> Vec<f64> {
            row[name]
                .as_array()
                .into_iter()
                .flatten()
                .filter_map(Value::as_f64)
                .collect()
        };
        let of = |by: &str, what: &str| row[by][what].as_f64().expect("a number");
        let (mut pairs, n) = (
            list("x").into_iter().zip(list("y")).collect::<Vec<_>>(),
            list("x").len(),
        );
        pairs.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (x, y): (Vec<f64>, Vec<f64>) = pairs.into_iter().unzip();
        let fit = fit_line(&x, &y);
        let close = |a: f64, b: f64, tolerance: f64| ((a - b) / b).abs() < tolerance;
        for by in ["linregress", "polyfit"] {
            // Offsets of up to 12 s in doubles leave 2e-15 s; over the span that is this much of the slope.
            assert!(
                (fit.slope - of(by, "slope")).abs() < 2e-14 / (x[n - 1] - x[0]) + 1e-12 * fit.slope.abs(),
                "{by}"
            );
            assert!((fit.at(0.0) - of(by, "intercept")).abs() < 2e-14, "{by}");
        }
        assert!(close(
            fit.slope_se / fit.widened,
            of("linregress", "slope_se"),
            1e-6
        ));
        assert!(close(
            fit.se_at(0.0) / fit.widened,
            of("linregress", "intercept_se"),
            1e-6
        ));
        // The robust slope (Theil 1950, Sen 1968) agrees within its own 95 % interval.
        assert!(of("theilslopes", "low") <= fit.slope && fit.slope <= of("theilslopes", "high"));
        let drift = row["drift"].as_f64().expect("a number");
        assert!((fit.slope - drift).abs() < 4.0 * fit.slope_se);
        // What quantisation alone leaves open in the middle.
        assert!(
            (fit.at(fit.middle) - (row["offset"].as_f64().expect("a number") + drift * fit.middle)).abs()
                < 4.0 * row["theory"].as_f64().expect("a number")
        );
    }
}

/// The far end's clock began elsewhere: what does not arrive as the times stand was not lost on the way.
#[test]
fn a_link_across_clocks_that_nothing_joins_is_not_judged() {
    let mut dice = Dice(31);
    let edges = irregular(&mut dice, 300);
    let (sent, got) = (
        table("NOTE", &edges, 10.0, 0.0, 0.0),
        table("NOTE_T", &edges, 10.0, -2.3e-4, 4e-5),
    );
    let setup = "[[link]]\nfrom = \"NOTE\"\nto = \"NOTE_T\"\n";
    let files = [
        ("a.csv", sent.as_str()),
        ("b.csv", got.as_str()),
        ("setup.toml", setup),
    ];
    let words = ["inspect", "a.csv", "b.csv", "--setup", "setup.toml", "--json"];
    let (_, report, problem) = run(&words, &files);
    let titles = |severity: &str| -> Vec<String> {
        let all = report["findings"].as_array().expect("findings").iter();
        let own = all.filter(|finding| finding["severity"] == severity);
        own.map(|finding| finding["title"].as_str().unwrap_or_default().to_owned())
            .collect()
    };
    assert_eq!(titles("fault"), Vec::<String>::new(), "{problem}");
    let says =
        "The link from NOTE to NOTE_T is not judged: its ends were recorded on two clocks that nothing joins";
    assert!(titles("note").iter().any(|title| title == says), "{report}");
    assert_eq!(report["links"].as_array().map(Vec::len), Some(0));
    // Joined, it is.
    let words = [&words[..], &["--align-on", "NOTE=NOTE_T"]].concat();
    let (_, report, problem) = run(&words, &files);
    assert_eq!(report["links"].as_array().map(Vec::len), Some(1), "{problem}");
    // On one clock that nobody named, too: nearly all arrive.
    let got = table("NOTE_T", &edges, 10.0, -2e-8, 0.0);
    let files = [files[0], ("b.csv", got.as_str()), files[2]];
    let (_, report, problem) = run(&words[..6], &files);
    assert_eq!(report["links"].as_array().map(Vec::len), Some(1), "{problem}");
}

#[test]
fn the_formula_of_two_clocks_has_one_sign_before_each_number() {
    let mut dice = Dice(13);
    let edges = irregular(&mut dice, 300);
    for (offset, drift, signs) in [
        (1e-4, -3.5e-5, ["(1 − ", ") + "]),
        (-1e-4, 3.5e-5, ["(1 + ", ") − "]),
    ] {
        let (a, b) = (
            table("NOTE", &edges, 10.0, 0.0, 0.0),
            table("NOTE", &edges, 10.0, offset, drift),
        );
        let folder = tempfile::tempdir().expect("a folder");
        for (name, text) in [("a.csv", &a), ("b.csv", &b)] {
            std::fs::write(folder.path().join(name), text).expect("a file");
        }
        let mut command = Command::cargo_bin("edgewitness").expect("the binary is built");
        let words = ["align", "a.csv", "b.csv", "--on", "NOTE"];
        let output = command.args(words).current_dir(folder.path()).output();
        let text = String::from_utf8(output.expect("it runs").stdout).expect("text");
        for sign in signs {
            assert!(text.contains(sign), "{sign}: {text}");
        }
        assert!(!text.contains("+ -") && !text.contains("+-"), "{text}");
    }
}

/// A long enough delay lets regular pulses of two clocks match somehow: that joins nothing, neither late nor upside down.
#[test]
fn a_long_delay_allowed_joins_no_clocks() {
    // Every 10 µs, high for 4 µs; one pulse in a while later.
    let mut dice = Dice(37);
    let mut edges = Vec::new();
    let mut at = 1e-4;
    for _ in 0..300 {
        edges.extend([at, at + 4e-6]);
        at += if dice.unit() < 0.1 { 1.3e-5 } else { 1e-5 };
    }
    let sent = table("NOTE", &edges, 10.0, 0.0, 0.0);
    let setup = "[[link]]\nfrom = \"NOTE\"\nto = \"NOTE_T\"\nmax_delay = \"10 ms\"\n";
    let words = ["inspect", "a.csv", "b.csv", "--setup", "setup.toml", "--json"];
    // Later by what no wire takes; the same, upside down; and by what one does.
    for (later, turned, judged) in [(2.3e-4, false, 0), (4e-6, true, 0), (3e-7, false, 1)] {
        let far: Vec<f64> = match turned {
            false => edges.iter().map(|edge| edge + later).collect(),
            true => edges[1..].iter().map(|edge| edge + later).collect(),
        };
        let got = table("NOTE_T", &far, 10.0, 0.0, 0.0);
        let files = [
            ("a.csv", sent.as_str()),
            ("b.csv", got.as_str()),
            ("setup.toml", setup),
        ];
        let (_, report, problem) = run(&words, &files);
        let all = report["findings"].as_array().expect("findings");
        let faults = all.iter().filter(|finding| finding["severity"] == "fault");
        assert_eq!(faults.count(), 0, "{later} {turned}: {report} {problem}");
        let links = report["links"].as_array().map(Vec::len);
        assert_eq!(links, Some(judged), "{later} {turned}: {report}");
    }
}

/// A rule over captures that nothing joins is judged no more than a link is: the healthy sequencer shifts rightly, and by the
/// files' own times it seems not to.
#[test]
fn a_rule_across_clocks_that_nothing_joins_is_not_judged() {
    let mut dice = Dice(17);
    let step = irregular(&mut dice, 300);
    let later = |by: f64| step.iter().map(|edge| edge + by).collect::<Vec<f64>>();
    let sequencer = table("STEP", &step, 10.0, 0.0, 0.0);
    // The far instrument began 2.3 ms later: its BEAT answers STEP after 400 ns, by its own clock.
    let tower = table("BEAT", &later(4e-7), 10.0, 2.3e-3, 4e-5);
    let setup = "[[limit]]\nname = \"beat follows\"\nkind = \"delay\"\nfrom = \"STEP\"\nfrom_edge = \"rise\"\nto = \"BEAT\"\n\
                 to_edge = \"rise\"\nat_least = \"300 ns\"\nat_most = \"500 ns\"\n\
                 [[limit]]\nname = \"never both\"\nkind = \"exclusive\"\nlines = [\"STEP\", \"BEAT\"]\nlevel = \"high\"\nat_most = \"1 ns\"\n\
                 [[limit]]\nname = \"wide enough\"\nkind = \"pulse-width\"\nline = \"STEP\"\nat_least = \"1 ns\"\n\
                 [[logic]]\nname = \"follower\"\noutput = \"BEAT\"\nis = \"STEP\"\nsettle = \"1 us\"\n\
                 [[sequence]]\nname = \"one bit\"\nbus = [\"BEAT\"]\nstrobe = \"STEP\"\nedge = \"rise\"\nrule = \"hold\"\nsettle = \"1 us\"\n";
    let files = [
        ("sequencer.csv", sequencer.as_str()),
        ("tower.csv", tower.as_str()),
        ("setup.toml", setup),
    ];
    let words = [
        "inspect",
        "sequencer.csv",
        "tower.csv",
        "--setup",
        "setup.toml",
        "--json",
    ];
    let (_, report, problem) = run(&words, &files);
    let verdicts = |report: &Value| -> Vec<(String, String)> {
        let rules = report["rules"].as_array().expect("rules").iter();
        let word = |row: &Value, key: &str| row[key].as_str().unwrap_or_default().to_owned();
        rules
            .map(|row| (word(row, "name"), word(row, "verdict")))
            .collect()
    };
    let expected = [
        ("beat follows", "not-judged"),
        ("never both", "not-judged"),
        ("wide enough", "kept"),
        ("follower", "not-judged"),
        ("one bit", "not-judged"),
    ];
    let expected = expected.map(|(name, verdict)| (name.to_owned(), verdict.to_owned()));
    assert_eq!(verdicts(&report), expected, "{problem}");
    let findings = report["findings"].as_array().expect("findings");
    assert!(
        findings.iter().all(|finding| finding["severity"] != "fault"),
        "{findings:?}"
    );
    let says = "The rule \"beat follows\" is not judged: STEP and BEAT were recorded on two clocks that nothing joins";
    let told = findings
        .iter()
        .find(|finding| finding["title"] == says)
        .expect("it is told");
    assert_eq!(told["severity"], "note");
    assert!(
        told["try_next"][0]
            .as_str()
            .is_some_and(|words| words.contains("--align-on")),
        "{told}"
    );
    // Joined, they are.
    let words = [&words[..], &["--align-on", "STEP=BEAT"]].concat();
    let (_, report, problem) = run(&words, &files);
    assert!(
        verdicts(&report)
            .iter()
            .all(|(_, verdict)| verdict != "not-judged"),
        "{report} {problem}"
    );
}
