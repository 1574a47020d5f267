//! What pages say of captures of several instruments: joined by a line, by hand, or not at all.

use crate::evening::Evening;
use crate::pulsed;
use crate::supply;
use axum::http::Method;
use serde_json::{Value, json};

impl Evening {
    async fn with(setup: &str, files: &[(&str, String)]) -> Evening {
        let evening = Evening::begun().await;
        let said = json!({"title": "Tower", "setup": setup});
        evening.ok(Method::PUT, "", said).await;
        for (name, text) in files {
            evening.bring(name, text).await;
        }
        evening
    }

    /// Says how the clock of `file` stands to that of `with`.
    async fn say(&self, file: &str, with: &str, on: &[&str], shift_s: f64) {
        let (file, with) = (self.capture(file).await, self.capture(with).await);
        let clock = json!({"capture": file, "with": with, "on": on, "shift_s": shift_s});
        self.bench.ok(Method::PUT, &self.api("/clocks"), clock).await;
        self.look().await;
    }
}

/// Pulses on a grid of 5 ns.
fn pulses(seed: u64, n: usize) -> Vec<(u64, u64)> {
    let on_grid = |(start, end): (u64, u64)| (start / 5 * 5, end / 5 * 5);
    pulsed::pulses(seed, n).into_iter().map(on_grid).collect()
}

/// The sequencer's capture, and the tower's, which began 3.2 ms later and calls STEP as told; the tower answers with STRIKE_IN.
fn both(seed: u64, step: &str) -> [String; 2] {
    let edges = pulses(seed, 300);
    // The tower's clock shows less.
    let there: Vec<(u64, u64)> = edges
        .iter()
        .map(|(start, end)| (start + 3_200_000, end + 3_200_000))
        .collect();
    let strike = pulsed::later(&there, 85);
    [
        pulsed::vcd(&[
            ("STEP", edges.clone(), false),
            ("BEAT", pulses(seed + 1, 200), false),
        ]),
        pulsed::vcd(&[(step, there, false), ("STRIKE_IN", strike, false)]),
    ]
}

fn headline(page: &str) -> &str {
    let rest = page.split_once("id=\"headline\">").map_or("", |(_, rest)| rest);
    rest.split_once("</p>").map_or(rest, |(inner, _)| inner)
}

/// The supply's instrument moves STEP twice: too little to join it by.
#[tokio::test]
async fn the_headline_tells_of_a_capture_that_can_t_be_joined() {
    let supply = supply::dipping();
    let setup = "[rail.\"+5V tower\"]\nnominal = \"5 V\"\ntolerance = \"5 %\"\n";
    let [near, _] = both(3, "STEP");
    let evening = Evening::with(setup, &[("sequencer.vcd", near), ("supply.csv", supply)]).await;
    evening.say("supply.csv", "sequencer.vcd", &["STEP"], 0.0).await;
    let page = evening.shown("").await;
    let says = headline(&page);
    let proved = says
        .find("One thing looks wrong")
        .unwrap_or_else(|| panic!("{says}"));
    assert!(says[proved..].contains("+5V tower"), "{says}");
    assert!(
        says.find("No fault is proved").is_none_or(|at| at > proved),
        "{says}"
    );
    assert!(!page.contains("has no volts of"), "{page}");
    assert!(
        page.contains(
            "supply.csv could not be brought to the clock of the other captures: it is looked at by itself"
        ),
        "{page}"
    );
    // It can be looked at, and brings the others' page no harm.
    let own = format!("?condition=&run={}", evening.capture("supply.csv").await);
    assert!(
        page.contains("supply.csv (") && page.contains("run="),
        "{own} {page}"
    );
}

#[tokio::test]
async fn a_rule_across_clocks_that_nothing_joins_is_not_judged_on_the_page() {
    let setup = "[[limit]]\nname = \"strike follows\"\nkind = \"delay\"\nfrom = \"STEP\"\nfrom_edge = \"rise\"\n\
                 to = \"STRIKE_IN\"\nto_edge = \"rise\"\nat_most = \"300 ns\"\n";
    let [near, far] = both(3, "CH0");
    let evening = Evening::with(setup, &[("sequencer.vcd", near), ("tower.vcd", far)]).await;
    let rules = evening.shown("/rules").await;
    assert!(rules.contains("strike follows: not judged"), "{rules}");
    assert!(
        rules.contains("were recorded on clocks that nothing joins"),
        "{rules}"
    );
    // Said the other way round, and turned.
    evening
        .say("tower.vcd", "sequencer.vcd", &["CH0=STEP"], 0.0)
        .await;
    let rules = evening.shown("/rules").await;
    assert!(rules.contains("strike follows: kept"), "{rules}");
    let clocks = evening.shown("/clocks").await;
    assert!(clocks.contains("value=\"STEP=CH0\""), "{clocks}");
}

