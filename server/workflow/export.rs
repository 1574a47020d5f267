//! Captures → files in forms that other programs read, by the file's ending and its name.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use crate::analysis::coupling::all_pairs::{LONGEST_REACH, lag_table};
use crate::export::tables::{Which, edges};
use crate::export::{Cells, Table, changes, parquet, vcd};
use crate::model::Capture;
use crate::model::units::seconds;
use crate::report::inspect::InspectReport;

/// The form of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    Vcd,
    Csv,
    Json,
    Parquet,
}

/// What goes out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// The lines themselves: VCD, a change list as CSV, a table of edges as JSON or Parquet.
    Capture,
    Table(Which),
    /// How often an edge of each line came each lag after one of each other: what may be coupled, before any judgement.
    Pairs,
}

impl What {
    /// The words that choose, in the order of a help text.
    pub const WORDS: [&str; 6] = ["capture", "strays", "couplings", "links", "lags", "pairs"];

    /// `None` for a word that is none of [`WORDS`](What::WORDS).
    pub fn from_word(word: &str) -> Option<What> {
        match word {
            "capture" => Some(What::Capture),
            "pairs" => Some(What::Pairs),
            _ => {
                let which = Which::ALL.into_iter().find(|which| which.word() == word);
                which.map(What::Table)
            }
        }
    }

    /// Whether the answers are needed, not only the lines.
    pub fn needs_report(self) -> bool {
        matches!(self, What::Table(_))
    }
}

/// Why the lines that `report` is of can't go out together: some stand on clocks of their own, and a file of lines has one
/// column of times. `None` where nothing is in the way. What is to be done instead follows the sentence.
pub fn on_two_clocks(report: &InspectReport) -> Option<String> {
    let first = &report.captures.first()?.file;
    (!report.unjoined.is_empty()).then(|| {
        format!(
            "{first} with {}: expected captures on one clock, found clocks that nothing joins: their lines in one file would stand \
             beside each other at times that have nothing to do with one another",
            report.unjoined.join(", ")
        )
    })
}

/// Form and content by a file's name: the ending is the form; `strays.csv` holds strays, and so on; any other
/// name holds the capture. `what` overrides the name.
///
/// # Errors
/// A sentence: the ending is not one of ours, or the form can't hold the content.
pub fn choose(to: &Path, what: Option<What>) -> Result<(Form, What), String> {
    let ending = to
        .extension()
        .unwrap_or_default()
        .to_string_lossy()
        .to_lowercase();
    let form = match ending.as_str() {
        "vcd" => Form::Vcd,
        "csv" => Form::Csv,
        "json" => Form::Json,
        "parquet" => Form::Parquet,
        _ => {
            return Err(format!(
                "{}: expected a name that ends with .vcd, .csv, .json or .parquet",
                to.display()
            ));
        }
    };
    let stem = to
        .file_stem()
        .unwrap_or_default()
        .to_string_lossy()
        .to_lowercase();
    let what = what.or_else(|| What::from_word(&stem)).unwrap_or(What::Capture);
    if form == Form::Vcd && what != What::Capture {
        return Err(format!(
            "{}: a VCD holds the capture only; use .csv, .json or .parquet",
            to.display()
        ));
    }
    Ok((form, what))
}

/// Writes to `out`; gives sentences about what the form could not hold. `report` is used for tables only.
///
/// # Errors
/// What `out` gives.
pub fn write(
    form: Form,
    what: What,
    capture: &Capture,
    report: Option<&InspectReport>,
    out: impl Write + Send,
) -> io::Result<Vec<String>> {
    match (form, what) {
        (Form::Vcd, _) => vcd::write(capture, out),
        (Form::Csv, What::Capture) => {
            changes::write_csv(capture, out)?;
            Ok(lost_in_a_list(capture).into_iter().collect())
        }
        _ => write_table(form, &table(what, capture, report)?, out).map(|()| Vec::new()),
    }
}

