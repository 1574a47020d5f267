//! A link declared on its page, checked, taken back.
//!
//! Captures and their truth are the demo's (`sample-captures/truth.json` is made by the simulator, not measured).

use axum::http::{Method, StatusCode};
use edgewitness::demo;
use serde_json::{Value, json};

use crate::evening::Evening;

#[tokio::test]
async fn a_link_is_declared_taken_back_and_the_taking_back_undone() {
    let evening = Evening::demo();
    assert_eq!(evening.report().await["links"][0]["verdict"], "lossy");
    let pulses = evening.get("/links/pulses?from=STRIKE_OUT&to=STRIKE_IN").await;
    let fates = |word: &str| {
        pulses
            .as_array()
            .unwrap()
            .iter()
            .filter(|p| p["fate"] == word)
            .count()
    };
    let (_, truths) = demo::captures();
    let truth = truths.iter().find(|t| t.file == "as-found.vcd").unwrap();
    assert_eq!(fates("missing"), truth.links[0].missing_s.len());
    assert_eq!(fates("arrived"), truth.links[0].arrived);
    let page = evening.shown("/links").await;
    assert!(page.contains("never arrived") && page.contains("&#38;occurrence=1"));
    let ends = json!({"from": "STRIKE_OUT", "to": "STRIKE_IN"});
    evening.ok(Method::DELETE, "/links", ends.clone()).await;
    assert_eq!(evening.report().await["links"].as_array().map(Vec::len), Some(0));
    let (status, _) = evening.json(Method::DELETE, "/links", ends).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    evening.ok(Method::POST, "/undo", Value::Null).await;
    assert_eq!(evening.report().await["links"][0]["verdict"], "lossy");
    let unknown = json!({"from": "STRIKE_OUT", "to": "NOWHERE"});
    let (status, told) = evening.json(Method::POST, "/links", unknown).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(
        told["error"]
            .as_str()
            .unwrap()
            .starts_with("The far end: The captures have no NOWHERE."),
        "{told}"
    );
}
