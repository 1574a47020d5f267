//! A session over HTTP, as a person has it open: captures are brought, conditions begun, pages looked at.

use axum::http::{Method, StatusCode};
use edgewitness::workflow::demo_session::open_demo;
use serde_json::{Value, json};

use crate::bench::Bench;

pub struct Evening {
    pub bench: Bench,
    /// Where programs reach it: "/api/sessions/1".
    pub api: String,
}

impl Evening {
    /// A session without captures.
    pub async fn begun() -> Evening {
        Evening {
            bench: Bench::with_session().await,
            api: "/api/sessions/1".to_owned(),
        }
    }

    /// The demo's session.
    pub fn demo() -> Evening {
        let (bench, id) = Bench::with(|store| open_demo(store).unwrap());
        let api = format!("/api/sessions/{id}");
        Evening { bench, api }
    }

    pub fn api(&self, tail: &str) -> String {
        format!("{}{tail}", self.api)
    }

    pub async fn json(&self, method: Method, tail: &str, body: Value) -> (StatusCode, Value) {
        self.bench.json(method, &self.api(tail), body).await
    }

    pub async fn ok(&self, method: Method, tail: &str, body: Value) -> Value {
        self.bench.ok(method, &self.api(tail), body).await
    }

    pub async fn get(&self, tail: &str) -> Value {
        self.ok(Method::GET, tail, Value::Null).await
    }

    /// A new condition, under which captures are brought from now on.
    pub async fn condition(&self, title: &str) {
        let body = json!({ "title": title });
        self.ok(Method::POST, "/entries/condition", body).await;
    }

    /// Brings a capture and waits until it is looked at; its id.
    pub async fn bring(&self, name: &str, text: &str) -> Value {
        let (status, entry) = self.bench.bring(&self.api, &format!("name={name}"), text).await;
        assert_eq!(status, StatusCode::CREATED, "{entry}");
        self.look().await;
        entry["id"].clone()
    }

    /// Waits until the session is looked at as it is.
    pub async fn look(&self) {
        self.ok(Method::GET, "/places", Value::Null).await;
    }

    /// The report of the session as it is.
    pub async fn report(&self) -> Value {
        self.look().await;
        self.get("/report").await
    }

    /// The number of the capture that `file` became.
    pub async fn capture(&self, file: &str) -> i64 {
        self.bench.capture(&self.api, file).await
    }

    /// A page of the session as it is.
    pub async fn shown(&self, tail: &str) -> String {
        self.look().await;
        self.bench.page(&self.page(tail)).await
    }

    /// Where a page of the session is.
    pub fn page(&self, tail: &str) -> String {
        format!("{}{tail}", self.api.trim_start_matches("/api"))
    }
}
