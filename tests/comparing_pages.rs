//! The pages and addresses that compare: two instruments on one clock, links, before and after, how a file is read.
//!
//! Captures and their truth are the demo's (`sample-captures/truth.json` is made by the simulator, not measured).

#[path = "common/bench.rs"]
mod bench;

use axum::http::{Method, StatusCode};
use bench::Bench;
use edgewitness::demo;
use edgewitness::workflow::demo_session::open_demo;
use serde_json::{Value, json};

/// A server and one session of it.
struct Session {
    bench: Bench,
    /// `/api/sessions/N` and `/sessions/N`.
    api: String,
    page: String,
}

impl Session {
    /// The demo's.
    fn demo() -> Session {
        let (bench, id) = Bench::with(|store| open_demo(store).unwrap());
        Session::of(bench, &id.to_string())
    }

    fn of(bench: Bench, id: &str) -> Session {
        Session {
            bench,
            api: format!("/api/sessions/{id}"),
            page: format!("/sessions/{id}"),
        }
    }

    async fn json(&self, method: Method, tail: &str, body: Value) -> (StatusCode, Value) {
        self.bench
            .json(method, &format!("{}{tail}", self.api), body)
            .await
    }

    async fn ok(&self, method: Method, tail: &str, body: Value) -> Value {
        self.bench.ok(method, &format!("{}{tail}", self.api), body).await
    }

    async fn get(&self, tail: &str) -> Value {
        self.ok(Method::GET, tail, Value::Null).await
    }

    /// The report as the session is now: `places` waits for what was changed last.
    async fn report(&self) -> Value {
        self.get("/places").await;
        self.get("/report").await
    }

    async fn shown(&self, tail: &str) -> String {
        self.bench.page(&format!("{}{tail}", self.page)).await
    }

    async fn capture(&self, file: &str) -> i64 {
        self.bench.capture(&self.api, file).await
    }
}

fn offset(report: &Value) -> f64 {
    report["captures"][1]["offset_s"].as_f64().unwrap()
}

#[tokio::test]
async fn the_capture_of_the_fix_says_what_is_not_found_any_more() {
    let bench = Session::demo();
    let conditions = bench.get("").await["conditions"].as_array().unwrap().clone();
    let look_at = |n: usize| json!({ "condition": conditions[n]["id"] });
    // As found nothing came before.
    bench.ok(Method::PUT, "/condition-in-hand", look_at(0)).await;
    bench.report().await;
    assert!(!bench.shown("").await.contains("and not here"));
    bench.ok(Method::PUT, "/condition-in-hand", look_at(1)).await;
    bench.report().await;
    let page = bench.shown("").await;
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
    let bench = Session::demo();
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
        let condition = json!({ "title": title, "remark": "" });
        bench.ok(Method::POST, "/entries/condition", condition).await;
        let path = format!("{}/captures?name={name}", bench.api);
        let (status, _) = bench
            .bench
            .send(Method::POST, &path, "application/octet-stream", text.into_bytes())
            .await;
        assert_eq!(status, StatusCode::CREATED);
        bench.report().await;
    }
    let page = bench.shown("").await;
    assert!(
        page.contains("no proof of a cure here") && page.contains("(CLEAR_N never switches here)"),
        "{page}"
    );
    // The page does not wait for the counting for long; a program does.
    bench.get("/runs").await;
    let compared = bench.shown("/before-and-after").await;
    assert!(
        compared.contains("STEP never switched after, where it switched"),
        "{compared}"
    );
    let report = bench.shown("/report.html").await;
    assert!(
        report.contains("STEP never switched after, where it switched"),
        "{report}"
    );
}

