//! One capture: how its file is read, and where its clips were.

use std::collections::BTreeMap;
use std::sync::Arc;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::Html;
use serde_json::json;

use super::Places;
use crate::harness::{Clips, Harness};
use crate::ingest::{Preview, PreviewColumn};
use crate::model::FAMILIES;
use crate::report::text::seconds;
use crate::store::{Action, Capture, ClipList, Entry, EntryId, SessionId, Store};
use crate::web::api::harness::harness_of;
use crate::web::api::log::with_store;
use crate::web::api::reading::{look, look_unread, said};
use crate::web::error::PageFailure;
use crate::web::opened::Opened;
use crate::web::shown::Which;
use crate::web::state::App;
use crate::workflow::known_lines::doubts;

/// Rows and columns of the file that are shown.
const MOST_ROWS: usize = 8;
const MOST_COLUMNS: usize = 200;

#[derive(Template)]
#[template(path = "pages/capture.html")]
struct CapturePage {
    places: Places,
    id: i64,
    capture: i64,
    title: String,
    file: String,
    remark: String,
    /// Why it can't be read so.
    trouble: Option<String>,
    /// Whether nothing said so far makes it readable.
    is_unread: bool,
    shown: Shown,
    families: Vec<&'static str>,
    /// What is shown, as JSON to keep; and whether it differs from what is kept.
    json: String,
    is_changed: bool,
    is_said: bool,
    clips: Vec<(String, String)>,
    clips_csv: String,
    has_harness: bool,
    /// Lines of the clips that the capture does not have, a sentence each.
    clip_doubts: Vec<String>,
    undo: Option<Action>,
    /// Names its run in the address of the findings.
    look: String,
}

struct Setting {
    name: &'static str,
    words: &'static str,
    value: String,
    /// What the file was taken for without it.
    taken: String,
    choices: &'static [(&'static str, &'static str)],
}

struct ColumnView {
    number: usize,
    heading: String,
    line: String,
    /// Another name that a person gave its line; empty for none.
    said_name: String,
    /// Whether it makes a line, that may have another name.
    is_line: bool,
    /// What it was taken for.
    kind: String,
    said_kind: String,
    levels: String,
    said_levels: String,
    is_analog: bool,
}

/// The page; fields in the address try another reading without keeping it.
pub async fn page(
    State(app): State<Arc<App>>,
    Path((id, capture)): Path<(i64, i64)>,
    Query(asked): Query<BTreeMap<String, String>>,
) -> Result<Html<String>, PageFailure> {
    let session = SessionId(id);
    let shared = app.clone();
    let html = with_store(app, move |store| {
        let in_memory = shared.in_memory(session);
        let entry: Entry<Capture> = store.entry(session, EntryId(capture))?;
        let kept = said(store, session, entry.id)?;
        let form = Form::of(store, session, &entry, &kept, asked);
        let harness = harness_of(store, session)?;
        let lists: Vec<Entry<ClipList>> = store.entries(session)?;
        let list = lists.into_iter().find(|list| list.value.capture == entry.id);
        let clips_csv = list.map(|list| list.value.csv);
        let lines = form.lines(in_memory.as_deref(), &entry.value.file);
        let to_keep = form.to_keep();
        let mut shown = form.shown();
        // The first rows do not show all: what the whole reading said, if it is the one that is kept.
        let present = shared.present_key(session)?;
        let whole = in_memory.filter(|opened| !form.is_asked && present.as_ref() == Some(&opened.key));
        let rows = whole.iter().flat_map(|opened| &opened.report.captures);
        for warning in rows
            .filter(|row| row.file == entry.value.file)
            .flat_map(|row| &row.warnings)
        {
            if !shown.warnings.contains(warning) {
                shown.warnings.push(warning.clone());
            }
        }
        let page = CapturePage {
            places: Places::of(session, ""),
            id,
            capture,
            title: store.session(session)?.body.title,
            file: entry.value.file.clone(),
            remark: entry.value.remark.clone(),
            look: Which {
                condition: entry.value.condition,
                run: Some(entry.id),
            }
            .query(),
            shown,
            families: FAMILIES.iter().map(|(word, _)| *word).collect(),
            json: json!(to_keep).to_string(),
            is_changed: form.is_asked && form.trouble.is_none() && to_keep != kept,
            is_said: !kept.is_empty(),
            clip_doubts: clip_doubts(&lines, &harness, clips_csv.as_deref()),
            trouble: form.trouble,
            is_unread: form.is_unread,
            clips: places_of(lines, &harness, clips_csv.as_deref()),
            clips_csv: clips_csv.unwrap_or_else(|| "line,place\n".to_owned()),
            has_harness: !harness.pins().is_empty(),
            undo: store.actions(session, 1)?.into_iter().find(|a| !a.undone),
        };
        Ok(page.render()?)
    });
    Ok(Html(html.await?))
}

