//! Two conditions of a session compared: what the fix changed, and what can't be said of it.
//!
//! Captures and their truth are the demo's (`sample-captures/truth.json` is made by the simulator, not measured).

use axum::http::{Method, StatusCode};
use edgewitness::demo;
use serde_json::{Value, json};

use crate::evening::Evening;
use crate::pulsed::{pulses, vcd};

#[tokio::test]
async fn the_capture_of_the_fix_says_what_is_not_found_any_more() {
    let evening = Evening::demo();
    let conditions = evening.get("").await["conditions"].as_array().unwrap().clone();
    let look_at = |n: usize| json!({ "condition": conditions[n]["id"] });
    // As found nothing came before.
    evening.ok(Method::PUT, "/condition-in-hand", look_at(0)).await;
    evening.report().await;
    assert!(!evening.shown("").await.contains("and not here"));
    evening.ok(Method::PUT, "/condition-in-hand", look_at(1)).await;
    evening.report().await;
    let page = evening.shown("").await;
    let told = page
        .split("<p>Found under &#34;as found&#34; and not here: ")
        .nth(1);
    let told = told
        .and_then(|rest| rest.split("</p>").next())
        .unwrap_or_else(|| panic!("{page}"));
    // The planted fix: the clear line on its own pair. The lost strikes stay.
    assert!(
        told.contains("CLEAR_N: ") && told.contains("STEP falling"),
        "{told}"
    );
    assert!(!told.contains("STRIKE"), "{told}");
    assert!(page.contains("before-and-after"));
}

#[tokio::test]
async fn a_line_that_died_with_the_change_is_no_cure() {
    let evening = Evening::demo();
    // The same recording, the changes of CLEAR_N and STEP but the first of each left out.
    let found = demo::captures().0.remove(0).text;
    let code_of = |name: &str| {
        let declared = found.lines().find(|line| line.contains(&format!(" {name} ")));
        declared.unwrap().split(' ').nth(3).unwrap().to_owned()
    };
    let codes = ["CLEAR_N", "STEP"].map(code_of);
    let mut seen = [0; 2];
    let is_kept = |line: &&str| {
        let of = |code: &String| {
            line.len() == 1 + code.len() && line.starts_with(['0', '1']) && line.ends_with(code.as_str())
        };
        let Some(which) = codes.iter().position(of) else {
            return true;
        };
        seen[which] += 1;
        seen[which] == 1
    };
    let dead: Vec<&str> = found.lines().filter(is_kept).collect();
    let dead = dead.join("\n") + "\n";
    // One recording comes into a session once: the first of these is told from the demo's own by a comment.
    let again = format!("$comment again $end\n{found}");
    for (title, name, text) in [("put back", "again.vcd", again), ("cut through", "cut.vcd", dead)] {
        evening.condition(title).await;
        evening.bring(name, &text).await;
    }
    let page = evening.shown("").await;
    assert!(
        page.contains("no proof of a cure here") && page.contains("(CLEAR_N never switches here)"),
        "{page}"
    );
    // The page does not wait for the counting for long; a program does.
    evening.get("/runs").await;
    let compared = evening.shown("/before-and-after").await;
    assert!(
        compared.contains("STEP never switched after, where it switched"),
        "{compared}"
    );
    let report = evening.shown("/report.html").await;
    assert!(
        report.contains("STEP never switched after, where it switched"),
        "{report}"
    );
}

