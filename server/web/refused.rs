//! What was refused before any handler saw it, told as every other failure: `{"error": "…"}` under `/api/`, a page elsewhere.
//!
//! The framework answers a body, a path or a query that it can't take apart, and a method that an address does not
//! know, in plain text or with nothing at all, and names our own types in it.

use axum::body::to_bytes;
use axum::extract::Request;
use axum::http::header::{CONTENT_LENGTH, CONTENT_TYPE};
use axum::http::{Method, StatusCode, Uri};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::error::{Failure, PageFailure};
use crate::setup::without_kind;

/// No refusal of the framework is longer.
const LONGEST_BYTES: usize = 64 << 10;

/// Where the shapes of all bodies are told.
const SHAPES: &str = "/api/openapi.json tells what is";

/// Turns empty and plain-text refusals (4xx) into JSON under `/api/` and into a page elsewhere; every other answer passes
/// untouched.
pub async fn told_in_words(request: Request, next: Next) -> Response {
    let (method, uri) = (request.method().clone(), request.uri().clone());
    let response = next.run(request).await;
    if !is_bare(&response) {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    let bytes = to_bytes(body, LONGEST_BYTES).await.unwrap_or_default();
    let text = String::from_utf8_lossy(&bytes);
    let text = text.trim();
    let answer = if uri.path().starts_with("/api/") {
        Failure::new(parts.status, in_words(parts.status, &method, &uri, text)).into_response()
    } else if text.starts_with("Invalid URL") {
        PageFailure::from(Failure::missing("such page")).into_response()
    } else {
        PageFailure::from(Failure::new(
            parts.status,
            in_words(parts.status, &method, &uri, text),
        ))
        .into_response()
    };
    let (own, body) = answer.into_parts();
    for (name, value) in own.headers {
        parts.headers.extend(name.map(|name| (name, value)));
    }
    parts.headers.remove(CONTENT_LENGTH);
    parts.status = own.status;
    Response::from_parts(parts, body)
}

/// Whether it is a refusal in plain text, or one without words.
fn is_bare(response: &Response) -> bool {
    let kind = response.headers().get(CONTENT_TYPE);
    let is_plain = kind.is_none_or(|kind| kind.as_bytes().starts_with(b"text/plain"));
    response.status().is_client_error() && is_plain
}

fn in_words(status: StatusCode, method: &Method, uri: &Uri, text: &str) -> String {
    let path = uri.path();
    match status {
        // That header is put on the answer after this.
        StatusCode::METHOD_NOT_ALLOWED => {
            format!("{path} does not take {method}; the header Allow of this answer tells what it takes.")
        }
        StatusCode::PAYLOAD_TOO_LARGE => format!("The body is larger than {path} takes."),
        StatusCode::REQUEST_TIMEOUT => "Nothing more of the body came; send it again.".to_owned(),
        StatusCode::UNSUPPORTED_MEDIA_TYPE => "Expected content of type application/json.".to_owned(),
        _ => {
            if text.starts_with("Invalid URL") {
                format!("{path}: {}", of_path(text))
            } else if let Some(text) = text.strip_prefix("Failed to deserialize query string: ") {
                format!("In the address, after the question mark: {}", of_query(text))
            } else if let Some((_, text)) = text
                .split_once("the request body as JSON: ")
                .filter(|_| status == StatusCode::BAD_REQUEST)
            {
                format!(
                    "The body is not right JSON: {}",
                    at_its_place(text, str::to_owned)
                )
            } else if let Some((_, text)) = text.split_once("into the target type: ") {
                format!("In the body, {}", at_its_place(text, of_value))
            } else {
                format!("The request to {path} can't be taken apart; {SHAPES} expected.")
            }
        }
    }
}

/// "Cannot parse `x` to a `i64`", in three forms.
fn of_path(text: &str) -> String {
    let quoted: Vec<&str> = text.split('`').skip(1).step_by(2).collect();
    match quoted.as_slice() {
        [.., value, kind] => format!("expected {}, found {value}.", kind_in_words(kind)),
        _ => "expected another address.".to_owned(),
    }
}

fn of_query(text: &str) -> String {
    let (name, what) = text.split_once(": ").unwrap_or(("", text));
    let expected = match what {
        what if what.starts_with("invalid float literal") => "expected a number",
        what if what.starts_with("cannot parse float") => "expected a number, found nothing",
        what if what.starts_with("cannot parse integer") => "expected a whole number, found nothing",
        what if what.starts_with("invalid digit") => "expected a whole number",
        what if what.starts_with("number too") => "expected a smaller whole number",
        what if what.starts_with("provided string was not") => "expected true or false",
        _ => return lower_sentence(&of_value(text)),
    };
    lower_sentence(&match name {
        "" => expected.to_owned(),
        name => format!("{name}: {expected}"),
    })
}

/// Words of a JSON reader, which end in the place.
fn at_its_place(text: &str, words: impl Fn(&str) -> String) -> String {
    match text.rsplit_once(" at line ") {
        Some((what, place)) => {
            let place = place.replace(" column ", ", column ");
            lower_sentence(&format!("{} (line {place})", words(what)))
        }
        None => lower_sentence(&words(text)),
    }
}

/// What a value should have been, in words, from those of the JSON reader; names of our types are left out.
pub fn of_value(text: &str) -> String {
    let name_in = |text: &str| text.split('`').nth(1).unwrap_or_default().to_owned();
    let (at, what) = ["invalid ", "missing ", "unknown ", "duplicate ", "data did "]
        .iter()
        .filter_map(|word| text.find(word))
        .min()
        .map_or(("", text), |start| text.split_at(start));
    let at = match at.trim_end_matches([':', ' ', '.']) {
        "" => String::new(),
        at => format!("{at}: "),
    };
    let (found, expected) = what.rsplit_once(", expected ").unwrap_or((what, ""));
    let told = match what.split(' ').take(2).collect::<Vec<_>>().join(" ").as_str() {
        "missing field" => format!("{} is missing", name_in(what)),
        "duplicate field" => format!("{} stands twice", name_in(what)),
        "unknown field" | "unknown variant" if expected.is_empty() => {
            format!("{} is not known", name_in(what))
        }
        "unknown field" | "unknown variant" => {
            format!("expected {}, found {}", expected.replace('`', ""), name_in(found))
        }
        "invalid type:" | "invalid value:" | "invalid length" => {
            let found = found
                .splitn(3, ' ')
                .nth(2)
                .unwrap_or_default()
                .trim_end_matches(',');
            let expected = kind_in_words(expected);
            format!("expected {expected}, found {}", found_in_words(found))
        }
        _ => format!("the value has not the expected shape; {SHAPES}"),
    };
    format!("{at}{told}")
}

fn found_in_words(found: &str) -> String {
    match found {
        "map" => "an object".to_owned(),
        "sequence" => "a list".to_owned(),
        "unit" => "null".to_owned(),
        found => without_kind(found),
    }
}

/// A type in the words of whoever sends it.
fn kind_in_words(kind: &str) -> &str {
    match kind {
        "a string" | "string" | "String" | "str" => "text",
        "a boolean" | "bool" => "true or false",
        "f32" | "f64" => "a number",
        "u8" | "u16" | "u32" | "u64" | "u128" | "usize" | "a nonzero u64" => "a whole number, 0 or more",
        "i8" | "i16" | "i32" | "i64" | "i128" | "isize" => "a whole number",
        "unit" => "null",
        "a map" | "map" => "an object",
        "a sequence" | "sequence" => "a list",
        kind if kind.starts_with("struct ") && !kind.contains(" with ") => "an object",
        kind if kind.starts_with("tuple") || kind.starts_with("an array") => "a list",
        kind if kind.chars().any(char::is_uppercase) || kind.contains("enum") || kind.contains("struct") => {
            "another value: /api/openapi.json tells which"
        }
        kind => kind,
    }
}

/// Ends in a full stop; what it begins with is left alone, for it goes on a sentence.
fn lower_sentence(text: &str) -> String {
    match text.ends_with(['.', '!', '?']) {
        true => text.to_owned(),
        false => format!("{text}."),
    }
}
