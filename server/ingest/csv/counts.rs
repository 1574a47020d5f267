//! What the rows of a table held that they should not: counted, and told with the first row of each.

use super::clock::Clock;
use crate::model::units::count_of;

/// Things met on the way that a warning counts.
#[derive(Default)]
pub struct Counts {
    /// Each: how many, and the editor's number of the first one's row.
    pub bad_times: (u64, u64),
    pub ragged: (u64, u64),
    pub missing: (u64, u64),
    pub strange: (u64, u64),
    /// Column and text of the first of these.
    pub first_strange: Option<(usize, String)>,
    pub too_wide: (u64, u64),
}

/// Counts one more; the first one's row is kept.
pub fn note(count: &mut (u64, u64), row: u64) {
    if count.0 == 0 {
        count.1 = row;
    }
    count.0 += 1;
}

impl Counts {
    /// Counts a cell that nothing can be made of; `text`: how the first one is told.
    pub fn note_strange(&mut self, row: u64, column: usize, text: impl FnOnce() -> String) {
        self.first_strange.get_or_insert_with(|| (column, text()));
        note(&mut self.strange, row);
    }
}

/// One warning for each count that is not 0, and for gaps and times off the grid. `name`: what a column is called.
pub fn tell_counts<'a>(
    counts: &Counts,
    clock: &Clock,
    name: impl Fn(usize) -> &'a str,
    warnings: &mut Vec<String>,
) {
    let mut tell = |count: (u64, u64), what: &str, done: &str| {
        if count.0 > 0 {
            let what = if count.0 == 1 {
                what.to_owned()
            } else {
                plural(what)
            };
            warnings.push(format!("{} {what} (first in row {}): {done}", count.0, count.1));
        }
    };
    tell(counts.bad_times, "row without a readable time", "passed over");
    tell(
        counts.ragged,
        "row with too few or too many cells",
        "lacking cells are unknown, surplus ones were passed over",
    );
    tell(counts.missing, "missing cell", "the line is unknown there");
    let first = counts.first_strange.as_ref();
    let first = first.map_or_else(String::new, |(column, text)| {
        format!(
            "column {}: {text}; expected 0, 1, x or z, or a number of a bus; ",
            name(*column)
        )
    });
    tell(
        counts.strange,
        "cell that is neither a level nor a number of its column",
        &format!("{first}the line is unknown there"),
    );
    tell(
        counts.too_wide,
        "bus value wider than its bus",
        "the upper bits were cut",
    );
    if clock.gaps > 0 {
        warnings.push(format!(
            "{} in the samples, {} in all: shown as not recorded, no edge was made up across",
            count_of(clock.gaps, "gap"),
            count_of(clock.missing, "sample")
        ));
    }
    if let Some(text) = clock.residual_text() {
        warnings.push(text);
    }
}

/// `row without …` → `rows without …`.
fn plural(what: &str) -> String {
    let nouns = ["row", "cell", "value"];
    let mut done = false;
    let words = what.split(' ').map(|word| {
        if !done && nouns.contains(&word) {
            done = true;
            return format!("{word}s");
        }
        word.to_owned()
    });
    words.collect::<Vec<_>>().join(" ")
}
