//! One trouble stays one: whatever a further file makes of its line's name, under whichever state a person put it, and
//! whichever page tells of it.

use crate::dice::Dice;
use crate::evening::Evening;
use crate::pulsed;
use crate::struck::struck;
use axum::http::Method;
use serde_json::{Value, json};

/// A third instrument's view: a line that it calls CLEAR_N as well, at another place, and two of its own.
fn beside(seed: u64) -> String {
    pulsed::vcd(&[
        ("CLEAR_N", pulsed::pulses(seed, 50), true),
        ("HAMMER", pulsed::pulses(seed + 1, 60), false),
        ("LAMP", pulsed::pulses(seed + 2, 40), false),
    ])
}

/// The troubles of the bench log: their titles with what stands beside them, the notes left out.
fn troubles(log: &str) -> Vec<String> {
    let states = log.split_once("id=\"states\"").unwrap().1;
    let states = states.split_once("</section>").unwrap().0;
    let all = states.split("<p class=\"title\">").skip(1);
    let titles = all.map(|rest| rest.split_once("</p>").unwrap().0.to_owned());
    titles.filter(|title| title.contains("follow STEP")).collect()
}

#[tokio::test]
async fn a_third_file_with_a_line_of_that_name_makes_no_second_trouble() {
    let evening = Evening::begun().await;
    evening.bring("found.vcd", &struck(3, 300, 0.4)).await;
    let report = evening.ok(Method::GET, "/report", Value::Null).await;
    let title = report["findings"][0]["title"].as_str().unwrap().to_owned();
    assert!(title.starts_with("CLEAR_N:"), "{report}");
    evening.condition("again").await;
    let first = evening.bring("again.vcd", &struck(5, 300, 0.4)).await;
    let third = evening.bring("volts.vcd", &beside(9)).await;
    let clock = json!({"capture": third, "with": first, "on": [], "shift_s": 0.0});
    evening.ok(Method::PUT, "/clocks", clock).await;
    evening.ok(Method::GET, "/places", Value::Null).await;
    let report = evening.ok(Method::GET, "/report", Value::Null).await;
    assert_eq!(report["captures"].as_array().unwrap().len(), 2, "{report}");
    assert!(
        report["findings"].to_string().contains("again/CLEAR_N: "),
        "{report}"
    );
    let log = evening.shown("/log").await;
    let told = troubles(&log);
    assert_eq!(told.len(), 1, "{told:#?}");
    assert!(
        told[0].contains("found under &#34;as found&#34;, &#34;again&#34;"),
        "{told:#?}"
    );
    assert!(!told[0].contains("not captured"), "{told:#?}");
    let page = evening.shown("").await;
    assert!(!page.contains("not to be seen here"), "{page}");
}

#[tokio::test]
async fn a_fixed_trouble_that_still_shows_stays_open() {
    let evening = Evening::begun().await;
    evening.condition("as found").await;
    evening.bring("found.vcd", &struck(3, 300, 0.4)).await;
    let page = evening.shown("").await;
    assert!(!page.contains("still shows it"), "{page}");
    let key = page.split_once("name=\"finding\" value=\"").unwrap().1;
    let key = key.split_once('"').unwrap().0;
    let fixed = json!({"finding": key, "title": "CLEAR_N", "state": "fixed", "cause": "", "remark": ""});
    evening.ok(Method::PUT, "/finding-state", fixed).await;
    evening.condition("wire moved").await;
    evening.bring("moved.vcd", &struck(5, 300, 0.4)).await;
    let still = "the newest capture still shows it";
    for tail in ["", "/log", "/report.html"] {
        let page = evening.shown(tail).await;
        assert!(page.contains(still), "{tail}: {page}");
    }
    let report = evening.shown("/report.html").await;
    let open = report.split_once("Still open").unwrap().1;
    assert!(open.contains("follow STEP") && open.contains(still), "{open}");
    // What is gone with the mend is settled.
    evening.condition("shielded").await;
    evening.bring("shielded.vcd", &struck(7, 300, 0.0)).await;
    for tail in ["/log", "/report.html"] {
        let page = evening.shown(tail).await;
        assert!(!page.contains(still), "{tail}: {page}");
    }
}

