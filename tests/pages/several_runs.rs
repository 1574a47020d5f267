//! Several runs under one condition: what an earlier one shows is not gone because the newest shows nothing.

use crate::evening::Evening;
use crate::pulsed;
use crate::struck::{struck, struck_after};
use axum::http::{Method, StatusCode};
use serde_json::{Value, json};

impl Evening {
    /// As found, then with a pull-up: a run that still shows strikes, and after it one of a few edges that shows none.
    async fn with_a_short_last_run() -> Evening {
        let evening = Evening::as_found().await;
        evening.condition("pull-up").await;
        evening.bring("mid.vcd", &struck(5, 300, 0.1)).await;
        evening.bring("short.vcd", &struck(7, 4, 0.0)).await;
        evening
    }

    async fn as_found() -> Evening {
        let evening = Evening::begun().await;
        evening.bring("found.vcd", &struck(3, 300, 0.4)).await;
        evening
    }
}

fn between<'a>(page: &'a str, from: &str, to: &str) -> &'a str {
    let rest = page
        .split_once(from)
        .unwrap_or_else(|| panic!("{from}: {page}"))
        .1;
    rest.split_once(to).map_or(rest, |(inner, _)| inner)
}

#[tokio::test]
async fn a_short_clean_run_takes_nothing_back() {
    let evening = Evening::with_a_short_last_run().await;
    let page = evening.shown("").await;
    let headline = between(&page, "id=\"headline\">", "</p>");
    assert!(
        headline.contains("In mid.vcd (")
            && headline.contains("One thing looks wrong")
            && headline.contains("STEP"),
        "{headline}"
    );
    assert!(headline.contains("In short.vcd ("), "{headline}");
    assert!(!page.contains("and not here"), "it stands under both conditions");
    let start = evening.bench.page("/?sessions").await;
    assert!(start.contains("CLEAR_N"), "the start page tells of it too");

    let log = evening.shown("/log").await;
    let findings = between(&log, "id=\"states\"", "</section>");
    assert!(!findings.contains("not found any more"), "{findings}");
    assert!(
        findings.contains("&#34;as found&#34;, &#34;pull-up&#34;; found in mid.vcd (")
            && findings.contains("not in short.vcd, the newest run ("),
        "{findings}"
    );
    let report = evening.shown("/report.html").await;
    assert!(between(&report, "<h1>", "Conditions and captures").contains("In mid.vcd ("));
    assert!(
        !report.contains("Found earlier") && !report.contains("mark it as fixed"),
        "{report}"
    );
    assert!(between(&report, "Still open", "</main>").contains("found in mid.vcd ("));
}

#[tokio::test]
async fn figures_are_those_of_the_run_that_shows_most() {
    let evening = Evening::as_found().await;
    evening.bring("brief.vcd", &struck(11, 40, 0.5)).await;
    let report = evening.shown("/report.html").await;
    let finding = between(&report, "<section class=\"finding\">", "</section>");
    assert!(
        finding.contains("found in each of the 2 runs; its figures are those of found.vcd"),
        "{finding}"
    );
    // What the newest run shows as well is still open, and not only an earlier run's.
    let log = evening.shown("/log").await;
    assert!(log.contains("its figures are those of found.vcd"), "{log}");
}

#[tokio::test]
async fn the_report_has_the_verdict_of_each_change() {
    let evening = Evening::as_found().await;
    evening.condition("reseated").await;
    evening.bring("reseated.vcd", &struck(5, 300, 0.4)).await;
    evening.condition("wire moved").await;
    evening.bring("moved.vcd", &struck(7, 300, 0.0)).await;
    let report = evening.shown("/report.html").await;
    let changes = between(&report, "Each change", "<h2>");
    for told in [
        "From &#34;as found&#34; to &#34;reseated&#34;. Unchanged: CLEAR_N struck by STEP",
        "From &#34;as found&#34; to &#34;wire moved&#34;. Gone: CLEAR_N struck by STEP",
    ] {
        assert!(changes.contains(told), "{told}: {changes}");
    }
    // The last change stands above, whole.
    assert!(!changes.contains("From &#34;reseated&#34;"), "{changes}");
}

