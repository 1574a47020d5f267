//! What the diagram asks for: windows of edges, what is found from where one is, the moments that findings rest on, and
//! what a person arranged.

use axum::body::Body;
use axum::http::{Request, StatusCode, header};

use crate::carillon::{Carillon, by_hand};

#[tokio::test]
async fn occurrences_tie_the_guilty_edge_to_its_stray() {
    let bench = Carillon::new("BEAT");
    let first = bench.json("/api/sessions/1/findings/F1/occurrences").await;
    assert_eq!(first["count"], 20);
    assert_eq!(
        first["occurrences"][1],
        serde_json::json!({"from": 2120, "to": 2141, "caption": "CLEAR_N dips for 8 ns, 13 ns after STEP falls.",
            "marks": [{"kind": "stray", "line": 1, "start": 2133, "end": 2141}, {"kind": "cause", "line": 0, "at": 2120}]})
    );
    let second = bench.json("/api/sessions/1/findings/F2/occurrences").await;
    assert_eq!(second["count"], 5);
    assert_eq!(
        second["occurrences"][0]["marks"][0],
        serde_json::json!({"kind": "missing", "from": 3, "sent": 4300, "line": 4, "start": 4306, "end": 4366, "is_low": false})
    );
}

#[tokio::test]
async fn only_a_clear_coupling_ties_a_stray_to_a_line() {
    for standing in ["inseparable", "companion"] {
        let (capture, mut report) = by_hand("BEAT");
        report.couplings[0].standing = standing.to_owned();
        let bench = Carillon::with((capture, report));
        let told = bench.json("/api/sessions/1/findings/F1/occurrences").await;
        assert_eq!(told["count"], 20);
        for occurrence in told["occurrences"].as_array().unwrap() {
            assert_eq!(occurrence["caption"], "CLEAR_N dips for 8 ns.");
            assert_eq!(occurrence["marks"].as_array().unwrap().len(), 1, "{occurrence}");
        }
        let (_, figure) = bench.get("/sessions/1/findings/F1/figure.svg").await;
        assert!(!figure.contains("<circle"), "no guilty edge in the figure");
        // Laid on one another, they are aligned at the strays themselves.
        let laid = bench
            .json("/api/sessions/1/findings/F1/overlay?before=20&after=20&lines=0,1")
            .await;
        assert_eq!(laid["lines"][1]["traces"][0], serde_json::json!([1, 0, 8]));
    }
}

#[tokio::test]
async fn lines_that_strays_follow_alike_are_marked_as_open() {
    let (capture, mut report) = by_hand("BEAT");
    report.couplings[0].standing = "inseparable".to_owned();
    report.findings[0].topic = "inseparable".to_owned();
    for stray in &mut report.strays {
        stray.aggressor = None;
    }
    let bench = Carillon::with((capture, report));
    let told = bench.json("/api/sessions/1/findings/F1/occurrences").await;
    assert_eq!(told["count"], 20);
    assert_eq!(
        told["occurrences"][1]["marks"],
        serde_json::json!([{"kind": "stray", "line": 1, "start": 2133, "end": 2141}, {"kind": "suspect", "line": 0, "at": 2120}])
    );
    let (_, figure) = bench.get("/sessions/1/findings/F1/figure.svg").await;
    assert!(
        figure.contains("this one?") && !figure.contains("4 3"),
        "a ring and no tie"
    );
}

