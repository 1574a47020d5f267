//! What a person judges of single pulses counts in Findings and in Before and after.

use crate::evening::Evening;
use crate::struck::struck;
use axum::http::Method;
use serde_json::{Value, json};

/// What Before and after counts of the coupling under the second condition.
async fn counted(evening: &Evening) -> (u64, u64) {
    let log = evening.get("").await;
    let id = |at: usize| log["conditions"][at]["id"].as_i64().unwrap();
    let tail = format!("/compare?before=c{}&after=c{}", id(0), id(1));
    let answer = evening.get(&tail).await;
    let after = &answer["couplings"][0]["after"];
    let number = |key: &str| after[key].as_u64().unwrap_or_else(|| panic!("{answer}"));
    (number("strays"), number("opportunities"))
}

#[tokio::test]
async fn a_pulse_judged_by_hand_is_no_occasion_of_the_comparison_either() {
    let evening = Evening::begun().await;
    evening.condition("own pair").await;
    evening.bring("pair.vcd", &struck(7, 450, 0.0)).await;
    evening.condition("as found").await;
    evening.bring("found.vcd", &struck(3, 300, 0.4)).await;
    evening.bring("again.vcd", &struck(5, 300, 0.4)).await;
    let before = counted(&evening).await;
    let report = evening.report().await;
    let of_coupling = |report: &Value| {
        let row = &report["couplings"][0];
        [
            row["strays"].as_u64().unwrap(),
            row["opportunities"].as_u64().unwrap(),
        ]
    };
    let own = of_coupling(&report);
    let strays = report["strays"].as_array().unwrap();
    let struck = strays.iter().find(|stray| stray["aggressor"] == "STEP").unwrap();
    let mark = json!({"line": struck["line"], "start_s": struck["start_s"], "stray": false});
    evening.ok(Method::POST, "/marks", mark).await;
    let report = evening.report().await;
    assert_eq!(of_coupling(&report), own.map(|count| count - 1));
    assert_eq!(counted(&evening).await, (before.0 - 1, before.1 - 1));

    let page = evening.shown("/before-and-after").await;
    assert!(
        page.contains(
            "The counts are those of 1 run before and 2 runs after together; Findings shows one run at a time"
        ),
        "{page}"
    );
}
