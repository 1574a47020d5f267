//! The binary run on files made for the purpose.

use assert_cmd::Command;
use serde_json::Value;

/// What `edgewitness ARGS --json` prints in a folder that holds `files` (name and text); it has to succeed.
pub fn json_of(files: &[(&str, &str)], args: &[&str]) -> Value {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).expect("a file");
    }
    let mut command = Command::cargo_bin("edgewitness").expect("the binary is built");
    let output = command
        .args(args)
        .arg("--json")
        .current_dir(folder.path())
        .output()
        .expect("the binary runs");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).expect("JSON on standard output")
}
