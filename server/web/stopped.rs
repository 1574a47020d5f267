//! What is said to whoever the guard stops: a small page to a browser, `{"error": "…"}` to a program.
//!
//! Nothing else of ours may be fetched by who is stopped, so the page brings its own style.

use askama::Template;
use axum::http::header::{ACCEPT, CONTENT_SECURITY_POLICY, WWW_AUTHENTICATE};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, Uri};
use axum::response::{Html, IntoResponse, Response};

use super::error::Failure;
use super::token;

/// No script, nothing fetched; the form leads to ourselves.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'self'; \
                      frame-ancestors 'none'";

#[derive(Template)]
#[template(path = "pages/stopped.html")]
struct StoppedPage<'a> {
    heading: &'static str,
    sentence: &'a str,
    /// Where the token is to be sent by a form; empty where no token would help.
    path: &'a str,
    /// The token's name in an address.
    name: &'static str,
    colours: &'static str,
}

/// The answer in the form that the request accepts: see [`wants_page`]. A page says `why`, and how to give a token where
/// that is what lacks; a program gets the failure's own sentence. The status is the failure's; with 401 it asks
/// for a bearer token (RFC 9110, section 11.6.1).
pub fn stopped(failure: Failure, why: &str, method: &Method, uri: &Uri, headers: &HeaderMap) -> Response {
    let status = failure.status;
    let needs_token = status == StatusCode::UNAUTHORIZED;
    let mut response = if wants_page(method, headers) {
        let page = StoppedPage {
            heading: if needs_token {
                "This server needs its token"
            } else {
                "Not answered here"
            },
            sentence: why,
            path: if needs_token { token::own_path(uri) } else { "" },
            name: token::NAME,
            colours: include_str!("../../static/css/tokens.css"),
        };
        let policy = (CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY));
        match page.render() {
            Ok(html) => (status, [policy], Html(html)).into_response(),
            Err(_) => failure.into_response(),
        }
    } else {
        failure.into_response()
    };
    if needs_token {
        let asked = HeaderValue::from_static("Bearer realm=\"Edgewitness\"");
        response.headers_mut().insert(WWW_AUTHENTICATE, asked);
    }
    response
}

/// Whether a person looks: a browser names `text/html` when it opens an address, and nowhere else; a program that
/// names nothing, `*/*` or JSON gets JSON.
fn wants_page(method: &Method, headers: &HeaderMap) -> bool {
    let names_html = |value: &HeaderValue| {
        value.to_str().is_ok_and(|value| {
            value.split(',').any(|kind| {
                let kind = kind.split(';').next().unwrap_or_default().trim();
                kind.eq_ignore_ascii_case("text/html") || kind.eq_ignore_ascii_case("application/xhtml+xml")
            })
        })
    };
    matches!(*method, Method::GET | Method::HEAD) && headers.get_all(ACCEPT).iter().any(names_html)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn browsers_get_a_page_and_programs_json() {
        let wants = |method: Method, accept: &[&str]| {
            let mut headers = HeaderMap::new();
            for value in accept {
                headers.append(ACCEPT, value.parse().unwrap());
            }
            wants_page(&method, &headers)
        };
        assert!(wants(
            Method::GET,
            &["text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"]
        ));
        assert!(wants(Method::HEAD, &["application/json", "TEXT/HTML ; q=0.5"]));
        for accept in [
            &[][..],
            &["*/*"],
            &["application/json"],
            &["text/css,*/*;q=0.1"],
            &["text/html-like"],
        ] {
            assert!(!wants(Method::GET, accept), "{accept:?}");
        }
        assert!(!wants(Method::POST, &["text/html"]));
    }
}