/// Lines that are said to be clipped somewhere and that no line of the capture is called as.
fn clip_doubts(lines: &[String], harness: &Harness, clips: Option<&str>) -> Vec<String> {
    let clips = Clips::parse(clips.unwrap_or_default(), "clips.csv", harness).unwrap_or_default();
    let names: Vec<&str> = lines.iter().map(String::as_str).collect();
    let unknown = clips
        .lines()
        .filter(|line| !names.is_empty() && !names.contains(line));
    unknown
        .map(|line| match doubts(&[line], &names).pop() {
            Some(sentence) => sentence,
            None => {
                format!("No line of this capture is called {line}: its clip is kept, and says nothing here.")
            }
        })
        .collect()
}

/// The form as a person filled it in, and what the file is read as with it.
struct Form {
    /// Whether the fields come from the address, and not from what is kept.
    is_asked: bool,
    /// Fields that are not empty.
    fields: BTreeMap<String, String>,
    /// Read so; or as it was taken before, where the fields do not work; or the bare rows.
    preview: Option<Preview>,
    /// Why the fields do not work.
    trouble: Option<String>,
    /// Whether nothing said so far makes the file readable.
    is_unread: bool,
}

/// What the page shows of a preview; all empty where there is none.
#[derive(Default)]
struct Shown {
    format: String,
    facts: Vec<String>,
    warnings: Vec<String>,
    /// Of a table: what may be said otherwise.
    settings: Vec<Setting>,
    columns: Vec<ColumnView>,
    /// Cells and what they say as they are read.
    rows: Vec<Vec<(String, String)>>,
    first_row: u64,
    more_columns: usize,
}

impl Form {
    fn of(
        store: &Store,
        session: SessionId,
        entry: &Entry<Capture>,
        kept: &BTreeMap<String, String>,
        asked: BTreeMap<String, String>,
    ) -> Form {
        let is_asked = !asked.is_empty();
        let mut fields = if is_asked { asked } else { kept.clone() };
        fields.retain(|_, value| !value.trim().is_empty());
        let (preview, trouble) = match look(store, session, entry, &fields) {
            Ok(preview) => (Some(preview), None),
            // What was asked for does not work: the form stays as it is, over the file as it was taken before.
            Err(failure) => (look(store, session, entry, kept).ok(), Some(failure.sentence)),
        };
        // A table that can't be read in any way said so far: its bare rows, and all there is to say.
        let is_unread = preview.is_none();
        let preview = preview.or_else(|| look_unread(store, session, entry, &fields));
        Form {
            is_asked,
            fields,
            preview,
            trouble,
            is_unread,
        }
    }

    /// The fields as they are to be kept: the thresholds of a column go by its line's name.
    fn to_keep(&self) -> BTreeMap<String, String> {
        let mut all = self.fields.clone();
        let Some(preview) = self.preview.as_ref().filter(|_| !self.is_unread) else {
            return all;
        };
        for (i, column) in preview.columns.iter().enumerate() {
            if self.fields.contains_key(&format!("levels.{}", i + 1)) {
                all.insert(format!("line.{}", i + 1), column.name.clone());
            }
        }
        all
    }

    /// The lines of the capture: by the preview's columns, else as they were analysed.
    fn lines(&self, opened: Option<&Opened>, file: &str) -> Vec<String> {
        match (&self.preview, opened) {
            (Some(preview), _) if !preview.columns.is_empty() => {
                let columns = preview.columns.iter().filter(|c| c.bits > 0);
                columns.map(|column| column.name.clone()).collect()
            }
            (_, Some(opened)) => {
                let of = opened.report.lines.iter().filter(|row| row.capture == file);
                of.map(|row| row.line.clone()).collect()
            }
            _ => Vec::new(),
        }
    }

    fn shown(&self) -> Shown {
        let Some(preview) = &self.preview else {
            return Shown {
                first_row: 1,
                ..Shown::default()
            };
        };
        let columns = preview.columns.iter().take(MOST_COLUMNS).enumerate();
        let row = |(cells, meanings): (&Vec<String>, &Vec<String>)| {
            let pairs = cells.iter().cloned().zip(meanings.iter().cloned());
            pairs.take(MOST_COLUMNS).collect()
        };
        let rows = preview.rows.iter().zip(&preview.meanings).take(MOST_ROWS);
        Shown {
            format: match self.is_unread {
                true => String::new(),
                false => preview.format.clone(),
            },
            facts: facts(preview),
            warnings: preview.warnings.clone(),
            settings: settings(preview, &self.fields),
            columns: columns
                .map(|(i, column)| column_view(i + 1, column, &self.fields))
                .collect(),
            rows: rows.map(row).collect(),
            first_row: preview.first_row.unwrap_or(1),
            more_columns: preview.columns.len().saturating_sub(MOST_COLUMNS),
        }
    }
}

