//! What had to be assumed of a file is said before what hangs on it: in the report, its text and on the page.

use crate::bench::Bench;
use crate::sample::sample;
use axum::http::{Method, StatusCode};
use edgewitness::ingest::{ReadOptions, read_bytes};
use edgewitness::report::inspect::{InspectReport, Severity};
use edgewitness::report::text::{headline, inspect_text};
use edgewitness::setup::Setup;
use edgewitness::workflow::inspect::{Question, inspect};
use serde_json::Value;

/// The report of a file; `setup`: the setup file's text.
fn report(name: &str, text: &str, setup: &str) -> InspectReport {
    let setup = Setup::parse(setup, "setup.toml").unwrap();
    let options = ReadOptions {
        timescale_s: setup.read.timescale_s,
        ..ReadOptions::default()
    };
    let capture = read_bytes(name, text.as_bytes().to_vec(), &options).unwrap();
    let question = Question {
        setup: &setup,
        align_on: None,
    };
    inspect(vec![capture], &question).unwrap().report
}

#[tokio::test]
async fn a_file_without_a_time_unit_says_so_before_all_its_times() {
    let with = sample("as-found.vcd");
    let without = with.replace("$timescale 1 ns $end\n", "");
    assert_ne!(with, without);
    let title = "as-found.vcd names no time unit: all times below suppose 1 ns";
    let (usual, told) = (
        report("as-found.vcd", &with, ""),
        report("as-found.vcd", &without, ""),
    );
    let (first, rest) = told.findings.split_first().unwrap();
    assert_eq!((first.title.as_str(), first.severity), (title, Severity::Warning));
    assert!(rest.iter().any(|finding| finding.severity == Severity::Fault));
    let titles = |findings: &[edgewitness::report::inspect::Finding]| -> Vec<String> {
        findings.iter().map(|finding| finding.title.clone()).collect()
    };
    assert_eq!(titles(rest), titles(&usual.findings));
    assert_eq!(headline(&told), format!("{title}. {}", headline(&usual)));
    let text = inspect_text(&told, edgewitness::report::text::Style { colour: false });
    assert!(text.find(title).unwrap() < text.find(&usual.findings[0].title).unwrap());
    // Who says the unit is asked no more.
    let said = report("as-found.vcd", &without, "[read]\ntimescale = \"1 ns\"\n");
    assert_eq!(titles(&said.findings), titles(&usual.findings));

    let bench = Bench::with_session().await;
    let (status, _) = bench.bring("/api/sessions/1", "name=as-found.vcd", without).await;
    assert_eq!(status, StatusCode::CREATED);
    bench.ok(Method::GET, "/api/sessions/1/places", Value::Null).await;
    let page = bench.page("/sessions/1").await;
    let cards: Vec<&str> = page.split("<li class=\"finding ").skip(1).collect();
    assert!(
        cards.len() > 1 && cards[0].contains("names no time unit"),
        "{page}"
    );
    // The diagram opens on the worst all the same.
    let diagram = bench
        .ok(Method::GET, "/api/sessions/1/diagram", Value::Null)
        .await;
    assert_eq!(diagram["opens_on"], diagram["findings"][1]["id"]);
    assert_eq!(diagram["findings"][1]["severity"], "fault");
}

#[test]
fn lines_that_are_never_known_are_told_so() {
    let head = "$timescale 1 ns $end\n$var wire 1 ! A $end\n$var wire 1 \" B $end\n$enddefinitions $end\n";
    let never = report("x.vcd", &format!("{head}#0\nx!\nz\"\n#5000\nz!\n#9000\n"), "");
    let title =
        "All lines are unknown (x) or floating (z) throughout, so nothing can be told from this capture";
    assert_eq!(never.findings[0].title, title);
    assert_eq!(headline(&never), format!("{title}."));
    // One that stands at a level is known, and so is one of a record without length.
    for known in ["#0\nx!\n0\"\n#5000\n", "#0\n1!\n0\"\n"] {
        let still = report("x.vcd", &format!("{head}{known}"), "");
        assert!(
            still.findings[0].title.starts_with("No line moves"),
            "{:?}",
            still.findings[0]
        );
    }
}

