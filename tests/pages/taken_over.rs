//! A condition without strays, after one with some: judged by the narrow limit of that, as Before and after judges it.

use crate::evening::Evening;
use crate::struck::struck;
use serde_json::Value;

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
