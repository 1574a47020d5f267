//! A supply's dips on the pages: what is shown first is the deepest, as the title tells it.

use std::fmt::Write;

use axum::http::Method;
use serde_json::{Value, json};

use crate::evening::Evening;

const SETUP: &str = "[rail.VCC_TOWER]\nnominal = \"5 V\"\ntolerance = \"5 %\"\n";

/// 4000 samples of 1 µs: VCC_TOWER at 4.95 V, with dips of 40 samples to these volts, 500 samples apart; LIFT rises before each.
fn table(dips: &[f64]) -> String {
    let mut text = "Time(s),LIFT,VCC_TOWER(V)\n".to_owned();
    for i in 0..4000 {
        let (dip, within) = (i / 500, i % 500);
        let depth = dips.get(dip).filter(|_| (100..140).contains(&within));
        let lift = u8::from((98..300).contains(&within) && dip < dips.len());
        writeln!(
            text,
            "{:.6},{lift},{:.3}",
            i as f64 * 1e-6,
            depth.unwrap_or(&4.95)
        )
        .unwrap();
    }
    text
}

/// A session with a supply that dips so, and the finding of that.
async fn told(dips: &[f64]) -> (Evening, Value) {
    let evening = Evening::begun().await;
    let session = json!({"title": "Tower", "setup": SETUP});
    evening.ok(Method::PUT, "", session).await;
    evening.bring("supply.csv", &table(dips)).await;
    let report = evening.report().await;
    let mut findings = report["findings"].as_array().unwrap().iter();
    let rail = findings.find(|f| f["topic"] == "rail").cloned();
    (evening, rail.unwrap_or_else(|| panic!("{report}")))
}

#[tokio::test]
async fn a_supply_is_shown_at_its_deepest_dip() {
    let (evening, rail) = told(&[4.7, 4.6, 4.1, 4.6]).await;
    let title = rail["title"].as_str().unwrap();
    assert!(title.starts_with("VCC_TOWER sags to 4.1 V"), "{title}");
    let detail = rail["detail"].as_str().unwrap();
    assert!(
        detail.contains("the first is at 100 µs, the deepest (4.1 V) at 1.1 ms."),
        "{detail}"
    );
    let id = rail["id"].as_str().unwrap();
    let figure = evening.shown(&format!("/findings/{id}/figure.svg")).await;
    assert!(figure.contains("VCC_TOWER goes to 4.1 V."), "{figure}");
    let page = evening.shown("").await;
    assert!(page.contains("VCC_TOWER goes to 4.1 V."), "{page}");
    // Programs are told which it is, counted from 0.
    let evidence = evening.get(&format!("/findings/{id}/occurrences")).await;
    assert_eq!(evidence["told"], 2, "{evidence}");
}

/// Of dips as deep as one another the first is shown, and told once.
#[tokio::test]
async fn of_equal_dips_the_first_is_shown() {
    let (_, rail) = told(&[4.7, 4.6, 4.6, 4.6]).await;
    let detail = rail["detail"].as_str().unwrap();
    assert!(detail.contains("the deepest (4.6 V) at 600 µs."), "{detail}");
    let (_, rail) = told(&[4.6, 4.7, 4.6]).await;
    let detail = rail["detail"].as_str().unwrap();
    assert!(detail.contains("the first is at 100 µs. Mean"), "{detail}");
}
