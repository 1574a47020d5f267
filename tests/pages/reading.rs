//! How a file is read, as its page says and changes it; and what answers before anybody opened a page.

use axum::http::{Method, StatusCode};
use serde_json::{Value, json};

use crate::bench::Bench;
use crate::evening::Evening;

#[tokio::test]
async fn a_reading_sheet_is_kept_with_the_capture_and_applied() {
    let text = "when;A;B\n0;0,2;1\n10;4,9;0\n20;0,1;1\n30;4,8;0\n40;0,2;1\n50;4,9;0\n";
    let own = Evening::begun().await;
    let capture = own.bring("odd.csv", text).await;
    let at = format!("/captures/{capture}/reading");
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
    let page = own.shown(&format!("/captures/{capture}")).await;
    assert!(page.contains("Read as was said here"));
    let (status, told) = own.json(Method::PUT, &at, json!({"time_unit": "weeks"})).await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(told["error"].as_str().unwrap().contains("weeks"), "{told}");
    own.ok(Method::POST, "/undo", Value::Null).await;
    assert_eq!(own.report().await["lines"].as_array().map(Vec::len), Some(2));
}

/// A name said on the page of a capture is the line's in all that follows; a bus is shown in the base of its file.
#[tokio::test]
async fn a_name_that_is_said_once_is_the_line_s_everywhere() {
    let own = Evening::begun().await;
    let text = "0.000,1,5,0\n0.003,0,C,1\n0.005,0,9,1\n0.008,1,5,0\n0.009,0,A,1\n";
    let capture = own.bring("bare.csv", text).await;
    let at = format!("/captures/{capture}");
    let fields = json!({"time_unit": "ms", "name.2": "STEP", "kind.3": "bus 4 hex", "name.3": "NOTE", "name.4": "CLEAR"});
    own.ok(Method::PUT, &format!("{at}/reading"), fields).await;
    let report = own.report().await.to_string();
    let diagram = own.get("/diagram").await;
    let of = |list: &str| -> Vec<String> {
        let rows = diagram[list].as_array().expect(list);
        rows.iter()
            .filter_map(|row| row["name"].as_str().map(str::to_owned))
            .collect()
    };
    assert_eq!(
        of("lines"),
        ["STEP", "NOTE[3]", "NOTE[2]", "NOTE[1]", "NOTE[0]", "CLEAR"]
    );
    assert_eq!(
        (&of("buses")[0][..], diagram["buses"][0]["base"].as_u64()),
        ("NOTE", Some(16))
    );
    assert!(
        report.contains("\"CLEAR\"") && !report.contains("column 4"),
        "{report}"
    );
    let page = own.shown(&at).await;
    assert!(page.contains("name=\"name.4\" value=\"CLEAR\""), "{page}");
    assert!(!page.contains("have no headings"), "{page}");
}

/// The page of a capture shows its first rows; what only a later row made of it is said there too.
#[tokio::test]
async fn the_page_of_a_capture_says_what_a_later_row_made_of_it() {
    let session = Evening::begun().await;
    let mut table = String::from("Time (us),STEP\n");
    for row in 0..8_000 {
        let cell = if row == 7_000 { 3 } else { row / 2 % 2 };
        table += &format!("{row},{cell}\n");
    }
    let capture = session.bring("odd.csv", &table).await;
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
async fn a_program_need_not_open_a_session_before_it_asks() {
    for tail in [
        "/report",
        "/diagram",
        "/window?start=0&end=1000&columns=10",
        "/density?columns=10",
    ] {
        // Each on a server of its own, as after a restart: nobody has looked at the session.
        let answer = Evening::demo().get(tail).await;
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