/// A contact that is worked every 25 ms and bounces each time; with `strikes` STEP's falls dip it for some 40 ns besides.
fn contact(seed: u64, strikes: f64) -> String {
    let step = pulsed::pulses(seed, 4000);
    let mut dice = Dice(seed + 1);
    let mut play: Vec<(u64, u64)> = Vec::new();
    let mut at = 3_000_000;
    while at + 12_000_000 < step[step.len() - 1].1 {
        // Two short touches, then held for 10 ms, then let go with one more touch.
        let mut from = at;
        for _ in 0..2 {
            let held = 150_000 + 1_000 * dice.below(400);
            play.push((from, from + held));
            from += held + 120_000 + 1_000 * dice.below(300);
        }
        let until = from + 7_000_000;
        play.push((from, until));
        let open = 130_000 + 1_000 * dice.below(350);
        play.push((until + open, until + open + 160_000 + 1_000 * dice.below(300)));
        at += 13_000_000;
    }
    let is_free = |at: u64| {
        play.iter()
            .all(|(from, to)| at + 100_000 < *from || at > to + 100_000)
    };
    let struck: Vec<(u64, u64)> = step
        .iter()
        .filter(|(_, end)| dice.unit() < strikes && is_free(*end))
        .map(|(_, end)| (end + 15 + end % 5, end + 50 + end % 17))
        .collect();
    play.extend(struck);
    play.sort_unstable();
    pulsed::vcd(&[("STEP", step, false), ("PLAY_N", play, true)])
}

#[tokio::test]
async fn a_bounce_that_strays_hide_is_not_called_gone() {
    let evening = Evening::begun().await;
    evening.condition("cold").await;
    evening.bring("cold.vcd", &contact(3, 0.0)).await;
    let page = evening.shown("").await;
    assert!(page.contains("bounces: "), "{page}");
    evening.condition("warm").await;
    evening.bring("warm.vcd", &contact(3, 0.05)).await;
    let page = evening.shown("").await;
    assert!(page.contains("follow STEP"), "{page}");
    // Whether its bursts stand out beside the strays or not: nobody is told that the bounce is gone.
    let plain = "PLAY_N may bounce as before: that can&#39;t be told";
    for tail in ["", "/log", "/report.html"] {
        let page = evening.shown(tail).await;
        let is_found =
            page.matches("PLAY_N bounces: ").count() > 0 && !page.contains("found under &#34;cold&#34;;");
        assert!(page.contains(plain) || is_found, "{tail}: {page}");
        assert!(
            !page.contains("not found any more") && !page.contains("mark it as fixed"),
            "{tail}: {page}"
        );
    }
}

#[tokio::test]
async fn what_was_captured_in_an_earlier_run_is_not_called_missing() {
    let evening = Evening::begun().await;
    let sheet = "board,connector,pin,signal,neighbours\nsequencer,J2,1,STEP,ribbon\nsequencer,J2,2,CLEAR_N,\n\
                 sequencer,J2,3,LAMP,\n";
    evening.ok(Method::PUT, "/harness", json!({ "csv": sheet })).await;
    evening.bring("found.vcd", &struck(3, 300, 0.4)).await;
    evening.bring("short.vcd", &struck(7, 4, 0.0)).await;
    let report = evening.shown("/report.html").await;
    assert!(
        report.contains("Beside CLEAR_N and not captured: LAMP (sequencer J2-3)."),
        "{report}"
    );
}

#[tokio::test]
async fn the_lines_that_joined_two_clocks_are_no_declared_link() {
    let evening = Evening::begun().await;
    let step = pulsed::pulses(3, 200);
    let far = pulsed::later(&step, 40);
    let own = |seed| pulsed::pulses(seed, 90);
    let first = pulsed::vcd(&[("D0 - STEP", step, false), ("BEAT", own(11), false)]);
    let second = pulsed::vcd(&[("STEP", far, false), ("HAMMER", own(12), false)]);
    let first = evening.bring("sequencer.vcd", &first).await;
    let second = evening.bring("tower.vcd", &second).await;
    let clock = json!({"capture": second, "with": first, "on": ["D0 - STEP=STEP"], "shift_s": 0.0});
    evening.ok(Method::PUT, "/clocks", clock).await;
    let page = evening.shown("/links").await;
    assert!(page.contains("Source and far end"), "{page}");
    assert!(!page.contains("take the declaration back"), "{page}");
}