/// As found one clock showed both; later the tower's instrument has its own, and nothing joins it to the other.
#[tokio::test]
async fn what_is_not_judged_is_not_called_gone() {
    let setup = "[[limit]]\nname = \"strike follows\"\nkind = \"delay\"\nfrom = \"STEP\"\nfrom_edge = \"rise\"\n\
                 to = \"STRIKE_IN\"\nto_edge = \"rise\"\nat_most = \"50 ns\"\n\
                 [[link]]\nfrom = \"STEP\"\nto = \"STRIKE_IN\"\n";
    let step = pulses(3, 300);
    let kept: Vec<(u64, u64)> = step
        .iter()
        .enumerate()
        .filter(|(at, _)| at % 17 != 5)
        .map(|(_, pulse)| *pulse)
        .collect();
    let one = pulsed::vcd(&[
        ("STEP", step, false),
        ("STRIKE_IN", pulsed::later(&kept, 85), false),
    ]);
    let evening = Evening::with(setup, &[("both.vcd", one)]).await;
    let page = evening.shown("").await;
    assert!(page.contains("from STEP never reach STRIKE_IN"), "{page}");
    evening.condition("new cable").await;
    let [near, far] = both(5, "CH0");
    evening.bring("sequencer.vcd", &near).await;
    evening.bring("tower.vcd", &far).await;
    let page = evening.shown("").await;
    let told = |start: &str| {
        let rest = page.split_once(start).map_or("", |(_, rest)| rest);
        rest.split_once("</p>").map_or("", |(told, _)| told).to_owned()
    };
    assert_eq!(told("and not here: "), "", "{page}");
    let unjudged = told("and not judged here, for nothing joins the clocks of its lines&#39; captures: ");
    assert!(
        unjudged.contains("from STEP never reach STRIKE_IN"),
        "{unjudged} {page}"
    );
    assert!(unjudged.contains("; "), "the rule as well: {unjudged}");
    let log = evening.shown("/log").await;
    assert_eq!(
        log.matches("found under &#34;as found&#34;, not judged under &#34;new cable&#34;")
            .count(),
        2,
        "{log}"
    );
    assert!(!log.contains("not under &#34;new cable&#34;"), "{log}");
    let report = evening.shown("/report.html").await;
    assert!(
        report.contains("Found earlier, and not judged under")
            && !report.contains("Found earlier, and not under"),
        "{report}"
    );
    // Joined, both are judged, and hold what they promise or not.
    evening
        .say("tower.vcd", "sequencer.vcd", &["CH0=STEP"], 0.0)
        .await;
    let page = evening.shown("").await;
    assert!(!page.contains("and not judged here"), "{page}");
    assert!(page.contains("and not here: "), "{page}");
}

#[tokio::test]
async fn what_is_moved_by_hand_is_told_to_the_sample() {
    let [near, far] = both(3, "STEP");
    let evening = Evening::with("", &[("sequencer.vcd", near), ("tower.vcd", far)]).await;
    let mut told = Vec::new();
    for shift_s in [3.79e-3, 3.79e-3 + 5e-9] {
        evening
            .say("tower.vcd", "sequencer.vcd", &["STEP"], shift_s)
            .await;
        let page = evening.shown("/clocks").await;
        let words = page.split_once("Moved by hand by ").map_or("", |(_, rest)| rest);
        told.push(words.split_once('<').map_or("", |(words, _)| words).to_owned());
        // Its samples are 5 ns apart, its times are written in ns.
        assert!(page.contains("a sample is 5 ns"), "{page}");
    }
    assert_eq!(told, ["3.79 ms", "3.790005 ms"]);
}

#[tokio::test]
async fn the_first_of_a_run_that_is_not_shown_says_what_is_laid_over_it() {
    let ([near, far], [again, _]) = (both(3, "STEP"), both(5, "STEP"));
    let files = [("sequencer.vcd", near), ("tower.vcd", far), ("again.vcd", again)];
    let evening = Evening::with("", &files).await;
    let page = evening.shown("/clocks").await;
    assert!(
        page.contains("The first of a run that is not shown now: tower.vcd is laid over it."),
        "{page}"
    );
    assert!(!page.contains("not laid over the others"), "{page}");
}

/// The sequencer's logger writes no more digits than it samples, and so says nothing of its sampling.
#[tokio::test]
async fn the_head_says_how_well_each_file_s_edges_are_known() {
    let [_, far] = both(3, "STEP");
    let mut near = "Time (ms),STEP,BEAT\n0.000000,0,0\n".to_owned();
    for (at, (start, end)) in pulses(3, 300).into_iter().enumerate() {
        let beat = at % 2;
        for (edge, level) in [(start, 1), (end, 0)] {
            let sample = edge.div_ceil(10) * 10;
            near.push_str(&format!("{:.5},{level},{beat}\n", sample as f64 / 1e6));
        }
    }
    let evening = Evening::with("", &[("sequencer.csv", near), ("tower.vcd", far)]).await;
    let page = evening.shown("").await;
    let known = "edges known to ±2.5 ns in tower.vcd and ±5 ns in sequencer.csv";
    assert!(page.contains(known), "{page}");
}

