//! What every request must pass before anything looks at it.
//!
//! A page somewhere else must not reach the bench through the person's browser. So the `Host` must be one of our
//! own names (a name that somebody else's DNS points at 127.0.0.1 is refused), an `Origin` that is sent must be
//! ours too, and a request that changes something must carry a content type that a form elsewhere cannot send.

use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, HOST, HeaderName, ORIGIN, REFERRER_POLICY,
    X_CONTENT_TYPE_OPTIONS, X_FRAME_OPTIONS,
};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::middleware::Next;
use axum::response::Response;

use super::error::Failure;
use super::stopped::stopped;
use super::token::Token;

/// Scripts, styles and pictures from ourselves only, none inline; nobody frames us; nothing is sent elsewhere.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; \
                      connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// The names this server answers to.
#[derive(Clone, Debug)]
pub struct Guard {
    /// Host names without port, lower case.
    names: Vec<String>,
    /// Asked of every request when the server listens beyond this machine.
    token: Option<Token>,
}

impl Guard {
    /// Loopback names, the address listened on, and names the person allowed besides.
    pub fn new(listen: SocketAddr, allowed: &[String]) -> Guard {
        let mut names: Vec<String> = ["localhost", "127.0.0.1", "[::1]"].map(str::to_owned).to_vec();
        if !listen.ip().is_unspecified() {
            names.push(match listen {
                SocketAddr::V4(address) => address.ip().to_string(),
                SocketAddr::V6(address) => format!("[{}]", address.ip()),
            });
        }
        names.extend(allowed.iter().map(|name| name.to_ascii_lowercase()));
        Guard { names, token: None }
    }

    /// The same, with a token asked of every request.
    pub fn with_token(self, token: Token) -> Guard {
        Guard {
            token: Some(token),
            ..self
        }
    }

    /// Whether `host`, a name with or without a port, is one of ours.
    fn is_ours(&self, host: &str) -> bool {
        let name = match host.rsplit_once(':') {
            Some((name, port)) if port.bytes().all(|b| b.is_ascii_digit()) => name,
            _ => host,
        };
        // Behind a token any address of this machine will do: a name of somebody else's is no address.
        let is_address = || name.trim_matches(['[', ']']).parse::<IpAddr>().is_ok();
        self.names.iter().any(|own| own.eq_ignore_ascii_case(name)) || (self.token.is_some() && is_address())
    }

    fn check(&self, method: &Method, headers: &HeaderMap) -> Result<(), Failure> {
        let refuse = |sentence: String| Err(Failure::new(StatusCode::FORBIDDEN, sentence));
        let host = text(headers, &HOST);
        if headers.get_all(HOST).iter().count() != 1 || !host.is_some_and(|host| self.is_ours(host)) {
            let addresses = match self.token {
                Some(_) => " and the addresses of its machine",
                None => "",
            };
            return refuse(format!(
                "This server answers to {}{addresses} only. To use another name, start it with --allow-host NAME.",
                self.names.join(", ")
            ));
        }
        if headers.contains_key(ORIGIN) {
            // The port must be ours as well: another server on this machine is somebody else.
            let own = text(headers, &ORIGIN).and_then(|origin| origin.strip_prefix("http://")) == host;
            if !own {
                return refuse("This request comes from a page that is not Edgewitness's own.".to_owned());
            }
        }
        if !matches!(*method, Method::GET | Method::HEAD) {
            if text(headers, &HeaderName::from_static("sec-fetch-site"))
                .is_some_and(|site| !matches!(site, "same-origin" | "none"))
            {
                return refuse("This request comes from a page that is not Edgewitness's own.".to_owned());
            }
            let kind = text(headers, &CONTENT_TYPE).map(|kind| kind.split(';').next().unwrap_or(kind).trim());
            if !kind.is_some_and(|kind| {
                [
                    "application/json",
                    "application/octet-stream",
                    "image/png",
                    "image/jpeg",
                ]
                .iter()
                .any(|known| kind.eq_ignore_ascii_case(known))
            }) {
                return Err(Failure::new(
                    StatusCode::UNSUPPORTED_MEDIA_TYPE,
                    "Expected content of type application/json or application/octet-stream.",
                ));
            }
        }
        Ok(())
    }
}

fn text<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    headers.get(name).and_then(|value| value.to_str().ok())
}

