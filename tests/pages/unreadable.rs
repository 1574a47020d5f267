//! One capture that can't be read does not close the session to the others.

use crate::bench;
use crate::sample::sample;
use axum::http::{Method, StatusCode};
use serde_json::{Value, json};

const API: &str = "/api/sessions/1";

/// A server with session 1.
struct Bench(bench::Bench);

impl Bench {
    async fn new() -> Bench {
        Bench(bench::Bench::with_session().await)
    }

    async fn json(&self, method: Method, path: &str, body: Value) -> Value {
        self.0.ok(method, path, body).await
    }

    /// The capture's number.
    async fn bring(&self, file: &str, bytes: impl AsRef<[u8]>) -> i64 {
        let (status, told) = self.0.bring(API, &format!("name={file}"), bytes).await;
        assert_eq!(status, StatusCode::CREATED, "{told}");
        self.0.capture(API, file).await
    }

    /// Once everything is read.
    async fn findings(&self) -> Vec<Value> {
        self.0
            .ok(Method::GET, &format!("{API}/places"), Value::Null)
            .await;
        let report = self
            .0
            .ok(Method::GET, &format!("{API}/report"), Value::Null)
            .await;
        report["findings"].as_array().unwrap().clone()
    }

    async fn page(&self, tail: &str) -> String {
        self.0.page(&format!("/sessions/1{tail}")).await
    }
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
        files.insert(place, ("bad.csv", "\0".repeat(4096)));
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
    let bad = bench.bring("bad.csv", "\0".repeat(4096)).await;
    let worse = bench
        .bring("worse.vcd", b"$timescale 1 ns $end\n#0\n1!\n".to_vec())
        .await;
    let page = bench.page("").await;
    assert!(
        page.contains("role=\"alert\">bad.csv") && page.contains("worse.vcd, line"),
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

/// What the file leaves open is said on its sheet, which shows the bare rows until then; then it reads.
#[tokio::test]
async fn a_table_that_leaves_its_rate_open_is_made_readable_on_its_sheet() {
    let bench = Bench::new().await;
    let rows: String = (0..40).map(|n| format!("{n},{},1\n", n / 3 % 2)).collect();
    let table = format!("Samples,STEP,CLEAR_N\n{rows}");
    let capture = bench.bring("counted.csv", table.into_bytes()).await;
    let page = bench.page(&format!("/captures/{capture}")).await;
    assert!(page.contains("counts samples") && page.contains("name=\"sample_period\""));
    assert!(page.contains("<td>STEP</td>"), "the bare rows");
    assert!(!page.contains("read it so from now on"));
    let asked = bench
        .page(&format!("/captures/{capture}?sample_period=24%20MHz"))
        .await;
    assert!(asked.contains("read it so from now on") && asked.contains("41.7 ns"));
    let path = format!("{API}/captures/{capture}/reading");
    bench
        .json(Method::PUT, &path, json!({"sample_period": "24 MHz"}))
        .await;
    let findings = bench.findings().await;
    assert!(
        !findings
            .iter()
            .any(|f| f["title"].as_str().unwrap().contains("counted.csv"))
    );
    let report = bench
        .0
        .ok(Method::GET, &format!("{API}/report"), Value::Null)
        .await;
    assert_eq!(report["lines"][0]["edges"], 13);
}

/// An original that something else cut short is told with what to do, and the same file brought again mends it.
#[tokio::test]
async fn an_original_that_was_changed_is_told_and_healed_by_bringing_it_again() {
    let bench = Bench::new().await;
    let table = "Time [ns],STEP,CLEAR_N\n0,0,1\n10,1,1\n20,0,1\n30,1,0\n".as_bytes();
    let capture = bench.bring("table.csv", table.to_vec()).await;
    assert!(!bench.findings().await.iter().any(|f| f["topic"] == "reading"));
    let digest = blake3::hash(table).to_hex().to_string();
    let original = bench
        .0
        .folder
        .path()
        .join("originals")
        .join(&digest[..2])
        .join(&digest);
    // Originals are kept read-only.
    let mut rights = std::fs::metadata(&original).unwrap().permissions();
    #[allow(clippy::permissions_set_readonly_false)]
    rights.set_readonly(false);
    std::fs::set_permissions(&original, rights).unwrap();
    std::fs::write(&original, &table[..43]).unwrap();
    let sheet = format!("{API}/captures/{capture}/reading");
    // The columns that were kept stand for another reading than this.
    let (status, told) = bench
        .0
        .json(Method::PUT, &sheet, json!({"time_unit": "us"}))
        .await;
    assert_eq!(status, StatusCode::NO_CONTENT, "{told}");
    let (status, told) = bench
        .0
        .json(Method::GET, &format!("{API}/places"), Value::Null)
        .await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    let told = told["error"].as_str().unwrap();
    assert!(
        told.contains("was 50 bytes long") && told.contains("is 43"),
        "{told}"
    );
    // The capture is there already; its bytes come back.
    let (status, _) = bench.0.bring(API, "name=table.csv", table).await;
    assert_eq!(status, StatusCode::OK);
    assert!(!bench.findings().await.iter().any(|f| f["topic"] == "reading"));
}

#[tokio::test]
async fn the_list_of_sessions_says_what_could_not_be_read() {
    let bench = Bench::new().await;
    assert!(bench.0.page("/?sessions").await.contains("no capture yet"));
    let bad = bench.bring("bad.csv", "\0".repeat(4096)).await;
    assert!(
        bench
            .0
            .page("/?sessions")
            .await
            .contains("1 capture, read when opened")
    );
    bench.page("").await;
    let list = bench.0.page("/?sessions").await;
    assert!(
        list.contains("1 capture · could not be read") && list.contains(">bad.csv"),
        "{list}"
    );
    // With other captures it is another matter, not looked at yet.
    bench
        .json(
            Method::DELETE,
            &format!("{API}/entries/capture/{bad}"),
            Value::Null,
        )
        .await;
    bench.bring("tower.csv", sample("tower.csv")).await;
    let list = bench.0.page("/?sessions").await;
    assert!(!list.contains("could not be read"), "{list}");
    bench.page("").await;
    let list = bench.0.page("/?sessions").await;
    assert!(
        !list.contains("could not be read") && !list.contains("read when opened"),
        "{list}"
    );
}

#[tokio::test]
async fn a_condition_that_cant_be_read_leaves_the_others_in_reach() {
    let bench = Bench::new().await;
    bench
        .json(
            Method::POST,
            &format!("{API}/entries/condition"),
            json!({"title": "as found"}),
        )
        .await;
    bench.bring("tower.vcd", sample("as-found.vcd")).await;
    bench.findings().await;
    let log = bench.json(Method::GET, API, Value::Null).await;
    let first = log["conditions"][0]["id"].as_i64().unwrap();
    bench
        .json(
            Method::POST,
            &format!("{API}/entries/condition"),
            json!({"title": "cable moved"}),
        )
        .await;
    bench.bring("notes.txt", b"no capture at all".to_vec()).await;
    let back = format!("?condition={first}\">as found</a>");
    for tail in ["", "/links", "/clocks", "/rules", "/harness"] {
        let page = bench.page(tail).await;
        assert!(page.contains(&back), "{tail}: {page}");
        assert!(page.contains("Source and far end</a>"), "{tail}");
        assert!(
            page.contains("<b aria-current=\"true\">cable moved</b>"),
            "{tail}"
        );
        if tail != "/harness" {
            assert!(page.contains("notes.txt"), "{tail} says what can't be read");
        }
        if tail != "/rules" {
            assert!(!page.contains("remove this session"), "{tail}");
        }
    }
    let binned = format!("{API}/entries/condition/{first}");
    bench.json(Method::DELETE, &binned, Value::Null).await;
    for (condition, says) in [
        (first, "The condition &#34;as found&#34; is in the bin."),
        (999, "This session has no condition 999."),
    ] {
        for tail in ["", "/links", "/clocks", "/rules", "/harness"] {
            let address = format!("/sessions/1{tail}?condition={condition}");
            let (status, body) = bench.0.send(Method::GET, &address, "", Vec::new()).await;
            let page = String::from_utf8(body).unwrap();
            assert_eq!(status, StatusCode::NOT_FOUND, "{address}");
            assert!(page.contains(says), "{address}: {page}");
            assert!(page.contains(">cable moved</a>"), "{address}");
            assert!(page.contains("Source and far end</a>"), "{address}");
        }
    }
}

#[tokio::test]
async fn a_session_that_was_never_read_can_be_removed() {
    let bench = Bench::new().await;
    bench.bring("notes.txt", b"no capture at all".to_vec()).await;
    assert!(bench.page("").await.contains("remove this session"));
}
