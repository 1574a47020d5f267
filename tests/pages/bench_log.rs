//! The bench log through its interface: an evening from the first remark to the archive in another folder.

use axum::http::{Method, StatusCode};
use serde_json::{Value, json};

use crate::bench::Bench;
use crate::evening::Evening;
use crate::sample::sample;

/// What a remark of an evening says: as text, it harms no page.
const HOSTILE: &str = "<script>alert(1)</script>";
/// The bytes of its photograph.
const PNG: &[u8] = b"\x89PNG\r\n\x1a\nrest";

/// An evening with one entry of each kind; the addresses of its remark and of a remark that has its condition's number.
async fn an_evening() -> (Evening, String, String) {
    let evening = Evening::begun().await;
    let setup = "[line.CLEAR_N]\nnarrow_below = \"60 ns\"\n";
    let session = json!({"title": "Tower", "job": "Bell 3 strikes twice", "setup": setup});
    evening.ok(Method::PUT, "", session).await;
    let add = async |tail: &str, body: Value| evening.ok(Method::POST, tail, body).await;
    let condition = add("/entries/condition", json!({"title": "as found"})).await;
    let remark = add("/entries/remark", json!({"text": HOSTILE})).await;
    let reading = json!({"rail": "-12 V", "nominal": -12, "reading": 11.8, "place": "striker driver J1-1"});
    add("/entries/reading", reading).await;
    let steps = json!({"text": "1. Meter +5 V -> 4.75 to 5.25 V\n2. Press key 1"});
    assert_eq!(add("/checklist", steps).await.as_array().unwrap().len(), 2);
    let photograph = evening.api("/photographs?name=bench.png&caption=the%20ribbon");
    let sent = evening
        .bench
        .send(Method::POST, &photograph, "image/png", PNG.to_vec());
    assert_eq!(sent.await.0, StatusCode::CREATED);
    let state = json!({"finding": "coupling CLEAR_N STEP", "title": "CLEAR_N dips", "state": "confirmed", "cause": "STEP"});
    evening.ok(Method::PUT, "/finding-state", state).await;
    let [one, none] = [remark, condition].map(|entry| format!("/entries/remark/{}", entry["id"]));
    (evening, one, none)
}

#[tokio::test]
async fn what_is_put_in_stands_in_the_log() {
    let (evening, ..) = an_evening().await;
    let log = evening.get("").await;
    assert_eq!(log["job"], "Bell 3 strikes twice");
    assert_eq!(log["remarks"][0]["text"], HOSTILE);
    assert_eq!(log["finding_states"][0]["state"], "confirmed");
    let photograph = evening.api(&format!("/photographs/{}", log["photographs"][0]["id"]));
    let shown = evening.bench.send(Method::GET, &photograph, "", Vec::new()).await;
    assert_eq!(shown.1, PNG);
}

#[tokio::test]
async fn a_remark_is_changed_put_back_binned_and_brought_back() {
    let (evening, one, _) = an_evening().await;
    evening.ok(Method::PUT, &one, json!({"text": "changed"})).await;
    for step in ["/undo", "/redo"] {
        let done = evening.ok(Method::POST, step, Value::Null).await;
        assert_eq!(done["what"], "remark changed", "{step}");
    }
    evening.ok(Method::DELETE, &one, Value::Null).await;
    assert_eq!(evening.get("").await["remarks"], json!([]));
    let restore = format!("{one}/restore");
    evening.ok(Method::POST, &restore, Value::Null).await;
    assert_eq!(evening.get("").await["remarks"][0]["text"], "changed");
}

#[tokio::test]
async fn mistakes_in_the_log_are_told_and_change_nothing() {
    let (evening, _, none) = an_evening().await;
    let before = evening.get("").await;
    let wrong = json!({"title": "Tower", "setup": "[line.A]\nfamily = \"ttl-9v\"\n"});
    let (status, told) = evening.json(Method::PUT, "", wrong).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(told["error"].as_str().unwrap().contains("line 2"), "{told}");
    for (path, body, words) in [
        ("/entries/reading", json!({"rail": "+5 V"}), "reading as a number"),
        ("/entries/remark", json!({"text": 3}), "expected text, found 3"),
        ("/entries/remark", json!({"text": " "}), ""),
        ("/entries/reading", json!({"rail": "", "reading": 1}), ""),
        ("/entries/reading", json!({"rail": "+5 V", "reading": "much"}), ""),
        ("/entries/condition", json!([1]), ""),
        ("/checklist", json!({"text": "\n"}), ""),
    ] {
        let (status, told) = evening.json(Method::POST, path, body).await;
        assert_eq!(status, StatusCode::BAD_REQUEST, "{path} {told}");
        assert!(told["error"].as_str().unwrap().contains(words), "{told}");
    }
    let capture = evening.json(Method::POST, "/entries/capture", json!({})).await;
    assert_eq!(capture.0, StatusCode::NOT_FOUND);
    let other = evening.json(Method::PUT, &none, json!({"text": "x"})).await;
    assert_eq!(other.0, StatusCode::NOT_FOUND);
    assert_eq!(evening.get("").await, before);
}

