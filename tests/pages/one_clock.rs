//! Two instruments brought to one clock, moved by hand, and the skew between the channels of one.
//!
//! Captures and their truth are the demo's (`sample-captures/truth.json` is made by the simulator, not measured).

use axum::http::{Method, StatusCode};
use serde_json::{Value, json};

use crate::evening::Evening;

fn offset(report: &Value) -> f64 {
    report["captures"][1]["offset_s"].as_f64().unwrap()
}

#[tokio::test]
async fn a_clock_is_moved_by_hand_and_a_capture_set_apart() {
    let evening = Evening::demo();
    let found = evening.report().await;
    // What the simulator planted: started 87.1342 ms later, 31.2 ppm off.
    assert!(
        (offset(&found) - 0.087_134_2).abs() < 42e-9,
        "{}",
        found["captures"]
    );
    let (tower, first) = (
        evening.capture("tower.csv").await,
        evening.capture("as-found.vcd").await,
    );
    let clock = |shift_s: f64| json!({"capture": tower, "with": first, "on": ["NOTE"], "shift_s": shift_s});
    evening.ok(Method::PUT, "/clocks", clock(2e-6)).await;
    let moved = evening.report().await;
    assert!((offset(&moved) - offset(&found) - 2e-6).abs() < 1e-12);
    assert!(evening.shown("/clocks").await.contains("by hand"));
    evening.ok(Method::POST, "/undo", Value::Null).await;
    assert_eq!(offset(&evening.report().await), offset(&found));
    evening
        .ok(Method::PUT, "/clocks", json!({"capture": tower, "with": null}))
        .await;
    let apart = evening.report().await;
    assert_eq!(apart["captures"].as_array().map(Vec::len), Some(1));
    // BELL[4] never moves: too few edges to align on, told with what to do.
    evening
        .ok(
            Method::PUT,
            "/clocks",
            json!({"capture": tower, "with": first, "on": ["BELL[4]=DAMPER"]}),
        )
        .await;
    let refused = evening.report().await;
    let told = refused["findings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|f| f["topic"] == "alignment")
        .unwrap();
    assert!(told["detail"].as_str().unwrap().contains("0 edges"), "{told}");
    assert_eq!(refused["captures"][0]["file"], "as-found.vcd");
    let (status, _) = evening
        .json(Method::PUT, "/clocks", json!({"capture": 999, "with": null}))
        .await;
    assert_eq!(status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_name_that_no_capture_has_changes_no_clock() {
    let evening = Evening::demo();
    let found = evening.report().await;
    let (tower, first) = (
        evening.capture("tower.csv").await,
        evening.capture("as-found.vcd").await,
    );
    for (on, says) in [
        ("NOET", "The captures have no NOET"),
        ("NOTE=STROEB", "The captures have no STROEB"),
    ] {
        let clock = json!({"capture": tower, "with": first, "on": [on]});
        let (status, told) = evening.json(Method::PUT, "/clocks", clock).await;
        assert_eq!(status, StatusCode::BAD_REQUEST, "{on}");
        assert!(told["error"].as_str().unwrap().contains(says), "{told}");
    }
    assert_eq!(offset(&evening.report().await), offset(&found));
}

#[tokio::test]
async fn channel_skew_is_measured_and_taken_off() {
    let evening = Evening::demo();
    // One edge (and three more) fed to three probes; the second shows it 10 ns late, the third 5 ns early.
    let mut text = "time (ns),STEP,CLEAR_N,BEAT\n0,0,0,0\n".to_owned();
    let mut rows: Vec<(i64, usize)> = Vec::new();
    for (n, at) in [1000, 2000, 3500, 4500].into_iter().enumerate() {
        rows.extend([(at, 3 * n), (at + 10, 3 * n + 1), (at - 5, 3 * n + 2)]);
    }
    rows.sort_unstable();
    let mut levels = [0; 3];
    for (at, which) in rows {
        levels[which % 3] = 1 - levels[which % 3];
        text.push_str(&format!("{at},{},{},{}\n", levels[0], levels[1], levels[2]));
    }
    let capture = evening.bring("one-edge.csv", &text).await;
    let kept = evening
        .ok(Method::PUT, "/skews", json!({"capture": capture, "late_s": {}}))
        .await;
    let late = |line: &str| kept["late_s"][line].as_f64().unwrap() * 1e9;
    // Against the average, which is 5/3 ns late.
    for (line, expected) in [
        ("STEP", -5.0 / 3.0),
        ("CLEAR_N", 10.0 - 5.0 / 3.0),
        ("BEAT", -5.0 - 5.0 / 3.0),
    ] {
        assert!((late(line) - expected).abs() < 1e-6, "{kept}");
    }
    evening
        .ok(
            Method::DELETE,
            &format!("/entries/capture/{capture}"),
            Value::Null,
        )
        .await;
    let conditions = evening.get("").await["conditions"].clone();
    evening
        .ok(
            Method::PUT,
            "/condition-in-hand",
            json!({"condition": conditions[0]["id"]}),
        )
        .await;
    let report = evening.report().await;
    let row = report["couplings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|c| c["victim"] == "CLEAR_N")
        .unwrap();
    // CLEAR_N was 10 ns later than STEP: that much is off the lag of 15 ns.
    let lag = row["lag_s"]["median"].as_f64().unwrap() * 1e9;
    assert!((4.0..=6.5).contains(&lag), "{lag}");
    // Skews are those of the instrument that recorded the capture they were measured from: another one's are left alone.
    let found = evening.capture("as-found.vcd").await;
    let log = evening.get("").await;
    let mut value = log["captures"]
        .as_array()
        .unwrap()
        .iter()
        .find(|c| c["id"] == found)
        .unwrap()
        .clone();
    value["instrument"] = "logic analyzer".into();
    evening
        .ok(Method::PUT, &format!("/entries/capture/{found}"), value)
        .await;
    let report = evening.report().await;
    let rows = report["couplings"].as_array().unwrap();
    let row = rows.iter().find(|c| c["victim"] == "CLEAR_N").unwrap();
    let lag = row["lag_s"]["median"].as_f64().unwrap() * 1e9;
    assert!((14.0..=16.5).contains(&lag), "{lag}");
    let page = evening.shown("/clocks").await;
    assert!(
        page.contains("Captures of no named instrument") && page.contains("as-found.vcd (logic analyzer)")
    );
    let (status, told) = evening
        .json(
            Method::PUT,
            "/skews",
            json!({"capture": evening.capture("tower.csv").await, "late_s": {}}),
        )
        .await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(
        told["error"]
            .as_str()
            .unwrap()
            .contains("the same edges on every channel"),
        "{told}"
    );
}
