//! The next capture goes where its field says, and nowhere else.

use crate::bench::Bench;
use axum::http::{Method, StatusCode};
use serde_json::{Value, json};

const API: &str = "/api/sessions/1";
const TABLE: &str = "time,STEP,CLEAR_N\n0,0,1\n1e-6,1,1\n2e-6,0,1\n3e-6,1,0\n4e-6,0,1\n";

/// A session with a capture under "as found" and one under "ribbon apart": the two conditions' numbers.
async fn evening() -> (Bench, i64, i64) {
    let bench = Bench::with_session().await;
    let mut numbers = Vec::new();
    for (title, file, last) in [("as found", "a.csv", "4e-6"), ("ribbon apart", "b.csv", "5e-6")] {
        let path = format!("{API}/entries/condition");
        let made = bench.ok(Method::POST, &path, json!({ "title": title })).await;
        numbers.push(made["id"].as_i64().unwrap());
        let (status, _) = bench
            .bring(API, &format!("name={file}"), TABLE.replace("4e-6", last))
            .await;
        assert_eq!(status, StatusCode::CREATED);
    }
    (bench, numbers[0], numbers[1])
}

#[tokio::test]
async fn a_capture_goes_under_the_condition_that_its_field_names() {
    let (bench, first, second) = evening().await;
    bench.ok(Method::GET, &format!("{API}/places"), Value::Null).await;
    let chosen = |id: i64, words: &str| format!("<option value=\"{id}\" selected>{words}</option>");
    let page = bench.page("/sessions/1").await;
    assert!(
        page.contains(&chosen(second, "ribbon apart (the newest)")),
        "{page}"
    );
    let page = bench.page(&format!("/sessions/1?condition={first}")).await;
    assert!(page.contains(&chosen(first, "as found")), "{page}");
    for tail in ["/before-and-after", "/log"] {
        let page = bench.page(&format!("/sessions/1{tail}")).await;
        assert!(
            page.contains(&chosen(second, "ribbon apart (the newest)")),
            "{tail}"
        );
    }
    let text = TABLE.replace("2e-6", "2.5e-6");
    let (status, made) = bench
        .bring(API, &format!("name=c.csv&condition={first}"), &text)
        .await;
    assert_eq!(
        (status, made["condition"].as_i64()),
        (StatusCode::CREATED, Some(first))
    );
    // What was brought is what is looked at.
    let page = bench.page("/sessions/1").await;
    assert!(page.contains("<b aria-current=\"true\">as found</b>"), "{page}");
    let (status, _) = bench.bring(API, "name=d.csv&condition=999", &text).await;
    assert_eq!(status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn two_conditions_have_two_names() {
    let (bench, ..) = evening().await;
    let path = format!("{API}/entries/condition");
    let (status, told) = bench
        .json(Method::POST, &path, json!({"title": "as found "}))
        .await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(
        told["error"].as_str().unwrap().contains("\"as found\" already"),
        "{told}"
    );
}

#[tokio::test]
async fn a_session_in_the_bin_says_so_and_takes_nothing() {
    let (bench, ..) = evening().await;
    bench.ok(Method::GET, &format!("{API}/places"), Value::Null).await;
    bench.ok(Method::DELETE, API, Value::Null).await;
    for tail in [
        "",
        "/links",
        "/clocks",
        "/rules",
        "/harness",
        "/before-and-after",
        "/log",
    ] {
        let page = bench.page(&format!("/sessions/1{tail}")).await;
        assert!(
            page.contains("This session is in <a href=\"/bin\">the bin</a>"),
            "{tail}"
        );
        assert!(!page.contains("type=\"file\" name=\"files\""), "{tail}");
    }
    let (status, told) = bench.bring(API, "name=c.csv", "time,A\n0,1\n").await;
    assert_eq!(status, StatusCode::CONFLICT, "{told}");
    bench
        .ok(Method::POST, &format!("{API}/restore"), Value::Null)
        .await;
    let (status, _) = bench.bring(API, "name=c.csv", "time,A\n0,1\n").await;
    assert_eq!(status, StatusCode::CREATED);
}
