//! A small capture of the carillon made by hand, with the report that goes with it, for the pages.
//!
//! 40 steps of 1 µs at 1 ns: STEP falls at n µs + 120 and rises 80 ns later; BEAT goes with it four times out of
//! five; every second fall makes CLEAR_N dip 13 ns later for 8 ns; every fourth step a STRIKE is sent, and every
//! second of these never reaches the tower; BELL counts, its bit 3 never moves.

use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use edgewitness::model::{
    Bus, Capture, Format, Level, Line, Stretch, StretchKind, Ticks, TimeSpan, Timebase,
};
use edgewitness::report::inspect::InspectReport;
use edgewitness::store::{SessionBody, SessionId, Store};
use edgewitness::web::{App, Opened, router};
use http_body_util::BodyExt;
use serde_json::json;
use tower::ServiceExt;

const STEPS: i64 = 40;

/// A server on a folder of its own, with the carillon open as session 1.
pub struct Carillon {
    router: Router,
    _folder: tempfile::TempDir,
}

impl Carillon {
    /// The name BEAT is `hostile`.
    pub fn new(hostile: &str) -> Carillon {
        Carillon::with(by_hand(hostile))
    }

    pub fn with((capture, report): (Capture, InspectReport)) -> Carillon {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).unwrap();
        let body = SessionBody {
            title: "Third <b>evening</b>".to_owned(),
            ..SessionBody::default()
        };
        let session = store.create_session(&body).unwrap();
        let mut app = App::new(store, "127.0.0.1:7117".parse().unwrap(), &[]);
        app.upload_limit_bytes = 1 << 20;
        app.keep(Opened::new(
            session.id,
            session.body.title,
            capture,
            report,
            String::new(),
        ));
        assert_eq!(session.id, SessionId(1));
        Carillon {
            router: router(Arc::new(app)),
            _folder: folder,
        }
    }

    /// Status and body; every answer forbids what a page does not need.
    pub async fn ask(&self, request: Request<Body>) -> (StatusCode, Vec<u8>) {
        let response = self.router.clone().oneshot(request).await.unwrap();
        let policy = response.headers()[header::CONTENT_SECURITY_POLICY]
            .to_str()
            .unwrap()
            .to_owned();
        assert!(
            policy.contains("default-src 'none'") && !policy.contains("unsafe"),
            "{policy}"
        );
        let status = response.status();
        (
            status,
            response.into_body().collect().await.unwrap().to_bytes().to_vec(),
        )
    }

    pub async fn get(&self, path: &str) -> (StatusCode, String) {
        let request = Request::get(path)
            .header(header::HOST, "localhost:7117")
            .body(Body::empty())
            .unwrap();
        let (status, bytes) = self.ask(request).await;
        (status, String::from_utf8_lossy(&bytes).into_owned())
    }

    pub async fn json(&self, path: &str) -> serde_json::Value {
        let (status, body) = self.get(path).await;
        assert_eq!(status, StatusCode::OK, "{path}: {body}");
        serde_json::from_str(&body).unwrap()
    }
}

