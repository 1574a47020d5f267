//! Captures → files in forms that other programs read, by the file's ending and its name.

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use crate::export::tables::{Which, edges};
use crate::export::{changes, parquet, vcd};
use crate::model::Capture;
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
}

impl What {
    /// The words that choose, in the order of a help text.
    pub const WORDS: [&str; 5] = ["capture", "strays", "couplings", "links", "lags"];

    pub fn from_word(word: &str) -> Option<What> {
        if word == "capture" {
            return Some(What::Capture);
        }
        Which::ALL
            .into_iter()
            .find(|which| which.word() == word)
            .map(What::Table)
    }

    /// Whether the answers are needed, not only the lines.
    pub fn needs_report(self) -> bool {
        matches!(self, What::Table(_))
    }
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
    let table = match (form, what, report) {
        (Form::Vcd, ..) => return vcd::write(capture, out),
        (Form::Csv, What::Capture, _) => return changes::write_csv(capture, out).map(|()| Vec::new()),
        (_, What::Capture, _) => edges(capture),
        (_, What::Table(which), Some(report)) => which.of(report),
        (_, What::Table(which), None) => {
            let message = format!("{} come from an answer, and there is none", which.word());
            return Err(io::Error::new(io::ErrorKind::InvalidInput, message));
        }
    };
    match form {
        Form::Json => table.write_json(out)?,
        Form::Parquet => parquet::write(&table, out)?,
        Form::Csv | Form::Vcd => table.write_csv(out)?,
    }
    Ok(Vec::new())
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
        assert_eq!(What::WORDS.map(|word| What::from_word(word).is_some()), [true; 5]);
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
}