#[tokio::test]
async fn things_are_found_from_where_one_is() {
    let bench = Carillon::new("BEAT");
    let find = |query: &'static str| {
        let bench = &bench;
        async move { bench.json(&format!("/api/sessions/1/find?{query}")).await }
    };
    let low = find("what=pattern&count=true&text=CLEAR_N%20low%20while%20STEP%20low").await;
    assert_eq!(
        (&low["count"], &low["moments"][0]),
        (&20.into(), &serde_json::json!([133, 141]))
    );
    let next = find("what=stray&line=1&from=133&most=1").await;
    assert_eq!(next["moments"], serde_json::json!([[2133, 2141]]));
    let before = find("what=stray&from=2133&most=1&back=true").await;
    assert_eq!(
        (&before["moments"], &before["lines"]),
        (&serde_json::json!([[133, 141]]), &serde_json::json!([1]))
    );
    let narrow = find("what=low-pulse&line=1&below_s=8.5e-9&count=true&most=0").await;
    assert_eq!(narrow["count"], 20);
    let wide = find("what=pulse&line=1&at_least_s=1e-8&count=true&most=0").await;
    assert_eq!(wide["count"], 19, "the rests between the strays");
    let fall = find("what=fall&line=0&from=120&most=1").await;
    assert_eq!(fall["moments"], serde_json::json!([[1120, 1120]]));
    let value =
        find("what=pattern&count=true&text=%7B%5CBELL%5B1%5D%20,%20%5CBELL%5B0%5D%20%7D%20==%202%27b11")
            .await;
    assert!(value["count"].as_u64().unwrap() > 5, "{value}");
    for (query, told) in [
        ("what=pattern&text=NOBODY%20low", "no line NOBODY"),
        ("what=pattern&text=STEP%20%26%26", "can't be read"),
        ("what=edge", "position of a line"),
        ("what=edge&line=99", "position of a line"),
        ("what=pulse&line=0&below_s=-1", "no less than 0 s"),
        ("what=sound", "Expected edge"),
    ] {
        let (status, body) = bench.get(&format!("/api/sessions/1/find?{query}")).await;
        assert_eq!(status, StatusCode::BAD_REQUEST, "{query}: {body}");
        assert!(body.contains(told), "{query}: {body}");
    }
}

#[tokio::test]
async fn a_stretch_is_counted_over_and_evidence_is_where_it_lies() {
    let bench = Carillon::new("BEAT");
    // Ten steps of 1 µs: STEP is low for 80 ns of each, ten rises make nine periods.
    let told = bench
        .json("/api/sessions/1/stretch?start=0&end=10000&lines=0,1")
        .await;
    let (step, clear) = (&told[0], &told[1]);
    assert_eq!(
        (&step["edges"], &step["rises"], &step["low"]["count"]),
        (&20.into(), &10.into(), &10.into())
    );
    assert!((step["rate_hz"].as_f64().unwrap() - 1e6).abs() < 1e-3);
    assert!((step["duty"].as_f64().unwrap() - 0.92).abs() < 1e-12);
    assert_eq!(clear["strays"], 5);
    assert_eq!(
        clear["low"]["shortest"],
        serde_json::json!({"start": 133, "width_s": 8e-9})
    );
    let evidence = bench.json("/api/sessions/1/evidence?start=0&end=2000").await;
    assert_eq!(
        (&evidence["count"], &evidence["occurrences"][0]["finding"]),
        (&1.into(), &0.into())
    );
    let all = bench
        .json("/api/sessions/1/evidence?start=-100&end=99999999")
        .await;
    assert_eq!(all["count"], 25, "20 strays and 5 lost pulses");
    let wrong = bench.get("/api/sessions/1/stretch?start=5&end=5").await;
    assert_eq!(wrong.0, StatusCode::BAD_REQUEST);
}

#[tokio::test]
async fn what_was_arranged_stays_and_is_printed() {
    let bench = Carillon::new("BEAT");
    let put = |body: &'static str| {
        let request = Request::put("/api/sessions/1/view")
            .header(header::HOST, "localhost:7117")
            .header(header::CONTENT_TYPE, "application/json");
        bench.ask(request.body(Body::from(body)).unwrap())
    };
    let kept = put(
        r#"{"arrangement": {"items": []}, "hidden": ["ties"], "dimensions":
            [{"from_s": 1.2e-7, "to_s": 1.33e-7, "from_line": "STEP", "to_line": "CLEAR_N", "uncertainty_s": 2e-9}]}"#,
    );
    assert_eq!(kept.await.0, StatusCode::OK);
    let view = bench.json("/api/sessions/1/view").await;
    assert_eq!(view["hidden"], serde_json::json!(["ties"]));
    let (_, figure) = bench.get("/sessions/1/findings/F1/figure.svg").await;
    assert!(figure.contains("13 ns ± 2 ns · 76.9 MHz"), "{figure}");
    let (_, elsewhere) = bench.get("/sessions/1/findings/F1/figure.svg?occurrence=2").await;
    assert!(!elsewhere.contains("76.9 MHz"), "out of sight");
    let (status, _) = put(r#"{"dimensions": [{"from_s": 1e999}]}"#).await;
    assert!(!status.is_success());
}