#[tokio::test]
async fn an_earlier_run_can_be_looked_at() {
    let evening = Evening::with_a_short_last_run().await;
    let page = evening.shown("").await;
    let runs = between(&page, "runs: ", "</p>");
    assert!(
        runs.contains("short.vcd (") && runs.contains("<b aria-current"),
        "{runs}"
    );
    let asked = between(runs, "<a href=\"", "\"").replace("&#38;", "&");
    let named = |name: &str| between(&asked, name, "&").parse::<i64>().unwrap();
    let wanted = json!({"condition": named("condition="), "run": named("run=")});
    // The page of that run takes it in hand.
    let page = evening.bench.page(&asked).await;
    assert!(page.contains("<b aria-current=\"true\">mid.vcd ("), "{page}");
    let path = evening.api("/condition-in-hand");
    evening.bench.ok(Method::PUT, &path, wanted.clone()).await;
    evening.look().await;
    let report = evening
        .bench
        .ok(Method::GET, &evening.api("/report"), Value::Null)
        .await;
    assert_eq!(report["captures"][0]["file"], "mid.vcd");
    assert_eq!(report["couplings"][0]["aggressor"], "STEP");
    // What is exported, and drawn, is of that run as well.
    let strays = evening
        .bench
        .ok(Method::GET, &evening.api("/export/strays.json"), Value::Null)
        .await;
    assert!(strays.to_string().contains("CLEAR_N"), "{strays}");
    // The log and the report go by all runs, whichever is looked at.
    let log = evening.shown("/log").await;
    assert!(log.contains("not in short.vcd, the newest run ("), "{log}");
    // A run of another condition is none of this one.
    let found = evening.bench.capture(&evening.api(""), "found.vcd").await;
    let wrong = json!({"condition": wanted["condition"], "run": found});
    let (status, _) = evening.bench.json(Method::PUT, &path, wrong).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    // The next capture is looked at again.
    evening.bring("next.vcd", &struck(9, 100, 0.0)).await;
    let report = evening
        .bench
        .ok(Method::GET, &evening.api("/report"), Value::Null)
        .await;
    assert_eq!(report["captures"][0]["file"], "next.vcd");
    assert!(evening.shown("").await.contains("In mid.vcd ("));
}

#[tokio::test]
async fn few_clean_occasions_settle_nothing() {
    let evening = Evening::as_found().await;
    evening.condition("pull-up").await;
    evening.bring("twelve.vcd", &struck(7, 12, 0.0)).await;
    let page = evening.shown("/before-and-after").await;
    // 0 of 12 against some 40 %: gone by the exact test, but a bound of 1 − 0.05^(1/12) = 22 %.
    assert!(
        page.contains("gone") && page.contains("at most 22.1 % of the time"),
        "{page}"
    );
    assert!(page.contains("at most a tenth of it is left"), "{page}");
    assert!(!page.contains("Mark the finding as fixed"), "{page}");
    evening.bring("many.vcd", &struck(11, 300, 0.0)).await;
    let page = evening.shown("/before-and-after").await;
    assert!(page.contains("Mark the finding as fixed"), "{page}");
}

#[tokio::test]
async fn the_same_file_under_both_conditions_gets_no_verdict() {
    let evening = Evening::as_found().await;
    evening.condition("pull-up").await;
    evening.bring("again.vcd", &struck(3, 300, 0.4)).await;
    let page = evening.shown("").await;
    assert!(
        page.contains("again.vcd is the same file as found.vcd under &#34;as found&#34;"),
        "{page}"
    );
    let page = evening.shown("/before-and-after").await;
    assert!(
        page.contains("the same recording stands on both sides ("),
        "{page}"
    );
    for word in ["Unchanged", "no change", "It helped", "try the next thing"] {
        assert!(!page.contains(word), "{word}: {page}");
    }
    // With another run beside it the counts differ; they still rest on one recording.
    evening.bring("clean.vcd", &struck(11, 300, 0.0)).await;
    let page = evening.shown("/before-and-after").await;
    assert!(
        !page.contains("It helped") && page.contains("can&#39;t be told, the same recording"),
        "{page}"
    );
}

