//! Static files, embedded in the binary.

use axum::extract::Path;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, ETAG, IF_NONE_MATCH};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};

use super::error::Failure;

#[derive(rust_embed::RustEmbed)]
#[folder = "static/"]
struct Static;

/// A static file. The name is looked up among the embedded ones; it never reaches the file system.
pub async fn asset(Path(name): Path<String>, headers: HeaderMap) -> Response {
    let Some(file) = Static::get(&name) else {
        return Failure::missing("such file").into_response();
    };
    let kind = match name.rsplit('.').next() {
        Some("js") => "text/javascript; charset=utf-8",
        Some("css") => "text/css; charset=utf-8",
        Some("svg") => "image/svg+xml",
        _ => "application/octet-stream",
    };
    let digest = file.metadata.sha256_hash();
    let tag: String = digest[..12].iter().map(|byte| format!("{byte:02x}")).collect();
    let tag = format!("\"{tag}\"");
    // Asked again each time, answered without the bytes: a new program is never shown an old page.
    if headers
        .get(IF_NONE_MATCH)
        .is_some_and(|known| known.as_bytes() == tag.as_bytes())
    {
        return (StatusCode::NOT_MODIFIED, [(ETAG, tag)]).into_response();
    }
    let headers = [
        (CONTENT_TYPE, kind.to_owned()),
        (CACHE_CONTROL, "no-cache".to_owned()),
        (ETAG, tag),
    ];
    (headers, file.data).into_response()
}
