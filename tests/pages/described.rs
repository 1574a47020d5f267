//! The description of the interface (`/api/openapi.json`): every address stands in it, with what it takes behind its
//! question mark, and what is answered is as it says.

use std::path::Path;

use axum::http::{Method, StatusCode};
use serde_json::{Value, json};

use crate::bench::Bench;
use crate::evening::Evening;
use crate::sample::sample;

fn source(tail: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("server/web")
        .join(tail);
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// Method and address of each handler, as the router names it: `get(api::seek::find)`.
fn routes() -> Vec<(String, String, String)> {
    let text = source("router.rs");
    let mut found = Vec::new();
    for route in text.split(".route(").skip(1) {
        let address = route.split('"').nth(1).unwrap().to_owned();
        for method in ["get", "post", "put", "delete"] {
            let word = format!("{method}(api::");
            let handlers = route.split(&word).skip(1);
            found.extend(handlers.map(|rest| {
                let handler = rest.split(')').next().unwrap().to_owned();
                (method.to_owned(), address.clone(), handler)
            }));
        }
    }
    found
}

/// Names of the query's parameters in the document.
fn listed<'a>(document: &'a Value, method: &str, address: &str) -> Vec<&'a str> {
    let parameters = document["paths"][address][method]["parameters"].as_array();
    let parameters = parameters.unwrap_or_else(|| panic!("{method} {address}"));
    let in_query = parameters.iter().filter(|parameter| parameter["in"] == "query");
    in_query
        .map(|parameter| parameter["name"].as_str().unwrap())
        .collect()
}

#[tokio::test]
async fn every_address_with_a_query_lists_it() {
    let (bench, ()) = Bench::with(|_| ());
    let document = bench.ok(Method::GET, "/api/openapi.json", Value::Null).await;
    let mut with_query = 0;
    for (method, address, handler) in routes() {
        let (file, function) = handler.split_once("::").unwrap();
        // Where the document names each kind by itself.
        if file == "openapi" || address.ends_with("/entries/{kind}") {
            continue;
        }
        let text = source(&format!("api/{file}.rs"));
        let begun = text.split(&format!("pub async fn {function}(")).nth(1);
        let signature = begun
            .unwrap_or_else(|| panic!("{handler}"))
            .split('{')
            .next()
            .unwrap();
        let takes = signature.contains("Query(");
        assert_eq!(
            takes,
            !listed(&document, &method, &address).is_empty(),
            "{method} {address}"
        );
        with_query += usize::from(takes);
    }
    assert!(with_query >= 20, "{with_query}");

    // By hand, from what the pages' own script asks.
    let window = "/api/sessions/{id}/window";
    assert_eq!(
        listed(&document, "get", window),
        ["start", "end", "columns", "lines", "condition", "run", "of"]
    );
    let find = "/api/sessions/{id}/find";
    let asked = [
        "what",
        "line",
        "at_least_s",
        "below_s",
        "text",
        "from",
        "back",
        "most",
        "count",
        "condition",
        "run",
        "of",
    ];
    assert_eq!(listed(&document, "get", find), asked);
    assert_eq!(
        listed(&document, "get", "/api/sessions/{id}/compare"),
        ["before", "after"]
    );
    let parameters = document["paths"][find]["get"]["parameters"].as_array().unwrap();
    let required = |name: &str| {
        let found = parameters.iter().find(|parameter| parameter["name"] == name);
        found.unwrap()["required"].as_bool().unwrap_or(false)
    };
    assert!(required("what") && !required("line") && !required("back") && !required("count"));
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

/// The demo's first capture with an entry of each kind beside it, and the document.
async fn described_evening() -> (Evening, Value) {
    let evening = Evening::begun().await;
    evening.bring("as-found.vcd", &sample("as-found.vcd")).await;
    evening.condition("ribbon apart").await;
    for (method, tail, body) in [
        (Method::POST, "/entries/remark", json!({"text": "seen"})),
        (
            Method::POST,
            "/entries/reading",
            json!({"rail": "+5 V", "reading": 4.9}),
        ),
        (
            Method::POST,
            "/checklist",
            json!({"text": "Press key 1 -> bell 1"}),
        ),
        (
            Method::PUT,
            "/finding-state",
            json!({"finding": "stuck BELL[4]", "state": "not-a-fault"}),
        ),
        (Method::PUT, "/harness", json!({"csv": sample("harness.csv")})),
    ] {
        evening.ok(method, tail, body).await;
    }
    let png = b"\x89PNG\r\n\x1a\nrest".to_vec();
    let photograph = evening.api("/photographs?name=a.png");
    let sent = evening.bench.send(Method::POST, &photograph, "image/png", png);
    assert_eq!(sent.await.0, StatusCode::CREATED);
    let document = evening
        .bench
        .ok(Method::GET, "/api/openapi.json", Value::Null)
        .await;
    (evening, document)
}

/// The schema of what `method` answers at `path` where all went well.
fn answers<'d>(document: &'d Value, method: &str, path: &str) -> &'d Value {
    let said = &document["paths"][path][method]["responses"]["2XX"];
    &said["content"]["application/json"]["schema"]
}

#[tokio::test]
async fn the_document_says_what_is_answered() {
    let (evening, document) = described_evening().await;
    // `places` waits for the reading, so that the report is there after it.
    for tail in [
        "", "/places", "/report", "/present", "/harness", "/diagram", "/runs",
    ] {
        let answer = evening.get(tail).await;
        let path = format!("/api/sessions/{{id}}{tail}");
        let schema = answers(&document, "get", &path);
        assert!(!schema.is_null(), "{path}");
        holds(&document, schema, &answer).unwrap_or_else(|error| panic!("{path}: {error}"));
    }
    let undone = evening.ok(Method::POST, "/undo", Value::Null).await;
    holds(&document, &document["components"]["schemas"]["Action"], &undone).unwrap();
    let wrong = json!({"what": 1});
    assert!(holds(&document, &document["components"]["schemas"]["Action"], &wrong).is_err());
}

#[tokio::test]
async fn a_stray_that_is_judged_legitimate_is_none_until_that_is_undone() {
    let (evening, document) = described_evening().await;
    let strays = async || evening.report().await["strays"].as_array().unwrap().clone();
    let before = strays().await;
    let stray = json!({"line": before[0]["line"], "start_s": before[0]["start_s"], "stray": false});
    let kept = evening.ok(Method::POST, "/marks", stray).await;
    holds(
        &document,
        answers(&document, "post", "/api/sessions/{id}/marks"),
        &kept,
    )
    .unwrap();
    let nowhere = json!({"line": before[0]["line"], "start_s": 1e-12, "stray": true});
    let (status, told) = evening.json(Method::POST, "/marks", nowhere).await;
    assert_eq!(status, StatusCode::BAD_REQUEST, "{told}");
    assert_eq!(strays().await.len(), before.len() - 1);
    assert_eq!(evening.get("/diagram").await["marks"][0]["stray"], false);
    let undone = evening.ok(Method::POST, "/undo", Value::Null).await;
    assert_eq!(undone["what"], "pulse judged");
    assert_eq!(strays().await, before);
}

#[tokio::test]
async fn every_address_is_in_the_document_and_every_one_there_answers() {
    let (bench, ()) = Bench::with(|_| ());
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
