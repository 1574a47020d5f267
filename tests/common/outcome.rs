//! The binary run on files made for the purpose, whatever comes of it.

use assert_cmd::Command;
use serde_json::Value;

/// What `edgewitness WORDS` comes to in a folder that holds `files` (name and text): its exit code, what it prints where that is
/// JSON, and its standard error.
pub fn run(words: &[&str], files: &[(&str, &str)]) -> (Option<i32>, Value, String) {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).expect("a file");
    }
    let mut command = Command::cargo_bin("edgewitness").expect("the binary is built");
    let output = command
        .args(words)
        .current_dir(folder.path())
        .output()
        .expect("it runs");
    let answer = serde_json::from_slice(&output.stdout).unwrap_or(Value::Null);
    let problem = String::from_utf8_lossy(&output.stderr).into_owned();
    (output.status.code(), answer, problem)
}
