//! A session over HTTP, as a person has it open: captures are brought, conditions begun, pages looked at.

use axum::http::{Method, StatusCode};
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
        let (bench, ()) = Bench::with(|_| ());
        let made = bench
            .ok(Method::POST, "/api/sessions", json!({"title": "Tower"}))
            .await;
        let api = format!("/api/sessions/{}", made["id"]);
        Evening { bench, api }
    }

    pub fn api(&self, tail: &str) -> String {
        format!("{}{tail}", self.api)
    }

    pub async fn ok(&self, method: Method, tail: &str, body: Value) -> Value {
        self.bench.ok(method, &self.api(tail), body).await
    }

    /// A new condition, under which captures are brought from now on.
    pub async fn condition(&self, title: &str) {
        let body = json!({ "title": title });
        self.ok(Method::POST, "/entries/condition", body).await;
    }

    /// Brings a capture and waits until it is looked at; its id.
    pub async fn bring(&self, name: &str, text: &str) -> Value {
        let path = self.api(&format!("/captures?name={name}"));
        let kind = "application/octet-stream";
        let (status, body) = self.bench.send(Method::POST, &path, kind, text.into()).await;
        assert_eq!(status, StatusCode::CREATED);
        self.look().await;
        let entry: Value = serde_json::from_slice(&body).expect("what was brought");
        entry["id"].clone()
    }

    /// Waits until the session is looked at as it is.
    pub async fn look(&self) {
        self.ok(Method::GET, "/places", Value::Null).await;
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
