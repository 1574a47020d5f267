//! Arrows point one way: which module of the house may know which, read from the sources.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

/// Who may know whom. What stands in a file's own tests is not counted.
const MAY_KNOW: [(&str, &[&str]); 14] = [
    ("model", &[]),
    ("ingest", &["model"]),
    ("rule", &["model"]),
    ("setup", &["model", "rule"]),
    ("analysis", &["model", "rule"]),
    ("report", &["model"]),
    ("harness", &[]),
    ("export", &["model", "report"]),
    ("demo", &["model"]),
    ("store", &["model", "report"]),
    ("workflow", &BELOW_WORKFLOW),
    ("web", &BELOW_WEB),
    ("cli", &BELOW_CLI),
    ("main", &["cli"]),
];

const BELOW_WORKFLOW: [&str; 10] = [
    "model", "ingest", "rule", "setup", "analysis", "report", "harness", "export", "demo", "store",
];
const BELOW_WEB: [&str; 11] = [
    "model", "ingest", "rule", "setup", "analysis", "report", "harness", "export", "demo", "store",
    "workflow",
];
const BELOW_CLI: [&str; 12] = [
    "model", "ingest", "rule", "setup", "analysis", "report", "harness", "export", "demo", "store",
    "workflow", "web",
];

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a folder of sources") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|e| e == "rs") {
            found.push(path);
        }
    }
}

/// How many names a module's path has: `server/analysis/links/mod.rs` and `server/analysis/links.rs` have two.
fn depth(relative: &Path) -> usize {
    let is_mod = relative.file_name().is_some_and(|name| name == "mod.rs");
    // `server/` is no module, `demo/` is one.
    let root = usize::from(relative.starts_with("server"));
    relative.iter().count() - root - usize::from(is_mod)
}

/// The text of a file without the module of its own tests, which ends at the next brace in the first column.
fn without_tests(text: &str) -> String {
    let Some((before, tests)) = text.split_once("#[cfg(test)]\nmod tests {") else {
        return text.to_owned();
    };
    let after = tests.split_once("\n}\n").map_or("", |(_, after)| after);
    format!("{before}\n{after}")
}

/// Names of the crate's modules that the text of a file reaches for: `crate::name`, `crate::{name, …}`,
/// `edgewitness::name`, and from a module with a path of `depth` names as many times `super::`.
fn known_to(text: &str, depth: usize) -> BTreeSet<String> {
    let code: Vec<&str> = text
        .lines()
        .map(|line| line.split("//").next().unwrap_or_default())
        .collect();
    let code = code.join("\n");
    let mut names = BTreeSet::new();
    // More than these lead to the same names: they stand in a module inside the file.
    let climbed = "super::".repeat(depth);
    for root in ["crate::", "edgewitness::", climbed.as_str()] {
        for (at, _) in code.match_indices(root) {
            let rest = &code[at + root.len()..];
            let mut take = |part: &str| {
                let name: String = part
                    .trim()
                    .chars()
                    .take_while(|c| c.is_alphanumeric() || *c == '_')
                    .collect();
                if name.starts_with(|c: char| c.is_ascii_lowercase()) {
                    names.insert(name);
                }
            };
            if let Some(group) = rest.strip_prefix('{') {
                let mut depth = 0;
                let inside = group.split(|c| {
                    depth += i32::from(c == '{') - i32::from(c == '}');
                    c == ',' && depth == 0 || depth < 0
                });
                let end = group.find("};").unwrap_or(group.len());
                let mut taken = 0;
                for part in inside {
                    if taken > end {
                        break;
                    }
                    take(part);
                    taken += part.len() + 1;
                }
            } else {
                take(rest);
            }
        }
    }
    names
}

#[test]
fn nobody_knows_whom_it_should_not() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = Vec::new();
    sources(&root.join("server"), &mut files);
    sources(&root.join("demo"), &mut files);
    let allowed: BTreeMap<&str, &[&str]> = MAY_KNOW.into_iter().collect();
    let mut read: BTreeSet<String> = BTreeSet::new();
    let mut wrong = Vec::new();
    for file in files {
        let relative = file.strip_prefix(root).expect("below the root");
        let mut parts = relative.iter().map(|part| part.to_str().expect("a plain name"));
        let module = match (parts.next(), parts.next()) {
            (Some("demo"), _) => "demo",
            (_, Some("lib.rs")) => continue,
            (_, Some(name)) => name.trim_end_matches(".rs"),
            _ => unreachable!("sources lie in server/ or demo/"),
        };
        let may = allowed
            .get(module)
            .unwrap_or_else(|| panic!("{module} has no place in the house yet"));
        read.insert(module.to_owned());
        let text = std::fs::read_to_string(&file).expect("a readable source");
        for name in known_to(&without_tests(&text), depth(relative)) {
            if name != module && allowed.contains_key(name.as_str()) && !may.contains(&name.as_str()) {
                wrong.push(format!("{}: {module} must not know {name}", relative.display()));
            }
        }
    }
    let all: BTreeSet<String> = MAY_KNOW.iter().map(|(name, _)| (*name).to_owned()).collect();
    assert_eq!(read, all, "every module was looked at");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_reader_of_arrows_sees_them() {
    let seen_from = |depth, text: &str| known_to(text, depth).into_iter().collect::<Vec<_>>();
    let seen = |text: &str| seen_from(9, text);
    assert_eq!(seen("use crate::model::Line;"), ["model"]);
    assert_eq!(
        seen("use crate::{\n    model::{Line, Level},\n    store,\n};\nlet a = (b, c);"),
        ["model", "store"]
    );
    assert_eq!(
        seen("fn f() -> crate::web::State { edgewitness::cli::run() }"),
        ["cli", "web"]
    );
    assert!(seen("// crate::web is no arrow\nuse super::x;").is_empty());
    assert_eq!(seen_from(1, "use super::web::App;"), ["web"]);
    assert_eq!(
        seen_from(2, "use super::super::{web, store::Store};"),
        ["store", "web"]
    );
    assert!(!seen_from(2, "use super::web::App;").contains(&"web".to_owned()));
    let file = "use crate::a;\n#[cfg(test)]\nmod tests {\n    use crate::b;\n}\nuse crate::c;\n";
    assert_eq!(seen(&without_tests(file)), ["a", "c"]);
    let apart = "#[cfg(test)]\nmod tests;\nuse crate::d;\n";
    assert_eq!(seen(&without_tests(apart)), ["d"]);
    for (file, deep) in [
        ("server/main.rs", 1),
        ("server/web/mod.rs", 1),
        ("server/web/api/log.rs", 3),
        ("demo/mod.rs", 1),
        ("demo/boards/mod.rs", 2),
    ] {
        assert_eq!(depth(Path::new(file)), deep, "{file}");
    }
}