/// What a list of changes can't say of lines that several instruments recorded; the comments of a VCD say it.
fn lost_in_a_list(capture: &Capture) -> Option<String> {
    let sampled = capture.lines.iter().filter(|line| !line.interpolated);
    let mut periods: Vec<f64> = sampled.map(|line| line.sample_ticks).collect();
    periods.sort_by(f64::total_cmp);
    periods.dedup();
    (periods.len() > 1).then(|| {
        let known = periods.iter().filter(|ticks| **ticks > 0.0);
        let words: Vec<String> = known
            .map(|ticks| seconds(capture.timebase.length_s(*ticks)))
            .collect();
        format!(
            "the list can't say how each line was sampled (every {}): read again, its strays, lags and links may come out \
             otherwise than those of the captures it was made from; a VCD says it in its comments",
            words.join(", every ")
        )
    })
}

/// Whether a file of that form and content can hold several runs, told apart by a column: any but the lines as VCD or as a
/// list of changes, which are of one clock.
pub fn holds_runs(form: Form, what: What) -> bool {
    !matches!((form, what), (Form::Vcd, _) | (Form::Csv, What::Capture))
}

/// What goes out of one run, as a table.
///
/// # Errors
/// There is no `report` and the table is one of it, or the capture has too many lines for its pairs.
pub fn table(what: What, capture: &Capture, report: Option<&InspectReport>) -> io::Result<Table> {
    match (what, report) {
        (What::Capture, _) => Ok(edges(capture)),
        (What::Pairs, _) => pairs(capture),
        (What::Table(which), Some(report)) => Ok(which.of(report)),
        (What::Table(which), None) => {
            let message = format!("{} come from an answer, and there is none", which.word());
            Err(io::Error::new(io::ErrorKind::InvalidInput, message))
        }
    }
}

/// Writes a table in a form.
///
/// # Errors
/// What `out` gives.
pub fn write_table(form: Form, table: &Table, out: impl Write + Send) -> io::Result<()> {
    match form {
        Form::Json => table.write_json(out),
        Form::Parquet => parquet::write(table, out),
        Form::Csv | Form::Vcd => table.write_csv(out),
    }
}

/// Lags between lines that are counted, and the width of a bin, in seconds: finer where a tick or a sample is coarser.
const PAIR_REACH_S: f64 = 200e-9;
const PAIR_BIN_S: f64 = 5e-9;
/// Lines whose pairs are counted at most: the counts grow with their square.
const MOST_PAIRED: usize = 256;

/// One row a bin that holds anything: `line`, `after`, `[bin_start_s, bin_end_s)`, `edges` of `line` that came so long
/// after one of `after`.
fn pairs(capture: &Capture) -> io::Result<Table> {
    if capture.lines.len() > MOST_PAIRED {
        let message = format!(
            "{} lines: expected at most {MOST_PAIRED}, for every two of them have a table of their own; name fewer of them in the setup or in the file",
            capture.lines.len()
        );
        return Err(io::Error::new(io::ErrorKind::InvalidInput, message));
    }
    let sampling = capture.lines.iter().map(|l| l.sample_ticks).fold(1.0, f64::max);
    let bin = capture
        .timebase
        .ticks_of(PAIR_BIN_S)
        .max(sampling)
        .ceil()
        .min(LONGEST_REACH as f64) as i64;
    let wanted = (capture.timebase.ticks_of(PAIR_REACH_S) as i64 / bin).max(4);
    let reach = wanted.min(LONGEST_REACH / bin).max(1) * bin;
    let columns: Vec<Vec<i64>> = capture
        .lines
        .iter()
        .map(|line| line.edges.iter().map(|t| t.0).collect())
        .collect();
    let slices: Vec<&[i64]> = columns.iter().map(Vec::as_slice).collect();
    let table = lag_table(&slices, reach, bin);
    let (mut line, mut after, mut start, mut end, mut count) = (vec![], vec![], vec![], vec![], vec![]);
    for (a, earlier) in capture.lines.iter().enumerate() {
        for (b, later) in capture.lines.iter().enumerate().filter(|(b, _)| *b != a) {
            for (i, &n) in table.of(a, b).iter().enumerate().filter(|(_, n)| **n > 0) {
                let from = (i as i64 * bin - reach) as f64 * capture.timebase.tick_s();
                line.push(Some(later.name.clone()));
                after.push(Some(earlier.name.clone()));
                start.push(Some(from));
                end.push(Some(from + bin as f64 * capture.timebase.tick_s()));
                count.push(i64::try_from(n).ok());
            }
        }
    }
    Ok(Table {
        columns: vec![
            ("line", Cells::Text(line)),
            ("after", Cells::Text(after)),
            ("bin_start_s", Cells::Real(start)),
            ("bin_end_s", Cells::Real(end)),
            ("edges", Cells::Count(count)),
        ],
    })
}

