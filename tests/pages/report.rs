//! The printed report: moments in the zone that was asked for, and no figure where there is nothing to draw. Values are
//! planted here; no outside source.

use axum::http::{Method, StatusCode};
use serde_json::{Value, json};

use crate::bench::Bench;

const API: &str = "/api/sessions/1";

async fn with_a_capture() -> Bench {
    let bench = Bench::with_session().await;
    let mut table = String::from("Time (us),STEP\n");
    for row in 0..100 {
        table += &format!("{row},{}\n", row / 2 % 2);
    }
    let (status, _) = bench.bring(API, "name=tower.csv", table).await;
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

/// What a person judged and said counts: it is in the report, and the cautions stand once.
#[tokio::test]
async fn the_report_has_judgements_and_the_setup() {
    let bench = with_a_capture().await;
    let mark = json!({"line": "STEP", "start_s": 2e-6, "stray": false});
    bench.ok(Method::POST, &format!("{API}/marks"), mark).await;
    let setup = json!({"title": "Tower", "setup": "# a remark\n[line.STEP]\nnarrow_below = \"60 ns\"\n"});
    bench.ok(Method::PUT, API, setup).await;
    let report = bench.page("/sessions/1/report.html").await;
    let section = |heading: &str| {
        let rest = report
            .split(heading)
            .nth(1)
            .unwrap_or_else(|| panic!("{heading}: {report}"));
        rest.split("<h2>").next().unwrap().to_owned()
    };
    let judged = section("<h2>Pulses judged</h2>");
    assert!(
        judged.contains(
            "STEP in tower.csv: the pulse from 2.000 µs on, by that file&#39;s own clock, is legitimate"
        ),
        "{judged}"
    );
    let setup = section("<h2>The setup in force</h2>");
    assert!(
        setup.contains("[line.STEP]\nnarrow_below = ") && !setup.contains("a remark"),
        "{setup}"
    );
}

/// A meter reading rests on no captured line: of a condition without one nothing is said.
#[tokio::test]
async fn a_meter_reading_is_not_missed_among_captured_lines() {
    let bench = with_a_capture().await;
    let log = bench.ok(Method::GET, API, Value::Null).await;
    let as_found = log["conditions"][0]["id"].clone();
    let reading =
        json!({"rail": "VEE", "nominal": -12.0, "reading": 11.8, "unit": "V", "condition": as_found});
    bench
        .ok(Method::POST, &format!("{API}/entries/reading"), reading)
        .await;
    bench.ok(Method::GET, &format!("{API}/places"), Value::Null).await;
    let title = json!({"title": "supply mended"});
    bench
        .ok(Method::POST, &format!("{API}/entries/condition"), title)
        .await;
    let table = "Time (us),STEP\n0,0\n1,1\n2,0\n3,1\n4,0\n5,1\n";
    let (status, _) = bench.bring(API, "name=after.csv", table).await;
    assert!(status.is_success());
    bench.ok(Method::GET, &format!("{API}/places"), Value::Null).await;
    let page = bench.page("/sessions/1").await;
    assert!(
        !page.contains("not to be seen here") && !page.contains("and not here"),
        "{page}"
    );
    let log = bench.page("/sessions/1/log").await;
    assert!(log.contains("found under &#34;as found&#34;</span>"), "{log}");
}
