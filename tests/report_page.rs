//! The printed report: moments in the zone that was asked for, and no figure where there is nothing to draw. Values are
//! planted here; no outside source.

use axum::http::{Method, StatusCode};
use serde_json::{Value, json};

#[path = "common/bench.rs"]
mod bench;
use bench::Bench;

const API: &str = "/api/sessions/1";

async fn with_a_capture() -> Bench {
    let (bench, ()) = Bench::with(|_| ());
    bench
        .ok(Method::POST, "/api/sessions", json!({"title": "Tower"}))
        .await;
    let mut table = String::from("Time (us),STEP\n");
    for row in 0..100 {
        table += &format!("{row},{}\n", row / 2 % 2);
    }
    let path = format!("{API}/captures?name=tower.csv");
    let kind = "application/octet-stream";
    let (status, _) = bench.send(Method::POST, &path, kind, table.into()).await;
    assert!(status.is_success());
    bench
}

#[tokio::test]
async fn a_finding_of_the_meter_alone_has_no_empty_figure() {
    let bench = with_a_capture().await;
    let reading = json!({"rail": "VEE", "nominal": -12.0, "reading": 11.8, "unit": "V", "place": "J1-1"});
    bench
        .ok(Method::POST, &format!("{API}/entries/reading"), reading)
        .await;
    let report = bench.page("/sessions/1/report.html").await;
    let of_the_meter = report
        .split("<section class=\"finding\">")
        .find(|part| part.contains("VEE"));
    let part = of_the_meter.expect("a rail of the wrong sign is a finding");
    assert!(!part.contains("<svg"), "{part}");
    let answer = bench.ok(Method::GET, &format!("{API}/report"), Value::Null).await;
    let findings = answer["findings"].as_array().unwrap();
    let found = findings
        .iter()
        .find(|row| row["title"].as_str().unwrap().contains("VEE"));
    let id = found.unwrap()["id"].as_str().unwrap();
    let path = format!("/sessions/1/findings/{id}/figure.svg");
    let (status, _) = bench.send(Method::GET, &path, "text/html", Vec::new()).await;
    assert_eq!(status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn moments_are_told_in_the_zone_of_the_address() {
    let bench = with_a_capture().await;
    let remark = json!({"text": "The bell is late.", "at_ms": 1_000_000_000_000_i64});
    bench
        .ok(Method::POST, &format!("{API}/entries/remark"), remark)
        .await;
    // POSIX: 10⁹ s is 2001-09-09 01:46:40 UTC.
    let plain = bench.page("/sessions/1/report.html").await;
    assert!(plain.contains("2001-09-09 01:46 UTC"), "{plain}");
    let east = bench.page("/sessions/1/report.html?offset_min=120").await;
    assert!(
        east.contains("2001-09-09 03:46 +02:00") && !east.contains("UTC"),
        "{east}"
    );
    let log = bench.page("/sessions/1/log").await;
    assert!(log.contains("<time>2001-09-09 01:46 UTC</time>"), "{log}");
    let path = "/sessions/1/report.html?offset_min=9000";
    let (status, _) = bench.send(Method::GET, path, "text/html", Vec::new()).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
}