/// Where each line's clip was, by the harness sheet; clips that the sheet does not know are nowhere.
fn places_of(lines: Vec<String>, harness: &Harness, clips_csv: Option<&str>) -> Vec<(String, String)> {
    let clips = clips_csv
        .and_then(|csv| Clips::parse(csv, "clips.csv", harness).ok())
        .unwrap_or_default();
    let place = |line: String| {
        let place = harness.place(&line, &clips);
        (line, place.unwrap_or_else(|| "not on the sheet".to_owned()))
    };
    lines.into_iter().map(place).collect()
}

fn facts(preview: &Preview) -> Vec<String> {
    let mut facts = Vec::new();
    let mut tell = |what: &str, value: Option<String>| {
        if let Some(value) = value {
            facts.push(format!("{what} {value}"));
        }
    };
    tell(
        "one unit of time is",
        preview
            .time_unit_s
            .map(|s| format!("{} ({})", seconds(s), preview.time_unit_from)),
    );
    tell(
        "one row a",
        preview
            .form
            .as_ref()
            .map(|form| form.trim_end_matches('s').to_owned()),
    );
    let rate = |s: f64| {
        format!(
            "{} ({})",
            seconds(s),
            crate::report::text::engineering(1.0 / s, "S/s")
        )
    };
    tell(
        "sampling period",
        preview.sample_period_s.filter(|s| *s > 0.0).map(rate),
    );
    facts
}

fn settings(preview: &Preview, fields: &BTreeMap<String, String>) -> Vec<Setting> {
    let value = |name: &str| fields.get(name).cloned().unwrap_or_default();
    let setting = |name, words, taken: String, choices| Setting {
        name,
        words,
        value: value(name),
        taken,
        choices,
    };
    if preview.format == "vcd" {
        let words = "Time unit, where the file has no $timescale";
        return vec![setting(
            "timescale",
            words,
            "told by the file, or 1 ns".to_owned(),
            &[],
        )];
    }
    let delimiter = match preview.delimiter.as_deref() {
        Some("\t") => "tab".to_owned(),
        other => other.unwrap_or_default().to_owned(),
    };
    vec![
        setting(
            "delimiter",
            "Between cells",
            delimiter,
            &[(",", "comma"), (";", "semicolon"), ("|", "bar"), ("tab", "tab")],
        ),
        setting(
            "decimal",
            "Decimal mark",
            preview.decimal.clone().unwrap_or_default(),
            &[(".", "point"), (",", "comma")],
        ),
        setting(
            "time_unit",
            "Unit of time",
            preview.time_unit_s.map(seconds).unwrap_or_default(),
            &[],
        ),
        setting(
            "form",
            "One row a",
            preview.form.clone().unwrap_or_default(),
            &[("samples", "sample"), ("changes", "change")],
        ),
        setting(
            "sample_period",
            "Sampling period or rate",
            preview.sample_period_s.map(seconds).unwrap_or_default(),
            &[],
        ),
        setting("family", "Levels of all analog columns", String::new(), &[]),
    ]
}

fn column_view(number: usize, column: &PreviewColumn, fields: &BTreeMap<String, String>) -> ColumnView {
    let value = |name: &str| {
        fields
            .get(&format!("{name}.{number}"))
            .cloned()
            .unwrap_or_default()
    };
    let base = match column.base {
        Some(16) => "hex",
        Some(8) => "octal",
        Some(2) => "binary",
        _ => "decimal",
    };
    ColumnView {
        number,
        heading: column.heading.clone(),
        line: column.name.clone(),
        kind: match column.kind.as_str() {
            "bus" => format!("bus {} {base}", column.bits),
            "ignored" => "ignore".to_owned(),
            other => other.to_owned(),
        },
        said_name: value("name"),
        is_line: column.bits > 0,
        said_kind: value("kind"),
        levels: match (&column.family, column.low_v, column.high_v) {
            (Some(family), Some(low), Some(high)) => format!("{family}, {low} to {high} V"),
            _ => String::new(),
        },
        said_levels: value("levels"),
        is_analog: column.kind == "analog",
    }
}
