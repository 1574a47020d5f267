//! The description of the interface lists what each address takes behind its question mark.

use std::path::Path;

use crate::bench::Bench;
use axum::http::Method;
use serde_json::Value;

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
