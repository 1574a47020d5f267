//! The token that every request needs when the server listens beyond this machine.
//!
//! Made anew at each start and told once, on the console, as an address to open. A browser that brings it in the
//! address gets it as a cookie and is led on to the address without it; programs send `Authorization: Bearer TOKEN`.

use std::hash::{BuildHasher, RandomState};

use axum::http::header::{AUTHORIZATION, COOKIE, LOCATION, SET_COOKIE};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, Uri};
use axum::response::{IntoResponse, Response};

use super::error::Failure;
use super::stopped::stopped;

/// Name of the cookie and of the word in the address.
pub const NAME: &str = "edgewitness-token";

/// Said to who brings none.
const MISSING: &str = "This server listens beyond its own machine and needs its token.";

/// Said to who brings another: an old one, or one that was not copied whole.
const WRONG: &str =
    "The token that came is not this server's: each start makes a new one, of 64 digits and letters.";

/// How to give it; a page says so with a field to put it into.
const HOW: &str = "Open the address that it told in the window it was started from, or send the header Authorization: Bearer \
                   TOKEN.";

/// The path of a request, or `/` for one that a browser would take for another server's name.
pub fn own_path(uri: &Uri) -> &str {
    if uri.path().starts_with("//") {
        "/"
    } else {
        uri.path()
    }
}

/// Only its digest is kept, and digests are compared in constant time.
#[derive(Clone, Debug)]
pub struct Token {
    digest: blake3::Hash,
}

impl Token {
    /// A new token and its text, 64 hexadecimal digits. The randomness is the operating system's: the keys that the
    /// standard library draws for its hash maps (128 bits), stretched by BLAKE3.
    pub fn new() -> (Token, String) {
        let mut hasher = blake3::Hasher::new();
        for _ in 0..2 {
            let keyed = RandomState::new();
            for word in 0..4u64 {
                hasher.update(&keyed.hash_one(word).to_le_bytes());
            }
        }
        let text = hasher.finalize().to_hex().to_string();
        (Token::of(&text), text)
    }

    fn of(text: &str) -> Token {
        Token {
            digest: blake3::hash(text.as_bytes()),
        }
    }

    fn is(&self, text: &str) -> bool {
        self.digest == blake3::hash(text.as_bytes())
    }

    /// `None` lets the request pass; else the answer to it. In a header the token counts with every method; in an address
    /// only with GET, so that nobody's link changes anything.
    pub fn stop(&self, method: &Method, uri: &Uri, headers: &HeaderMap) -> Option<Response> {
        let header = |name| headers.get(name).and_then(|v: &HeaderValue| v.to_str().ok());
        let bearer = header(AUTHORIZATION).and_then(|v| v.strip_prefix("Bearer "));
        let cookies = header(COOKIE).unwrap_or_default().split(';');
        let cookie = cookies
            .filter_map(|pair| pair.trim().split_once('='))
            .find_map(|(name, value)| (name == NAME).then_some(value));
        if bearer.or(cookie).is_some_and(|text| self.is(text)) {
            return None;
        }
        let in_address = uri.query().unwrap_or_default().split('&').find_map(|pair| {
            let (name, value) = pair.split_once('=')?;
            (name == NAME).then_some(value)
        });
        match in_address.filter(|text| *method == Method::GET && self.is(text)) {
            Some(text) => {
                let cookie = format!("{NAME}={text}; Path=/; HttpOnly; SameSite=Strict");
                let headers = [(LOCATION, own_path(uri).to_owned()), (SET_COOKIE, cookie)];
                Some((StatusCode::SEE_OTHER, headers).into_response())
            }
            None => {
                let is_wrong = bearer.or(cookie).or(in_address).is_some();
                let why = if is_wrong { WRONG } else { MISSING };
                let failure = Failure::new(StatusCode::UNAUTHORIZED, format!("{why} {HOW}"));
                Some(stopped(failure, why, method, uri, headers))
            }
        }
    }

    /// What is appended to the address that is told on the console.
    pub fn query(text: &str) -> String {
        format!("?{NAME}={text}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tokens_differ_and_only_the_own_one_passes() {
        let ((token, text), (_, other)) = (Token::new(), Token::new());
        assert_eq!(text.len(), 64);
        assert_ne!(text, other);
        let asked = |method: &Method, uri: &str, header: Option<(axum::http::HeaderName, String)>| {
            let mut headers = HeaderMap::new();
            if let Some((name, value)) = header {
                headers.insert(name, value.parse().unwrap());
            }
            token.stop(method, &uri.parse().unwrap(), &headers)
        };
        let stop = |uri: &str, header| asked(&Method::GET, uri, header);
        for method in [
            Method::GET,
            Method::HEAD,
            Method::POST,
            Method::PATCH,
            Method::PUT,
            Method::DELETE,
        ] {
            let bearer = (AUTHORIZATION, format!("Bearer {text}"));
            assert!(asked(&method, "/", Some(bearer)).is_none(), "{method}");
            let cookie = (COOKIE, format!("a=b; {NAME}={text}"));
            assert!(asked(&method, "/", Some(cookie)).is_none(), "{method}");
            let wrong = (COOKIE, format!("{NAME}={other}"));
            let stopped = asked(&method, "/", Some(wrong)).unwrap();
            assert_eq!(stopped.status(), StatusCode::UNAUTHORIZED, "{method}");
        }
        for header in [
            None,
            Some((AUTHORIZATION, format!("Bearer {other}"))),
            Some((AUTHORIZATION, text.clone())),
            Some((COOKIE, format!("{NAME}={other}"))),
            Some((COOKIE, format!("{NAME}="))),
        ] {
            assert_eq!(stop("/", header).unwrap().status(), StatusCode::UNAUTHORIZED);
        }
        let led = stop(&format!("/sessions/1?{NAME}={text}"), None).unwrap();
        assert_eq!(led.status(), StatusCode::SEE_OTHER);
        assert_eq!(led.headers()[LOCATION], "/sessions/1");
        assert!(led.headers()[SET_COOKIE].to_str().unwrap().contains("HttpOnly"));
        let led = stop(&format!("//elsewhere.example/?{NAME}={text}"), None).unwrap();
        assert_eq!(led.headers()[LOCATION], "/");
        // What changes something takes no token from an address.
        let address = format!("/api/sessions?{NAME}={text}").parse().unwrap();
        let posted = token.stop(&Method::POST, &address, &HeaderMap::new()).unwrap();
        assert_eq!(posted.status(), StatusCode::UNAUTHORIZED);
        let wrong = stop(&format!("/?{NAME}={other}"), None).unwrap();
        assert_eq!(wrong.status(), StatusCode::UNAUTHORIZED);
    }
}