#[tokio::test]
async fn log_and_report_set_names_as_text_and_the_report_is_one_file_and_the_same_twice() {
    let (evening, ..) = an_evening().await;
    let page = evening.bench.page(&evening.page("/log")).await;
    assert!(
        page.contains("Bell 3 strikes twice") && page.contains("wrong sign") && page.contains("CLEAR_N dips")
    );
    let at = evening.page("/report.html");
    let report = evening.bench.page(&at).await;
    assert_eq!(report, evening.bench.page(&at).await);
    for part in [
        "Bell 3 strikes twice",
        "as found",
        "4.75 to 5.25 V",
        "data:image/png;base64,",
        "Still open",
        "Local codes",
    ] {
        assert!(report.contains(part), "{part}");
    }
    for html in [&page, &report] {
        assert!(!html.contains("<script>alert"));
        assert!(html.contains("&#60;script&#62;alert(1)") || html.contains("&lt;script&gt;alert(1)"));
    }
    assert!(
        !report.contains("src=\"http") && !report.contains("href="),
        "a single file"
    );
}

/// The same bytes under the same condition are one capture; that they came under another name is said.
#[tokio::test]
async fn the_same_file_under_another_name_is_told() {
    let bench = Bench::with_session().await;
    let table = "Time [ns],STEP\n0,0\n10,1\n20,0\n30,1\n";
    let mut captures = Vec::new();
    for name in ["monday.csv", "monday.csv", "copy.csv", "copy.csv"] {
        let (_, capture) = bench
            .bring("/api/sessions/1", &format!("name={name}"), table)
            .await;
        captures.push(capture["id"].clone());
    }
    assert!(captures.iter().all(|id| *id == captures[0]), "{captures:?}");
    let page = bench.page("/sessions/1/log").await;
    let told = "copy.csv was brought: it holds the same bytes as monday.csv, so nothing was added.";
    // One remark: as it reads, and in the form that changes it.
    assert_eq!(page.matches(told).count(), 2);
    assert_eq!(page.matches("was brought: it holds").count(), 2);
}

#[tokio::test]
async fn a_harness_sheet_is_refused_by_row_and_column_or_kept_and_shown() {
    let evening = Evening::begun().await;
    assert_eq!(
        evening.get("/harness").await["csv"],
        "board,connector,pin,signal,colour,neighbours,line\n"
    );
    let wrong = json!({"csv": "board,connector,pin,signal\nA,J1,,X\nA,J1,1,X\nA,J1,1,Y\n"});
    let (status, told) = evening.json(Method::PUT, "/harness", wrong).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    let told = told["error"].as_str().unwrap();
    assert!(
        told.contains("row 2, column pin") && told.contains("row 4, column pin"),
        "{told}"
    );
    let sheet = json!({"csv": sample("harness.csv")});
    let kept = evening.ok(Method::PUT, "/harness", sheet).await;
    assert_eq!(evening.get("/harness").await, kept);
    let page = evening.bench.page(&evening.page("/harness")).await;
    assert!(page.contains("sequencer J2-12"));
}

/// A name that begins with "/" is no line of a capture called "".
#[tokio::test]
async fn a_harness_sheet_may_name_lines_with_a_slash() {
    let evening = Evening::begun().await;
    let rows: String = (0..40)
        .map(|row| format!("{}e-6,{},{}\n", row, row % 2, u8::from(row % 5 < 2)))
        .collect();
    let table = format!("Time [s],/STROBE U9-8 (ribbon 5),/CLR\n{rows}");
    evening.bring("found.csv", &table).await;
    let sheet = |strobe: &str| json!({"csv": format!("board,connector,pin,signal,line\nSEQ,J1,1,a,{strobe}\nSEQ,J1,2,b,/CLR\n")});
    evening
        .ok(Method::PUT, "/harness", sheet("/STROBE U9-8 (ribbon 5)"))
        .await;
    let page = evening.shown("/harness").await;
    assert!(!page.contains("The captures have no"), "{page}");
    evening.ok(Method::PUT, "/harness", sheet("/STROBE U9-8")).await;
    let page = evening.shown("/harness").await;
    assert!(
        page.contains("The captures have no /STROBE U9-8: did you mean /STROBE U9-8 (ribbon 5)?"),
        "{page}"
    );
}

#[tokio::test]
async fn a_session_goes_to_the_bin_and_to_another_folder() {
    let bench = Bench::with_session().await;
    let at = |tail: &str| format!("/api/sessions/1{tail}");
    bench
        .ok(Method::POST, &at("/entries/remark"), json!({"text": "seen"}))
        .await;
    let (status, archive) = bench.send(Method::GET, &at("/archive"), "", Vec::new()).await;
    assert_eq!(status, StatusCode::OK);
    bench.ok(Method::DELETE, &at(""), Value::Null).await;
    assert_eq!(
        bench.ok(Method::GET, "/api/sessions", Value::Null).await,
        json!([])
    );
    assert_eq!(
        bench.ok(Method::GET, "/api/bin", Value::Null).await[0]["title"],
        "Tower"
    );
    assert!(bench.page("/bin").await.contains("Tower"));
    bench.ok(Method::POST, &at("/restore"), Value::Null).await;
    assert_eq!(
        bench.ok(Method::GET, "/api/sessions", Value::Null).await[0]["title"],
        "Tower"
    );

    let (elsewhere, ()) = Bench::with(|_| ());
    let (status, told) = elsewhere
        .send(Method::POST, "/api/archives", "application/octet-stream", archive)
        .await;
    assert_eq!(status, StatusCode::CREATED, "{}", String::from_utf8_lossy(&told));
    let session: Value = serde_json::from_slice(&told).unwrap();
    let log = elsewhere
        .ok(
            Method::GET,
            &format!("/api/sessions/{}", session["id"]),
            Value::Null,
        )
        .await;
    assert_eq!(log["remarks"][0]["text"], "seen");
    let (status, _) = elsewhere
        .send(
            Method::POST,
            "/api/archives",
            "application/octet-stream",
            b"no archive".to_vec(),
        )
        .await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
}
