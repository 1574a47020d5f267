//! The bench log through its interface: an evening from the first remark to the archive in another folder.

use crate::bench::Bench;
use axum::http::{Method, StatusCode};
use serde_json::{Value, json};

fn empty() -> Bench {
    Bench::with(|_| ()).0
}

#[tokio::test]
async fn an_evening() {
    let bench = empty();
    let made = bench
        .ok(
            Method::POST,
            "/api/sessions",
            json!({"title": "Tower, third evening"}),
        )
        .await;
    let at = |tail: &str| format!("/api/sessions/{}{tail}", made["id"]);
    let put = json!({"title": "Tower", "job": "Bell 3 strikes twice", "setup": "[line.CLEAR_N]\nnarrow_below = \"60 ns\"\n"});
    bench.ok(Method::PUT, &at(""), put).await;
    let (status, told) = bench
        .json(
            Method::PUT,
            &at(""),
            json!({"title": "Tower", "setup": "[line.A]\nfamily = \"ttl-9v\"\n"}),
        )
        .await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    assert!(told["error"].as_str().unwrap().contains("line 2"), "{told}");

    let condition = bench
        .ok(
            Method::POST,
            &at("/entries/condition"),
            json!({"title": "as found"}),
        )
        .await;
    let remark = bench
        .ok(
            Method::POST,
            &at("/entries/remark"),
            json!({"text": "<script>alert(1)</script>"}),
        )
        .await;
    let reading = json!({"rail": "-12 V", "nominal": -12, "reading": 11.8, "place": "striker driver J1-1"});
    bench.ok(Method::POST, &at("/entries/reading"), reading).await;
    for (kind, body, words) in [
        ("reading", json!({"rail": "+5 V"}), "reading as a number"),
        ("remark", json!({"text": 3}), "expected text, found 3"),
    ] {
        let (status, told) = bench
            .json(Method::POST, &at(&format!("/entries/{kind}")), body)
            .await;
        assert_eq!(status, StatusCode::BAD_REQUEST);
        assert!(told["error"].as_str().unwrap().contains(words), "{told}");
    }
    let steps = bench
        .ok(
            Method::POST,
            &at("/checklist"),
            json!({"text": "1. Meter +5 V -> 4.75 to 5.25 V\n2. Press key 1"}),
        )
        .await;
    assert_eq!(steps.as_array().unwrap().len(), 2);
    let png = b"\x89PNG\r\n\x1a\nrest".to_vec();
    let (status, _) = bench
        .send(
            Method::POST,
            &at("/photographs?name=bench.png&caption=the%20ribbon"),
            "image/png",
            png.clone(),
        )
        .await;
    assert_eq!(status, StatusCode::CREATED);
    let state = json!({"finding": "coupling CLEAR_N STEP", "title": "CLEAR_N dips", "state": "confirmed", "cause": "STEP"});
    bench.ok(Method::PUT, &at("/finding-state"), state).await;

    let log = bench.ok(Method::GET, &at(""), Value::Null).await;
    assert_eq!(log["job"], "Bell 3 strikes twice");
    assert_eq!(log["remarks"][0]["text"], "<script>alert(1)</script>");
    assert_eq!(log["finding_states"][0]["state"], "confirmed");
    let photograph = format!("{}/{}", at("/photographs"), log["photographs"][0]["id"]);
    assert_eq!(bench.send(Method::GET, &photograph, "", Vec::new()).await.1, png);

    // Edit, undo, redo, bin, restore.
    let one = at(&format!("/entries/remark/{}", remark["id"]));
    bench.ok(Method::PUT, &one, json!({"text": "changed"})).await;
    assert_eq!(
        bench.ok(Method::POST, &at("/undo"), Value::Null).await["what"],
        "remark changed"
    );
    assert_eq!(
        bench.ok(Method::POST, &at("/redo"), Value::Null).await["what"],
        "remark changed"
    );
    bench.ok(Method::DELETE, &one, Value::Null).await;
    assert_eq!(
        bench.ok(Method::GET, &at(""), Value::Null).await["remarks"],
        json!([])
    );
    bench
        .ok(Method::POST, &format!("{one}/restore"), Value::Null)
        .await;
    assert_eq!(
        bench.ok(Method::GET, &at(""), Value::Null).await["remarks"][0]["text"],
        "changed"
    );
    bench
        .ok(Method::PUT, &one, json!({"text": "<script>alert(1)</script>"}))
        .await;

    // Mistakes are told and change nothing.
    for (path, body) in [
        ("/entries/remark", json!({"text": " "})),
        ("/entries/reading", json!({"rail": "", "reading": 1})),
        ("/entries/reading", json!({"rail": "+5 V", "reading": "much"})),
        ("/entries/condition", json!([1])),
        ("/checklist", json!({"text": "\n"})),
    ] {
        let (status, told) = bench.json(Method::POST, &at(path), body).await;
        assert_eq!(status, StatusCode::BAD_REQUEST, "{path} {told}");
    }
    assert_eq!(
        bench
            .json(Method::POST, &at("/entries/capture"), json!({}))
            .await
            .0,
        StatusCode::NOT_FOUND
    );
    let other = at(&format!("/entries/remark/{}", condition["id"]));
    assert_eq!(
        bench.json(Method::PUT, &other, json!({"text": "x"})).await.0,
        StatusCode::NOT_FOUND
    );

    // The pages read without script, names escaped; the report twice the same.
    let page = bench.page(&format!("/sessions/{}/log", made["id"])).await;
    assert!(
        page.contains("Bell 3 strikes twice") && page.contains("wrong sign") && page.contains("CLEAR_N dips")
    );
    let report = bench.page(&format!("/sessions/{}/report.html", made["id"])).await;
    assert_eq!(
        report,
        bench.page(&format!("/sessions/{}/report.html", made["id"])).await
    );
    for part in [
        "Bell 3 strikes twice",
        "as found",
        "4.75 to 5.25 V",
        "data:image/png;base64,",
        "Still open",
        "Local codes",
    ] {
        assert!(report.contains(part), "{part}");
    }
    for html in [&page, &report] {
        assert!(!html.contains("<script>alert"));
        assert!(html.contains("&#60;script&#62;alert(1)") || html.contains("&lt;script&gt;alert(1)"));
    }
    assert!(
        !report.contains("src=\"http") && !report.contains("href="),
        "a single file"
    );
}