/// The capture and its report; `hostile` is put in place of the name BEAT.
pub fn by_hand(hostile: &str) -> (Capture, InspectReport) {
    let span = TimeSpan::new(Ticks(0), Ticks(STEPS * 1000));
    let line = |name: &str, first, edges: Vec<i64>| {
        Line::digital(name, first, edges.into_iter().map(Ticks).collect(), span)
    };
    let falls: Vec<i64> = (0..STEPS).map(|n| n * 1000 + 120).collect();
    let step = falls.iter().flat_map(|&t| [t, t + 80]).collect();
    let beat = falls
        .iter()
        .enumerate()
        .filter(|(n, _)| n % 5 != 0)
        .flat_map(|(_, &t)| [t, t + 300])
        .collect();
    let struck: Vec<i64> = falls.iter().step_by(2).map(|t| t + 13).collect();
    let clear = struck.iter().flat_map(|&t| [t, t + 8]).collect();
    let sent: Vec<i64> = falls.iter().step_by(4).map(|t| t + 180).collect();
    let strike = sent.iter().flat_map(|&t| [t, t + 60]).collect();
    let tower = sent.iter().step_by(2).flat_map(|&t| [t + 6, t + 66]).collect();
    let bit = |n: i64| {
        (1..STEPS)
            .filter(|step| step % (1 << n) == 0)
            .map(|step| step * 1000 + 40)
            .collect()
    };
    let mut lines = vec![
        line("STEP", Level::High, step),
        line("CLEAR_N", Level::High, clear),
        line(hostile, Level::Low, beat),
        line("STRIKE_OUT", Level::Low, strike),
        line("STRIKE_IN", Level::Low, tower),
        line("BELL[3]", Level::Low, vec![]),
        line("BELL[2]", Level::Low, bit(2)),
        line("BELL[1]", Level::Low, bit(1)),
        line("BELL[0]", Level::Low, bit(0)),
        line("DAMPER", Level::Low, vec![9_000]),
    ];
    lines[9].stretches = vec![
        Stretch {
            span: TimeSpan::new(Ticks(2_000), Ticks(3_000)),
            kind: StretchKind::Unknown,
        },
        Stretch {
            span: TimeSpan::new(Ticks(4_000), Ticks(5_000)),
            kind: StretchKind::Floating,
        },
        Stretch {
            span: TimeSpan::new(Ticks(6_000), Ticks(7_000)),
            kind: StretchKind::Unrecorded,
        },
    ];
    let seconds = |t: i64| t as f64 / 1e9;
    let strays: Vec<serde_json::Value> = struck
        .iter()
        .map(|&t| {
            json!({"line": "CLEAR_N", "start_s": seconds(t), "width_s": 8e-9, "level": "low", "kind": "pulse",
                   "aggressor": "STEP", "edge": "fall", "lag_s": 1.3e-8})
        })
        .collect();
    let missing: Vec<f64> = sent.iter().skip(1).step_by(2).map(|&t| seconds(t)).collect();
    let rows: Vec<serde_json::Value> = lines
        .iter()
        .map(|l| {
            json!({"line": l.name, "capture": "carillon.vcd", "source": "digital", "edges": l.edges.len(),
                   "narrow_below_s": null, "narrow_from": "none"})
        })
        .collect();
    let report = json!({
        "schema": "edgewitness-report-1",
        "captures": [{"file": "carillon.vcd", "format": "vcd", "start_s": 0.0, "end_s": 4e-5, "resolution_s": 1e-9,
                      "offset_s": 0.0, "drift_ppm": 0.0, "warnings": []}],
        "lines": rows, "strays": strays,
        "couplings": [{"victim": "CLEAR_N", "aggressor": "STEP", "edge": "fall", "strays": 20, "opportunities": 40,
            "expected_by_chance": 0.3, "p_value": 1e-20, "q_value": 1e-18,
            "strike_rate": {"estimate": 0.5, "low": 0.338, "high": 0.662},
            "lag_s": {"median": 1.3e-8, "low": 1.3e-8, "high": 1.3e-8}, "standing": "clear", "inseparable_from": [],
            "victim_strays": 20,
            "lag_histogram": {"start_s": 0.0, "bin_s": 2e-9, "counts": [0, 0, 0, 0, 1, 4, 10, 3, 1, 1, 0, 0, 0, 0, 0]},
            "ruled_out": [{"line": hostile, "edge": "rise", "strays": 16, "strays_alone": 0, "opportunities": 32,
                "opportunities_alone": 0, "reason": format!("{hostile} switches with STEP on 80 % of its falls; once STEP is allowed for it explains none.")}]}],
        "links": [{"from": "STRIKE_OUT", "to": "STRIKE_IN", "verdict": "lossy", "sent": 10, "arrived": 5,
            "missing_s": missing, "extra_s": [], "delay_s": {"median": 6e-9, "low": 6e-9, "high": 6e-9},
            "better_match": null}],
        "findings": [
            {"id": "F1", "severity": "fault", "topic": "coupling", "lines": ["CLEAR_N", "STEP"],
             "title": "CLEAR_N: 20 of 20 stray pulses follow STEP falling",
             "detail": "50 % of falls strike (34–66 %) · by chance 0.3 expected · lag 13 ns",
             "try_next": ["Lead STEP's wire away from CLEAR_N and repeat: 6 clean falls would settle it."]},
            {"id": "F2", "severity": "fault", "topic": "link", "lines": ["STRIKE_OUT", "STRIKE_IN"],
             "title": "STRIKE_OUT: 5 of 10 pulses do not arrive at STRIKE_IN",
             "detail": "those that arrive take 6 ns · no other captured line carries the lost ones",
             "try_next": ["Ring out the wire with the power off; reseat and flex the connector while repeating."]},
            {"id": "F3", "severity": "warning", "topic": "stuck", "lines": ["BELL[3]"],
             "title": "BELL[3] never moves", "detail": "Its three neighbours switched 69 times.",
             "try_next": ["Touch a pulser to it."]}]
    });
    let capture = Capture {
        file: "carillon.vcd".to_owned(),
        format: Format::Vcd,
        timebase: Timebase::decimal(-9),
        span,
        resolution_ticks: 1.0,
        lines,
        buses: vec![Bus {
            name: "BELL[3:0]".to_owned(),
            bits: vec![5, 6, 7, 8],
            base: None,
        }],
        not_logic: Vec::new(),
        warnings: Vec::new(),
    };
    (
        capture,
        serde_json::from_value(report).expect("the report's own shape"),
    )
}
