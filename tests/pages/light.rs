//! What a browser fetches for the findings page: how much that is, and that it is told of all of it at once.

use crate::carillon::Carillon;

/// The quoted words that follow `before` in `text`.
fn quoted<'a>(text: &'a str, before: &str) -> Vec<&'a str> {
    text.match_indices(before)
        .filter_map(|(at, _)| text[at + before.len()..].split('"').next())
        .collect()
}

/// The findings page with every style sheet, image and module that is fetched for it. What is imported only when a
/// person asks for it (a slip, a figure to save) is not counted: `import(…)` anywhere but in `main.js`.
#[tokio::test]
async fn the_pages_stay_light() {
    let (_, page) = Carillon::new("BEAT").get("/sessions/1").await;
    let mut waiting: Vec<String> = [quoted(&page, "href=\""), quoted(&page, "src=\"")]
        .concat()
        .into_iter()
        .filter_map(|path| Some(path.strip_prefix("/static/")?.to_owned()))
        .collect();
    let mut seen = std::collections::BTreeMap::new();
    while let Some(path) = waiting.pop() {
        if seen.contains_key(&path) {
            continue;
        }
        let text = std::fs::read_to_string(format!("static/{path}")).unwrap();
        let folder = path.rsplit_once('/').map_or("", |(folder, _)| folder);
        let mut imports = quoted(&text, " from \"");
        if path == "js/main.js" {
            imports.extend(quoted(&text, "import(\""));
        }
        for import in imports {
            let (mut parts, mut rest): (Vec<&str>, &str) = (folder.split('/').collect(), import);
            while let Some(above) = rest.strip_prefix("../") {
                parts.pop();
                rest = above;
            }
            waiting.push(format!("{}/{}", parts.join("/"), rest.trim_start_matches("./")));
        }
        seen.insert(path, text.len());
    }
    assert!(
        seen.contains_key("js/timing/view.js") && seen.contains_key("css/diagram.css"),
        "{seen:?}"
    );
    for asked_for in ["js/timing/slips/finder.js", "js/timing/dimensions.js"] {
        assert!(!seen.contains_key(asked_for), "{asked_for} in {seen:?}");
    }
    let preloaded = quoted(&page, "modulepreload\" href=\"/static/");
    let scripts = quoted(&page, "src=\"/static/");
    let is_early = |path: &str| preloaded.contains(&path) || scripts.contains(&path);
    let late: Vec<&String> = seen
        .keys()
        .filter(|path| path.ends_with(".js") && !is_early(path))
        .collect();
    assert!(late.is_empty(), "not told to the browser in advance: {late:?}");
    let all = seen.values().sum::<usize>() + page.len();
    assert!(all < 150_000, "{all} bytes, uncompressed: {seen:?}");
}