/// The same bytes under the same condition are one capture; that they came under another name is said.
#[tokio::test]
async fn the_same_file_under_another_name_is_told() {
    let bench = empty();
    bench
        .ok(Method::POST, "/api/sessions", json!({"title": "Tower"}))
        .await;
    let table = "Time [ns],STEP\n0,0\n10,1\n20,0\n30,1\n";
    let mut captures = Vec::new();
    for name in ["monday.csv", "monday.csv", "copy.csv", "copy.csv"] {
        let (_, capture) = bench
            .bring("/api/sessions/1", &format!("name={name}"), table)
            .await;
        captures.push(capture["id"].clone());
    }
    assert!(captures.iter().all(|id| *id == captures[0]), "{captures:?}");
    let page = bench.page("/sessions/1/log").await;
    let told = "copy.csv was brought: it holds the same bytes as monday.csv, so nothing was added.";
    // One remark: as it reads, and in the form that changes it.
    assert_eq!(page.matches(told).count(), 2);
    assert_eq!(page.matches("was brought: it holds").count(), 2);
}

#[tokio::test]
async fn the_harness_sheet() {
    let bench = empty();
    let made = bench
        .ok(Method::POST, "/api/sessions", json!({"title": "Tower"}))
        .await;
    let path = format!("/api/sessions/{}/harness", made["id"]);
    assert_eq!(
        bench.ok(Method::GET, &path, Value::Null).await["csv"],
        "board,connector,pin,signal,colour,neighbours,line\n"
    );
    let (status, told) = bench
        .json(
            Method::PUT,
            &path,
            json!({"csv": "board,connector,pin,signal\nA,J1,,X\nA,J1,1,X\nA,J1,1,Y\n"}),
        )
        .await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
    let told = told["error"].as_str().unwrap();
    assert!(
        told.contains("row 2, column pin") && told.contains("row 4, column pin"),
        "{told}"
    );
    let sheet = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/sample-captures/harness.csv"
    ))
    .unwrap();
    let kept = bench.ok(Method::PUT, &path, json!({"csv": sheet})).await;
    assert_eq!(bench.ok(Method::GET, &path, Value::Null).await, kept);
    let page = bench.page(&format!("/sessions/{}/harness", made["id"])).await;
    assert!(page.contains("sequencer J2-12"));
}

