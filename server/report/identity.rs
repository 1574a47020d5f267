//! The signal of a line, which stays what it is from one run to the next.
//!
//! A line is shown as `STEM/LINE` where another file of its run has a line of that name. Whether one has differs from run to
//! run, so the shown name is no identity: the signal is. It is called as its own file calls the line; of several lines of
//! one name in one run the second and further ones have their number behind it, in the order of the files.

use std::path::Path;

use super::inspect::InspectReport;

/// What the lines of each file are told by where files have names in common: the file's name without its ending, with a
/// number behind it where that is taken.
pub fn stems<'a>(files: impl IntoIterator<Item = &'a str>) -> Vec<String> {
    let mut stems: Vec<String> = Vec::new();
    for file in files {
        let stem = Path::new(file)
            .file_stem()
            .map_or_else(String::new, |s| s.to_string_lossy().into_owned());
        let again = stems
            .iter()
            .filter(|s| **s == stem || s.starts_with(&format!("{stem} (")))
            .count();
        stems.push(if again == 0 {
            stem
        } else {
            format!("{stem} ({})", again + 1)
        });
    }
    stems
}

/// `LINE` of `STEM/LINE`, where the stem is one of `stems`.
fn own_name<'a>(stems: &[String], line: &'a str) -> &'a str {
    let rests = stems.iter().filter_map(|stem| line.strip_prefix(stem.as_str()));
    let rest = rests.filter_map(|rest| rest.strip_prefix('/')).next();
    rest.unwrap_or(line)
}

impl InspectReport {
    /// The signal of a line that is shown as `line` here. Cost: linear in lines and files.
    pub fn signal(&self, line: &str) -> String {
        let stems = match line.contains('/') {
            true => stems(self.captures.iter().map(|row| row.file.as_str())),
            false => Vec::new(),
        };
        let name = own_name(&stems, line);
        if name.len() == line.len() {
            return line.to_owned();
        }
        let mut shown = self.lines.iter().map(|row| row.line.as_str());
        // What an older program kept of a run has no lines: nothing then tells second ones apart.
        let at = shown.clone().position(|other| other == line).unwrap_or(0);
        let before = shown.by_ref().take(at);
        match before.filter(|other| own_name(&stems, other) == name).count() {
            0 => name.to_owned(),
            before => format!("{name} ({})", before + 1),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Source;
    use crate::report::CaptureRow;
    use crate::report::inspect::LineRow;

    fn report(files: &[&str], lines: &[&str]) -> InspectReport {
        let capture = |file: &&str| CaptureRow {
            file: (*file).to_owned(),
            format: "csv".to_owned(),
            start_s: 0.0,
            end_s: 1.0,
            resolution_s: 1e-9,
            offset_s: 0.0,
            drift_ppm: 0.0,
            warnings: Vec::new(),
        };
        let line = |line: &&str| LineRow {
            line: (*line).to_owned(),
            capture: String::new(),
            source: Source::Digital,
            edges: 2,
            narrow_below_s: None,
            narrow_below_low_s: None,
            narrow_below_high_s: None,
            narrow_from: "none".to_owned(),
        };
        InspectReport {
            captures: files.iter().map(capture).collect(),
            lines: lines.iter().map(line).collect(),
            ..InspectReport::empty()
        }
    }

    #[test]
    fn a_signal_is_called_the_same_where_a_further_file_has_a_line_of_its_name() {
        let two = report(&["one.csv", "one_tower.vcd"], &["STEP", "CLEAR_N"]);
        let three = report(
            &["two.csv", "two_tower.vcd", "two_volts.csv"],
            &["STEP", "two_tower/CLEAR_N", "two_volts/CLEAR_N"],
        );
        assert_eq!(two.signal("CLEAR_N"), "CLEAR_N");
        assert_eq!(three.signal("two_tower/CLEAR_N"), "CLEAR_N");
        assert_eq!(three.signal("two_volts/CLEAR_N"), "CLEAR_N (2)");
        assert_eq!(three.signal("STEP"), "STEP");
        // Of a run of which no lines are kept.
        assert_eq!(
            report(&["two_tower.vcd"], &[]).signal("two_tower/CLEAR_N"),
            "CLEAR_N"
        );
    }

    #[test]
    fn a_stroke_in_a_line_s_own_name_is_no_file() {
        assert_eq!(report(&["one.csv"], &["UP/DOWN"]).signal("UP/DOWN"), "UP/DOWN");
    }
}