#[tokio::test]
async fn two_conditions_are_compared_over_the_session_s_runs() {
    let evening = Evening::demo();
    let runs = evening.get("/runs").await;
    let held: Vec<usize> = runs["runs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| r["captures"].as_array().unwrap().len())
        .collect();
    assert_eq!(held, [2, 1], "the tower's instrument recorded the first run too");
    let conditions = evening.get("").await["conditions"].clone();
    let query = format!(
        "/compare?before=c{}&after=c{}",
        conditions[0]["id"], conditions[1]["id"]
    );
    let report = evening.get(&query).await;
    let coupling = &report["couplings"][0];
    assert_eq!(
        (&coupling["victim"], &coupling["verdict"]),
        (&"CLEAR_N".into(), &"gone".into())
    );
    let (_, truths) = demo::captures();
    let truth = truths.iter().find(|t| t.file == "as-found.vcd").unwrap();
    // Of the planted dips one or two may lie within a sample of another and be one.
    let planted = truth.couplings[0].strays;
    let counted = coupling["before"]["strays"].as_u64().unwrap();
    assert!(
        counted <= planted as u64 && counted + 2 >= planted as u64,
        "{counted} of {planted}"
    );
    assert_eq!(
        report["links"][0]["before"]["missing"],
        truth.links[0].missing_s.len()
    );
    let (status, told) = evening
        .json(Method::GET, "/compare?before=c99&after=c98", Value::Null)
        .await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(told["error"].as_str().unwrap().contains("before=c"), "{told}");
    // The same sides turned round: what was gone is new.
    let turned = format!(
        "/before-and-after?before=c{}&after=c{}",
        conditions[1]["id"], conditions[0]["id"]
    );
    let page = evening.shown(&turned).await;
    assert!(page.contains("New: CLEAR_N struck by STEP."), "{page}");
    let printed = evening.shown("/report.html").await;
    assert!(printed.contains("Gone: CLEAR_N struck by STEP.") && printed.contains("class=\"history\""));
}

#[tokio::test]
async fn before_and_after_keeps_to_the_condition_in_its_address() {
    let evening = Evening::demo();
    evening.get("/runs").await;
    let conditions = evening.get("").await["conditions"].clone();
    let [first, second] = [0, 1].map(|at| conditions[at]["id"].as_i64().unwrap());
    let third = evening
        .ok(
            Method::POST,
            "/entries/condition",
            json!({"title": "resistor fitted"}),
        )
        .await["id"]
        .as_i64()
        .unwrap();
    let text = b"time,STEP,CLEAR_N\n0,0,1\n1e-6,1,1\n2e-6,0,1\n3e-6,1,0\n4e-6,0,1\n".to_vec();
    let asked = format!("name=c.csv&condition={third}");
    let (status, _) = evening.bench.bring(&evening.api, &asked, text).await;
    assert_eq!(status, StatusCode::CREATED);
    evening.get("/runs").await;
    let is_set = |id: i64, page: &str, side: &str| {
        let select = page
            .split(&format!("<select name=\"{side}\" autocomplete=\"off\">"))
            .nth(1)
            .unwrap();
        let select = select.split("</select>").next().unwrap();
        select.contains(&format!("value=\"c{id}\" selected"))
    };
    for (condition, before, after) in [
        (first, first, second),
        (second, first, second),
        (third, second, third),
    ] {
        let page = evening
            .shown(&format!("/before-and-after?condition={condition}"))
            .await;
        assert!(
            is_set(before, &page, "before") && is_set(after, &page, "after"),
            "{condition}"
        );
        assert!(
            page.contains(&format!("/links?condition={condition}\"")),
            "{page}"
        );
        assert!(page.contains(&format!(
            "<input type=\"hidden\" name=\"condition\" value=\"{condition}\">"
        )));
    }
    let page = evening.shown("/before-and-after").await;
    assert!(is_set(second, &page, "before") && is_set(third, &page, "after"));
    let page = evening
        .shown(&format!("/before-and-after?before=c999&after=c{second}"))
        .await;
    assert!(
        page.contains("asks for before=c999, and no run is called so"),
        "{page}"
    );
    // The report waits until that condition is looked at; a page does not for long.
    evening.get(&format!("/report?condition={first}")).await;
    let page = evening.shown(&format!("?condition={first}")).await;
    assert!(
        page.contains(&format!("/before-and-after?condition={first}\">compare")),
        "{page}"
    );
}

/// A line of `all` pulses, `short` of them far too short for it.
fn with_short(seed: u64, all: usize, short: usize) -> String {
    let mut sent = pulses(seed, all);
    for n in 0..short {
        let pulse = &mut sent[(2 * n + 1) * all / (2 * short)];
        pulse.1 = pulse.0 + 40;
    }
    vcd(&[("STEP", sent, false)])
}

/// 14 of 914 as found, 0 of 158 by luck, 0 of 3000 once it is mended: what was mended is told, and not laid against luck.
#[tokio::test]
async fn a_fix_behind_a_condition_that_was_clean_by_luck_is_laid_against_what_was_found() {
    let evening = Evening::begun().await;
    let conditions = [
        ("as found", "a.vcd", with_short(1, 914, 14)),
        ("connector reseated", "b.vcd", with_short(2, 158, 0)),
        ("33 ohm at the driver", "c.vcd", with_short(3, 3000, 0)),
    ];
    for (title, name, text) in &conditions {
        evening.condition(title).await;
        evening.bring(name, text).await;
    }
    let rule = json!({"kind": "pulse-width", "line": "STEP", "level": "high", "at_least": "120 ns"});
    evening.ok(Method::POST, "/rules", rule).await;
    evening.get("/runs").await;
    let page = evening.shown("/before-and-after").await;
    assert!(
        page.contains("From &#34;as found&#34; to &#34;33 ohm at the driver&#34;. Gone: "),
        "{page}"
    );
    let passed = "Laid against &#34;as found&#34;, where ";
    assert!(
        page.contains(passed)
            && page.contains("and not against &#34;connector reseated&#34;: 0 of 158 under &#34;connector reseated&#34; may be luck"),
        "{page}"
    );
    let report = evening.shown("/report.html").await;
    assert!(
        report.contains(passed)
            && report.contains("<b>From &#34;as found&#34; to &#34;33 ohm at the driver&#34;. Gone: "),
        "{report}"
    );
    // What the whole comparison shows is not said again among the changes, and the change that it passes over is.
    assert!(
        report.contains("<b>From &#34;connector reseated&#34; to &#34;33 ohm at the driver&#34;")
            && report
                .matches("From &#34;as found&#34; to &#34;33 ohm at the driver&#34;")
                .count()
                == 1,
        "{report}"
    );
    // Who chooses gets what was chosen.
    let ids = evening.get("").await["conditions"].clone();
    let chosen = format!(
        "/before-and-after?before=c{}&after=c{}",
        ids[1]["id"], ids[2]["id"]
    );
    let page = evening.shown(&chosen).await;
    assert!(
        page.contains("From &#34;connector reseated&#34;") && !page.contains("Laid against"),
        "{page}"
    );
    // The condition in the middle is laid against what it changed.
    let page = evening
        .shown(&format!("/before-and-after?condition={}", ids[1]["id"]))
        .await;
    assert!(
        page.contains("From &#34;as found&#34; to &#34;connector reseated&#34;")
            && !page.contains("Laid against"),
        "{page}"
    );
}
