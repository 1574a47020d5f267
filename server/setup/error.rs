//! A mistake in a setup file, with its place.

/// What is wrong and where: `line` and `column` count from 1.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}, line {line}, column {column}: {message}")]
pub struct Error {
    pub file: String,
    pub line: usize,
    pub column: usize,
    /// One sentence, without line breaks: found, expected, what to do.
    pub message: String,
}

impl Error {
    /// A mistake at byte `offset` of `text`.
    pub fn at(file: &str, text: &str, offset: usize, message: impl Into<String>) -> Error {
        let before = &text[..text.floor_char_boundary(offset.min(text.len()))];
        let line_start = before.rfind('\n').map_or(0, |i| i + 1);
        Error {
            file: file.to_owned(),
            line: before.matches('\n').count() + 1,
            column: before[line_start..].chars().count() + 1,
            message: message.into(),
        }
    }
}
