//! A server on a folder of its own, asked as a program asks it.

use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::http::{Method, Request, StatusCode};
use axum::response::Response;
use edgewitness::store::Store;
use edgewitness::web::{App, router};
use http_body_util::BodyExt;
use serde_json::Value;
use tower::ServiceExt;

/// Cloned: another hand on the same server.
#[derive(Clone)]
pub struct Bench {
    router: Router,
    /// The server's folder, for those who put a hand in it.
    pub folder: Arc<tempfile::TempDir>,
}

impl Bench {
    /// `fill` makes what the store begins with, and gives what it likes to know of it.
    pub fn with<T>(fill: impl FnOnce(&Store) -> T) -> (Bench, T) {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open(folder.path()).unwrap();
        let known = fill(&store);
        let app = App::new(store, "127.0.0.1:7117".parse().unwrap(), &[]);
        let bench = Bench {
            router: router(Arc::new(app)),
            folder: Arc::new(folder),
        };
        (bench, known)
    }

    /// A server with one session, at `/api/sessions/1`.
    pub async fn with_session() -> Bench {
        let (bench, ()) = Bench::with(|_| ());
        let title = serde_json::json!({"title": "Tower"});
        let made = bench.ok(Method::POST, "/api/sessions", title).await;
        assert_eq!(made["id"], 1);
        bench
    }

    async fn answer(&self, method: Method, path: &str, kind: &str, body: Vec<u8>) -> Response {
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header("host", "127.0.0.1:7117")
            .header("content-type", kind)
            .body(Body::from(body))
            .unwrap();
        self.router.clone().oneshot(request).await.unwrap()
    }

    /// Status and body of the answer.
    pub async fn send(&self, method: Method, path: &str, kind: &str, body: Vec<u8>) -> (StatusCode, Vec<u8>) {
        let response = self.answer(method, path, kind, body).await;
        (response.status(), bytes_of(response).await)
    }

    /// A file that is brought out: how it is called, and what is in it.
    pub async fn file(&self, path: &str) -> (String, Vec<u8>) {
        let response = self
            .answer(Method::GET, path, "application/octet-stream", Vec::new())
            .await;
        let called = response.headers()["content-disposition"].to_str().unwrap();
        (called.to_owned(), bytes_of(response).await)
    }

    /// Brings a file to the session at `api` (`/api/sessions/N`); `asked` begins with its name: "name=tower.csv". Status and
    /// answer of the upload.
    pub async fn bring(&self, api: &str, asked: &str, bytes: impl AsRef<[u8]>) -> (StatusCode, Value) {
        let path = format!("{api}/captures?{asked}");
        let kind = "application/octet-stream";
        let (status, body) = self
            .send(Method::POST, &path, kind, bytes.as_ref().to_vec())
            .await;
        (status, serde_json::from_slice(&body).expect("an answer in JSON"))
    }

    /// JSON there and back; null where the answer is none.
    pub async fn json(&self, method: Method, path: &str, body: Value) -> (StatusCode, Value) {
        let body = body.to_string().into_bytes();
        let (status, bytes) = self.send(method, path, "application/json", body).await;
        (status, serde_json::from_slice(&bytes).unwrap_or(Value::Null))
    }

    /// The answer to what must succeed.
    pub async fn ok(&self, method: Method, path: &str, body: Value) -> Value {
        let (status, answer) = self.json(method, path, body).await;
        assert!(status.is_success(), "{path}: {status} {answer}");
        answer
    }

    /// A page that must be there.
    pub async fn page(&self, path: &str) -> String {
        let (status, bytes) = self.send(Method::GET, path, "text/html", Vec::new()).await;
        let text = String::from_utf8(bytes).unwrap();
        assert_eq!(status, StatusCode::OK, "{path}: {text}");
        text
    }

    /// The number of the capture that `file` became in the session at `api` (`/api/sessions/N`).
    pub async fn capture(&self, api: &str, file: &str) -> i64 {
        let log = self.ok(Method::GET, api, Value::Null).await;
        let captures = log["captures"].as_array().unwrap();
        let found = captures.iter().find(|c| c["file"] == file);
        found.unwrap()["id"].as_i64().unwrap()
    }
}

async fn bytes_of(response: Response) -> Vec<u8> {
    response.into_body().collect().await.unwrap().to_bytes().to_vec()
}
