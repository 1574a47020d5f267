//! Before and after where a link's two ends were recorded on two clocks: what can't be counted is said so, and a loss is
//! claimed of no wire. Captures are made here, so that what was sent is known; no outside source.

use crate::bench::Bench;
use crate::dice::Dice;
use axum::http::{Method, StatusCode};
use serde_json::{Value, json};

const API: &str = "/api/sessions/1";

/// Irregular edges, 1 µs to some 40 µs apart, in nanoseconds.
fn irregular(seed: u64) -> Vec<f64> {
    let mut dice = Dice(seed);
    let mut at = 1e5;
    let mut next = || {
        at += 1e3 - 1e4 * dice.unit().max(1e-9).ln();
        at
    };
    (0..300).map(|_| next()).collect()
}

/// A table of one line's changes, `offset_ns` later than they were.
fn table(name: &str, edges: &[f64], offset_ns: f64) -> String {
    let mut text = format!("time (ns),{name}\n0,0\n");
    for (at, edge) in edges.iter().enumerate() {
        let time = ((edge + offset_ns) / 10.0).ceil() as i64 * 10;
        text.push_str(&format!("{time},{}\n", (at + 1) % 2));
    }
    text
}

#[tokio::test]
async fn losses_across_clocks_that_nothing_joins_are_not_counted() {
    let (bench, ()) = Bench::with(|_| ());
    let setup = "[[link]]\nfrom = \"NOTE\"\nto = \"NOTE_T\"\n\
                 [[limit]]\nname = \"in time\"\nkind = \"delay\"\nfrom = \"NOTE\"\nfrom_edge = \"rise\"\nto = \"NOTE_T\"\n\
                 to_edge = \"rise\"\nat_most = \"200 ns\"\n";
    bench
        .ok(
            Method::POST,
            "/api/sessions",
            json!({"title": "Tower", "setup": setup}),
        )
        .await;
    let bring = async |name: &str, text: String| {
        let (status, _) = bench.bring(API, &format!("name={name}"), text).await;
        assert_eq!(status, StatusCode::CREATED);
    };
    // The tower's instrument began 230 µs later; both ends show the same edges.
    bring("sequencer.csv", table("NOTE", &irregular(31), 0.0)).await;
    bring("tower.csv", table("NOTE_T", &irregular(31), 230_000.0)).await;
    let condition = json!({"title": "new cable"});
    bench
        .ok(Method::POST, &format!("{API}/entries/condition"), condition)
        .await;
    // By one trigger: all arrive as the files' own times stand.
    bring("sequencer-2.csv", table("NOTE", &irregular(37), 0.0)).await;
    bring("tower-2.csv", table("NOTE_T", &irregular(37), 30.0)).await;
    let log = bench.ok(Method::GET, API, Value::Null).await;
    let [found, cable] = [0, 1].map(|n: usize| log["conditions"][n]["id"].as_i64().unwrap());
    let path = format!("{API}/compare?before=c{found}&after=c{cable}");
    let report = bench.ok(Method::GET, &path, Value::Null).await;
    let row = &report["links"][0];
    assert_eq!(row["before"], json!({"missing": 0, "sent": 0}), "{report}");
    assert_eq!(
        (&row["after"]["sent"], &row["verdict"]),
        (&json!(149), &json!("undecided"))
    );
    assert_eq!(
        row["says"],
        "NOTE to NOTE_T losing pulses: can't be counted before, its ends were recorded on two clocks that nothing joins \
         (0 of 149 after)."
    );
    let note = "The link from NOTE to NOTE_T can't be counted in sequencer.csv with tower.csv before: its ends were recorded \
                on two clocks that nothing joins. On the page Clocks, name a line that both files have.";
    assert!(
        report["notes"].as_array().unwrap().contains(&json!(note)),
        "{report}"
    );
    // Nor is a rule over both.
    let row = &report["limits"][0];
    assert_eq!(row["before"], json!({"wrong": 0, "occasions": 0}), "{report}");
    assert_eq!(
        row["says"],
        "\"in time\" broken: can't be counted before, its lines were recorded on two clocks that nothing joins (0 of 150 \
         after)."
    );
    let of_rule = "The rule \"in time\" can't be counted in sequencer.csv with tower.csv before";
    assert!(
        report["notes"]
            .as_array()
            .unwrap()
            .iter()
            .any(|told| told.as_str().unwrap().starts_with(of_rule)),
        "{report}"
    );
    let page = bench.page("/sessions/1/before-and-after").await;
    assert!(page.contains(&note.replace('\'', "&#39;")), "{page}");
    // The report as well, which is all that somebody else has.
    let page = bench.page("/sessions/1/report.html").await;
    assert!(page.contains("in sequencer.csv with tower.csv before"), "{page}");
}