#[tokio::test]
async fn two_conditions_are_compared_over_the_session_s_runs() {
    let bench = Session::demo();
    let runs = bench.get("/runs").await;
    let held: Vec<usize> = runs["runs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| r["captures"].as_array().unwrap().len())
        .collect();
    assert_eq!(held, [2, 1], "the tower's instrument recorded the first run too");
    let conditions = bench.get("").await["conditions"].clone();
    let query = format!(
        "/compare?before=c{}&after=c{}",
        conditions[0]["id"], conditions[1]["id"]
    );
    let report = bench.get(&query).await;
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
    let (status, told) = bench
        .json(Method::GET, "/compare?before=c99&after=c98", Value::Null)
        .await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(told["error"].as_str().unwrap().contains("before=c"), "{told}");
    // The same sides turned round: what was gone is new.
    let turned = format!(
        "/before-and-after?before=c{}&after=c{}",
        conditions[1]["id"], conditions[0]["id"]
    );
    let page = bench.shown(&turned).await;
    assert!(page.contains("New: CLEAR_N struck by STEP."), "{page}");
    let printed = bench.shown("/report.html").await;
    assert!(printed.contains("Gone: CLEAR_N struck by STEP.") && printed.contains("class=\"history\""));
}

#[tokio::test]
async fn a_link_is_declared_taken_back_and_the_taking_back_undone() {
    let bench = Session::demo();
    assert_eq!(bench.report().await["links"][0]["verdict"], "lossy");
    let pulses = bench.get("/links/pulses?from=STRIKE_OUT&to=STRIKE_IN").await;
    let fates = |word: &str| {
        pulses
            .as_array()
            .unwrap()
            .iter()
            .filter(|p| p["fate"] == word)
            .count()
    };
    let (_, truths) = demo::captures();
    let truth = truths.iter().find(|t| t.file == "as-found.vcd").unwrap();
    assert_eq!(fates("missing"), truth.links[0].missing_s.len());
    assert_eq!(fates("arrived"), truth.links[0].arrived);
    let page = bench.shown("/links").await;
    assert!(page.contains("never arrived") && page.contains("&#38;occurrence=1"));
    let ends = json!({"from": "STRIKE_OUT", "to": "STRIKE_IN"});
    bench.ok(Method::DELETE, "/links", ends.clone()).await;
    assert_eq!(bench.report().await["links"].as_array().map(Vec::len), Some(0));
    let (status, _) = bench.json(Method::DELETE, "/links", ends).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    bench.ok(Method::POST, "/undo", Value::Null).await;
    assert_eq!(bench.report().await["links"][0]["verdict"], "lossy");
    let unknown = json!({"from": "STRIKE_OUT", "to": "NOWHERE"});
    let (status, told) = bench.json(Method::POST, "/links", unknown).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(
        told["error"]
            .as_str()
            .unwrap()
            .starts_with("The far end: The captures have no NOWHERE."),
        "{told}"
    );
}

#[tokio::test]
async fn a_clock_is_moved_by_hand_and_a_capture_set_apart() {
    let bench = Session::demo();
    let found = bench.report().await;
    // What the simulator planted: started 87.1342 ms later, 31.2 ppm off.
    assert!(
        (offset(&found) - 0.087_134_2).abs() < 42e-9,
        "{}",
        found["captures"]
    );
    let (tower, first) = (
        bench.capture("tower.csv").await,
        bench.capture("as-found.vcd").await,
    );
    let clock = |shift_s: f64| json!({"capture": tower, "with": first, "on": ["NOTE"], "shift_s": shift_s});
    bench.ok(Method::PUT, "/clocks", clock(2e-6)).await;
    let moved = bench.report().await;
    assert!((offset(&moved) - offset(&found) - 2e-6).abs() < 1e-12);
    assert!(bench.shown("/clocks").await.contains("by hand"));
    bench.ok(Method::POST, "/undo", Value::Null).await;
    assert_eq!(offset(&bench.report().await), offset(&found));
    bench
        .ok(Method::PUT, "/clocks", json!({"capture": tower, "with": null}))
        .await;
    let apart = bench.report().await;
    assert_eq!(apart["captures"].as_array().map(Vec::len), Some(1));
    // BELL[4] never moves: too few edges to align on, told with what to do.
    bench
        .ok(
            Method::PUT,
            "/clocks",
            json!({"capture": tower, "with": first, "on": ["BELL[4]=DAMPER"]}),
        )
        .await;
    let refused = bench.report().await;
    let told = refused["findings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|f| f["topic"] == "alignment")
        .unwrap();
    assert!(told["detail"].as_str().unwrap().contains("0 edges"), "{told}");
    assert_eq!(refused["captures"][0]["file"], "as-found.vcd");
    let (status, _) = bench
        .json(Method::PUT, "/clocks", json!({"capture": 999, "with": null}))
        .await;
    assert_eq!(status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn channel_skew_is_measured_and_taken_off() {
    let bench = Session::demo();
    // One edge (and three more) fed to three probes; the second shows it 10 ns late, the third 5 ns early.
    let mut text = "time (ns),STEP,CLEAR_N,BEAT\n0,0,0,0\n".to_owned();
    let mut rows: Vec<(i64, usize)> = Vec::new();
    for (n, at) in [1000, 2000, 3500, 4500].into_iter().enumerate() {
        rows.extend([(at, 3 * n), (at + 10, 3 * n + 1), (at - 5, 3 * n + 2)]);
    }
    rows.sort_unstable();
    let mut levels = [0; 3];
    for (at, which) in rows {
        levels[which % 3] = 1 - levels[which % 3];
        text.push_str(&format!("{at},{},{},{}\n", levels[0], levels[1], levels[2]));
    }
    let path = format!("{}/captures?name=one-edge.csv", bench.api);
    let (status, body) = bench
        .bench
        .send(Method::POST, &path, "application/octet-stream", text.into_bytes())
        .await;
    assert_eq!(status, StatusCode::CREATED);
    let capture: Value = serde_json::from_slice(&body).unwrap();
    let kept = bench
        .ok(
            Method::PUT,
            "/skews",
            json!({"capture": capture["id"], "late_s": {}}),
        )
        .await;
    let late = |line: &str| kept["late_s"][line].as_f64().unwrap() * 1e9;
    // Against the average, which is 5/3 ns late.
    for (line, expected) in [
        ("STEP", -5.0 / 3.0),
        ("CLEAR_N", 10.0 - 5.0 / 3.0),
        ("BEAT", -5.0 - 5.0 / 3.0),
    ] {
        assert!((late(line) - expected).abs() < 1e-6, "{kept}");
    }
    bench
        .ok(
            Method::DELETE,
            &format!("/entries/capture/{}", capture["id"]),
            Value::Null,
        )
        .await;
    let conditions = bench.get("").await["conditions"].clone();
    bench
        .ok(
            Method::PUT,
            "/condition-in-hand",
            json!({"condition": conditions[0]["id"]}),
        )
        .await;
    let report = bench.report().await;
    let row = report["couplings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|c| c["victim"] == "CLEAR_N")
        .unwrap();
    // CLEAR_N was 10 ns later than STEP: that much is off the lag of 15 ns.
    let lag = row["lag_s"]["median"].as_f64().unwrap() * 1e9;
    assert!((4.0..=6.5).contains(&lag), "{lag}");
    // Skews are those of the instrument that recorded the capture they were measured from: another one's are left alone.
    let found = bench.capture("as-found.vcd").await;
    let log = bench.get("").await;
    let mut value = log["captures"]
        .as_array()
        .unwrap()
        .iter()
        .find(|c| c["id"] == found)
        .unwrap()
        .clone();
    value["instrument"] = "logic analyzer".into();
    bench
        .ok(Method::PUT, &format!("/entries/capture/{found}"), value)
        .await;
    let report = bench.report().await;
    let rows = report["couplings"].as_array().unwrap();
    let row = rows.iter().find(|c| c["victim"] == "CLEAR_N").unwrap();
    let lag = row["lag_s"]["median"].as_f64().unwrap() * 1e9;
    assert!((14.0..=16.5).contains(&lag), "{lag}");
    let page = bench.shown("/clocks").await;
    assert!(
        page.contains("Captures of no named instrument") && page.contains("as-found.vcd (logic analyzer)")
    );
    let (status, told) = bench
        .json(
            Method::PUT,
            "/skews",
            json!({"capture": bench.capture("tower.csv").await, "late_s": {}}),
        )
        .await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(
        told["error"]
            .as_str()
            .unwrap()
            .contains("the same edges on every channel"),
        "{told}"
    );
}

#[tokio::test]
async fn a_reading_sheet_is_kept_with_the_capture_and_applied() {
    let bench = Session::demo();
    let text = "when;A;B\n0;0,2;1\n10;4,9;0\n20;0,1;1\n30;4,8;0\n40;0,2;1\n50;4,9;0\n";
    let server = bench.bench.clone();
    let made = server
        .ok(Method::POST, "/api/sessions", json!({"title": "Odd export"}))
        .await;
    let own = Session::of(server, &made["id"].to_string());
    let path = format!("{}/captures?name=odd.csv", own.api);
    let (_, body) = own
        .bench
        .send(Method::POST, &path, "application/octet-stream", text.into())
        .await;
    let capture: Value = serde_json::from_slice(&body).unwrap();
    let at = format!("/captures/{}/reading", capture["id"]);
    let taken = own.get(&at).await;
    assert_eq!(
        (&taken["delimiter"], &taken["decimal"]),
        (&";".into(), &",".into()),
        "{taken}"
    );
    // Shown with what is asked, and nothing kept by asking.
    let asked = own
        .get(&format!(
            "{at}?time_unit=us&kind.2=analog&line.2=A&levels.2=1.0%20to%203.0"
        ))
        .await;
    assert_eq!(asked["time_unit_s"].as_f64(), Some(1e-6));
    assert_eq!(
        (
            &asked["columns"][1]["kind"],
            asked["columns"][1]["high_v"].as_f64()
        ),
        (&"analog".into(), Some(3.0))
    );
    let fields = json!({"time_unit": "us", "kind.2": "analog", "line.2": "A", "levels.2": "1.0 to 3.0", "kind.3": "ignore"});
    own.ok(Method::PUT, &at, fields).await;
    let report = own.report().await;
    let lines: Vec<&str> = report["lines"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|l| l["line"].as_str())
        .collect();
    assert_eq!(lines, ["A"]);
    assert!(
        (report["captures"][0]["end_s"].as_f64().unwrap() - 50e-6).abs() < 11e-6,
        "{}",
        report["captures"]
    );
    let page = own.shown(&format!("/captures/{}", capture["id"])).await;
    assert!(page.contains("Read as was said here"));
    let (status, told) = own.json(Method::PUT, &at, json!({"time_unit": "weeks"})).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(told["error"].as_str().unwrap().contains("weeks"), "{told}");
    own.ok(Method::POST, "/undo", Value::Null).await;
    assert_eq!(own.report().await["lines"].as_array().map(Vec::len), Some(2));
}

#[tokio::test]
async fn a_program_need_not_open_a_session_before_it_asks() {
    for tail in [
        "/report",
        "/diagram",
        "/window?start=0&end=1000&columns=10",
        "/density?columns=10",
    ] {
        // Each on a server of its own, as after a restart: nobody has looked at the session.
        let answer = Session::demo().get(tail).await;
        assert!(tail.contains("window") || answer.is_object(), "{tail}: {answer}");
    }
    let (bench, id) = Bench::with(|store| {
        let body = edgewitness::store::SessionBody {
            title: "Nothing yet".to_owned(),
            ..Default::default()
        };
        store.create_session(&body).unwrap().id
    });
    let (status, told) = bench
        .json(Method::GET, &format!("/api/sessions/{id}/report"), Value::Null)
        .await;
    assert_eq!(status, StatusCode::NOT_FOUND);
    assert!(told["error"].as_str().unwrap().contains("no capture"), "{told}");
}

/// The page of a capture shows its first rows; what only a later row made of it is said there too.
#[tokio::test]
async fn the_page_of_a_capture_says_what_a_later_row_made_of_it() {
    let (bench, ()) = Bench::with(|_| ());
    bench
        .ok(Method::POST, "/api/sessions", json!({"title": "Tower"}))
        .await;
    let mut table = String::from("Time (us),STEP\n");
    for row in 0..8_000 {
        let cell = if row == 7_000 { 3 } else { row / 2 % 2 };
        table += &format!("{row},{cell}\n");
    }
    let path = "/api/sessions/1/captures?name=odd.csv";
    let kind = "application/octet-stream";
    let (status, _) = bench.send(Method::POST, path, kind, table.into()).await;
    assert!(status.is_success());
    let session = Session::of(bench, "1");
    session.report().await;
    let capture = session.capture("odd.csv").await;
    let told = session.shown(&format!("/captures/{capture}")).await;
    assert!(told.contains("row 7002 holds"), "{told}");
    let other = session
        .shown(&format!("/captures/{capture}?kind.2=digital"))
        .await;
    assert!(
        !other.contains("row 7002 holds"),
        "what is tried is not what was read"
    );
}

#[tokio::test]
async fn a_name_that_no_capture_has_changes_no_clock() {
    let bench = Session::demo();
    let found = bench.report().await;
    let (tower, first) = (
        bench.capture("tower.csv").await,
        bench.capture("as-found.vcd").await,
    );
    for (on, says) in [
        ("NOET", "The captures have no NOET"),
        ("NOTE=STROEB", "The captures have no STROEB"),
    ] {
        let clock = json!({"capture": tower, "with": first, "on": [on]});
        let (status, told) = bench.json(Method::PUT, "/clocks", clock).await;
        assert_eq!(status, StatusCode::BAD_REQUEST, "{on}");
        assert!(told["error"].as_str().unwrap().contains(says), "{told}");
    }
    assert_eq!(offset(&bench.report().await), offset(&found));
}

#[tokio::test]
async fn before_and_after_keeps_to_the_condition_in_its_address() {
    let bench = Session::demo();
    bench.get("/runs").await;
    let conditions = bench.get("").await["conditions"].clone();
    let [first, second] = [0, 1].map(|at| conditions[at]["id"].as_i64().unwrap());
    let third = bench
        .ok(
            Method::POST,
            "/entries/condition",
            json!({"title": "resistor fitted"}),
        )
        .await["id"]
        .as_i64()
        .unwrap();
    let text = b"time,STEP,CLEAR_N\n0,0,1\n1e-6,1,1\n2e-6,0,1\n3e-6,1,0\n4e-6,0,1\n".to_vec();
    let path = format!("{}/captures?name=c.csv&condition={third}", bench.api);
    let (status, _) = bench
        .bench
        .send(Method::POST, &path, "application/octet-stream", text)
        .await;
    assert_eq!(status, StatusCode::CREATED);
    bench.get("/runs").await;
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
        let page = bench
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
    let page = bench.shown("/before-and-after").await;
    assert!(is_set(second, &page, "before") && is_set(third, &page, "after"));
    let page = bench
        .shown(&format!("/before-and-after?before=c999&after=c{second}"))
        .await;
    assert!(
        page.contains("asks for before=c999, and no run is called so"),
        "{page}"
    );
    let page = bench.shown(&format!("?condition={first}")).await;
    assert!(page.contains(&format!("/before-and-after?condition={first}\">compare")));
}
