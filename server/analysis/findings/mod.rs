//! Findings: one thing to say to the person, with what to try next.

/// How bad a finding is, worst first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    Fault,
    Warning,
    Note,
}

/// One thing to say to the person.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    pub severity: Severity,
    /// One of the contract's topics: `coupling`, `link`, `stuck`, `stray`, …
    pub topic: &'static str,
    /// Names of the lines it is about.
    pub lines: Vec<String>,
    /// A sentence that can be read aloud.
    pub title: String,
    /// The evidence in figures.
    pub detail: String,
    pub try_next: Vec<String>,
}