#[tokio::test]
async fn the_log_looks_again_when_the_setup_changed() {
    let evening = Evening::as_found().await;
    let log = evening.shown("/log").await;
    assert!(log.contains("follow STEP falling"), "{log}");
    // Nothing below 5 ns is captured: no pulse of the line is a stray any more.
    let setup = json!({"title": "Tower", "setup": "[line.CLEAR_N]\nnarrow_below = \"5 ns\"\n"});
    evening.bench.ok(Method::PUT, &evening.api(""), setup).await;
    let log = evening.shown("/log").await;
    assert!(!log.contains("follow STEP falling"), "{log}");
}

/// The strays are all there after the change, half of them without the edge that brings them in the record: what
/// brings them is in doubt, and nothing is cured.
#[tokio::test]
async fn a_line_that_still_has_its_strays_is_not_said_to_be_rid_of_them() {
    let evening = Evening::as_found().await;
    evening.condition("pull-up").await;
    let without_step = struck(3, 300, 0.4).replace("STEP", "BEAT");
    evening.bring("other-clip.vcd", &without_step).await;
    let page = evening.shown("").await;
    assert!(
        page.contains("not to be seen here, for not all of its lines are captured: CLEAR_N:"),
        "{page}"
    );
    let log = evening.shown("/log").await;
    assert!(
        log.contains("not captured any more") && log.contains("not captured under &#34;pull-up&#34;"),
        "{log}"
    );
    // STEP is captured again, and moved by a few microseconds against CLEAR_N.
    evening.condition("wires swapped").await;
    evening.bring("late.vcd", &struck_after(3, 300, 0.4, 150)).await;
    let page = evening.shown("").await;
    let told = "CLEAR_N still dips";
    assert!(!page.contains("and not here") || page.contains(told), "{page}");
    let log = evening.shown("/log").await;
    let report = evening.shown("/report.html").await;
    for text in [&log, &report] {
        assert!(
            text.contains(&format!("under &#34;wires swapped&#34; {told} ("))
                && text.contains("in doubt there"),
            "{text}"
        );
        assert!(!text.contains("not under &#34;wires swapped&#34;"), "{text}");
    }
    assert!(
        report.contains("told of otherwise under &#34;wires swapped&#34;")
            || report.contains("told of otherwise under \"wires swapped\""),
        "{report}"
    );
}

/// Two files that were dropped together and are two runs: the page opens on the one with the worst in it, says why they are
/// two, and how to say that they are one. What one of them did not capture is laid against nothing.
#[tokio::test]
async fn of_files_dropped_together_the_worst_run_is_shown() {
    let evening = Evening::as_found().await;
    let other = pulsed::vcd(&[("STEP", pulsed::pulses(99, 40), false)]);
    evening.bring("step.vcd", &other).await;
    let [found, step] = ["found.vcd", "step.vcd"].map(|file| {
        let (bench, api) = (evening.bench.clone(), evening.api(""));
        async move { bench.capture(&api, file).await }
    });
    let (found, step) = (found.await, step.await);
    let page = evening.shown("").await;
    assert!(page.contains("<b aria-current=\"true\">step.vcd ("), "{page}");
    assert!(
        page.contains("step.vcd shows no line that found.vcd does not, and is taken as another run."),
        "{page}"
    );
    assert!(page.contains(">they are one run</button>"), "{page}");
    let path = evening.page(&format!("?dropped={found},{step}"));
    let (status, _) = evening
        .bench
        .send(Method::GET, &path, "text/html", Vec::new())
        .await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    // Of files in which nothing is worse than in the newest that is shown.
    let path = evening.page(&format!("?dropped={step}"));
    evening.bench.page(&path).await;
    evening
        .bench
        .ok(Method::GET, &evening.api("/runs"), Value::Null)
        .await;
    let compared = evening.shown("/before-and-after").await;
    assert!(!compared.contains("CLEAR_N struck by STEP"), "{compared}");
}

