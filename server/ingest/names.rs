//! Names of lines as the report's words have them.

use std::collections::{BTreeMap, HashMap, HashSet};

use super::error::quoted;
use crate::model::Capture;

/// Makes names unique: the second `A` becomes `A (2)`. Returns the names that came more than once.
///
/// Cost: linear in names.
pub fn make_unique<'a>(names: impl Iterator<Item = &'a mut String>) -> Vec<String> {
    let mut names: Vec<&mut String> = names.collect();
    let mut counts: HashMap<String, usize> = HashMap::new();
    for name in &names {
        *counts.entry((*name).clone()).or_default() += 1;
    }
    let mut taken: HashSet<String> = counts.keys().cloned().collect();
    let mut next: HashMap<String, usize> = HashMap::new();
    let mut repeated = Vec::new();
    for name in &mut names {
        if counts[name.as_str()] == 1 {
            continue;
        }
        let count = next.entry((*name).clone()).or_insert(1);
        if *count == 1 {
            repeated.push((*name).clone());
            *count = 2;
            continue;
        }
        let unique = loop {
            let candidate = format!("{name} ({count})");
            *count += 1;
            if taken.insert(candidate.clone()) {
                break candidate;
            }
        };
        **name = unique;
    }
    repeated
}

/// The capture with other names for the lines and buses that `rename` speaks of; a bus takes its bits along. A name that
/// another line has is not given, and said.
pub fn renamed(mut capture: Capture, rename: &BTreeMap<String, String>) -> Capture {
    for (old, new) in rename {
        let taken = capture
            .lines
            .iter()
            .map(|line| &line.name)
            .chain(capture.buses.iter().map(|bus| &bus.name));
        if taken.into_iter().any(|name| name == new) {
            capture.warn(format!(
                "{} keeps its name: another line is called {} already; say another name under [read.rename] in the setup file",
                quoted(old.as_bytes()),
                quoted(new.as_bytes())
            ));
            continue;
        }
        for bus in capture.buses.iter_mut().filter(|bus| bus.name == *old) {
            bus.name.clone_from(new);
            for &bit in &bus.bits {
                let name = &mut capture.lines[bit].name;
                if let Some(index) = name.strip_prefix(old.as_str()) {
                    *name = format!("{new}{index}");
                }
            }
        }
        for line in capture.lines.iter_mut().filter(|line| line.name == *old) {
            line.name.clone_from(new);
        }
    }
    capture
}

/// How many leading scopes all paths share.
pub fn common_scopes<'a>(mut paths: impl Iterator<Item = Vec<&'a str>>) -> usize {
    let Some(first) = paths.next() else {
        return 0;
    };
    paths.fold(first.len(), |n, path| {
        first[..n]
            .iter()
            .zip(path.iter())
            .take_while(|(a, b)| a == b)
            .count()
    })
}

/// A list for a warning: the first few, and how many more.
pub fn some_of(names: &[String]) -> String {
    const SHOWN: usize = 5;
    let shown = names[..names.len().min(SHOWN)]
        .iter()
        .map(|n| quoted(n.as_bytes()))
        .collect::<Vec<_>>()
        .join(", ");
    match names.len().saturating_sub(SHOWN) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn repeated_names_get_numbers() {
        let mut names: Vec<String> = ["A", "B", "A", "A (2)", "A"].map(String::from).to_vec();
        let repeated = make_unique(names.iter_mut());
        assert_eq!(names, ["A", "B", "A (3)", "A (2)", "A (4)"]);
        assert_eq!(repeated, ["A"]);
    }

    #[test]
    fn scopes_shared_by_all_are_dropped() {
        let path = |text: &'static str| text.split('.').collect::<Vec<_>>();
        let (a, b) = (path("top.rack.a"), path("top.rack"));
        assert_eq!(common_scopes([a.clone(), b].into_iter()), 2);
        assert_eq!(common_scopes([a, Vec::new()].into_iter()), 0);
        assert_eq!(common_scopes(std::iter::empty()), 0);
    }
}
