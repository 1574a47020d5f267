//! What a person holds of a finding: it leads nowhere once it is set aside, two pages don't talk each other down, and notes about
//! clocks ask for none.

use crate::dice::Dice;
use crate::evening::Evening;
use axum::http::{Method, StatusCode};
use serde_json::{Value, json};

/// STEP and BEAT pulse; each fall of STEP strikes CLEAR_N with the share `clear`, each of BEAT LATCH_N with `latch`. The struck
/// lines have long pulses of their own.
fn capture(seed: u64, clear: f64, latch: f64) -> String {
    let struck = |by: &[(u64, u64)], share: f64, seed: u64| {
        let mut dice = Dice(seed);
        let mut line = Vec::new();
        for (_, end) in by {
            let (is_struck, lag, width) = (dice.unit() < share, dice.below(7), dice.below(26));
            if is_struck {
                line.push((end + 12 + lag, end + 32 + lag + width));
            }
        }
        let own = by.iter().skip(3).step_by(4);
        line.extend(own.map(|(start, _)| (start - 1_900, start - 1_100)));
        line.sort_unstable();
        line
    };
    let (step, beat) = (
        crate::pulsed::pulses(seed, 300),
        crate::pulsed::pulses(seed + 50, 300),
    );
    let lines = [
        ("CLEAR_N", struck(&step, clear, seed + 1), true),
        ("LATCH_N", struck(&beat, latch, seed + 2), true),
        ("STEP", step, false),
        ("BEAT", beat, false),
    ];
    crate::pulsed::vcd(&lines)
}

/// The key by which the page sets the state of the finding whose title contains `words`.
fn key_of<'a>(page: &'a str, words: &str) -> &'a str {
    let titled = format!("name=\"title\" value=\"{words}");
    let before = page
        .split_once(&titled)
        .unwrap_or_else(|| panic!("{words}: {page}"))
        .0;
    let key = before.rsplit_once("name=\"finding\" value=\"").unwrap().1;
    key.split_once('"').unwrap().0
}

fn first_bold(page: &str) -> &str {
    let rest = page.split_once("<p><b>").unwrap().1;
    rest.split_once("</b>").unwrap().0
}

/// The headline without its marks.
fn headline(page: &str) -> String {
    let rest = page.split_once("id=\"headline\">").unwrap().1;
    let rest = rest.split_once("</p>").unwrap().0;
    let mut parts = rest.split('<');
    let first = parts.next().unwrap_or_default().to_owned();
    first
        + &parts
            .filter_map(|part| Some(part.split_once('>')?.1))
            .collect::<String>()
}

#[tokio::test]
async fn what_is_set_aside_leads_no_report_and_stands_there_with_its_reason() {
    let evening = Evening::begun().await;
    evening.bring("found.vcd", &capture(3, 0.4, 0.3)).await;
    let page = evening.shown("").await;
    let report = evening.shown("/report.html").await;
    assert!(first_bold(&report).contains("CLEAR_N") && first_bold(&report).contains("LATCH_N"));
    assert!(!report.contains("Set aside"), "{report}");
    let say = async |words: &str, remark: &str| {
        let key = key_of(&page, words);
        let said = json!({"finding": key, "title": words, "state": "not-a-fault", "remark": remark});
        evening.ok(Method::PUT, "/finding-state", said).await;
    };
    say("CLEAR_N", "the tester pulls it, by design").await;
    let report = evening.shown("/report.html").await;
    let first = first_bold(&report);
    assert!(
        first.starts_with("One thing looks wrong. BEAT falling disturbs LATCH_N:")
            && !first.contains("CLEAR_N"),
        "{first}"
    );
    let (before, aside) = report.split_once("<h2>Set aside: not a fault</h2>").unwrap();
    let findings = before.split_once("<h2>Findings").unwrap().1;
    assert!(!findings.contains("follow STEP"), "{findings}");
    let aside = aside.split_once("<h2>").unwrap().0;
    assert!(
        aside.contains("follow STEP") && aside.contains("the tester pulls it, by design"),
        "{aside}"
    );
    assert!(!aside.contains("class=\"try\""), "{aside}");
    // Numbered as they are printed.
    assert!(findings.contains("<h3>1. LATCH_N"), "{findings}");
    assert!(
        headline(&evening.shown("").await)
            .starts_with("One thing looks wrong. BEAT falling disturbs LATCH_N:")
    );
    // Nothing is left to lead.
    say("LATCH_N", "").await;
    let report = evening.shown("/report.html").await;
    assert_eq!(first_bold(&report), "Nothing else looks wrong in this capture.");
    assert!(report.contains("No reason was written down."), "{report}");
    assert_eq!(
        headline(&evening.shown("").await),
        "Nothing else looks wrong in this capture."
    );
}

