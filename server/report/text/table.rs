//! Tables aligned for reading in a terminal.

/// Where the cells of a column stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    Left,
    Right,
}

/// Rows of cells under headings; columns as wide as their widest cell, two spaces between.
pub struct Table {
    headings: Vec<(String, Align)>,
    rows: Vec<Vec<String>>,
}

impl Table {
    /// A table without rows; each heading says how its column is set.
    pub fn new(headings: &[(&str, Align)]) -> Table {
        let headings = headings
            .iter()
            .map(|(text, align)| ((*text).to_owned(), *align))
            .collect();
        Table {
            headings,
            rows: Vec::new(),
        }
    }

    /// Adds a row of as many cells as there are headings; control characters are shown as `·`.
    pub fn row(&mut self, cells: Vec<String>) {
        debug_assert_eq!(cells.len(), self.headings.len());
        self.rows.push(cells.iter().map(|cell| printable(cell)).collect());
    }

    /// Whether there is no row.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The table as text, each line ended by a line feed, indented by `indent` spaces.
    pub fn render(&self, indent: usize) -> String {
        let width = |column: usize| {
            let cells = self.rows.iter().map(|row| row[column].chars().count());
            cells
                .chain([self.headings[column].0.chars().count()])
                .max()
                .unwrap_or(0)
        };
        let widths: Vec<usize> = (0..self.headings.len()).map(width).collect();
        let headings: Vec<String> = self.headings.iter().map(|(text, _)| text.clone()).collect();
        let mut text = String::new();
        for row in std::iter::once(&headings).chain(&self.rows) {
            let mut line = " ".repeat(indent);
            for (column, cell) in row.iter().enumerate() {
                let pad = " ".repeat(widths[column] - cell.chars().count());
                match self.headings[column].1 {
                    Align::Left => line.extend([cell.as_str(), &pad]),
                    Align::Right => line.extend([pad.as_str(), cell]),
                }
                line.push_str("  ");
            }
            text.push_str(line.trim_end());
            text.push('\n');
        }
        text
    }
}

/// Text from a file, safe for a terminal: control characters become `·`, so no escape sequence gets through.
pub fn printable(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { '·' } else { c })
        .collect()
}

/// Breaks a sentence into lines of at most `width` characters, each indented by `indent` spaces.
pub fn wrapped(text: &str, width: usize, indent: usize) -> String {
    let mut out = String::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let length = line.chars().count();
        if length > 0 && indent + length + 1 + word.chars().count() > width {
            out.push_str(&format!("{}{line}\n", " ".repeat(indent)));
            line.clear();
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(&printable(word));
    }
    if !line.is_empty() {
        out.push_str(&format!("{}{line}\n", " ".repeat(indent)));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_as_wide_as_their_widest_cell() {
        let mut table = Table::new(&[("line", Align::Left), ("edges", Align::Right)]);
        table.row(vec!["CLEAR_N".into(), "7".into()]);
        table.row(vec!["µ".into(), "1200".into()]);
        assert_eq!(
            table.render(1),
            " line     edges\n CLEAR_N      7\n µ         1200\n"
        );
    }

    #[test]
    fn escape_sequences_from_a_file_do_not_reach_the_terminal() {
        assert_eq!(printable("A\u{1b}[31mB"), "A·[31mB");
        assert_eq!(wrapped("one two three", 9, 2), "  one two\n  three\n");
    }
}
