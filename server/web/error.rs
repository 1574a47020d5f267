//! What a request can fail with: the person's mistake is shown, ours is logged once and shown as a fixed sentence.

use axum::Json;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use serde_json::json;

use super::pages::Places;
use super::pages::heading::Heading;
use crate::store;

/// A request that could not be answered, as a status and a sentence.
#[derive(Debug)]
pub struct Failure {
    pub status: StatusCode,
    pub sentence: String,
    /// What the file that was sent is ("setup", "harness"), where it is right elsewhere in the session.
    pub belongs: Option<&'static str>,
}

impl Failure {
    /// An answer of that status with a sentence for the person.
    pub fn new(status: StatusCode, sentence: impl Into<String>) -> Failure {
        Failure {
            status,
            sentence: sentence.into(),
            belongs: None,
        }
    }

    /// The person asked for something in the wrong way.
    pub fn wrong(sentence: impl Into<String>) -> Failure {
        Failure::new(StatusCode::BAD_REQUEST, sentence)
    }

    /// 404; `what` completes "There is no …".
    pub fn missing(what: impl std::fmt::Display) -> Failure {
        Failure::new(StatusCode::NOT_FOUND, format!("There is no {what}."))
    }

    /// A session that has nothing to be read yet.
    pub fn no_capture(session: impl std::fmt::Display) -> Failure {
        Failure::missing(format!("capture in session {session} yet"))
    }

    /// A failure of ours: logged with its cause, shown without it.
    pub fn ours(cause: impl std::fmt::Display) -> Failure {
        tracing::error!("{cause}");
        let sentence = "Edgewitness could not do that; the reason is in the window it was started from.";
        Failure::new(StatusCode::INTERNAL_SERVER_ERROR, sentence)
    }
}

impl From<store::Error> for Failure {
    fn from(error: store::Error) -> Failure {
        match error {
            store::Error::NotFound { what } => Failure::missing(what),
            store::Error::TooLarge { .. } => Failure::new(StatusCode::PAYLOAD_TOO_LARGE, sentence(&error)),
            store::Error::DiskFull { .. } => Failure::new(StatusCode::INSUFFICIENT_STORAGE, sentence(&error)),
            error if error.is_the_callers() => Failure::wrong(sentence(&error)),
            error => Failure::ours(error),
        }
    }
}

impl From<tokio::task::JoinError> for Failure {
    fn from(error: tokio::task::JoinError) -> Failure {
        Failure::ours(error)
    }
}

impl From<askama::Error> for Failure {
    fn from(error: askama::Error) -> Failure {
        Failure::ours(error)
    }
}

/// An error's text as a sentence: capital first, full stop last. A name in front, as of a file, stays as it is.
pub fn sentence(error: &impl ToString) -> String {
    let text = error.to_string();
    let first = text.split_whitespace().next().unwrap_or_default();
    let is_name = first.ends_with(':')
        || first.contains(['.', '/', '_'])
        || first.contains(|letter: char| letter.is_numeric() || letter.is_uppercase());
    let mut sentence = match text.chars().next() {
        Some(letter) if !is_name => letter.to_uppercase().collect::<String>() + &text[letter.len_utf8()..],
        _ => text,
    };
    if !sentence.ends_with(['.', '!', '?']) {
        sentence.push('.');
    }
    sentence
}

/// For programs: `{"error": "…"}`, with `"belongs"` where the file that was sent is right elsewhere.
impl IntoResponse for Failure {
    fn into_response(self) -> Response {
        let mut told = json!({ "error": self.sentence });
        if let Some(belongs) = self.belongs {
            told["belongs"] = json!(belongs);
        }
        (self.status, Json(told)).into_response()
    }
}

/// The same failure on a page.
#[derive(Debug)]
pub struct PageFailure {
    pub failure: Failure,
    /// The places of the session, where it is known.
    pub places: Places,
    /// The conditions that can be shown instead.
    pub heading: Heading,
}

impl<F: Into<Failure>> From<F> for PageFailure {
    fn from(failure: F) -> PageFailure {
        PageFailure {
            failure: failure.into(),
            places: Places::none(),
            heading: Heading::none(),
        }
    }
}

#[derive(askama::Template)]
#[template(path = "pages/failure.html")]
struct FailurePage {
    sentence: String,
    places: Places,
    heading: Heading,
}

impl IntoResponse for PageFailure {
    fn into_response(self) -> Response {
        let PageFailure {
            failure,
            places,
            heading,
        } = self;
        let page = FailurePage {
            sentence: failure.sentence,
            places,
            heading,
        };
        match askama::Template::render(&page) {
            Ok(html) => (failure.status, Html(html)).into_response(),
            Err(_) => (failure.status, page.sentence).into_response(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::sentence;

    #[test]
    fn a_sentence_begins_with_a_capital_and_a_file_keeps_its_name() {
        for (text, told) in [
            ("bad.csv: expected a row", "bad.csv: expected a row."),
            ("runs/bad: expected a row", "runs/bad: expected a row."),
            ("as_found is empty", "as_found is empty."),
            ("take2 is empty", "take2 is empty."),
            ("tAke is empty", "tAke is empty."),
            ("capture: expected a row", "capture: expected a row."),
            ("expected a row in bad.csv", "Expected a row in bad.csv."),
            ("über allem ein Strich!", "Über allem ein Strich!"),
            ("", "."),
        ] {
            assert_eq!(sentence(&text), told);
        }
    }
}