#[tokio::test]
async fn the_second_of_two_pages_is_told_what_was_said_meanwhile() {
    let evening = Evening::begun().await;
    evening.bring("found.vcd", &capture(3, 0.4, 0.0)).await;
    let page = evening.shown("").await;
    let key = key_of(&page, "CLEAR_N");
    // What both pages show goes along with what is typed there.
    let base = |page: &str| -> Value {
        let form = page
            .split_once("/finding-state\" data-method=\"PUT\" data-base=\"")
            .unwrap()
            .1;
        let text = form.split_once('"').unwrap().0;
        serde_json::from_str(&text.replace("&#34;", "\"").replace("&quot;", "\"")).unwrap()
    };
    let typed = |was: &Value, state: &str, remark: &str| {
        let mut said = was.clone();
        for (name, value) in [
            ("finding", key),
            ("title", "CLEAR_N"),
            ("state", state),
            ("remark", remark),
        ] {
            said[name] = value.into();
        }
        said["cause"] = "".into();
        said
    };
    let was = base(&page);
    let first = typed(&was, "confirmed", "ribbon 3, \"pin 7\"");
    evening.ok(Method::PUT, "/finding-state", first.clone()).await;
    let second = typed(&was, "not-a-fault", "");
    let path = evening.api("/finding-state");
    let (status, told) = evening.bench.json(Method::PUT, &path, second).await;
    assert_eq!(status, StatusCode::CONFLICT, "{told}");
    let told = told["error"].as_str().unwrap();
    assert!(
        told.contains("it is \"confirmed\" now, with the remark \"ribbon 3, \"pin 7\"\"."),
        "{told}"
    );
    let held = evening.ok(Method::GET, "", Value::Null).await["finding_states"].clone();
    assert_eq!(held.as_array().unwrap().len(), 1);
    assert_eq!(held[0]["state"], "confirmed", "{held}");
    // The same word twice is no quarrel; nor is what is said on the page as it stands now.
    evening.ok(Method::PUT, "/finding-state", first).await;
    let was = base(&evening.shown("").await);
    assert_eq!(was["was"]["state"], "confirmed");
    let fixed = typed(&was, "fixed", "");
    evening.ok(Method::PUT, "/finding-state", fixed).await;
    // A program that says nothing of what was there has the last word.
    let plain = json!({"finding": key, "state": "open"});
    evening.ok(Method::PUT, "/finding-state", plain).await;
    // The form in the bench log is one of the two.
    assert_eq!(base(&evening.shown("/log").await)["was"]["state"], "open");
}

#[tokio::test]
async fn notes_about_clocks_ask_for_no_state() {
    let evening = Evening::begun().await;
    let lines =
        |name: &'static str, seed: u64| crate::pulsed::vcd(&[(name, crate::pulsed::pulses(seed, 40), false)]);
    evening.bring("near.vcd", &lines("NOTE", 3)).await;
    evening.bring("far.vcd", &lines("BELL", 5)).await;
    let title = "Nothing brings far.vcd to the clock of near.vcd";
    let page = evening.shown("").await;
    let of_clocks = page.split("<li class=\"finding").find(|part| {
        // Names of lines may stand in marks of their own.
        part.contains("to the clock of near.vcd")
    });
    let of_clocks = of_clocks.unwrap_or_else(|| panic!("{page}"));
    assert!(!of_clocks.contains("name=\"state\""), "{of_clocks}");
    let log = evening.shown("/log").await;
    assert!(!log.contains(title), "{log}");
    let report = evening.shown("/report.html").await;
    let of_clocks = report
        .split("<section class=\"finding\">")
        .find(|part| part.contains(title));
    assert!(!of_clocks.unwrap().contains("class=\"state\""), "{report}");
    // What somebody said of it once can still be taken back.
    let report = evening.ok(Method::GET, "/report", Value::Null).await;
    let found = report["findings"].as_array().unwrap().iter();
    let said: Vec<&str> = found
        .filter(|row| row["topic"] == "alignment")
        .map(|row| row["title"].as_str().unwrap())
        .collect();
    assert!(said[0].starts_with(title), "{said:?}");
    let key = "alignment";
    let state = json!({"finding": key, "title": said[0], "state": "fixed"});
    evening.ok(Method::PUT, "/finding-state", state).await;
    assert!(evening.shown("/log").await.contains(title));
}