/// What was said of the first run is done for the next where their edges agree, is told, and can be undone; where they don't,
/// it is told why not.
#[tokio::test]
async fn the_next_run_of_the_same_two_is_joined_as_the_first_was() {
    let [near, far] = both(3, "CH0");
    let evening = Evening::with("", &[("sequencer.vcd", near), ("tower.vcd", far)]).await;
    evening
        .say("tower.vcd", "sequencer.vcd", &["STEP=CH0"], 0.0)
        .await;
    let files = async || -> Vec<String> {
        // Of the newest run, whichever was looked at.
        let log = evening.ok(Method::GET, "", Value::Null).await;
        let newest = log["conditions"].as_array().unwrap().last().unwrap()["id"].clone();
        let path = format!("/report?condition={newest}");
        let report = evening.ok(Method::GET, &path, Value::Null).await;
        let rows = report["captures"].as_array().unwrap().iter();
        rows.map(|row| row["file"].as_str().unwrap().to_owned()).collect()
    };
    let done =
        "it was done as tower.vcd was brought to the clock of sequencer.vcd before, and the edges agree";
    let [near, far] = both(7, "CH0");
    evening.bring("sequencer-2.vcd", &near).await;
    evening.bring("tower-2.vcd", &far).await;
    assert_eq!(files().await, ["sequencer-2.vcd", "tower-2.vcd"]);
    let report = evening.ok(Method::GET, "/report", Value::Null).await;
    // It began as much earlier.
    let offset = report["captures"][1]["offset_s"].as_f64().unwrap();
    assert!((offset + 3.2e-3).abs() < 1e-7, "{offset}");
    let page = evening.shown("").await;
    assert!(
        page.contains("a run of its own") && !page.contains("Nothing brings"),
        "{page}"
    );
    let clocks = evening.shown("/clocks").await;
    assert_eq!(
        clocks
            .matches(&format!("<p>Nobody said so of tower-2.vcd: {done}"))
            .count(),
        1,
        "{clocks}"
    );
    assert!(
        clocks.contains("tower-2.vcd is a run of its own</button>"),
        "{clocks}"
    );
    // The first run stays as it was said.
    let first = evening.capture("sequencer.vcd").await;
    let log = evening.ok(Method::GET, "", Value::Null).await;
    let found = log["conditions"][0]["id"].as_i64().unwrap();
    let page = evening
        .shown(&format!("/clocks?condition={found}&run={first}"))
        .await;
    assert!(page.contains("Brought to the clock by STEP=CH0"), "{page}");
    // Undone by the button.
    let button = clocks
        .split_once("tower-2.vcd is a run of its own</button>")
        .unwrap()
        .0;
    let body = button.rsplit_once("data-base=\"").unwrap().1;
    let body = body.split_once('"').unwrap().0.replace("&#34;", "\"");
    let body: Value = serde_json::from_str(&body).unwrap();
    evening
        .bench
        .json(Method::PUT, &evening.api("/clocks"), body)
        .await;
    evening.look().await;
    assert_eq!(files().await, ["tower-2.vcd"]);
    let clocks = evening.shown(&format!("/clocks?condition={found}")).await;
    assert!(!clocks.contains(done), "{clocks}");

    // Taken at two times: no edge of one is one of the other.
    let ([near, _], [_, far]) = (both(11, "CH0"), both(13, "CH0"));
    evening.bring("sequencer-3.vcd", &near).await;
    evening.bring("tower-3.vcd", &far).await;
    let page = evening.shown("").await;
    assert!(
        page.contains("=CH0 was tried for tower-3.vcd as well, and does not hold:"),
        "{page}"
    );
    assert!(page.contains("tower-3.vcd does not fit sequencer-3.vcd in time, and is taken as another run."));
    let clocks = evening.shown("/clocks").await;
    assert!(clocks.contains("was tried for tower-3.vcd as well"), "{clocks}");

    // Under another condition, whichever comes first.
    evening.condition("new cable").await;
    let [near, far] = both(17, "CH0");
    evening.bring("tower-4.vcd", &far).await;
    evening.bring("sequencer-4.vcd", &near).await;
    assert_eq!(files().await, ["tower-4.vcd", "sequencer-4.vcd"]);
    let clocks = evening.shown("/clocks").await;
    assert!(
        clocks.contains("Brought to the clock by CH0=STEP") && clocks.contains(done),
        "{clocks}"
    );
    // What is laid over is counted as one run where conditions are compared.
    let runs = evening.ok(Method::GET, "/runs", Value::Null).await;
    assert!(runs.to_string().contains("tower-4.vcd"), "{runs}");
}
