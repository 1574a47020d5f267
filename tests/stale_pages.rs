//! Pages that are older than what is stored: what they send must not undo, or write over, what they did not see.

#[path = "common/bench.rs"]
mod bench;

use axum::http::{Method, StatusCode};
use bench::Bench;
use serde_json::{Value, json};

async fn evening() -> (Bench, String) {
    let (bench, ()) = Bench::with(|_| ());
    let made = bench
        .ok(Method::POST, "/api/sessions", json!({"title": "Tower"}))
        .await;
    let api = format!("/api/sessions/{}", made["id"]);
    (bench, api)
}

const SETUP: &str = "[line.CLEAR_N]\nnarrow_below = \"60 ns\"\n";

/// What the form of the bench log says it saw.
async fn seen(bench: &Bench, api: &str) -> Value {
    let page = bench
        .page(&format!("{}/log", api.trim_start_matches("/api")))
        .await;
    let form = page.split("data-base=\"{&#34;was&#34;").nth(1).expect("a form");
    let json = form.split("}\"").next().unwrap();
    serde_json::from_str(&format!("{{\"was\"{}}}", json.replace("&#34;", "\""))).unwrap()
}

#[tokio::test]
async fn a_form_changes_what_was_changed_in_it_alone() {
    let (bench, api) = evening().await;
    let was = seen(&bench, &api).await["was"].clone();
    let first = json!({"title": "Tower", "job": "", "setup": SETUP, "was": was});
    bench.ok(Method::PUT, &api, first).await;
    // The other tab saw no setup, and changes the title alone.
    let second = json!({"title": "Tower, later", "job": "", "setup": "", "was": was});
    let kept = bench.ok(Method::PUT, &api, second).await;
    assert_eq!(
        (&kept["title"], &kept["setup"]),
        (&"Tower, later".into(), &SETUP.into())
    );
    // It may not change a setup that it did not see.
    let third = json!({"title": "Tower", "job": "", "setup": "# mine\n", "was": was});
    let (status, told) = bench.json(Method::PUT, &api, third).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(
        told["error"]
            .as_str()
            .unwrap()
            .contains("The setup was changed elsewhere"),
        "{told}"
    );
    assert_eq!(bench.ok(Method::GET, &api, Value::Null).await["setup"], SETUP);
    // A program that says nothing of what it saw sets all.
    let all = json!({"title": "Tower", "setup": ""});
    assert_eq!(bench.ok(Method::PUT, &api, all).await["setup"], "");
}

#[tokio::test]
async fn a_stale_button_undoes_no_other_step() {
    let (bench, api) = evening().await;
    let remark = |text: &str| json!({ "text": text });
    bench
        .ok(Method::POST, &format!("{api}/entries/remark"), remark("one"))
        .await;
    let page = bench
        .page(&format!("{}/log", api.trim_start_matches("/api")))
        .await;
    let button = page
        .split("/undo?action=")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap();
    let undo = format!("{api}/undo?action={button}");
    bench
        .ok(Method::POST, &format!("{api}/entries/remark"), remark("two"))
        .await;
    let (status, told) = bench.json(Method::POST, &undo, Value::Null).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(
        told["error"]
            .as_str()
            .unwrap()
            .contains("not the last step any more"),
        "{told}"
    );
    let remarks = bench.ok(Method::GET, &api, Value::Null).await["remarks"].clone();
    assert_eq!(remarks.as_array().map(Vec::len), Some(2));
    bench.ok(Method::POST, &format!("{api}/undo"), Value::Null).await;
    let undone = bench.ok(Method::POST, &undo, Value::Null).await;
    assert_eq!(undone["what"], "remark added");
    let remarks = bench.ok(Method::GET, &api, Value::Null).await["remarks"].clone();
    assert_eq!(remarks.as_array().map(Vec::len), Some(0));
}

async fn drop_file(bench: &Bench, path: &str, text: &str) -> Value {
    let kind = "application/octet-stream";
    let (status, body) = bench.send(Method::POST, path, kind, text.into()).await;
    assert_eq!(status, StatusCode::CREATED);
    serde_json::from_slice(&body).unwrap()
}

#[tokio::test]
async fn an_unreadable_file_stays_one_session_and_stays_known() {
    let (bench, _) = evening().await;
    let path = "/api/captures?name=list.csv";
    let first = drop_file(&bench, path, "bread, milk\nand a rope\n").await;
    let report = format!("/api/sessions/{}/places", first["session"]["id"]);
    let (status, _) = bench.json(Method::GET, &report, Value::Null).await;
    assert!(!status.is_success());
    let again = drop_file(&bench, path, "bread, milk\nand a rope\n").await;
    assert_eq!(again["session"]["id"], first["session"]["id"]);
    let start = bench.page("/?sessions").await;
    assert!(
        start.contains("could not be read") && start.contains("put it away"),
        "{start}"
    );
    // Another server on the same folder, as after a restart.
    let folder = bench.folder.clone();
    drop(bench);
    let store = edgewitness::store::Store::open(folder.path()).unwrap();
    let app = edgewitness::web::App::new(store, "127.0.0.1:7117".parse().unwrap(), &[]);
    assert_eq!(app.troubles().unwrap().len(), 1);
}

#[tokio::test]
async fn the_start_page_tells_no_answer_that_holds_no_more() {
    let (bench, api) = evening().await;
    let rows: String = (0..40).map(|i| format!("{},{}\n", i * 100, i % 2)).collect();
    drop_file(
        &bench,
        &format!("{api}/captures?name=a.csv"),
        &format!("time (ns),STEP\n{rows}"),
    )
    .await;
    bench.ok(Method::GET, &format!("{api}/places"), Value::Null).await;
    assert!(!bench.page("/?sessions").await.contains("changed since"));
    let reading = json!({"rail": "+5 V", "nominal": 5, "reading": 3.9});
    bench
        .ok(Method::POST, &format!("{api}/entries/reading"), reading)
        .await;
    assert!(
        bench
            .page("/?sessions")
            .await
            .contains("changed since it was looked at")
    );
    bench.ok(Method::GET, &format!("{api}/places"), Value::Null).await;
    assert!(!bench.page("/?sessions").await.contains("changed since"));
}