/// The sentence for bytes that can't be read.
fn refusal(name: &str, bytes: &[u8]) -> String {
    let options = ReadOptions::default();
    let told = read_bytes(name, bytes.to_vec(), &options)
        .unwrap_err()
        .to_string();
    let previewed = edgewitness::ingest::preview_bytes(name, bytes.to_vec(), &options).unwrap_err();
    assert_eq!(previewed.to_string(), told);
    told
}

#[test]
fn files_of_other_kinds_are_told_by_their_first_bytes() {
    let mut tar = vec![0u8; 512];
    tar[..5].copy_from_slice(b"a.vcd");
    tar[257..262].copy_from_slice(b"ustar");
    let kinds: [(&[u8], &str); 10] = [
        (b"PK\x03\x04\x14\0\0\0\x08\0", "a ZIP archive: unpack it"),
        (
            b"%PDF-1.4\n%\xe2\xe3\xcf\xd3\n1 0 obj\n",
            "a PDF: export the capture",
        ),
        (b"%PDF-1.4\n1 0 obj, 2, 3\n", "a PDF: export the capture"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", "a picture: export the capture"),
        (b"\xff\xd8\xff\xe0\0\x10JFIF\0", "a picture: export the capture"),
        (b"7z\xbc\xaf\x27\x1c\0\x04", "a packed archive: unpack it"),
        (&tar, "a tar archive: unpack it"),
        (
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1\0\0",
            "a file of an office program: save the sheet as CSV",
        ),
        (
            b"<!DOCTYPE html>\n<html><body>404, not found</body></html>\n",
            "a page of the web",
        ),
        (
            b"\n<html><body>404, not found</body></html>\n",
            "a page of the web",
        ),
    ];
    for (bytes, told) in kinds {
        assert!(
            refusal("brought", bytes).starts_with(&format!("brought: this is no capture but {told}")),
            "{}",
            refusal("brought", bytes)
        );
    }
    assert!(refusal("brought", b"\0\x01\x02\x03").contains("binary data"));
    let prose = refusal(
        "diary.csv",
        b"Dear diary, tonight the organ\nfailed again, and I, tired,\nwent to bed\n",
    );
    assert!(
        prose.contains("parts into the same columns")
            && prose.contains("beginning with \"Dear diary, tonight the organ\""),
        "{prose}"
    );
    assert!(!prose.contains("found none"), "{prose}");
}

#[tokio::test]
async fn nobody_is_asked_how_to_read_a_picture() {
    let bench = Bench::with_session().await;
    let bring = async |name: &str, bytes: &[u8]| {
        let (status, _) = bench
            .bring("/api/sessions/1", &format!("name={name}"), bytes)
            .await;
        assert_eq!(status, StatusCode::CREATED);
        bench
            .json(Method::GET, "/api/sessions/1/places", Value::Null)
            .await;
        bench.page("/sessions/1").await
    };
    // None can be read; then one beside them can.
    let picture = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR";
    bring("shot.png", picture).await;
    let page = bring("diary.csv", b"Dear diary,\nI, tired,\nwent to bed\n").await;
    let later = bring("as-found.vcd", sample("as-found.vcd").as_bytes()).await;
    for page in [page, later] {
        assert!(page.contains("no capture but a picture"), "{page}");
        assert!(
            page.contains("Put shot.png <button") && !page.contains("Say how to read shot.png"),
            "{page}"
        );
        assert!(page.contains("Say how to read diary.csv"), "{page}");
    }
}

#[test]
fn a_misspelt_name_in_the_setup_is_told_with_the_one_that_was_meant() {
    let setup = "[[link]]\nfrom = \"STEP\"\nto = \"CLEARN\"\n[line.TEMPOO]\nnarrow_below = \"60 ns\"\n[line.STRIKER_COIL]\nnarrow_below = \"60 ns\"\n";
    let told = report("as-found.vcd", &sample("as-found.vcd"), setup);
    let detail = |words: &str| {
        let found = told.findings.iter().find(|finding| finding.title.contains(words));
        found.unwrap_or_else(|| panic!("{words}")).detail.as_str()
    };
    let link = detail("could not be checked");
    assert!(
        link.starts_with("CLEARN: did you mean CLEAR_N? Lines that are here: "),
        "{link}"
    );
    let unused = detail("was not used");
    assert!(
        unused.starts_with("TEMPOO: did you mean TEMPO? Lines that are here: "),
        "{unused}"
    );
}

/// A line that both recorded, irregular, is named where nobody said how the two come to one clock.
#[test]
fn a_line_that_two_captures_share_is_proposed_for_their_clocks() {
    let vcd = |late: i64, own: &str| {
        let mut text = format!(
            "$timescale 1 ns $end\n$var wire 1 ! TEMPO $end\n$var wire 1 \" {own} $end\n$enddefinitions $end\n#0\n0!\n0\"\n"
        );
        let mut at = 5_000 + late;
        for n in 0..200i64 {
            at += 700 + n * n * 37 % 611;
            text += &format!("#{at}\n{}!\n", (n + 1) % 2);
            text += &format!("#{}\n{}\"\n", at + 90, (n / 3) % 2);
        }
        text
    };
    let told_of = |board: &str, tower: &str| {
        let read = |name: &str, text: &str| {
            read_bytes(name, text.as_bytes().to_vec(), &ReadOptions::default()).unwrap()
        };
        let captures = vec![read("board.vcd", board), read("tower.vcd", tower)];
        let setup = Setup::parse("", "setup.toml").unwrap();
        let question = Question {
            setup: &setup,
            align_on: None,
        };
        let report = inspect(captures, &question).unwrap().report;
        let found = report
            .findings
            .iter()
            .find(|finding| finding.topic == "alignment")
            .unwrap();
        found.try_next.join(" ")
    };
    let told = |other: &str| told_of(&vcd(0, "STEP"), other);
    let shared = told(&vcd(1_250, "LAMP"));
    assert!(
        shared.contains("--align-on TEMPO brings them to one clock"),
        "{shared}"
    );
    assert!(
        shared.contains("200 edges of it match with −1.25 µs added to the times of tower.vcd"),
        "{shared}"
    );
    let none = told(&vcd(1_250, "LAMP").replace("TEMPO", "PACE"));
    assert!(
        none.contains(
            "the same command with --align-on TEMPO=PACE (say), if TEMPO of board.vcd and PACE of tower.vcd"
        ),
        "{none}"
    );
    assert!(
        none.contains("; 200 edges of the two match with −1.25 µs added to the times of tower.vcd"),
        "{none}"
    );
    // The busiest lines of both fit nothing.
    let busy = |text: String, name: &str, of: i64| {
        let mut text = text.replace(
            "$enddefinitions",
            &format!("$var wire 1 % {name} $end\n$enddefinitions"),
        ) + "#800000\n";
        let mut at = 800_100;
        for n in 0..400 {
            at += 200 + n * of % 97;
            text += &format!("#{at}\n{}%\n", n % 2);
        }
        text
    };
    let fits = told_of(
        &busy(vcd(0, "STEP"), "GUARD", 3),
        &busy(vcd(1_250, "LAMP").replace("TEMPO", "PACE"), "HOIST", 5),
    );
    assert!(fits.contains("--align-on TEMPO=PACE (say)"), "{fits}");
    // None fits: one of like names, else an example that is plainly none.
    let other = |name: &str| {
        let text = vcd(0, "LAMP").replace(" TEMPO ", &format!(" {name} "));
        let lines = text.lines().filter(|line| !line.ends_with('"') || line.len() > 2);
        lines
            .enumerate()
            .filter(|(n, _)| n % 5 != 4 || *n < 8)
            .map(|(_, line)| format!("{line}\n"))
            .collect::<String>()
    };
    let alike = told_of(&busy(vcd(0, "STEP"), "GUARD", 3), &other("tempo_in"));
    assert!(
        alike.contains("--align-on TEMPO=tempo_in (say)") && !alike.contains("match"),
        "{alike}"
    );
    let made_up = told_of(&busy(vcd(0, "STEP"), "GUARD", 3), &other("X7"));
    assert!(
        made_up.contains("--align-on LINE=LINE_IN_THE_OTHER, where LINE stands for its name in board.vcd"),
        "{made_up}"
    );
    // As it can be pasted into a shell.
    let quoted = told(&vcd(1_250, "LAMP").replace("TEMPO", "PACE[3]"));
    assert!(quoted.contains("--align-on 'TEMPO=PACE[3]' (say)"), "{quoted}");
}
