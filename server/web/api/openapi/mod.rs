//! The interface for programs, described: an OpenAPI document of every address under `/api/`, its schemas made
//! from the very structs that are answered.

mod operations;
mod queries;

use axum::Json;
use serde_json::{Value, json};
use utoipa::openapi::{ComponentsBuilder, RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use crate::store::Entry;

use operations::operations;
use queries::query;

type Named = (String, RefOr<Schema>);

/// A schema with everything it refers to.
struct Shape {
    name: String,
    all: Vec<Named>,
}

fn shape<T: ToSchema + PartialSchema>() -> Option<Shape> {
    let mut all = vec![(T::name().into_owned(), T::schema())];
    T::schemas(&mut all);
    Some(Shape {
        name: T::name().into_owned(),
        all,
    })
}

/// An entry of the bench log with the value in it, which a flattened field refers to but does not bring along.
fn entry<T: ToSchema + PartialSchema>() -> Option<Shape>
where
    Entry<T>: ToSchema + PartialSchema,
{
    let mut whole = shape::<Entry<T>>()?;
    whole.all.extend(shape::<T>()?.all);
    Some(whole)
}

/// One operation: method, address, what it does, what it takes, what it answers, with which status.
struct Operation {
    method: &'static str,
    path: &'static str,
    summary: &'static str,
    takes: Takes,
    answer: Answer,
}

enum Takes {
    Nothing,
    Json(Option<Shape>),
    Bytes,
}

enum Answer {
    One(Option<Shape>),
    List(Option<Shape>),
    /// An object or null.
    Maybe(Option<Shape>),
    Json,
    Bytes(&'static str),
    Empty,
}

/// The document. Cost: small; made for each request.
pub fn document() -> Value {
    let mut components = ComponentsBuilder::new();
    let mut paths = serde_json::Map::new();
    for operation in operations() {
        let mut refer = |shape: Option<Shape>| match shape {
            Some(shape) => {
                let reference = json!({ "$ref": format!("#/components/schemas/{}", shape.name) });
                let old = std::mem::take(&mut components);
                components = shape
                    .all
                    .into_iter()
                    .fold(old, |components, (name, schema)| components.schema(name, schema));
                reference
            }
            None => json!({ "type": "object" }),
        };
        let content = |kind: &str, schema: Value| json!({ kind: { "schema": schema } });
        let binary = || json!({ "type": "string", "format": "binary" });
        let takes = match operation.takes {
            Takes::Nothing => None,
            Takes::Json(shape) => Some(content("application/json", refer(shape))),
            Takes::Bytes => Some(content("application/octet-stream", binary())),
        };
        let (is_empty, gives) = match operation.answer {
            Answer::One(shape) => (false, content("application/json", refer(shape))),
            Answer::List(shape) => (
                false,
                content(
                    "application/json",
                    json!({ "type": "array", "items": refer(shape) }),
                ),
            ),
            Answer::Maybe(shape) => (
                false,
                content(
                    "application/json",
                    json!({ "oneOf": [{ "type": "null" }, refer(shape)] }),
                ),
            ),
            Answer::Json => (false, content("application/json", json!({}))),
            Answer::Bytes(kind) => (false, content(kind, binary())),
            Answer::Empty => (true, json!({})),
        };
        let mut answer = json!({ "description": if is_empty { "Done" } else { "The answer" } });
        if !is_empty {
            answer["content"] = gives;
        }
        let failure = json!({ "description": "What was wrong, as a sentence", "content": {
            "application/json": { "schema": { "type": "object", "required": ["error"], "properties": {
                "error": { "type": "string" },
                "belongs": { "type": "string", "description": "What a file is that was sent as a capture and is none: setup or harness" } } } } } });
        let asked = [
            parameters(operation.path),
            query(operation.method, operation.path),
        ]
        .concat();
        let mut entry = json!({ "summary": operation.summary, "parameters": asked,
                                "responses": { "2XX": answer, "4XX": failure } });
        if let Some(content) = takes {
            entry["requestBody"] = json!({ "required": true, "content": content });
        }
        let place = paths.entry(operation.path).or_insert_with(|| json!({}));
        place[operation.method] = entry;
    }
    json!({
        "openapi": "3.1.0",
        "info": { "title": "Edgewitness", "version": env!("CARGO_PKG_VERSION"),
                  "description": "Everything the pages do. Every request but GET carries a content type of application/json or application/octet-stream. Times are seconds, moments milliseconds since 1970-01-01 UTC. What is asked of captures is answered for the condition looked at last, or for the one that ?condition=N names, of it for the run that &run=N (a capture of it) names." },
        "paths": paths,
        "components": components.build(),
    })
}

/// `{id}` and its like in an address: whole numbers, but for words.
fn parameters(path: &str) -> Vec<Value> {
    let names = path.split(['{', '}']).skip(1).step_by(2);
    let parameter = |name: &str| {
        let kind = if matches!(name, "kind" | "name" | "finding") {
            "string"
        } else {
            "integer"
        };
        json!({ "name": name, "in": "path", "required": true, "schema": { "type": kind } })
    };
    names.map(parameter).collect()
}

/// The description itself.
pub async fn openapi() -> Json<Value> {
    Json(document())
}
