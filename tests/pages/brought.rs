//! Files that are brought and are no captures, or are there already, or come under a condition that is gone: each is told at
//! once, and nothing is kept where nobody finds it.

use crate::bench::Bench;
use axum::http::{Method, StatusCode};
use serde_json::{Value, json};

const API: &str = "/api/sessions/1";
const TABLE: &str = "Time [ns],STEP\n0,0\n10,1\n20,0\n30,1\n";

/// Status and answer of an upload; `more` of its address.
async fn bring(bench: &Bench, name: &str, more: &str, bytes: &[u8]) -> (StatusCode, Value) {
    bench.bring(API, &format!("name={name}{more}"), bytes).await
}

async fn captures(bench: &Bench) -> usize {
    let log = bench.ok(Method::GET, API, Value::Null).await;
    log["captures"].as_array().unwrap().len()
}

#[tokio::test]
async fn a_setup_and_a_harness_sheet_are_sent_to_their_pages() {
    let bench = Bench::with_session().await;
    let setup = b"# the tower\n[line.STEP]\nnarrow_below = \"60 ns\"\n";
    let sheet = b"board,connector,pin,signal\ntower,J1,1,STEP\n";
    for (name, bytes, belongs, told) in [
        (
            "setup.toml",
            &setup[..],
            "setup",
            "is a setup file, not a capture, and was not kept. It belongs on the bench log",
        ),
        (
            "harness.csv",
            &sheet[..],
            "harness",
            "is a harness sheet, not a capture, and was not kept. It belongs on the page Harness",
        ),
    ] {
        let (status, answer) = bring(&bench, name, "", bytes).await;
        assert_eq!(status, StatusCode::BAD_REQUEST);
        let error = answer["error"].as_str().unwrap();
        assert!(error.starts_with(&format!("{name} {told}")), "{error}");
        // The page that sent it takes it by this to where it belongs.
        assert_eq!(answer["belongs"], belongs);
    }
    assert_eq!(captures(&bench).await, 0);
    // There is a place for it to be chosen.
    let log = bench.page("/sessions/1/log").await;
    assert!(log.contains("<input type=\"file\" data-into=\"setup\""), "{log}");
}

#[tokio::test]
async fn what_became_of_each_file_is_said_on_the_page() {
    let bench = Bench::with_session().await;
    let (status, first) = bring(&bench, "monday.csv", "", TABLE.as_bytes()).await;
    assert_eq!(status, StatusCode::CREATED);
    let (status, again) = bring(&bench, "copy.csv", "", TABLE.as_bytes()).await;
    assert_eq!((status, &again["id"]), (StatusCode::OK, &first["id"]));
    let (status, notes) = bring(&bench, "notes.md", "", b"# Notes\n\nThe hammer sticks.\n").await;
    assert_eq!(status, StatusCode::CREATED);
    bench.ok(Method::GET, &format!("{API}/places"), Value::Null).await;
    let quiet = bench.page("/sessions/1").await;
    assert!(
        !quiet.contains("nothing was added") && !quiet.contains("was kept, and can"),
        "{quiet}"
    );
    let page = format!(
        "/sessions/1?dropped={},{}&known={}",
        again["id"], notes["id"], again["id"]
    );
    let page = bench.page(&page).await;
    assert!(
        page.contains("<p role=\"alert\">That file was here already, as monday.csv: nothing was added.</p>"),
        "{page}"
    );
    assert!(
        page.contains("<p role=\"alert\">notes.md was kept, and can&#39;t be read as a capture"),
        "{page}"
    );
}

#[tokio::test]
async fn nothing_goes_under_a_condition_in_the_bin() {
    let bench = Bench::with_session().await;
    bring(&bench, "monday.csv", "", TABLE.as_bytes()).await;
    let moved = bench
        .ok(
            Method::POST,
            &format!("{API}/entries/condition"),
            json!({"title": "wire moved"}),
        )
        .await;
    let entry = format!("{API}/entries/condition/{}", moved["id"]);
    bench.ok(Method::DELETE, &entry, Value::Null).await;
    let under = format!("&condition={}", moved["id"]);
    let (status, answer) = bring(&bench, "tuesday.csv", &under, b"Time [ns],STEP\n0,0\n15,1\n").await;
    assert_eq!(status, StatusCode::CONFLICT);
    let error = answer["error"].as_str().unwrap();
    assert!(
        error.contains("othing was kept") && error.contains("\"wire moved\", which is in the bin"),
        "{error}"
    );
    assert_eq!(captures(&bench).await, 1);
}

#[tokio::test]
async fn numbers_of_no_bench_are_refused() {
    let bench = Bench::with_session().await;
    let reading = json!({"rail": "+5 V", "nominal": 5.0, "reading": 9e99, "unit": "V"});
    let (status, answer) = bench
        .json(Method::POST, &format!("{API}/entries/reading"), reading)
        .await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(
        answer["error"].as_str().unwrap().contains("found 9e99"),
        "{answer}"
    );
    let (_, monday) = bring(&bench, "monday.csv", "", TABLE.as_bytes()).await;
    let (_, tuesday) = bring(&bench, "tuesday.csv", "", b"Time [ns],STEP\n0,0\n15,1\n").await;
    let clock = json!({"capture": tuesday["id"], "with": monday["id"], "on": [], "shift_s": 1e300});
    let (status, answer) = bench.json(Method::PUT, &format!("{API}/clocks"), clock).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(
        answer["error"].as_str().unwrap().ends_with("found 1e300."),
        "{answer}"
    );
    // A unit that is not the nominal's shows in the log.
    let slip = json!({"rail": "+5 V", "nominal": 5.0, "reading": 4870.0, "unit": "mV"});
    bench
        .ok(Method::POST, &format!("{API}/entries/reading"), slip)
        .await;
    let log = bench.page("/sessions/1/log").await;
    assert!(log.contains("974 times the nominal: is the unit right?"), "{log}");
}
