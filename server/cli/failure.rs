//! An error as one line: what is wrong, where, what was expected, what to do.

use std::io::{Error, ErrorKind};
use std::path::Path;

/// All causes from the outermost in, each told once: an error may quote the cause that it carries. Without the numbers by
/// which the operating system knows its errors.
pub fn in_one_line(error: &anyhow::Error) -> String {
    let mut told = String::new();
    for cause in error.chain().map(ToString::to_string) {
        if !told.contains(&cause) {
            told = match told.is_empty() {
                true => cause,
                false => format!("{told}: {cause}"),
            };
        }
    }
    without_numbers(&told)
}

/// "No such file or directory (os error 2)" without what stands in brackets.
fn without_numbers(text: &str) -> String {
    let mut parts = text.split(" (os error ");
    let mut kept = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        kept.push_str(part.split_once(')').map_or(part, |(_, rest)| rest));
    }
    kept
}

/// Why the file `path`, `what` it was to be ("the setup file"), could not be read.
pub fn unread(path: &Path, what: &str, error: &Error) -> anyhow::Error {
    let why = match error.kind() {
        ErrorKind::NotFound => format!("there is no such file, expected {what}: check its name and folder"),
        ErrorKind::IsADirectory => format!("this is a folder, expected {what}: name the file inside it"),
        ErrorKind::PermissionDenied => {
            format!(
                "{what} may not be read by you: change its permissions, or copy it to a folder of your own"
            )
        }
        ErrorKind::InvalidData => {
            format!(
                "expected {what}, which is text in UTF-8, found other bytes: save it as UTF-8, or name another file"
            )
        }
        _ => {
            format!("{what} could not be read ({error}): check the disk it lies on, or copy it and try again")
        }
    };
    anyhow::anyhow!("{}: {why}", path.display())
}

/// Why nothing could be written at `path`, a file or, where `is_folder` says so, a folder.
pub fn unwritten(path: &Path, is_folder: bool, error: &Error) -> anyhow::Error {
    let above = path.parent().filter(|above| !above.as_os_str().is_empty());
    let why = match (error.kind(), above) {
        (ErrorKind::NotFound, Some(above)) if !above.exists() => {
            format!(
                "there is no folder {}: make it first, or name another",
                above.display()
            )
        }
        (ErrorKind::IsADirectory, _) => "it is a folder, expected the name of a file".to_owned(),
        (ErrorKind::AlreadyExists | ErrorKind::NotADirectory, _) if is_folder => {
            "it is a file or lies in one, expected a folder: name another".to_owned()
        }
        (ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem, _) => {
            "you may not write there: name a folder of your own".to_owned()
        }
        (ErrorKind::StorageFull | ErrorKind::QuotaExceeded, _) => {
            "the disk is full: make room and try again".to_owned()
        }
        _ => error.to_string(),
    };
    anyhow::anyhow!("{} could not be written: {why}", path.display())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cause_that_is_quoted_is_told_once_and_without_its_number() {
        let cause = Error::from_raw_os_error(2);
        let error = anyhow::Error::from(cause)
            .context("opening a (b) failed: No such file or directory (os error 2)");
        assert_eq!(
            in_one_line(&error),
            "opening a (b) failed: No such file or directory"
        );
        let error = anyhow::anyhow!("inner").context("outer");
        assert_eq!(in_one_line(&error), "outer: inner");
    }
}
