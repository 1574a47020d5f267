//! The form for rules, asked as the page asks it: what goes in, what is refused and in whose words, what is taken out.
//! Values are planted here; no outside source.

use axum::http::{Method, StatusCode};
use serde_json::{Value, json};

use crate::bench::Bench;

const RULES: &str = "/api/sessions/1/rules";

async fn with_a_capture() -> Bench {
    let bench = Bench::with_session().await;
    let mut table = String::from("Time (us),STEP,SELECT_0\n");
    for row in 0..400 {
        table += &format!("{row},{},{}\n", row / 2 % 2, row / 7 % 2);
    }
    let (status, _) = bench.bring("/api/sessions/1", "name=tower.csv", table).await;
    assert!(status.is_success());
    let page = bench.page("/sessions/1/rules").await;
    // The capture that was added last is not undone from here.
    assert!(page.contains("No rule yet") && !page.contains(">undo"), "{page}");
    bench
}

async fn refused(bench: &Bench, rule: Value) -> String {
    let (status, told) = bench.json(Method::POST, RULES, rule).await;
    assert_eq!(status, StatusCode::BAD_REQUEST, "{told}");
    told["error"].as_str().unwrap().to_owned()
}

#[tokio::test]
async fn a_mistyped_line_is_refused_by_the_field_and_the_near_name_is_offered() {
    let bench = with_a_capture().await;
    let slip = json!({"kind": "pulse-width", "line": "SELECT_O", "at_least": "1 us"});
    let told = refused(&bench, slip).await;
    assert!(
        told.starts_with("Line: The captures have no SELECT_O: did you mean SELECT_0?"),
        "{told}"
    );
    let slip = json!({"kind": "logic", "output": "STEP", "is": "!SELECT_9", "settle": "1 us"});
    let told = refused(&bench, slip).await;
    assert!(told.starts_with("Is: ") && told.contains("SELECT_0"), "{told}");
    let slip = json!({"kind": "rail", "line": "VCC", "nominal": "5 V", "tolerance": "5 %"});
    let told = refused(&bench, slip).await;
    assert!(
        told.starts_with("Line: The captures have no VCC. They have STEP, SELECT_0."),
        "{told}"
    );
    let empty = json!({"kind": "pulse-width", "line": "STEP"});
    let told = refused(&bench, empty).await;
    assert_eq!(
        told,
        "This kind of rule needs \"At least\" or \"At most\": fill it in."
    );
    // Nothing of these went in.
    let log = bench.ok(Method::GET, "/api/sessions/1", Value::Null).await;
    assert_eq!(log["setup"], "", "{log}");
}

#[tokio::test]
async fn a_rule_is_taken_out_and_undoing_says_what_it_undoes() {
    let bench = with_a_capture().await;
    for (line, at_least) in [("STEP", "1 us"), ("SELECT_0", "8 us")] {
        let rule = json!({"kind": "pulse-width", "line": line, "at_least": at_least});
        bench.ok(Method::POST, RULES, rule).await;
    }
    let page = bench.page("/sessions/1/rules").await;
    assert!(
        page.contains("undo: rule &#34;pulse-width of SELECT_0&#34; added"),
        "{page}"
    );
    assert_eq!(page.matches(">take it out<").count(), 2);
    let report = bench.ok(Method::GET, "/api/sessions/1/report", Value::Null).await;
    let row = &report["rules"][0];
    assert_eq!(row["name"], "pulse-width of STEP");
    let named = json!({"name": row["name"], "setup_line": row["setup_line"]});
    let session = bench.ok(Method::DELETE, RULES, named.clone()).await;
    let setup = session["setup"].as_str().unwrap();
    assert!(!setup.contains("STEP") && setup.contains("SELECT_0"), "{setup}");
    // A page that is older than the setup takes out nothing else.
    let (status, told) = bench.json(Method::DELETE, RULES, named).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(
        told["error"].as_str().unwrap().contains("load the page again"),
        "{told}"
    );
    let page = bench.page("/sessions/1/rules").await;
    assert!(
        page.contains("undo: rule &#34;pulse-width of STEP&#34; taken out"),
        "{page}"
    );
}

