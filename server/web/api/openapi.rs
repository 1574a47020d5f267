//! The interface for programs, described: an OpenAPI document of every address under `/api/`, its schemas made
//! from the very structs that are answered.

use axum::Json;
use serde_json::{Value, json};
use utoipa::openapi::{ComponentsBuilder, RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use super::{clocks, diagram, evidence, harness, links, log, seek, upload};
use crate::report::compare::CompareReport;
use crate::report::inspect::InspectReport;
use crate::store::{
    Action, Capture, ChannelSkews, Clock, Condition, DiagramView, Entry, FindingState, Photograph, Reading,
    Remark, Session, SessionBody, SessionRow, Step,
};
use crate::workflow::session::RunTallies;

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

fn operations() -> Vec<Operation> {
    use Answer::{Bytes as Gives, Empty, Json as Any, List, Maybe, One};
    use Takes::{Bytes, Json, Nothing};
    let op = |method, path, summary, takes, answer| Operation {
        method,
        path,
        summary,
        takes,
        answer,
    };
    let octets = "application/octet-stream";
    vec![
        op(
            "get",
            "/api/sessions",
            "Sessions, last changed first",
            Nothing,
            List(shape::<SessionRow>()),
        ),
        op(
            "post",
            "/api/sessions",
            "Make a session",
            Json(shape::<SessionBody>()),
            One(shape::<Session>()),
        ),
        op(
            "get",
            "/api/bin",
            "Sessions in the bin",
            Nothing,
            List(shape::<SessionRow>()),
        ),
        op(
            "post",
            "/api/archives",
            "Make a session of an archive",
            Bytes,
            One(shape::<Session>()),
        ),
        op(
            "get",
            "/api/sessions/{id}",
            "Everything said in a session",
            Nothing,
            One(shape::<log::SessionLog>()),
        ),
        op(
            "put",
            "/api/sessions/{id}",
            "Change title, job, setup",
            Json(shape::<SessionBody>()),
            One(shape::<Session>()),
        ),
        op(
            "delete",
            "/api/sessions/{id}",
            "Put a session in the bin",
            Nothing,
            Empty,
        ),
        op(
            "post",
            "/api/sessions/{id}/restore",
            "Take a session out of the bin",
            Nothing,
            Empty,
        ),
        op(
            "get",
            "/api/sessions/{id}/present",
            "What the answer rests on now",
            Nothing,
            One(shape::<log::Present>()),
        ),
        op(
            "post",
            "/api/captures",
            "Begin a session with a capture: its bytes, with ?name= and ?title=",
            Bytes,
            One(shape::<upload::Begun>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/captures",
            "Bring a capture: its bytes, with ?name=",
            Bytes,
            One(shape::<Entry<Capture>>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/work",
            "Reading and analysis as server-sent events",
            Nothing,
            Gives("text/event-stream"),
        ),
        op(
            "get",
            "/api/sessions/{id}/report",
            "What was found, as edgewitness inspect --json",
            Nothing,
            One(shape::<InspectReport>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/diagram",
            "Lines, timebase and findings",
            Nothing,
            One(shape::<diagram::Diagram>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/window",
            "Columns of numbers for a stretch of lines: ?start=&end=&columns=",
            Nothing,
            Gives(octets),
        ),
        op(
            "get",
            "/api/sessions/{id}/density",
            "Edges and strays of the whole capture in ?columns=",
            Nothing,
            Any,
        ),
        op(
            "get",
            "/api/sessions/{id}/findings/{finding}/occurrences",
            "The moments a finding rests on",
            Nothing,
            One(shape::<diagram::Occurrences>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/findings/{finding}/overlay",
            "A finding's moments laid on one another: ?before=&after= in ticks",
            Nothing,
            One(shape::<crate::web::overlay::Overlay>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/evidence",
            "What findings show in a stretch: ?start=&end= in ticks",
            Nothing,
            One(shape::<evidence::Evidence>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/find",
            "Edges, strays, pulses by width, patterns: ?what=edge|rise|fall|stray|pulse|low-pulse|high-pulse|pattern&line=&text=",
            Nothing,
            One(shape::<seek::Moments>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/stretch",
            "What lines did over a stretch: ?start=&end= in ticks",
            Nothing,
            List(shape::<seek::LineStretch>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/view",
            "How the diagram is looked at: order of lines, dimension lines",
            Nothing,
            One(shape::<DiagramView>()),
        ),
        op(
            "put",
            "/api/sessions/{id}/view",
            "Set how the diagram is looked at",
            Json(shape::<DiagramView>()),
            One(shape::<DiagramView>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/entries/condition",
            "Add a condition",
            Json(shape::<Condition>()),
            One(shape::<Entry<Condition>>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/entries/remark",
            "Add a remark",
            Json(shape::<Remark>()),
            One(shape::<Entry<Remark>>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/entries/reading",
            "Add a reading by meter",
            Json(shape::<Reading>()),
            One(shape::<Entry<Reading>>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/entries/step",
            "Add a checkout step",
            Json(shape::<Step>()),
            One(shape::<Entry<Step>>()),
        ),
        op(
            "put",
            "/api/sessions/{id}/entries/{kind}/{entry}",
            "Change an entry",
            Json(None),
            Any,
        ),
        op(
            "delete",
            "/api/sessions/{id}/entries/{kind}/{entry}",
            "Put an entry in the bin",
            Nothing,
            Empty,
        ),
        op(
            "post",
            "/api/sessions/{id}/entries/{kind}/{entry}/restore",
            "Take an entry out of the bin",
            Nothing,
            Empty,
        ),
        op(
            "post",
            "/api/sessions/{id}/checklist",
            "Add the steps of a pasted list",
            Json(shape::<log::Pasted>()),
            List(shape::<Entry<Step>>()),
        ),
        op(
            "put",
            "/api/sessions/{id}/finding-state",
            "Set the state of a finding",
            Json(shape::<FindingState>()),
            One(shape::<Entry<FindingState>>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/photographs",
            "Add a photograph: its bytes, with ?name=&caption=",
            Bytes,
            One(shape::<Entry<Photograph>>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/photographs/{entry}",
            "A photograph",
            Nothing,
            Gives("image/*"),
        ),
        op(
            "post",
            "/api/sessions/{id}/undo",
            "Undo the last action",
            Nothing,
            Maybe(shape::<Action>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/redo",
            "Do again what was undone",
            Nothing,
            Maybe(shape::<Action>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/rules",
            "Add a rule to the session's setup: kind, and the keys of the setup file with texts for values",
            Json(None),
            One(shape::<Session>()),
        ),
        op(
            "post",
            "/api/sessions/{id}/links",
            "Declare a link between two lines, or two buses bit by bit",
            Json(shape::<links::NewLink>()),
            One(shape::<Session>()),
        ),
        op(
            "delete",
            "/api/sessions/{id}/links",
            "Take the declaration of a link back",
            Json(shape::<links::Ends>()),
            One(shape::<Session>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/links/pulses",
            "What became of every pulse of a declared link: ?from=…&to=…",
            Nothing,
            List(shape::<crate::workflow::links::PulseFate>()),
        ),
        op(
            "put",
            "/api/sessions/{id}/condition-in-hand",
            "Look at the captures of one condition, until another capture is brought",
            Json(shape::<clocks::Wanted>()),
            Empty,
        ),
        op(
            "get",
            "/api/sessions/{id}/captures/{capture}/reading",
            "What a capture's file was taken for, from its first rows; the query's fields are said over it",
            Nothing,
            Any,
        ),
        op(
            "put",
            "/api/sessions/{id}/captures/{capture}/reading",
            "Say how a capture is read: keys of [read], kind.N of column N, line.N and levels.N of its line",
            Json(None),
            Empty,
        ),
        op(
            "put",
            "/api/sessions/{id}/clocks",
            "Say how a capture's clock is brought to another's",
            Json(shape::<Clock>()),
            Empty,
        ),
        op(
            "put",
            "/api/sessions/{id}/skews",
            "Keep the skews of the channels, or measure them from a capture of one edge: then late_s is left empty",
            Json(shape::<ChannelSkews>()),
            One(shape::<ChannelSkews>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/runs",
            "What every trouble came to in every run of the session",
            Nothing,
            One(shape::<RunTallies>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/compare",
            "Two conditions, or two sets of runs, compared: ?before=…&after=…, each c and a condition's id, or r and the id of a run's first capture",
            Nothing,
            One(shape::<CompareReport>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/harness",
            "The harness sheet",
            Nothing,
            One(shape::<harness::Csv>()),
        ),
        op(
            "put",
            "/api/sessions/{id}/harness",
            "Set the harness sheet",
            Json(shape::<harness::Csv>()),
            One(shape::<harness::Csv>()),
        ),
        op(
            "put",
            "/api/sessions/{id}/captures/{capture}/clips",
            "Where the clips were in a capture",
            Json(shape::<harness::Csv>()),
            One(shape::<harness::Csv>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/places",
            "Where findings are; which clip to move next",
            Nothing,
            One(shape::<harness::Places>()),
        ),
        op(
            "get",
            "/api/sessions/{id}/archive",
            "The session with all its captures in one file",
            Nothing,
            Gives("application/gzip"),
        ),
        op(
            "get",
            "/api/sessions/{id}/export/{name}",
            "capture.vcd, changes.csv, strays.parquet, couplings.json, …",
            Nothing,
            Gives(octets),
        ),
        op("get", "/api/openapi.json", "This document", Nothing, Any),
    ]
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
            "application/json": { "schema": { "type": "object", "required": ["error"], "properties": { "error": { "type": "string" } } } } } });
        let mut entry = json!({ "summary": operation.summary, "parameters": parameters(operation.path),
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
                  "description": "Everything the pages do. Every request but GET carries a content type of application/json or application/octet-stream. Times are seconds, moments milliseconds since 1970-01-01 UTC." },
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

pub async fn openapi() -> Json<Value> {
    Json(document())
}