/// Tables that go out hold the rows of every run and say of which each is; lines are of one run, and the file's name says
/// of which.
#[tokio::test]
async fn what_goes_out_holds_each_run() {
    let evening = Evening::with_a_short_last_run().await;
    evening.bring("late.vcd", &struck(13, 300, 0.2)).await;
    let log = evening.bench.ok(Method::GET, &evening.api(""), Value::Null).await;
    let condition = log["conditions"][1]["id"].as_i64().unwrap();
    let out = |name: &str| evening.api(&format!("/export/{name}?condition={condition}"));
    let strays = evening
        .bench
        .ok(Method::GET, &out("strays.json"), Value::Null)
        .await;
    let of = |run: i64, file: &str| {
        let rows = strays.as_array().unwrap().iter();
        rows.filter(|row| row["run"] == run && row["run_captures"] == file)
            .count()
    };
    let counts = [of(1, "mid.vcd"), of(2, "short.vcd"), of(3, "late.vcd")];
    assert!(counts[0] > 10 && counts[1] == 0 && counts[2] > 20, "{counts:?}");
    assert_eq!(counts.iter().sum::<usize>(), strays.as_array().unwrap().len());
    let (name, csv) = evening.bench.file(&out("strays.csv")).await;
    assert!(name.ends_with("Tower--pull-up--strays.csv\""), "{name}");
    let csv = String::from_utf8(csv).unwrap();
    assert_eq!(csv.lines().count(), 1 + counts.iter().sum::<usize>());
    let (_, parquet) = evening.bench.file(&out("couplings.parquet")).await;
    let parquet = String::from_utf8_lossy(&parquet);
    assert!(parquet.contains("mid.vcd") && parquet.contains("late.vcd"));
    // One that is named is alone, and the file says that there are others.
    let mid = evening.bench.capture(&evening.api(""), "mid.vcd").await;
    let (name, csv) = evening
        .bench
        .file(&format!("{}&run={mid}", out("strays.csv")))
        .await;
    assert!(
        name.ends_with("Tower--pull-up--run-1-of-3--strays.csv\""),
        "{name}"
    );
    let csv = String::from_utf8(csv).unwrap();
    assert_eq!(csv.lines().count(), 1 + counts[0], "{csv}");
    let (name, _) = evening.bench.file(&out("capture.vcd")).await;
    assert!(
        name.ends_with("Tower--pull-up--run-3-of-3--capture.vcd\""),
        "{name}"
    );
    let page = evening.shown("/log").await;
    assert!(
        page.contains(&format!("export/capture.vcd?condition={condition}&#38;run={mid}"))
            && page.contains("Under \"pull-up\", all 3 runs in each table"),
        "{page}"
    );
    // The report as JSON is of one run, and tells what the others show.
    let report = evening
        .bench
        .ok(
            Method::GET,
            &evening.api(&format!("/report?condition={condition}")),
            Value::Null,
        )
        .await;
    assert_eq!(report["captures"][0]["file"], "late.vcd");
    assert_eq!(report["other_runs"][0]["files"], "mid.vcd");
    assert_eq!(report["other_runs"][0]["captures"][0], mid);
    assert_eq!(report["other_runs"][0]["findings"][0]["topic"], "coupling");
    assert_eq!(report["other_runs"].as_array().unwrap().len(), 2);
}

/// The printed report says what each run shows, and draws what only an earlier one does.
#[tokio::test]
async fn the_report_tells_of_each_run() {
    let evening = Evening::with_a_short_last_run().await;
    let report = evening.shown("/report.html").await;
    let runs = between(&report, "Its 2 runs, the newest last:", "</ul>");
    assert!(
        runs.contains("<li>mid.vcd (") && runs.contains("One thing looks wrong"),
        "{runs}"
    );
    assert!(runs.contains("<li>short.vcd ("), "{runs}");
    let findings = between(&report, "<h2>Findings", "</section>");
    assert!(
        findings.contains("found in mid.vcd (") && findings.contains("<svg"),
        "{findings}"
    );
    // Found in both of two long runs.
    evening.bring("late.vcd", &struck(13, 300, 0.2)).await;
    let report = evening.shown("/report.html").await;
    let findings = between(&report, "<h2>Findings", "</section>");
    assert!(
        findings.contains(" and late.vcd, the newest run (")
            && findings.contains("not in short.vcd (")
            && findings.contains("; its figures are those of late.vcd"),
        "{findings}"
    );
}