#[tokio::test]
async fn the_same_rule_is_not_added_twice() {
    let bench = with_a_capture().await;
    let rule = json!({"kind": "pulse-width", "line": "STEP", "at_least": "1 us"});
    bench.ok(Method::POST, RULES, rule.clone()).await;
    let told = refused(&bench, rule).await;
    assert!(
        told.starts_with("The same rule is there already, as \"pulse-width of STEP\" on line 1"),
        "{told}"
    );
    let other = json!({"kind": "pulse-width", "line": "STEP", "at_least": "2 us"});
    bench.ok(Method::POST, RULES, other).await;
}

#[tokio::test]
async fn the_figure_is_of_the_bit_that_the_sentence_tells() {
    let bench = Bench::with_session().await;
    // STROBE rises every 10 us from 5 us on. D1 changes 2 us before the first, D0 1 us before the third.
    let mut table = String::from("Time (us),D1,D0,STROBE\n");
    for row in 0..100 {
        table += &format!(
            "{row},{},{},{}\n",
            u8::from(row >= 3),
            u8::from(row >= 24),
            u8::from(row % 10 >= 5)
        );
    }
    let (status, _) = bench.bring("/api/sessions/1", "name=tower.csv", table).await;
    assert!(status.is_success());
    let rule =
        json!({"kind": "setup", "data": "D1 D0", "strobe": "STROBE", "edge": "rise", "at_least": "4 us"});
    bench.ok(Method::POST, RULES, rule).await;
    let report = bench.ok(Method::GET, "/api/sessions/1/report", Value::Null).await;
    let found = report["findings"].as_array().unwrap();
    let fault = found.iter().find(|f| f["topic"] == "limit").unwrap();
    assert!(
        fault["title"].as_str().unwrap().starts_with("D0 changes 1"),
        "{fault}"
    );
    assert!(
        fault["detail"].as_str().unwrap().contains("By line: D1 1, D0 1."),
        "{fault}"
    );
    let path = format!(
        "/sessions/1/findings/{}/figure.svg",
        fault["id"].as_str().unwrap()
    );
    let (_, figure) = bench.send(Method::GET, &path, "text/html", Vec::new()).await;
    let figure = String::from_utf8(figure).unwrap();
    assert!(figure.contains("1.000 µs") || figure.contains("1 µs"), "{figure}");
    assert!(!figure.contains("STROBE 2"), "{figure}");
    // The diagram opens there too.
    let path = format!(
        "/api/sessions/1/findings/{}/occurrences",
        fault["id"].as_str().unwrap()
    );
    let all = bench.ok(Method::GET, &path, Value::Null).await;
    assert_eq!((&all["count"], &all["told"]), (&2.into(), &1.into()), "{all}");
    let page = bench.page("/sessions/1/rules").await;
    assert!(page.contains("At 3 µs"), "the moment to its digits: {page}");
}

#[tokio::test]
async fn a_latch_goes_in_by_the_form_and_its_figure_spans_edge_and_slip() {
    let bench = Bench::with_session().await;
    // LE is high for 20 us in every 200, D turns before it and Q with it; once Q slips 60 us after LE has shut.
    let mut table = String::from("Time (us),SEQ.LE,D in,Q out\n");
    for row in 0..2000 {
        let (n, phase) = (row / 200, row % 200);
        let data = |n: i32| n % 2 == 1;
        let held = data(if phase >= 100 { n + 1 } else { n });
        let slips = n == 4 && (80..).contains(&phase);
        table += &format!(
            "{row},{},{},{}\n",
            u8::from((100..120).contains(&phase)),
            u8::from(data(if phase >= 50 { n + 1 } else { n })),
            u8::from(held != (slips && phase < 100))
        );
    }
    let (status, _) = bench.bring("/api/sessions/1", "name=tower.csv", table).await;
    assert!(status.is_success());
    bench.page("/sessions/1/rules").await;
    // Whatever the part does agrees with itself.
    let itself = json!({"kind": "logic", "output": "Q out", "is": "Q", "settle": "1 us"});
    let told = refused(&bench, itself).await;
    assert!(told.starts_with("Is: The captures have no Q."), "{told}");
    let itself = json!({"kind": "logic", "output": "D", "is": "LE ? Q : D", "settle": "1 us"});
    let told = refused(&bench, itself).await;
    assert!(
        told.starts_with("Is: Found the output D on the right side") && told.contains("kind latch"),
        "{told}"
    );
    let mut rule = json!({"kind": "latch", "output": "Q out", "data": "D in", "enable": "LE", "open_at": "high", "settle": "2 us"});
    let told = refused(&bench, rule.clone()).await;
    assert_eq!(
        told,
        "Enable: The captures have no LE: did you mean SEQ.LE? A rule for lines of captures to come goes into the setup, in the bench log."
    );
    rule["enable"] = "SEQ.LE".into();
    bench.ok(Method::POST, RULES, rule).await;
    let page = bench.page("/sessions/1/rules").await;
    let report = bench.ok(Method::GET, "/api/sessions/1/report", Value::Null).await;
    let row = &report["rules"][0];
    assert_eq!(
        (&row["kind"], &row["verdict"], &row["broken"]),
        (&"latch".into(), &"broken".into(), &1.into()),
        "{row}"
    );
    assert_eq!(
        (&row["latch"]["shut_wrong"], &row["latch"]["open_wrong"]),
        (&1.into(), &0.into()),
        "{row}"
    );
    assert!(page.contains("latch Q out of D in at SEQ.LE: broken"), "{page}");
    assert!(page.contains("after SEQ.LE had shut it"), "{page}");
    assert!(!page.contains("<th></th>"), "{page}");
}

