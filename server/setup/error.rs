//! A mistake in a setup file, with its place.

/// What is wrong and where: `line` and `column` count from 1.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}, line {line}, column {column}: {message}")]
pub struct Error {
    pub file: String,
    /// From 1, in characters for the column.
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
            message: on_one_line(&message.into()),
        }
    }
}

/// What a text of the file brings in may hold line breaks and other controls: told as TOML would write them.
fn on_one_line(message: &str) -> String {
    let told = |letter: char| match letter.is_control() {
        true => letter.escape_default().collect(),
        false => letter.to_string(),
    };
    message.chars().map(told).collect()
}

#[cfg(test)]
mod tests {
    use crate::setup::Setup;

    #[test]
    fn a_message_is_one_line_whatever_the_file_holds() {
        for text in [
            "[line.A]\nnarrow_below = \"5 n\\ns\"\n",
            "[line.A]\nfamily = \"ttl\\r\\u0007\"\n",
            "[[limit]]\nkind = \"a\\nb\"\n",
        ] {
            let error = Setup::parse(text, "setup.toml").expect_err(text).to_string();
            assert!(!error.contains(char::is_control), "{error:?}");
        }
    }
}
