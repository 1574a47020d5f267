//! The binary run on files made for the purpose, where it has to succeed.

use serde_json::Value;

use super::outcome::run;

/// What `edgewitness ARGS --json` prints in a folder that holds `files` (name and text).
pub fn json_of(files: &[(&str, &str)], args: &[&str]) -> Value {
    let (code, answer, problem) = run(&[args, &["--json"]].concat(), files);
    assert_eq!(code, Some(0), "{problem}");
    assert!(!answer.is_null(), "JSON on standard output");
    answer
}