#[tokio::test]
async fn a_line_that_must_stay_is_drawn_from_the_edge_to_the_limit() {
    let bench = Bench::with_session().await;
    // LIFT rises every 100 us; MUTE goes low 5 us after the third, for 250 us.
    let mut table = String::from("Time (us),LIFT,MUTE\n");
    for row in 0..1000 {
        table += &format!(
            "{row},{},{}\n",
            u8::from(row % 100 < 30),
            u8::from(!(305..555).contains(&row))
        );
    }
    let (status, _) = bench.bring("/api/sessions/1", "name=tower.csv", table).await;
    assert!(status.is_success());
    let rule = json!({"kind": "stay", "line": "MUTE", "level": "high", "strobe": "LIFT", "edge": "rise",
                      "before": "1 us", "after": "20 us"});
    bench.ok(Method::POST, RULES, rule).await;
    let report = bench.ok(Method::GET, "/api/sessions/1/report", Value::Null).await;
    let row = &report["rules"][0];
    let sides = row["sides"].as_array().unwrap();
    let of = |side: &Value| (side["side"].clone(), side["at_least_s"].as_f64().unwrap());
    assert_eq!(of(&sides[1]).0, "after");
    assert!(
        (of(&sides[0]).1 - 1e-6).abs() < 1e-12 && (of(&sides[1]).1 - 20e-6).abs() < 1e-12,
        "{row}"
    );
    assert!(row["at_least_s"].is_null(), "{row}");
    let fault = report["findings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|f| f["topic"] == "limit")
        .unwrap()
        .clone();
    let path = format!(
        "/api/sessions/1/findings/{}/occurrences",
        fault["id"].as_str().unwrap()
    );
    let all = bench.ok(Method::GET, &path, Value::Null).await;
    // MUTE was low at the rises of 400 and 500 too; of the third the evidence is 20 us long.
    let first = &all["occurrences"][0];
    let length = first["to"].as_i64().unwrap() - first["from"].as_i64().unwrap();
    let caption = first["caption"].as_str().unwrap();
    assert!(caption.contains("5 µs of 20 µs: MUTE went low"), "{first}");
    assert_eq!(length, 20, "{first}");
    let page = bench.page("/sessions/1/rules").await;
    assert!(
        page.contains("After the edge: ") && page.contains("the limit is at least 20 µs"),
        "{page}"
    );
    assert!(page.contains("5 µs of 20 µs after the edge"), "{page}");
}

#[tokio::test]
async fn a_rule_that_is_broken_in_a_supply_s_deep_dips_sends_to_the_supply_first() {
    let bench = Bench::with_session().await;
    // LIFT rises every 200 us and VCC_TOWER dips 2 us later; each fourth dip is deep, and MUTE is lost in it.
    let mut table = String::from("Time (us),LIFT,MUTE,VCC_TOWER (V)\n");
    for row in 0..8000 {
        let (n, phase) = (row / 200, row % 200);
        let is_deep = n % 4 == 2;
        let volts = match phase {
            52..90 if is_deep => 3.5,
            52..90 => 4.3 + 0.005 * f64::from(n),
            _ => 5.0 + 0.01 * f64::from(phase % 3),
        };
        let lost = is_deep && (56..120).contains(&phase);
        table += &format!(
            "{row},{},{},{volts}\n",
            u8::from((50..90).contains(&phase)),
            u8::from(!lost)
        );
    }
    let (status, _) = bench.bring("/api/sessions/1", "name=tower.csv", table).await;
    assert!(status.is_success());
    let rail = json!({"kind": "rail", "line": "VCC_TOWER", "nominal": "5 V", "tolerance": "5 %"});
    bench.ok(Method::POST, RULES, rail).await;
    let rule = json!({"kind": "stay", "line": "MUTE", "level": "high", "strobe": "LIFT", "edge": "rise", "after": "20 us"});
    bench.ok(Method::POST, RULES, rule).await;
    bench.page("/sessions/1/rules").await;
    let report = bench.ok(Method::GET, "/api/sessions/1/report", Value::Null).await;
    let found = report["findings"].as_array().unwrap();
    let fault = found.iter().find(|f| f["topic"] == "limit").unwrap();
    let title = fault["title"].as_str().unwrap();
    assert!(
        title.ends_with("; VCC_TOWER is outside its limits then"),
        "{fault}"
    );
    let detail = fault["detail"].as_str().unwrap();
    assert!(
        detail.contains(
            "10 of 10 violations fall while VCC_TOWER is outside its limits, and into its deeper dips"
        ),
        "{detail}"
    );
    let next = fault["try_next"][0].as_str().unwrap();
    assert!(next.starts_with("See to VCC_TOWER first"), "{fault}");
}

#[tokio::test]
async fn what_is_too_narrow_for_a_line_is_said_in_the_form() {
    let bench = with_a_capture().await;
    let page = bench.page("/sessions/1/rules").await;
    assert!(
        page.contains("<option value=\"narrow\">") && page.contains("name=\"narrow_below\""),
        "{page}"
    );
    let narrow = |line: &str, width: &str| json!({"kind": "narrow", "line": line, "narrow_below": width});
    let told = refused(&bench, narrow("STEP_9", "60 ns")).await;
    assert!(told.starts_with("Line: The captures have no STEP_9"), "{told}");
    let told = refused(&bench, narrow("STEP", "60 parsecs")).await;
    assert!(told.starts_with("Too narrow below: "), "{told}");
    let told = refused(&bench, narrow("STEP", "")).await;
    assert!(told.starts_with("Too narrow below: "), "{told}");
    for width in ["60 ns", "90 ns"] {
        bench.ok(Method::POST, RULES, narrow("STEP", width)).await;
    }
    let log = bench.ok(Method::GET, "/api/sessions/1", Value::Null).await;
    assert_eq!(
        log["setup"], "[line.\"STEP\"]\nnarrow_below = \"90 ns\"\n",
        "{log}"
    );
    let page = bench.page("/sessions/1/rules").await;
    assert!(
        page.contains("undo: rule &#34;narrow_below of STEP&#34; added"),
        "{page}"
    );
}

#[tokio::test]
async fn a_range_of_bits_is_taken_for_its_lines() {
    let bench = Bench::with_session().await;
    let mut table = String::from("Time (us),STEP,NOTE[0],NOTE[1],NOTE[2]\n");
    for row in 0..400 {
        let n = row / 2;
        table += &format!("{row},{},{},{},{}\n", row % 2, n & 1, n >> 1 & 1, n >> 2 & 1);
    }
    let (status, _) = bench.bring("/api/sessions/1", "name=tower.csv", table).await;
    assert!(status.is_success());
    bench.page("/sessions/1/rules").await;
    let rule = |bus: &str| json!({"kind": "sequence", "bus": bus, "strobe": "STEP", "edge": "rise", "rule": "count-up"});
    let told = refused(&bench, rule("NOTE[3:0]")).await;
    assert!(
        told.starts_with("Bus, most significant first: The captures have no NOTE[3:0]"),
        "{told}"
    );
    let session = bench.ok(Method::POST, RULES, rule("NOTE[2:0]")).await;
    let setup = session["setup"].as_str().unwrap();
    assert!(
        setup.contains("bus = [\"NOTE[2]\", \"NOTE[1]\", \"NOTE[0]\"]"),
        "{setup}"
    );
}
