//! What had to be assumed of a file is said before what hangs on it: in the report, its text and on the page.

#[path = "common/bench.rs"]
mod bench;

use axum::http::{Method, StatusCode};
use edgewitness::ingest::{ReadOptions, read_bytes};
use edgewitness::report::inspect::{InspectReport, Severity};
use edgewitness::report::text::{headline, inspect_text};
use edgewitness::setup::Setup;
use edgewitness::workflow::inspect::{Question, inspect};
use serde_json::{Value, json};

fn sample(name: &str) -> String {
    std::fs::read_to_string(format!("{}/sample-captures/{name}", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

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

    let (bench, ()) = bench::Bench::with(|_| ());
    bench
        .ok(Method::POST, "/api/sessions", json!({"title": "Tower"}))
        .await;
    let path = "/api/sessions/1/captures?name=as-found.vcd";
    let (status, _) = bench
        .send(
            Method::POST,
            path,
            "application/octet-stream",
            without.into_bytes(),
        )
        .await;
    assert_eq!(status, StatusCode::CREATED);
    bench.ok(Method::GET, "/api/sessions/1/places", Value::Null).await;
    let page = bench.page("/sessions/1").await;
    let cards: Vec<&str> = page.split("<li class=\"finding ").skip(1).collect();
    assert!(
        cards.len() > 1 && cards[0].contains("names no time unit"),
        "{page}"
    );
}
