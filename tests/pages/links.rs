//! A link declared on its page, checked, taken back.
//!
//! Captures and their truth are the demo's (`sample-captures/truth.json` is made by the simulator, not measured).

use axum::http::{Method, StatusCode};
use edgewitness::demo;
use serde_json::{Value, json};

use crate::evening::Evening;
use crate::pulsed::{later, pulses, vcd};

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

/// What never arrived is drawn as it would have come: a dip at the far end of an inverter, and of a line that rests high.
#[tokio::test]
async fn a_lost_pulse_is_drawn_the_way_it_would_have_arrived() {
    for (sent_high, far_high, dips) in [
        (false, true, true),
        (false, false, false),
        (true, true, true),
        (true, false, false),
    ] {
        let evening = Evening::begun().await;
        let sent = pulses(5, 120);
        let mut far = later(&sent, 40);
        far.remove(60);
        let lines = [("OUT", sent, sent_high), ("IN", far, far_high)];
        evening.bring("a.vcd", &vcd(&lines)).await;
        let link = json!({"from": "OUT", "to": "IN", "inverted": sent_high != far_high});
        evening.ok(Method::POST, "/links", link).await;
        let report = evening.report().await;
        let found = report["findings"].as_array().unwrap();
        let lossy = found
            .iter()
            .find(|f| f["topic"] == "link")
            .unwrap_or_else(|| panic!("{report}"));
        let path = format!("/findings/{}/figure.svg", lossy["id"].as_str().unwrap());
        let svg = evening.shown(&path).await;
        // From where it rests to where the pulse would be: down the page is a dip.
        let ghost = svg
            .split("<path d=\"M")
            .find(|part| part.contains("never arrived"));
        let ghost = ghost.unwrap_or_else(|| panic!("{svg}"));
        let (rest, tail) = ghost.split_once(' ').unwrap().1.split_once('V').unwrap();
        let pulse: f64 = tail.split('H').next().unwrap().parse().unwrap();
        let rest: f64 = rest.parse().unwrap();
        assert_eq!(pulse > rest, dips, "{sent_high} {far_high}: {ghost}");
    }
}
