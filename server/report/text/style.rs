//! Emphasis on a terminal; plain text everywhere else.

/// Whether to emphasise. Meaning never hangs on it: every emphasised text also says its word.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Style {
    pub colour: bool,
}

impl Style {
    /// What is to be seen first.
    pub fn bold(&self, text: &str) -> String {
        self.wrap("1", text)
    }

    /// What misbehaves.
    pub fn fault(&self, text: &str) -> String {
        self.wrap("31", text)
    }

    /// What to look at.
    pub fn warning(&self, text: &str) -> String {
        self.wrap("33", text)
    }

    /// What to try, or what is fine.
    pub fn advice(&self, text: &str) -> String {
        self.wrap("36", text)
    }

    fn wrap(&self, code: &str, text: &str) -> String {
        if self.colour {
            format!("\u{1b}[{code}m{text}\u{1b}[0m")
        } else {
            text.to_owned()
        }
    }
}
