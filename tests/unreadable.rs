//! One capture that can't be read does not close the session to the others.

use std::sync::Arc;

use axum::body::Body;
use axum::http::{Method, Request, StatusCode};
use edgewitness::store::Store;
use edgewitness::web::{App, router};
use http_body_util::BodyExt;
use serde_json::{Value, json};
use tower::ServiceExt;

struct Bench {
    _folder: tempfile::TempDir,
    router: axum::Router,
}

impl Bench {
    /// With session 1.
    async fn new() -> Bench {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).unwrap();
        let app = App::new(store, "127.0.0.1:7117".parse().unwrap(), &[]);
        let bench = Bench {
            router: router(Arc::new(app)),
            _folder: folder,
        };
        let made = bench
            .json(Method::POST, "/api/sessions", json!({"title": "Tower"}))
            .await;
        assert_eq!(made["id"], 1);
        bench
    }

    async fn send(&self, method: Method, path: &str, kind: &str, body: Vec<u8>) -> (StatusCode, String) {
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header("host", "127.0.0.1:7117")
            .header("content-type", kind)
            .body(Body::from(body))
            .unwrap();
        let response = self.router.clone().oneshot(request).await.unwrap();
        let status = response.status();
        let bytes = response.into_body().collect().await.unwrap().to_bytes();
        (status, String::from_utf8_lossy(&bytes).into_owned())
    }

    async fn json(&self, method: Method, path: &str, body: Value) -> Value {
        let (status, text) = self
            .send(method, path, "application/json", body.to_string().into_bytes())
            .await;
        assert!(status.is_success(), "{path}: {status} {text}");
        serde_json::from_str(&text).unwrap_or(Value::Null)
    }

    /// The capture's number.
    async fn bring(&self, file: &str, bytes: Vec<u8>) -> i64 {
        let path = format!("/api/sessions/1/captures?name={file}");
        let (status, text) = self
            .send(Method::POST, &path, "application/octet-stream", bytes)
            .await;
        assert_eq!(status, StatusCode::CREATED, "{text}");
        let log = self.json(Method::GET, "/api/sessions/1", Value::Null).await;
        let captures = log["captures"].as_array().unwrap();
        captures.iter().find(|c| c["file"] == file).unwrap()["id"]
            .as_i64()
            .unwrap()
    }

    /// Once everything is read.
    async fn findings(&self) -> Vec<Value> {
        self.json(Method::GET, "/api/sessions/1/places", Value::Null)
            .await;
        let report = self
            .json(Method::GET, "/api/sessions/1/report", Value::Null)
            .await;
        report["findings"].as_array().unwrap().clone()
    }

    async fn page(&self, tail: &str) -> String {
        let path = format!("/sessions/1{tail}");
        let (status, text) = self.send(Method::GET, &path, "text/html", Vec::new()).await;
        assert_eq!(status, StatusCode::OK, "{path}: {text}");
        text
    }
}

fn sample(name: &str) -> Vec<u8> {
    std::fs::read(format!("{}/sample-captures/{name}", env!("CARGO_MANIFEST_DIR"))).unwrap()
}

/// Without their numbers, which another finding between them moves on.
fn unnumbered(findings: &[Value]) -> Vec<Value> {
    let mut findings = findings.to_vec();
    for finding in &mut findings {
        finding.as_object_mut().unwrap().remove("id");
    }
    findings
}