/// The file of one condition has scopes before its names and that of the next has none: it is one trouble, and what a person
/// said of it holds.
#[tokio::test]
async fn a_trouble_is_the_same_where_names_differ_by_their_scopes() {
    let scoped = struck(3, 300, 0.4)
        .replace(" STEP ", " @STEP ")
        .replace(" CLEAR_N ", " @CLEAR_N ");
    let mut text = String::new();
    for line in scoped.lines() {
        match (line.starts_with("$var"), line.contains('@')) {
            (true, true) => {
                let scope = if line.contains("STEP") { "board" } else { "panel" };
                let plain = line.replace('@', "");
                text += &format!("$scope module {scope} $end\n{plain}\n$upscope $end\n");
            }
            _ => text += &format!("{line}\n"),
        }
    }
    let evening = Evening::begun().await;
    evening.bring("found.vcd", &text).await;
    let said = json!({"finding": "coupling panel.CLEAR_N board.STEP", "title": "t", "state": "confirmed", "cause": "long wire", "remark": ""});
    evening
        .bench
        .ok(Method::PUT, &evening.api("/finding-state"), said)
        .await;
    evening.condition("pull-up").await;
    evening.bring("mid.vcd", &struck(5, 300, 0.2)).await;
    let page = evening.shown("").await;
    assert!(!page.contains("not all of its lines are captured"), "{page}");
    assert!(!page.contains("and not here"), "{page}");
    assert!(page.contains("caused by long wire"), "{page}");
    let log = evening.shown("/log").await;
    assert!(
        log.contains("found under &#34;as found&#34;, &#34;pull-up&#34;"),
        "{log}"
    );
    assert!(!log.contains("not captured any more"), "{log}");
    let report = evening.shown("/report.html").await;
    assert!(
        !report.contains("Found earlier") && report.contains("long wire"),
        "{report}"
    );
    // Cured: it was captured, and is gone.
    evening.condition("wires apart").await;
    evening.bring("clean.vcd", &struck(7, 300, 0.0)).await;
    let page = evening.shown("").await;
    assert!(
        page.contains("Found under &#34;pull-up&#34; and not here"),
        "{page}"
    );
    let log = evening.shown("/log").await;
    assert!(
        log.contains("not found any more") && !log.contains("not captured"),
        "{log}"
    );
}

/// Each page of one run leads to the same page of the others.
#[tokio::test]
async fn pages_of_a_run_lead_to_the_others() {
    let evening = Evening::with_a_short_last_run().await;
    let log = evening.bench.ok(Method::GET, &evening.api(""), Value::Null).await;
    let condition = log["conditions"][1]["id"].as_i64().unwrap();
    let mid = evening.bench.capture(&evening.api(""), "mid.vcd").await;
    for tail in ["/links", "/clocks", "/rules"] {
        let page = evening.shown(&format!("{tail}?condition={condition}")).await;
        let runs = between(&page, "runs: ", "</p>");
        let there = format!("{}?condition={condition}&#38;run={mid}", evening.page(tail));
        assert!(
            runs.contains(&format!("<a href=\"{there}\">mid.vcd (")) && runs.contains("true\">short.vcd ("),
            "{tail}: {runs}"
        );
        let page = evening
            .shown(&format!("{tail}?condition={condition}&run={mid}"))
            .await;
        let runs = between(&page, "runs: ", "</p>");
        assert!(
            runs.contains("true\">mid.vcd (") && runs.contains("\">short.vcd ("),
            "{tail}: {runs}"
        );
        assert!(!page.contains("the run of mid.vcd"), "{tail}: {page}");
    }
    // Where there is one run there is nothing to choose.
    let other = log["conditions"][0]["id"].as_i64().unwrap();
    let page = evening.shown(&format!("/links?condition={other}")).await;
    assert!(!page.contains("runs: "), "{page}");
}
