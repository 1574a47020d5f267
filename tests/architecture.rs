//! The house is as it is told, read from the sources: which module may know which, that public items are documented,
//! and that DEVELOPERS.md names what there is.

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

/// The crate's sources: their places below the repository's folder, and their text.
fn house() -> Vec<(PathBuf, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = Vec::new();
    sources(&root.join("server"), &mut files);
    sources(&root.join("demo"), &mut files);
    files
        .into_iter()
        .map(|file| {
            let text = std::fs::read_to_string(&file).expect("a readable source");
            let relative = file.strip_prefix(root).expect("below the root");
            (relative.to_owned(), text)
        })
        .collect()
}

#[test]
fn nobody_knows_whom_it_should_not() {
    let allowed: BTreeMap<&str, &[&str]> = MAY_KNOW.into_iter().collect();
    let mut read: BTreeSet<String> = BTreeSet::new();
    let mut wrong = Vec::new();
    for (relative, text) in house() {
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
        for name in known_to(&without_tests(&text), depth(&relative)) {
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

/// The item that a line of source declares: its visibility, its kind and its name.
fn item(line: &str) -> Option<(&str, &str, &str)> {
    let mut rest = line.trim_start();
    let mut visibility = "";
    if rest.starts_with("pub") {
        let end = if rest.starts_with("pub(") {
            rest.find(')')? + 1
        } else {
            3
        };
        (visibility, rest) = (&rest[..end], rest[end..].trim_start());
    }
    let mut words = rest
        .split([' ', '(', '<', ':', ';', '{', '='])
        .filter(|w| !w.is_empty());
    let mut kind = words.next()?;
    // `const fn`, `async fn`, `unsafe fn`: the last word is the kind.
    let mut name = words.next()?;
    while ["fn", "trait", "impl"].contains(&name) || ["async", "unsafe"].contains(&kind) {
        (kind, name) = (name, words.next()?);
    }
    let is_kind = [
        "fn", "struct", "enum", "trait", "const", "static", "type", "mod", "union",
    ]
    .contains(&kind);
    is_kind.then_some((visibility, kind, name))
}

/// Public functions, types and constants of a file, and methods of public traits, without a doc comment:
/// number of the line, from 1, and the line. Modules speak for themselves in their own files; fields and variants
/// are left to judgement.
fn undocumented(text: &str) -> Vec<(usize, &str)> {
    let lines: Vec<&str> = text.lines().collect();
    let mut found = Vec::new();
    let mut in_trait = false;
    for (i, line) in lines.iter().enumerate() {
        let told = item(line);
        in_trait = match told {
            Some((visibility, "trait", _)) => !visibility.is_empty() && !line.ends_with('}'),
            _ => in_trait && *line != "}",
        };
        let is_public = match told {
            None | Some((_, "mod", _)) => false,
            Some((visibility, ..)) => {
                !visibility.is_empty() || (in_trait && line.starts_with("    ") && !line.starts_with("     "))
            }
        };
        if !is_public {
            continue;
        }
        let mut above = i;
        // Attributes stand between the comment and the item; those of several lines end in `)]`.
        while above > 0
            && (lines[above - 1].trim_start().starts_with("#[") || lines[above - 1].ends_with(")]"))
        {
            above -= 1;
            while !lines[above].trim_start().starts_with("#[") {
                above -= 1;
            }
        }
        if above == 0 || !lines[above - 1].trim_start().starts_with("///") {
            found.push((i + 1, line.trim()));
        }
    }
    found
}

#[test]
fn every_public_item_has_a_doc_comment() {
    let mut silent = Vec::new();
    for (file, text) in house() {
        for (line, code) in undocumented(&without_tests(&text)) {
            silent.push(format!("{}:{line}: {code}", file.display()));
        }
    }
    assert!(
        silent.is_empty(),
        "say shapes, units, errors, cost:\n{}",
        silent.join("\n")
    );
}

#[test]
fn the_reader_of_doc_comments_sees_what_lacks_one() {
    let places = |text: &str| {
        undocumented(text)
            .iter()
            .map(|(line, _)| *line)
            .collect::<Vec<_>>()
    };
    assert!(
        places("/// Told.\npub fn f() {}\nfn own() {}\npub mod m;\npub use a::b;\n    pub field: u8,\n")
            .is_empty()
    );
    assert!(places("/// Told.\n#[derive(Clone)]\n#[serde(\n    a,\n    b\n)]\npub struct S;\n").is_empty());
    assert_eq!(places("// No doc.\npub fn f() {}\n"), [2]);
    assert_eq!(
        places("pub(super) const C: u8 = 1;\n\npub async fn f() {}"),
        [1, 3]
    );
    assert_eq!(places("#[derive(Clone)]\npub enum E {\n    A,\n}\n"), [2]);
    let methods = "/// Told.\npub trait T {\n    fn a();\n    /// Told.\n    fn b();\n}\nimpl S {\n    fn c() {}\n    pub const fn d() {}\n}";
    assert_eq!(places(methods), [3, 9]);
}

/// Whether some file of the house declares what a text calls `path`: `analysis::strays::find`, `strays::find`,
/// `model::Line`, `Line::sample_ticks`. Names of types between are passed over, as are names that are made public further up.
fn is_declared(path: &str, house: &[(PathBuf, String)]) -> bool {
    let mut parts: Vec<&str> = path.split("::").collect();
    let name = parts.pop().expect("a split text has a part");
    parts.retain(|part| part.starts_with(|c: char| c.is_ascii_lowercase()));
    house.iter().any(|(file, text)| {
        let stem = file.with_extension("");
        let modules: Vec<&str> = stem.iter().filter_map(|part| part.to_str()).collect();
        let is_there = parts.is_empty() || modules.windows(parts.len()).any(|run| run == parts);
        is_there
            && text.lines().any(|line| {
                item(line).is_some_and(|(.., declared)| declared == name)
                    || line
                        .trim_start()
                        .strip_prefix("pub ")
                        .and_then(|field| field.strip_prefix(name))
                        .is_some_and(|rest| rest.starts_with(": "))
            })
    })
}

/// What stands between backquotes.
fn quoted(text: &str) -> impl Iterator<Item = &str> {
    text.split('`').skip(1).step_by(2)
}

#[test]
fn what_the_map_of_the_house_names_exists() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let house = house();
    let mut gone = Vec::new();
    let mut named = 0;
    for page in ["DEVELOPERS.md", "README.md"] {
        let text = std::fs::read_to_string(root.join(page)).expect("a readable page");
        for word in quoted(&text) {
            let word = word
                .split([' ', '*'])
                .next()
                .expect("a split text has a part")
                .trim_end_matches("()");
            let is_name = |part: &str| part.chars().all(|c| c.is_alphanumeric() || c == '_');
            let is_path = word.contains("::") && word.split("::").all(is_name);
            let is_file = [
                "server/",
                "tests/",
                "demo/",
                "static/",
                "templates/",
                "sample-captures/",
            ]
            .iter()
            .any(|folder| word.starts_with(folder));
            named += usize::from(is_path || is_file);
            if is_path && !is_declared(word, &house) || is_file && !root.join(word).exists() {
                gone.push(format!("{page}: {word}"));
            }
        }
    }
    assert!(named > 60, "only {named} names were seen");
    assert!(gone.is_empty(), "there is no such thing:\n{}", gone.join("\n"));
}

#[test]
fn the_reader_of_the_map_sees_what_is_gone() {
    let house = [(
        PathBuf::from("server/analysis/strays/mod.rs"),
        "pub mod widths;\npub struct Stray {\n    pub start: Ticks,\n}\npub const fn find(a: u8) {}\n"
            .to_owned(),
    )];
    for there in [
        "analysis::strays::find",
        "strays::widths",
        "strays::Stray",
        "strays::Stray::start",
    ] {
        assert!(is_declared(there, &house), "{there}");
    }
    for gone in [
        "links::strays::find",
        "strays::fin",
        "strays::Stray::end",
        "links::find",
    ] {
        assert!(!is_declared(gone, &house), "{gone}");
    }
}