/// Writes the file `to` whole or not at all: into a file beside it that then takes its name.
///
/// # Errors
/// The disk's own; the file that was there is then unharmed.
pub fn write_file<R>(to: &Path, write: impl FnOnce(&mut BufWriter<File>) -> io::Result<R>) -> io::Result<R> {
    let mut name = to.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{}.part", std::process::id()));
    let beside: PathBuf = to.with_file_name(name);
    let done = (|| {
        let mut out = BufWriter::with_capacity(256 * 1024, File::create(&beside)?);
        let result = write(&mut out)?;
        out.into_inner()?.sync_all()?;
        fs::rename(&beside, to)?;
        Ok(result)
    })();
    if done.is_err() {
        let _ = fs::remove_file(&beside);
    }
    done
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ingest::{self, ReadOptions};

    #[test]
    fn the_name_says_form_and_content() {
        let chosen = |name: &str| choose(Path::new(name), None);
        assert_eq!(chosen("out/a.VCD"), Ok((Form::Vcd, What::Capture)));
        assert_eq!(chosen("strays.csv"), Ok((Form::Csv, What::Table(Which::Strays))));
        assert_eq!(chosen("evening.parquet"), Ok((Form::Parquet, What::Capture)));
        let lags = Some(What::Table(Which::Lags));
        assert_eq!(
            choose(Path::new("a.json"), lags),
            Ok((Form::Json, What::Table(Which::Lags)))
        );
        assert!(chosen("a.xlsx").unwrap_err().contains(".parquet"));
        assert!(chosen("strays.vcd").unwrap_err().contains("capture only"));
        assert_eq!(What::WORDS.map(|word| What::from_word(word).is_some()), [true; 6]);
    }

    #[test]
    fn a_file_is_written_whole_or_not_at_all() {
        let folder = tempfile::tempdir().unwrap();
        let to = folder.path().join("a.csv");
        write_file(&to, |out| out.write_all(b"first")).unwrap();
        let broken: io::Result<()> = write_file(&to, |out| {
            out.write_all(b"sec")?;
            Err(io::Error::other("broken off"))
        });
        assert!(broken.is_err());
        assert_eq!(fs::read(&to).unwrap(), b"first");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn pairs_count_how_often_a_line_follows_another() {
        let text =
            "time,STEP,TUNE_Q0\n0,0,0\n1e-6,1,0\n1.02e-6,1,1\n2e-6,0,1\n3e-6,1,1\n3.02e-6,1,0\n4e-6,0,0\n";
        let capture = ingest::read_bytes("a.csv", text.into(), &ReadOptions::default()).unwrap();
        let mut out = Vec::new();
        write(Form::Csv, What::Pairs, &capture, None, &mut out).unwrap();
        let out = String::from_utf8(out).unwrap();
        let follows = |line: &&str| line.starts_with("TUNE_Q0,STEP,") && line.ends_with(",2");
        let row = out.lines().find(follows).unwrap_or_else(|| panic!("{out}"));
        let bounds: Vec<f64> = row
            .split(',')
            .skip(2)
            .take(2)
            .map(|c| c.parse().unwrap())
            .collect();
        assert!(bounds[0] <= 20.0001e-9 && bounds[1] > 19.9999e-9, "{row}");
        assert_eq!(choose(Path::new("pairs.csv"), None), Ok((Form::Csv, What::Pairs)));
        assert_eq!(out.lines().count(), 3, "{out}");
    }
}