/// Refuses what is not ours, and puts the protecting headers on every answer.
pub async fn stand_guard(State(guard): State<Arc<Guard>>, request: Request, next: Next) -> Response {
    let mut response = match guard.check(request.method(), request.headers()) {
        Ok(()) => {
            let stop = |token: &Token| token.stop(request.method(), request.uri(), request.headers());
            match guard.token.as_ref().and_then(stop) {
                None => next.run(request).await,
                Some(answer) => answer,
            }
        }
        Err(failure) => {
            let why = failure.sentence.clone();
            stopped(failure, &why, request.method(), request.uri(), request.headers())
        }
    };
    let headers = response.headers_mut();
    let fixed = [
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (X_FRAME_OPTIONS, "DENY"),
        (REFERRER_POLICY, "no-referrer"),
        (
            HeaderName::from_static("cross-origin-resource-policy"),
            "same-origin",
        ),
        (
            HeaderName::from_static("cross-origin-opener-policy"),
            "same-origin",
        ),
    ];
    for (name, value) in fixed {
        headers.insert(name, HeaderValue::from_static(value));
    }
    // A page that must stand alone brings a policy of its own.
    headers
        .entry(CONTENT_SECURITY_POLICY)
        .or_insert(HeaderValue::from_static(POLICY));
    headers
        .entry(CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("no-store"));
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    fn status(method: Method, headers: &[(HeaderName, &str)]) -> u16 {
        let guard = Guard::new("127.0.0.1:7117".parse().unwrap(), &["bench.example".to_owned()]);
        let mut map = HeaderMap::new();
        for (name, value) in headers {
            map.append(name, value.parse().unwrap());
        }
        guard
            .check(&method, &map)
            .map_or_else(|failure| failure.status.as_u16(), |()| 200)
    }

    #[test]
    fn only_our_own_names_are_answered() {
        for host in [
            "127.0.0.1:7117",
            "localhost:7117",
            "localhost",
            "[::1]:7117",
            "LOCALHOST:1",
            "bench.example",
        ] {
            assert_eq!(status(Method::GET, &[(HOST, host)]), 200, "{host}");
        }
        for host in [
            "evil.example",
            "127.0.0.1.evil.example",
            "localhost.",
            "",
            "evil.example:7117",
            "::1",
        ] {
            assert_eq!(status(Method::GET, &[(HOST, host)]), 403, "{host}");
        }
        assert_eq!(status(Method::GET, &[]), 403);
        assert_eq!(
            status(Method::GET, &[(HOST, "localhost"), (HOST, "evil.example")]),
            403
        );
    }

    #[test]
    fn an_origin_must_be_the_server_itself() {
        let host = (HOST, "127.0.0.1:7117");
        let from = |origin| status(Method::GET, &[host.clone(), (ORIGIN, origin)]);
        assert_eq!(from("http://127.0.0.1:7117"), 200);
        for origin in [
            "http://evil.example",
            "http://127.0.0.1:8080",
            "https://127.0.0.1:7117",
            "null",
        ] {
            assert_eq!(from(origin), 403, "{origin}");
        }
    }

    /// Fetch Metadata Request Headers (W3C), `Sec-Fetch-Site`: `same-origin`, `same-site` (another port of this machine is
    /// one), `cross-site`, or `none` for what the person typed. Browsers set it; programs send none.
    #[test]
    fn a_change_that_a_browser_tells_to_come_from_elsewhere_is_refused() {
        let asked = |method: Method, site: Option<&str>| {
            let mut headers = vec![(HOST, "localhost:7117"), (CONTENT_TYPE, "application/json")];
            headers.extend(site.map(|site| (HeaderName::from_static("sec-fetch-site"), site)));
            status(method, &headers)
        };
        for method in [Method::POST, Method::PUT, Method::DELETE] {
            for site in [None, Some("same-origin"), Some("none")] {
                assert_eq!(asked(method.clone(), site), 200, "{method} {site:?}");
            }
            for site in ["cross-site", "same-site", "", "Same-Origin", "none, cross-site"] {
                assert_eq!(asked(method.clone(), Some(site)), 403, "{method} {site}");
            }
        }
        // Looking changes nothing: a link on a page elsewhere may lead here.
        assert_eq!(asked(Method::GET, Some("cross-site")), 200);
    }

    #[test]
    fn a_change_needs_a_content_type_no_form_can_send() {
        let host = (HOST, "localhost:7117");
        let post = |kind| status(Method::POST, &[host.clone(), (CONTENT_TYPE, kind)]);
        assert_eq!(post("application/json; charset=utf-8"), 200);
        assert_eq!(post("application/octet-stream"), 200);
        for kind in [
            "text/plain",
            "application/x-www-form-urlencoded",
            "multipart/form-data",
            "",
        ] {
            assert_eq!(post(kind), 415, "{kind}");
        }
        assert_eq!(status(Method::DELETE, std::slice::from_ref(&host)), 415);
    }
}