#[tokio::test]
async fn a_window_holds_edges_strays_and_stretches() {
    let bench = Carillon::new("BEAT");
    let request = Request::get("/api/sessions/1/window?start=2000&end=3000&columns=100&lines=0,1,9")
        .header(header::HOST, "localhost:7117");
    let (status, body) = bench.ask(request.body(Body::empty()).unwrap()).await;
    assert_eq!(status, StatusCode::OK);
    let head_length = u32::from_le_bytes(body[..4].try_into().unwrap()) as usize;
    assert_eq!(
        (4 + head_length) % 8,
        0,
        "numbers start at a multiple of eight bytes"
    );
    let head: serde_json::Value = serde_json::from_slice(&body[4..4 + head_length]).unwrap();
    let numbers = |place: &serde_json::Value| -> Vec<f64> {
        let first = 4 + head_length + place[0].as_u64().unwrap() as usize;
        let count = place[1].as_u64().unwrap() as usize;
        body[first..first + 8 * count]
            .chunks(8)
            .map(|b| f64::from_le_bytes(b.try_into().unwrap()))
            .collect()
    };
    let lines = &head["lines"];
    assert_eq!(
        (lines[0]["entering"].as_u64(), lines[0]["first"].as_u64()),
        (Some(1), Some(4))
    );
    assert_eq!(numbers(&lines[0]["edges"]), [120.0, 200.0]);
    assert_eq!(numbers(&lines[1]["edges"]), [133.0, 141.0]);
    assert_eq!(numbers(&lines[1]["strays"]), [133.0, 141.0]);
    // Up to the next edge of the line, beyond the window's end.
    assert_eq!(
        numbers(&lines[2]["stretches"]),
        [0.0, 1000.0, 0.0, 2000.0, 3000.0, 1.0, 4000.0, 5000.0, 2.0]
    );
    assert_eq!(lines[2]["after"], 7000.0);
    assert_eq!(
        (&lines[0]["before"], &lines[0]["after"]),
        (&serde_json::json!(-800.0), &serde_json::json!(1120.0))
    );
    for wrong in [
        "start=5&end=5&columns=10",
        "start=0&end=9&columns=0",
        "start=0&end=9&columns=10&lines=10",
    ] {
        let (status, _) = bench.get(&format!("/api/sessions/1/window?{wrong}")).await;
        assert_eq!(status, StatusCode::BAD_REQUEST, "{wrong}");
    }
}

/// Ends at and beyond what 64 bits hold: refused by a sentence, or answered, and never by an error of the server's own.
#[tokio::test]
async fn stretches_of_any_numbers_are_answered_or_refused() {
    let bench = Carillon::new("BEAT");
    let (least, most) = (i64::MIN, i64::MAX);
    let half = 1i64 << 61;
    let ends = [
        least,
        least + 1,
        -half - 1,
        -half,
        -1,
        0,
        9,
        half,
        half + 1,
        most - 1,
        most,
    ];
    let asked = [
        "api/sessions/1/window?columns=16384",
        "api/sessions/1/window?columns=1",
        "api/sessions/1/stretch?lines=0,1",
        "api/sessions/1/evidence?",
        "sessions/1/figure.svg?lines=0,1",
    ];
    for path in asked {
        for start in ends {
            for end in ends {
                let (status, told) = bench.get(&format!("/{path}&start={start}&end={end}")).await;
                let is_right = -half <= start && start < end && end <= half;
                let expected = if is_right {
                    StatusCode::OK
                } else {
                    StatusCode::BAD_REQUEST
                };
                assert_eq!(status, expected, "{path} from {start} to {end}");
                if !is_right {
                    assert!(told.contains(&format!("start={start} and end={end}")), "{told}");
                }
            }
        }
    }
    for from in ends {
        for back in [true, false] {
            for what in ["edge&line=0", "stray", "pattern&text=BEAT%20low"] {
                let path = format!("/api/sessions/1/find?what={what}&from={from}&back={back}&count=true");
                assert_eq!(bench.get(&path).await.0, StatusCode::OK, "{path}");
            }
        }
    }
    for minutes in [i32::MIN, -1440, 1440, i32::MAX] {
        let (status, _) = bench
            .get(&format!("/sessions/1/report.html?offset_min={minutes}"))
            .await;
        assert_eq!(status, StatusCode::BAD_REQUEST, "{minutes}");
    }
}

#[tokio::test]
async fn the_density_strip_loses_no_stray() {
    let density = Carillon::new("BEAT")
        .json("/api/sessions/1/density?columns=40")
        .await;
    let sum = |name: &str| {
        density[name]
            .as_array()
            .unwrap()
            .iter()
            .map(|n| n.as_u64().unwrap())
            .sum::<u64>()
    };
    assert_eq!(sum("strays"), 20);
    let (capture, _) = by_hand("BEAT");
    assert_eq!(sum("edges"), capture.edge_count() as u64);
}