#[tokio::test]
async fn a_session_goes_to_the_bin_and_to_another_folder() {
    let bench = empty();
    let made = bench
        .ok(Method::POST, "/api/sessions", json!({"title": "Tower"}))
        .await;
    let at = |tail: &str| format!("/api/sessions/{}{tail}", made["id"]);
    bench
        .ok(Method::POST, &at("/entries/remark"), json!({"text": "seen"}))
        .await;
    let (status, archive) = bench.send(Method::GET, &at("/archive"), "", Vec::new()).await;
    assert_eq!(status, StatusCode::OK);
    bench.ok(Method::DELETE, &at(""), Value::Null).await;
    assert_eq!(
        bench.ok(Method::GET, "/api/sessions", Value::Null).await,
        json!([])
    );
    assert_eq!(
        bench.ok(Method::GET, "/api/bin", Value::Null).await[0]["title"],
        "Tower"
    );
    assert!(bench.page("/bin").await.contains("Tower"));
    bench.ok(Method::POST, &at("/restore"), Value::Null).await;
    assert_eq!(
        bench.ok(Method::GET, "/api/sessions", Value::Null).await[0]["title"],
        "Tower"
    );

    let elsewhere = empty();
    let (status, told) = elsewhere
        .send(Method::POST, "/api/archives", "application/octet-stream", archive)
        .await;
    assert_eq!(status, StatusCode::CREATED, "{}", String::from_utf8_lossy(&told));
    let session: Value = serde_json::from_slice(&told).unwrap();
    let log = elsewhere
        .ok(
            Method::GET,
            &format!("/api/sessions/{}", session["id"]),
            Value::Null,
        )
        .await;
    assert_eq!(log["remarks"][0]["text"], "seen");
    let (status, _) = elsewhere
        .send(
            Method::POST,
            "/api/archives",
            "application/octet-stream",
            b"no archive".to_vec(),
        )
        .await;
    assert_eq!(status, StatusCode::BAD_REQUEST);
}

/// Whether `value` is what `schema` says: the parts of JSON Schema that the document uses.
fn holds(document: &Value, schema: &Value, value: &Value) -> Result<(), String> {
    if let Some(reference) = schema["$ref"].as_str() {
        let target = document
            .pointer(&reference[1..])
            .ok_or(format!("{reference} leads nowhere"))?;
        return holds(document, target, value);
    }
    for part in schema["allOf"].as_array().into_iter().flatten() {
        holds(document, part, value)?;
    }
    if let Some(choices) = schema["oneOf"].as_array() {
        let fitting = choices
            .iter()
            .filter(|choice| holds(document, choice, value).is_ok())
            .count();
        return if fitting == 1 {
            Ok(())
        } else {
            Err(format!("{fitting} of {choices:?} fit {value}"))
        };
    }
    let is_a = |kind: &str| match kind {
        "null" => value.is_null(),
        "string" => value.is_string(),
        "integer" => value.is_i64() || value.is_u64(),
        "number" => value.is_number(),
        "boolean" => value.is_boolean(),
        "array" => value.is_array(),
        "object" => value.is_object(),
        _ => false,
    };
    let fits = match &schema["type"] {
        Value::String(kind) => is_a(kind),
        Value::Array(kinds) => kinds.iter().any(|kind| is_a(kind.as_str().unwrap_or_default())),
        _ => true,
    };
    if !fits {
        return Err(format!("expected {}, found {value}", schema["type"]));
    }
    if let Some(words) = schema["enum"].as_array()
        && !words.contains(value)
    {
        return Err(format!("{value} is none of {words:?}"));
    }
    for name in schema["required"].as_array().into_iter().flatten() {
        if value.get(name.as_str().unwrap_or_default()).is_none() {
            return Err(format!("{name} is missing from {value}"));
        }
    }
    for (name, schema) in schema["properties"].as_object().into_iter().flatten() {
        if let Some(value) = value.get(name) {
            holds(document, schema, value).map_err(|error| format!("{name}: {error}"))?;
        }
    }
    for item in value.as_array().into_iter().flatten() {
        holds(document, &schema["items"], item)?;
    }
    Ok(())
}

