//! What is asked behind the question mark of an address: made from the very structs that take it apart.

use serde_json::{Value, json};
use utoipa::IntoParams;
use utoipa::openapi::path::ParameterIn;

use crate::web::api::{evidence, links, log, seek, upload, windows};
use crate::web::shown::Shown;
use crate::workflow::reading::KEYS;

/// The parameters of an operation that stand in the query of its address.
pub(super) fn query(method: &str, path: &str) -> Vec<Value> {
    let tail = path.strip_prefix("/api/sessions/{id}").unwrap_or(path);
    let shown = match SHOWN.contains(&(method, tail)) {
        true => of::<Shown>(),
        false => Vec::new(),
    };
    [own(method, tail), shown].concat()
}

/// Addresses that may say which condition and run is meant.
const SHOWN: [(&str, &str); 14] = [
    ("get", "/report"),
    ("get", "/diagram"),
    ("get", "/window"),
    ("get", "/density"),
    ("get", "/find"),
    ("get", "/stretch"),
    ("get", "/evidence"),
    ("get", "/findings/{finding}/occurrences"),
    ("get", "/findings/{finding}/overlay"),
    ("get", "/places"),
    ("get", "/links/pulses"),
    ("get", "/export/{name}"),
    ("post", "/marks"),
    ("get", "/present"),
];

/// What an address asks besides.
fn own(method: &str, tail: &str) -> Vec<Value> {
    match (method, tail) {
        ("post", "/api/captures" | "/captures") => of::<upload::Named>(),
        ("get", "/window") => of::<windows::Asked>(),
        ("get", "/density") => of::<windows::DensityAsked>(),
        ("get", "/findings/{finding}/overlay") => of::<evidence::AskedOverlay>(),
        ("get", "/evidence") => of::<evidence::AskedStretch>(),
        ("get", "/find") => of::<seek::Asked>(),
        ("get", "/stretch") => of::<seek::AskedStretch>(),
        ("get", "/links/pulses") => of::<links::Ends>(),
        ("post", "/photographs") => of::<log::Named>(),
        ("post", "/undo") => of::<log::NamedStep>(),
        ("get", "/compare") => ["before", "after"].map(side).to_vec(),
        ("get", "/captures/{capture}/reading") => KEYS.map(field).to_vec(),
        _ => Vec::new(),
    }
}

fn of<T: IntoParams>() -> Vec<Value> {
    let all = T::into_params(|| Some(ParameterIn::Query)).into_iter();
    all.map(|parameter| json!(parameter)).collect()
}

/// May be said several times.
fn side(name: &str) -> Value {
    json!({ "name": name, "in": "query", "required": true, "explode": true,
            "description": "c and the id of a condition, or r and the id of a run's first capture",
            "schema": { "type": "array", "items": { "type": "string" } } })
}

fn field(name: &str) -> Value {
    json!({ "name": name, "in": "query", "required": false, "schema": { "type": "string" },
            "description": "As under [read] in the setup file; what is kept where no field is given" })
}
