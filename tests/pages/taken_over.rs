//! A condition without strays, after one with some: judged by the narrow limit of that, as Before and after judges it.

use crate::evening::Evening;
use crate::struck::struck;
use axum::http::Method;
use serde_json::{Value, json};

/// As found, and after a fix that left none.
async fn fixed() -> Evening {
    let evening = Evening::begun().await;
    evening.condition("as found").await;
    evening.bring("found.vcd", &struck(3, 300, 0.4)).await;
    evening.condition("own pair").await;
    evening.bring("pair.vcd", &struck(7, 450, 0.0)).await;
    evening
}

/// What Before and after counts of the coupling after the fix.
async fn compared(evening: &Evening) -> Value {
    let log = evening.get("").await;
    let ids: Vec<i64> = (0..2)
        .map(|at| log["conditions"][at]["id"].as_i64().unwrap())
        .collect();
    let answer = evening
        .get(&format!("/compare?before=c{}&after=c{}", ids[0], ids[1]))
        .await;
    let couplings = answer["couplings"].as_array().expect("couplings");
    assert_eq!(couplings.len(), 1, "{answer}");
    couplings[0]["after"].clone()
}

#[tokio::test]
async fn the_first_sentence_after_a_fix_has_the_counts_of_the_comparison() {
    let evening = fixed().await;
    let after = compared(&evening).await;
    let (strays, of) = (after["strays"].clone(), after["opportunities"].clone());
    assert_eq!(strays, 0);
    let says = format!(" shows 0 strays in {of} opportunities under the limit taken from ");
    for tail in ["", "/report.html"] {
        let page = evening.shown(tail).await;
        assert!(page.contains(&says), "{tail}: {page}");
        assert!(!page.contains("little could be judged"), "{tail}: {page}");
    }
    let start = evening.bench.page("/?sessions").await;
    assert!(start.contains(&says), "{start}");

    let report = evening.report().await;
    let row = &report["taken_over"][0];
    assert_eq!(
        [&row["line"], &row["condition"], &row["aggressor"], &row["edge"]],
        ["CLEAR_N", "as found", "STEP", "fall"]
    );
    let lines = report["lines"].as_array().unwrap();
    let clear = lines.iter().find(|line| line["line"] == "CLEAR_N").unwrap();
    assert_eq!(clear["narrow_from"], "taken-over");
    // 1 − 0.05^(1/n), Hanley and Lippman-Hand (1983).
    let most = 1.0 - 0.05f64.powf(1.0 / of.as_f64().unwrap());
    assert!((row["most"].as_f64().unwrap() - most).abs() < 1e-12, "{row}");
}

/// Once the two conditions were compared, what is gone comes before what to do if something is still wrong.
#[tokio::test]
async fn what_the_comparison_calls_gone_stands_before_further_advice() {
    let evening = fixed().await;
    let page = evening.shown("").await;
    assert!(page.contains("If the machine still misbehaves"), "{page}");
    assert!(!page.contains("Gone since"), "nothing was counted yet: {page}");
    let of = compared(&evening).await["opportunities"].as_u64().unwrap();
    let page = evening.shown("").await;
    let advice = page.split_once("What to try next").unwrap().1;
    let first = advice.split_once("<p>").unwrap().1.split_once("</p>").unwrap().0;
    let told = format!(
        "Gone since &#34;as found&#34;, as Before and after counts it: CLEAR_N struck by STEP (0 of {of} now, "
    );
    assert!(
        first.starts_with(&told) && first.ends_with(" before). Mark it as fixed in the bench log."),
        "{first}"
    );
    assert!(advice.contains("If the machine still misbehaves"), "{advice}");
    // Under the first condition nothing is gone.
    let conditions = evening.get("").await["conditions"].clone();
    let back = evening
        .bench
        .page(&evening.page(&format!("?condition={}", conditions[0]["id"])))
        .await;
    assert!(!back.contains("Gone since"), "{back}");
}

/// What was marked as fixed, or as no fault, or was found again later, is not told again and again as not found.
#[tokio::test]
async fn what_is_settled_is_not_told_as_not_found() {
    let told = "Found under &#34;as found&#34; and not here: CLEAR_N";
    for (state, is_told) in [("suspected", true), ("fixed", false), ("not-a-fault", false)] {
        let evening = fixed().await;
        assert!(evening.shown("").await.contains(told));
        let said = json!({"finding": "coupling CLEAR_N STEP", "title": "CLEAR_N", "state": state});
        evening.ok(Method::PUT, "/finding-state", said).await;
        let page = evening.shown("").await;
        assert_eq!(page.contains(told), is_told, "{state}: {page}");
    }
    let evening = fixed().await;
    let fixed = evening.get("").await["conditions"][1]["id"].clone();
    evening.condition("put back").await;
    evening.bring("back.vcd", &struck(11, 300, 0.4)).await;
    let page = evening
        .bench
        .page(&evening.page(&format!("?condition={fixed}")))
        .await;
    assert!(!page.contains("and not here"), "{page}");
}

/// A program may bring all captures before anybody looks.
#[tokio::test]
async fn a_condition_at_which_nobody_looked_yet_tells_as_well() {
    let evening = Evening::begun().await;
    for (title, name, text) in [
        ("as found", "found.vcd", struck(3, 300, 0.4)),
        ("own pair", "pair.vcd", struck(7, 450, 0.0)),
    ] {
        evening.condition(title).await;
        let asked = format!("name={name}");
        evening.bench.bring(&evening.api, &asked, &text).await;
    }
    let report = evening.report().await;
    assert_eq!(report["taken_over"][0]["condition"], "as found", "{report}");
}

/// One stray that is left is told, as in the comparison, and accuses nobody.
#[tokio::test]
async fn what_is_left_is_told_and_accuses_nobody() {
    let evening = Evening::begun().await;
    evening.condition("as found").await;
    evening.bring("found.vcd", &struck(3, 300, 0.4)).await;
    evening.condition("own pair").await;
    evening.bring("pair.vcd", &struck(7, 450, 0.004)).await;
    let report = evening.report().await;
    let after = compared(&evening).await;
    let row = &report["taken_over"][0];
    assert!(row["strays"].as_u64().unwrap() > 0, "{report}");
    assert_eq!(row["strays"], after["strays"]);
    assert_eq!(row["opportunities"], after["opportunities"]);
    let first = &report["findings"][0];
    assert_eq!(first["severity"], "warning", "{report}");
    assert!(
        first["title"].as_str().unwrap().contains("too few to accuse it"),
        "{first}"
    );
}

/// A short capture after a fix: what it can't rule out is said, and the numbers are the comparison's.
#[tokio::test]
async fn a_few_opportunities_are_said_to_be_few() {
    let evening = Evening::begun().await;
    evening.condition("as found").await;
    evening.bring("found.vcd", &struck(3, 300, 0.4)).await;
    evening.condition("ground wire").await;
    evening.bring("short.vcd", &struck(7, 22, 0.0)).await;
    let page = evening.shown("").await;
    let of = compared(&evening).await["opportunities"].as_u64().unwrap();
    assert!(of <= 22, "{of}");
    assert!(
        page.contains(&format!(
            " shows 0 strays in {of} opportunities under the limit taken from "
        )),
        "{page}"
    );
    assert!(page.contains("% of them may still bring one"), "{page}");
}