#[tokio::test]
async fn the_document_says_what_is_answered() {
    let bench = empty();
    let document = bench.ok(Method::GET, "/api/openapi.json", Value::Null).await;
    let made = bench
        .ok(Method::POST, "/api/sessions", json!({"title": "Tower"}))
        .await;
    let at = |tail: &str| format!("/api/sessions/{}{tail}", made["id"]);
    let capture = std::fs::read(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/sample-captures/as-found.vcd"
    ))
    .unwrap();
    let upload = at("/captures?name=as-found.vcd");
    assert_eq!(
        bench
            .send(Method::POST, &upload, "application/octet-stream", capture)
            .await
            .0,
        StatusCode::CREATED
    );
    bench
        .ok(
            Method::POST,
            &at("/entries/condition"),
            json!({"title": "ribbon apart"}),
        )
        .await;
    bench
        .ok(Method::POST, &at("/entries/remark"), json!({"text": "seen"}))
        .await;
    bench
        .ok(
            Method::POST,
            &at("/entries/reading"),
            json!({"rail": "+5 V", "reading": 4.9}),
        )
        .await;
    bench
        .ok(
            Method::POST,
            &at("/checklist"),
            json!({"text": "Press key 1 -> bell 1"}),
        )
        .await;
    let png = b"\x89PNG\r\n\x1a\nrest".to_vec();
    bench
        .send(Method::POST, &at("/photographs?name=a.png"), "image/png", png)
        .await;
    bench
        .ok(
            Method::PUT,
            &at("/finding-state"),
            json!({"finding": "stuck BELL[4]", "state": "not-a-fault"}),
        )
        .await;
    let sheet = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/sample-captures/harness.csv"
    ))
    .unwrap();
    bench
        .ok(Method::PUT, &at("/harness"), json!({"csv": sheet}))
        .await;

    // `places` waits for the reading, so that the report is there after it.
    for tail in [
        "", "/places", "/report", "/present", "/harness", "/diagram", "/runs",
    ] {
        let answer = bench.ok(Method::GET, &at(tail), Value::Null).await;
        let path = format!("/api/sessions/{{id}}{tail}");
        let schema =
            &document["paths"][&path]["get"]["responses"]["2XX"]["content"]["application/json"]["schema"];
        assert!(!schema.is_null(), "{path}");
        holds(&document, schema, &answer).unwrap_or_else(|error| panic!("{path}: {error}"));
    }
    // A stray that is judged legitimate is no stray any more, until that is undone.
    let strays = async || {
        let report = bench.ok(Method::GET, &at("/report"), Value::Null).await;
        report["strays"].as_array().unwrap().clone()
    };
    let before = strays().await;
    let stray = json!({"line": before[0]["line"], "start_s": before[0]["start_s"], "stray": false});
    let kept = bench.ok(Method::POST, &at("/marks"), stray).await;
    let post = &document["paths"]["/api/sessions/{id}/marks"]["post"];
    let schema = &post["responses"]["2XX"]["content"]["application/json"]["schema"];
    holds(&document, schema, &kept).unwrap();
    let nowhere = json!({"line": before[0]["line"], "start_s": 1e-12, "stray": true});
    let (status, told) = bench.json(Method::POST, &at("/marks"), nowhere).await;
    assert_eq!(status, StatusCode::BAD_REQUEST, "{told}");
    bench.ok(Method::GET, &at("/places"), Value::Null).await;
    assert_eq!(strays().await.len(), before.len() - 1);
    let diagram = bench.ok(Method::GET, &at("/diagram"), Value::Null).await;
    assert_eq!(diagram["marks"][0]["stray"], false);
    let undone = bench.ok(Method::POST, &at("/undo"), Value::Null).await;
    assert_eq!(undone["what"], "pulse judged");
    bench.ok(Method::GET, &at("/places"), Value::Null).await;
    assert_eq!(strays().await, before);
    let undone = bench.ok(Method::POST, &at("/undo"), Value::Null).await;
    holds(&document, &document["components"]["schemas"]["Action"], &undone).unwrap();
    let wrong = json!({"what": 1});
    assert!(holds(&document, &document["components"]["schemas"]["Action"], &wrong).is_err());
}

#[tokio::test]
async fn every_address_is_in_the_document_and_every_one_there_answers() {
    let bench = empty();
    let document = bench.ok(Method::GET, "/api/openapi.json", Value::Null).await;
    let paths = document["paths"].as_object().unwrap();
    let router = concat!(env!("CARGO_MANIFEST_DIR"), "/server/web/router.rs");
    let text = std::fs::read_to_string(router).unwrap();
    let addresses = text
        .split('"')
        .filter(|part| part.starts_with("/api/") && *part != "/api/");
    let mut count = 0;
    for address in addresses {
        let is_there = paths.contains_key(address) || address.ends_with("/entries/{kind}");
        assert!(is_there, "{address} is not in the document");
        count += 1;
    }
    assert!(count > 40, "{count} addresses in the router");
    for (path, operations) in paths {
        for method in operations.as_object().unwrap().keys() {
            let address = path
                .replace("{kind}", "remark")
                .replace("{name}", "strays.csv")
                .replace("{finding}", "F1");
            let address = ["{id}", "{entry}", "{capture}"]
                .iter()
                .fold(address, |address, name| address.replace(name, "77"));
            let method = Method::from_bytes(method.to_uppercase().as_bytes()).unwrap();
            let (status, told) = bench.json(method.clone(), &address, json!({})).await;
            assert_ne!(status, StatusCode::METHOD_NOT_ALLOWED, "{method} {path}");
            assert_ne!(told["error"], "There is no such page.", "{method} {path}");
        }
    }
}
