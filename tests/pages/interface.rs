//! The sheet, and requests as a browser sends them: names from files, addresses that lead nowhere, what can't be read.

use axum::body::Body;
use axum::http::{Request, StatusCode, header};

use crate::carillon::Carillon;

#[tokio::test]
async fn the_sheet_reads_without_script() {
    let (status, page) = Carillon::new("BEAT").get("/sessions/1").await;
    assert_eq!(status, StatusCode::OK);
    for text in [
        "Two things look wrong.",
        "20 of 20 stray pulses follow",
        "50 % of falls strike (34–66 %)",
        "once <b class=\"line-name\">STEP</b> is allowed for",
        "Ring out the wire with the power off",
        "Before hands go in",
        "/sessions/1/findings/F1/figure.svg",
        "CLEAR_N dips for 8 ns, 13 ns after STEP falls.",
    ] {
        assert!(
            page.contains(text) || page.contains(&text.replace("<b class=\"line-name\">STEP</b>", "STEP")),
            "{text}"
        );
    }
    // What is wrong, with who does it to whom; then what to try, and the figures after that.
    let at = |text: &str| page.find(text).unwrap_or_else(|| panic!("{text}"));
    let headline = page
        .split_once("id=\"headline\">")
        .unwrap()
        .1
        .split_once("</p>")
        .unwrap()
        .0;
    assert!(
        headline.contains("<span class=\"first\"><b class=\"line-name\">STEP</b> falling disturbs"),
        "{headline}"
    );
    assert!(
        headline.contains("<span class=\"further\"><b class=\"line-name\">STRIKE_OUT</b>: 5 of 10 pulses"),
        "{headline}"
    );
    assert!(at("Two things look wrong.") < at("20 of 20 stray pulses follow it"));
    assert!(
        at("<h2><a href") < at("What to try next") && at("What to try next") < at("50 % of falls strike")
    );
    let first = page.find("CLEAR_N</b>: 20 of 20").expect("the first finding");
    let second = page.find("5 of 10 pulses").expect("the second finding");
    assert!(first < page.rfind("5 of 10 pulses").unwrap() && second < page.find("never moves").unwrap());
}

#[tokio::test]
async fn names_from_files_are_text_everywhere() {
    let hostile = "<script>alert(1)</script>";
    let bench = Carillon::new(hostile);
    for path in [
        "/",
        "/sessions/1",
        "/sessions/1/findings/F1/figure.svg",
        "/sessions/1/figure.svg?start=0&end=900&lines=2&caption=%3Cscript%3E",
    ] {
        let (status, page) = bench.get(path).await;
        assert_eq!(status, StatusCode::OK, "{path}");
        assert!(
            !page.contains("<script>") && !page.contains("<b>evening"),
            "{path}"
        );
    }
    let (_, figure) = bench.get("/sessions/1/findings/F1/figure.svg").await;
    assert!(figure.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
    let diagram = bench.json("/api/sessions/1/diagram").await;
    assert_eq!(diagram["lines"][2]["name"], hostile);
}

#[tokio::test]
async fn requests_from_elsewhere_are_refused() {
    let bench = Carillon::new("BEAT");
    let ask = |host: &'static str, origin: Option<&'static str>| {
        let mut request = Request::get("/api/sessions").header(header::HOST, host);
        if let Some(origin) = origin {
            request = request.header(header::ORIGIN, origin);
        }
        bench.ask(request.body(Body::empty()).unwrap())
    };
    assert_eq!(ask("localhost:7117", None).await.0, StatusCode::OK);
    assert_eq!(
        ask("localhost:7117", Some("http://localhost:7117")).await.0,
        StatusCode::OK
    );
    assert_eq!(ask("rebound.example:7117", None).await.0, StatusCode::FORBIDDEN);
    assert_eq!(
        ask("localhost:7117", Some("http://elsewhere.example")).await.0,
        StatusCode::FORBIDDEN
    );
    let form = Request::post("/api/sessions")
        .header(header::HOST, "localhost:7117")
        .header(header::CONTENT_TYPE, "text/plain")
        .body(Body::from("{\"title\": \"from elsewhere\"}"));
    assert_eq!(
        bench.ask(form.unwrap()).await.0,
        StatusCode::UNSUPPORTED_MEDIA_TYPE
    );
}

#[tokio::test]
async fn no_path_from_a_request_reaches_the_file_system() {
    let bench = Carillon::new("BEAT");
    for path in [
        "/static/../Cargo.toml",
        "/static/%2e%2e/Cargo.toml",
        "/static//etc/passwd",
        "/static/js/..%2f..%2fCargo.toml",
    ] {
        let (status, _) = bench.get(path).await;
        assert_eq!(status, StatusCode::NOT_FOUND, "{path}");
    }
    assert_eq!(bench.get("/static/js/main.js").await.0, StatusCode::OK);
    assert_eq!(bench.get("/sessions/99").await.0, StatusCode::NOT_FOUND);
    assert_eq!(bench.get("/nowhere").await.0, StatusCode::NOT_FOUND);
}

/// Method, address, body, status, words of the sentence.
const REFUSED: &str = r#"
POST /api/sessions | { | 400 | not right JSON: EOF while parsing an object (line 1, column 1).
POST /api/sessions | [1] | 422 | expected text, found 1
PUT /api/sessions/1 | 7 | 422 | In the body, expected an object, found 7 (line 1, column 1).
PUT /api/sessions/1 | {"title": 5} | 422 | title: expected text, found 5 (line 1, column 11).
POST /api/sessions/x/undo | {} | 400 | /api/sessions/x/undo: expected a whole number, found x.
PUT /api/sessions/1/clocks | {} | 422 | capture is missing (line 1, column 2).
GET /api/sessions/1/window?start=x&end=9&columns=4 | | 400 | start: expected a whole number.
GET /api/sessions/1/window | | 400 | start is missing.
PUT /api/sessions | {} | 405 | /api/sessions does not take PUT; the header Allow
GET /api/sessions/1/undo | | 405 | does not take GET; the header Allow"#;

#[tokio::test]
async fn what_can_t_be_taken_apart_is_told_in_json_and_plain_words() {
    let bench = Carillon::new("BEAT");
    for row in REFUSED.lines().skip(1) {
        let cells: Vec<&str> = row.split('|').map(str::trim).collect();
        let (method, path) = cells[0].split_once(' ').unwrap();
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header(header::HOST, "localhost:7117")
            .header(header::CONTENT_TYPE, "application/json")
            .body(Body::from(cells[1]))
            .unwrap();
        let (status, bytes) = bench.ask(request).await;
        let text = String::from_utf8_lossy(&bytes);
        assert_eq!(status.as_str(), cells[2], "{row}: {text}");
        let value: serde_json::Value = serde_json::from_slice(&bytes).expect(&text);
        let error = value["error"].as_str().unwrap();
        assert!(error.contains(cells[3]), "{row}: {error}");
        for own in ["struct", "i64", "f64", "Body", "deserialize", "`"] {
            assert!(!error.contains(own), "{row}: {error}");
        }
    }
}

#[tokio::test]
async fn an_address_that_is_no_page_s_is_a_page_that_says_so() {
    let bench = Carillon::new("BEAT");
    for path in [
        "/sessions/abc",
        "/sessions/99999999999999999999",
        "/sessions/1/captures/x",
        "/nowhere",
    ] {
        let (status, page) = bench.get(path).await;
        assert_eq!(status, StatusCode::NOT_FOUND, "{path}: {page}");
        assert!(page.contains("<p>There is no such page.</p>"), "{path}: {page}");
        assert!(!page.contains("i64"), "{path}: {page}");
    }
}
