//! Static files, embedded in the binary; scripts and style sheets go out without their comments.

use std::collections::HashMap;
use std::sync::LazyLock;

use axum::body::Bytes;
use axum::extract::Path;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE, ETAG, IF_NONE_MATCH};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};

use super::error::Failure;

#[derive(rust_embed::RustEmbed)]
#[folder = "static/"]
struct Static;

/// What goes out for a name.
struct Asset {
    kind: &'static str,
    bytes: Bytes,
    tag: String,
}

static ASSETS: LazyLock<HashMap<String, Asset>> = LazyLock::new(|| {
    Static::iter()
        .filter_map(|name| Some((name.to_string(), Asset::of(&name)?)))
        .collect()
});

impl Asset {
    fn of(name: &str) -> Option<Asset> {
        let data = Static::get(name)?.data;
        let (kind, bytes) = match (name.rsplit('.').next(), std::str::from_utf8(&data)) {
            (Some("js"), Ok(text)) => ("text/javascript; charset=utf-8", lean(text).into()),
            (Some("css"), Ok(text)) => ("text/css; charset=utf-8", lean(text).into()),
            (Some("svg"), _) => ("image/svg+xml", Bytes::copy_from_slice(&data)),
            _ => ("application/octet-stream", Bytes::copy_from_slice(&data)),
        };
        let tag = format!("\"{}\"", &blake3::hash(&bytes).to_hex()[..24]);
        Some(Asset { kind, bytes, tag })
    }
}

/// A script or style sheet without blank lines, indentation and the comments that begin a line: a quarter of what a page
/// weighs. What stands in quotes stays as it is, because no literal here goes over a line's end (a test looks).
fn lean(text: &str) -> String {
    let mut short = String::with_capacity(text.len());
    let mut is_comment = false;
    for line in text.lines() {
        let mut line = line.trim();
        while is_comment || line.starts_with("/*") {
            let after = line.find("*/").map(|end| end + "*/".len());
            is_comment = after.is_none();
            line = after.map_or("", |after| line[after..].trim_start());
            if line.is_empty() {
                break;
            }
        }
        if !line.is_empty() && !line.starts_with("//") {
            short.push_str(line);
            short.push('\n');
        }
    }
    short
}

/// A static file. The name is looked up among the embedded ones; it never reaches the file system.
pub async fn asset(Path(name): Path<String>, headers: HeaderMap) -> Response {
    let Some(Asset { kind, bytes, tag }) = ASSETS.get(&name) else {
        return Failure::missing("such file").into_response();
    };
    // Asked again each time, answered without the bytes: a new program is never shown an old page.
    if headers
        .get(IF_NONE_MATCH)
        .is_some_and(|known| known.as_bytes() == tag.as_bytes())
    {
        return (StatusCode::NOT_MODIFIED, [(ETAG, tag.as_str())]).into_response();
    }
    let headers = [
        (CONTENT_TYPE, *kind),
        (CACHE_CONTROL, "no-cache"),
        (ETAG, tag.as_str()),
    ];
    (headers, bytes.clone()).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comments_go_and_nothing_else() {
        let text = "// @ts-check\n/** @param {number} a\n * @returns {string} */\nexport const f = (a) => {\n\n  \
                    /** @type {any} */ const b = `${a} // px`; // told\n  return b;\n};\n/* one */ /* two */\na { b: c; }\n";
        let short =
            "export const f = (a) => {\nconst b = `${a} // px`; // told\nreturn b;\n};\na { b: c; }\n";
        assert_eq!(lean(text), short);
    }

    /// A literal over several lines would lose its indentation, and one that looks like a comment its lines.
    #[test]
    fn no_literal_goes_over_the_end_of_a_line() {
        let mut scripts = 0;
        for name in Static::iter().filter(|name| name.ends_with(".js")) {
            let file = Static::get(&name).unwrap();
            let text = std::str::from_utf8(&file.data).unwrap();
            for (number, line) in text.lines().enumerate() {
                let marks = line.matches('`').count() - line.matches("\\`").count();
                assert!(
                    marks.is_multiple_of(2) && !line.ends_with('\\'),
                    "{name}:{}",
                    number + 1
                );
            }
            scripts += 1;
        }
        assert!(scripts > 10);
    }
}