/// The unreadable one comes first, between, last: every capture that can be read keeps its place.
#[tokio::test]
async fn the_others_are_looked_at_as_if_it_lay_in_the_bin() {
    for place in 0..3 {
        let bench = Bench::new().await;
        let mut files = vec![
            ("as-found.vcd", sample("as-found.vcd")),
            ("tower.csv", sample("tower.csv")),
        ];
        files.insert(place, ("bad.csv", vec![0; 4096]));
        let mut bad = 0;
        for (file, bytes) in files {
            let id = bench.bring(file, bytes).await;
            if file == "bad.csv" {
                bad = id;
            }
        }
        let findings = bench.findings().await;
        let (told, others): (Vec<&Value>, Vec<&Value>) =
            findings.iter().partition(|f| f["topic"] == "reading");
        assert_eq!(told.len(), 1, "{findings:?}");
        assert_eq!(told[0]["severity"], "warning");
        assert!(
            told[0]["title"]
                .as_str()
                .unwrap()
                .starts_with("bad.csv can't be read"),
            "{told:?}"
        );
        assert!(
            told[0]["detail"].as_str().unwrap().starts_with("bad.csv"),
            "{told:?}"
        );
        let others: Vec<Value> = others.into_iter().cloned().collect();
        assert!(others.iter().any(|f| f["topic"] == "coupling"), "{others:?}");
        assert!(others.iter().any(|f| f["topic"] == "alignment"), "{others:?}");

        // The way to its reading and to the bin stands beside the finding.
        let page = bench.page("").await;
        let entry = format!("/api/sessions/1/entries/capture/{bad}");
        assert!(
            page.contains(&format!("href=\"/sessions/1/captures/{bad}\"")),
            "{page}"
        );
        assert!(
            page.contains(&format!("data-send=\"{entry}\" data-method=\"DELETE\"")),
            "{page}"
        );
        bench.page("/links").await;
        bench.page("/report.html").await;
        let clocks = bench.page("/clocks").await;
        assert!(
            clocks.contains("Its clock is the session&#39;s") && clocks.contains("Brought to the clock by"),
            "{clocks}"
        );
        let runs = bench.json(Method::GET, "/api/sessions/1/runs", Value::Null).await;
        assert_eq!(runs["unreadable"][0]["capture"], bad);
        assert_eq!(runs["unreadable"][0]["file"], "bad.csv");
        let compared = bench.page("/before-and-after").await;
        assert!(
            compared.contains("can't be read, and is not counted"),
            "{compared}"
        );

        bench.json(Method::DELETE, &entry, Value::Null).await;
        assert_eq!(unnumbered(&bench.findings().await), unnumbered(&others));
        let without = bench.json(Method::GET, "/api/sessions/1/runs", Value::Null).await;
        assert_eq!(
            (&without["runs"], &without["tallies"]),
            (&runs["runs"], &runs["tallies"])
        );
        assert_eq!(without["unreadable"], json!([]));
    }
}

#[tokio::test]
async fn only_where_none_can_be_read_the_error_stands_alone() {
    let bench = Bench::new().await;
    let bad = bench.bring("bad.csv", vec![0; 4096]).await;
    let worse = bench
        .bring("worse.vcd", b"$timescale 1 ns $end\n#0\n1!\n".to_vec())
        .await;
    let page = bench.page("").await;
    assert!(
        page.contains("role=\"alert\">bad.csv") && page.contains("worse.vcd, byte"),
        "{page}"
    );
    for id in [bad, worse] {
        assert!(
            page.contains(&format!("href=\"/sessions/1/captures/{id}\"")),
            "{page}"
        );
        let button = format!("data-send=\"/api/sessions/1/entries/capture/{id}\" data-method=\"DELETE\"");
        assert!(page.contains(&button), "{page}");
    }
    // A quiet capture beside them: it is said of it that nothing was found, after what could not be read.
    let quiet = "time,A,B\n0,0,0\n1e-6,1,0\n2e-6,0,1\n3e-6,1,0\n4e-6,0,1\n";
    bench.bring("quiet.csv", quiet.as_bytes().to_vec()).await;
    let findings = bench.findings().await;
    let topics: Vec<&str> = findings.iter().map(|f| f["topic"].as_str().unwrap()).collect();
    assert_eq!(
        topics.iter().filter(|topic| **topic == "reading").count(),
        2,
        "{findings:?}"
    );
    assert!(
        topics.len() > 2 && topics[..2] == ["reading", "reading"],
        "{findings:?}"
    );
}
