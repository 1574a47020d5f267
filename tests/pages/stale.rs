//! Pages that are older than what is stored: what they send must not undo, or write over, what they did not see.

use crate::bench::Bench;
use axum::http::{Method, StatusCode};
use serde_json::{Value, json};

async fn evening() -> (Bench, String) {
    (Bench::with_session().await, "/api/sessions/1".to_owned())
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
        start.contains("could not be read") && start.contains("remove"),
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

/// The page of a condition, and what it asks for, by its address.
async fn of(bench: &Bench, api: &str, condition: i64) -> (String, String) {
    // Looked at before: a page waits a moment only.
    let asked = format!("{api}/report?condition={condition}");
    bench.ok(Method::GET, &asked, Value::Null).await;
    let path = format!("{}?condition={condition}", api.trim_start_matches("/api"));
    let page = bench.page(&path).await;
    let shown = page
        .split("data-shown=\"")
        .nth(1)
        .unwrap_or_else(|| panic!("{page}"));
    let shown = shown.split('"').next().unwrap().replace("&#38;", "&");
    (page, shown)
}

#[tokio::test]
async fn each_page_keeps_to_its_own_condition() {
    let (bench, id) = Bench::with(|store| edgewitness::workflow::demo_session::open_demo(store).unwrap());
    let api = format!("/api/sessions/{id}");
    let log = bench.ok(Method::GET, &api, Value::Null).await;
    let conditions = [0, 1].map(|n: usize| log["conditions"][n]["id"].as_i64().unwrap());
    let ask = |tail: String| {
        let (bench, api) = (bench.clone(), api.clone());
        async move {
            bench
                .json(Method::GET, &format!("{api}{tail}"), Value::Null)
                .await
        }
    };
    // The tower's capture makes the first one's condition longer, and with more lines.
    let (first, of_first) = of(&bench, &api, conditions[0]).await;
    let (second, of_second) = of(&bench, &api, conditions[1]).await;
    let headline = |page: &str| {
        let rest = page.split("id=\"headline\">").nth(1).unwrap();
        rest.split("</p>").next().unwrap().to_owned()
    };
    assert_ne!(headline(&first), headline(&second));
    let mut told = Vec::new();
    for shown in [&of_first, &of_second] {
        let (_, diagram) = ask(format!("/diagram?{shown}")).await;
        let lines = diagram["lines"].as_array().unwrap().len();
        let last = lines - 1;
        for tail in [
            format!("/window?start=0&end=1000&columns=100&lines={last}&{shown}"),
            format!("/density?columns=100&{shown}"),
            format!("/evidence?start=0&end=100000&{shown}"),
            format!("/stretch?start=0&end=1000&lines={last}&{shown}"),
            format!("/find?what=edge&line={last}&{shown}"),
            format!("/findings/F1/occurrences?{shown}"),
            format!("/findings/F1/overlay?before=10&after=10&lines={last}&{shown}"),
        ] {
            let (status, answer) = ask(tail.clone()).await;
            assert_eq!(status, StatusCode::OK, "{tail}: {answer}");
        }
        let (_, report) = ask(format!("/report?{shown}")).await;
        told.push((lines, report["findings"][0]["title"].clone()));
    }
    assert_ne!(told[0], told[1]);
    // The second is in hand now, and the first page's answers are the first's: the same as a program gets by its number.
    let (_, by_number) = ask(format!("/report?condition={}", conditions[0])).await;
    assert_eq!(by_number["findings"][0]["title"], told[0].1);
    let (_, in_hand) = ask("/report".to_owned()).await;
    assert_eq!(in_hand["findings"][0]["title"], told[1].1);
    let figure = |shown: &str| format!("/sessions/{id}/findings/F1/figure.svg?{shown}");
    assert_ne!(
        bench.page(&figure(&of_first)).await,
        bench.page(&figure(&of_second)).await
    );
    for wrong in [
        "condition=99999",
        "condition=x",
        &format!("condition={}&run=99999", conditions[0]),
    ] {
        let (status, _) = ask(format!("/report?{wrong}")).await;
        assert!(status.is_client_error(), "{wrong}");
    }
}

#[tokio::test]
async fn a_page_of_what_was_changed_since_is_told_to_come_anew() {
    let (bench, id) = Bench::with(|store| edgewitness::workflow::demo_session::open_demo(store).unwrap());
    let api = format!("/api/sessions/{id}");
    let log = bench.ok(Method::GET, &api, Value::Null).await;
    let condition = log["conditions"][0]["id"].as_i64().unwrap();
    let (_, shown) = of(&bench, &api, condition).await;
    // What it shows is still in memory.
    let setup = json!({"title": "Tower", "setup": SETUP});
    bench.ok(Method::PUT, &api, setup).await;
    bench
        .ok(Method::GET, &format!("{api}/diagram?{shown}"), Value::Null)
        .await;
    // What is not in memory any more, as that of an earlier start, can't be had again.
    let elsewhere = shown.replace("of=", "of=ffff");
    let (status, told) = bench
        .json(Method::GET, &format!("{api}/diagram?{elsewhere}"), Value::Null)
        .await;
    assert_eq!(status, StatusCode::CONFLICT);
    assert_eq!(
        told["error"],
        "This page shows what was found under \"as found\" before something was changed: reload it."
    );
}

#[tokio::test]
async fn what_goes_out_says_of_which_condition_it_is() {
    let (bench, id) = Bench::with(|store| edgewitness::workflow::demo_session::open_demo(store).unwrap());
    let api = format!("/api/sessions/{id}");
    let log = bench.ok(Method::GET, &api, Value::Null).await;
    let conditions = [0, 1].map(|n: usize| log["conditions"][n]["id"].as_i64().unwrap());
    let page = bench.page(&format!("/sessions/{id}/log")).await;
    let mut all = Vec::new();
    for condition in conditions {
        let path = format!("{api}/export/strays.csv?condition={condition}");
        assert!(page.contains(&path), "{path}");
        all.push(bench.page(&path).await);
    }
    assert_ne!(all[0], all[1]);
    // Whichever is looked at meanwhile.
    of(&bench, &api, conditions[1]).await;
    let path = format!("{api}/export/strays.csv?condition={}", conditions[0]);
    let (name, text) = bench.file(&path).await;
    assert_eq!(text, all[0].as_bytes());
    assert_eq!(
        name,
        "attachment; filename=\"Carillon-sequencer-third-evening--as-found--strays.csv\""
    );
}

/// The start page says how the machine stands, which is what the newest condition shows: looking something up in an earlier
/// one changes nothing of that.
#[tokio::test]
async fn the_start_page_tells_of_the_newest_condition_whichever_is_looked_at() {
    let (bench, id) = Bench::with(|store| edgewitness::workflow::demo_session::open_demo(store).unwrap());
    let api = format!("/api/sessions/{id}");
    let log = bench.ok(Method::GET, &api, Value::Null).await;
    let conditions = [0, 1].map(|n: usize| log["conditions"][n]["id"].as_i64().unwrap());
    let title = log["conditions"][1]["title"].as_str().unwrap().to_owned();
    // Only an earlier one was looked at: nothing is known of the newest.
    of(&bench, &api, conditions[0]).await;
    let start = bench.page("/?sessions").await;
    assert!(start.contains("read when opened"), "{start}");
    of(&bench, &api, conditions[1]).await;
    let newest = bench.page("/?sessions").await;
    assert!(newest.contains(&format!("under &#34;{title}&#34;: ")), "{newest}");
    of(&bench, &api, conditions[0]).await;
    assert_eq!(bench.page("/?sessions").await, newest);
    let rows = bench.ok(Method::GET, "/api/sessions", Value::Null).await;
    assert_eq!(rows[0]["is_changed_since"], false);
}

fn table(pulses: &[(u64, u64)]) -> String {
    crate::pulsed::vcd(&[
        ("STEP", pulses.to_vec(), false),
        ("BELL", crate::pulsed::pulses(21, 40), false),
    ])
}

#[tokio::test]
async fn what_an_undone_capture_brought_is_not_told_any_more() {
    let evening = crate::evening::Evening::begun().await;
    evening
        .bring("first.vcd", &table(&crate::pulsed::pulses(3, 100)))
        .await;
    let setup = json!({"title": "Tower", "setup": "[[limit]]\nkind = \"pulse-width\"\nline = \"STEP\"\nat_least = \"100 ns\"\n"});
    evening.ok(Method::PUT, "", setup).await;
    evening.look().await;
    evening.shown("/log").await;
    // Another run, with pulses below the limit.
    let short: Vec<(u64, u64)> = crate::pulsed::pulses(5, 100)
        .iter()
        .map(|p| (p.0, p.0 + 50))
        .collect();
    evening.bring("second.vcd", &table(&short)).await;
    assert!(
        evening.shown("/log").await.contains("STEP is still for only"),
        "it is told while it is there"
    );
    evening.ok(Method::POST, "/undo", Value::Null).await;
    let log = evening.shown("/log").await;
    assert!(
        !log.contains("for only 50") && !log.contains("second.vcd, the newest"),
        "{log}"
    );
    assert!(!evening.shown("").await.contains("for only 50"));
}

#[tokio::test]
async fn a_capture_after_an_undone_first_one_is_as_found_again() {
    let evening = crate::evening::Evening::begun().await;
    evening
        .bring("first.vcd", &table(&crate::pulsed::pulses(3, 100)))
        .await;
    evening.ok(Method::POST, "/undo", Value::Null).await;
    evening
        .bring("again.vcd", &table(&crate::pulsed::pulses(3, 100)))
        .await;
    let log = evening.get("").await;
    let conditions = log["conditions"].as_array().unwrap();
    assert_eq!(conditions.len(), 1, "{log}");
    assert_eq!(conditions[0]["title"], "as found");
    assert_eq!(log["captures"][0]["condition"], conditions[0]["id"], "{log}");
}
