//! Every package that is built in may be given away under the project's own terms. Works offline.

use std::process::Command;

/// Permissive licences; a package needs one way through its expression that uses only these.
const ACCEPTED: [&str; 9] = [
    "MIT",
    "Apache-2.0",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "ISC",
    "Zlib",
    "Unicode-3.0",
    "CC0-1.0",
    "Unlicense",
];

/// Whether an SPDX expression (`A OR B AND (C)`, `/` as an old `OR`) can be met with accepted licences alone.
fn is_accepted(expression: &str) -> bool {
    let spaced = expression
        .replace('/', " OR ")
        .replace('(', " ( ")
        .replace(')', " ) ");
    let words: Vec<&str> = spaced.split_whitespace().collect();
    let mut at = 0;
    any_of(&words, &mut at) && at == words.len()
}

fn any_of(words: &[&str], at: &mut usize) -> bool {
    let mut accepted = all_of(words, at);
    while words.get(*at) == Some(&"OR") {
        *at += 1;
        accepted |= all_of(words, at);
    }
    accepted
}

fn all_of(words: &[&str], at: &mut usize) -> bool {
    let mut accepted = one(words, at);
    while words.get(*at) == Some(&"AND") {
        *at += 1;
        accepted &= one(words, at);
    }
    accepted
}

fn one(words: &[&str], at: &mut usize) -> bool {
    let Some(word) = words.get(*at) else { return false };
    *at += 1;
    if *word == "(" {
        let accepted = any_of(words, at);
        let closed = words.get(*at) == Some(&")");
        *at += usize::from(closed);
        return accepted && closed;
    }
    if words.get(*at) == Some(&"WITH") {
        // An exception only adds permissions.
        *at += 2;
    }
    ACCEPTED.contains(word)
}

#[test]
fn every_dependency_is_permissive() {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--locked", "--offline"])
        .args(["--filter-platform", "x86_64-unknown-linux-gnu"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo runs");
    let problem = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{problem}");
    let metadata: serde_json::Value = serde_json::from_slice(&output.stdout).expect("metadata is JSON");
    let packages = metadata["packages"].as_array().expect("a list of packages");
    assert!(
        packages.len() > 50,
        "only {} packages were looked at",
        packages.len()
    );
    let refused: Vec<String> = packages
        .iter()
        .filter(|package| !package["license"].as_str().is_some_and(is_accepted))
        .map(|package| format!("{}: {}", package["name"], package["license"]))
        .collect();
    assert!(refused.is_empty(), "{}", refused.join("\n"));
}

#[test]
fn expressions_are_read_as_written() {
    for accepted in [
        "MIT",
        "MIT/Apache-2.0",
        "GPL-3.0 OR MIT",
        "(MIT OR Apache-2.0) AND Unicode-3.0",
        "Apache-2.0 WITH LLVM-exception",
    ] {
        assert!(is_accepted(accepted), "{accepted}");
    }
    for refused in [
        "",
        "GPL-3.0-only",
        "MIT AND GPL-2.0",
        "(MIT OR Apache-2.0",
        "MIT MIT",
    ] {
        assert!(!is_accepted(refused), "{refused}");
    }
}
