//! Captures of a session that can't be read: they are told, and the others are looked at without them.

use serde::{Deserialize, Serialize};

use crate::analysis::findings::{Finding, Severity};
use crate::ingest::{self, ErrorKind};
use crate::model::Capture;
use crate::store::{self, EntryId};

use super::stored;

/// Topic of the finding that tells of such a capture.
pub const TOPIC: &str = "reading";

/// A capture that can't be read as it is, and why.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Unreadable {
    pub capture: EntryId,
    pub file: String,
    /// File, place, what was expected, what to do.
    pub sentence: String,
}

impl Unreadable {
    /// Whether saying how to read it may help: it is of no other kind altogether.
    pub fn may_be_read(&self) -> bool {
        !self.sentence.contains(ingest::NO_CAPTURE)
    }

    /// A warning: the capture is not among those that were looked at.
    pub fn finding(&self) -> Finding {
        let first = match self.may_be_read() {
            true => {
                "Say on the page of the capture how it is to be read, or put it into the bin: it can be taken out again."
            }
            false => "Put it into the bin: it can be taken out again.",
        };
        Finding {
            severity: Severity::Warning,
            topic: TOPIC,
            lines: Vec::new(),
            title: format!("{} can't be read, and is not looked at.", self.file),
            detail: self.sentence.clone(),
            try_next: vec![
                first.to_owned(),
                "Export it from the instrument again, as VCD or CSV.".to_owned(),
            ],
        }
    }
}

/// What came of reading the captures of a session.
#[derive(Default)]
pub struct AllRead {
    /// One for each capture, in their order; `None` for one that can't be read.
    pub captures: Vec<Option<Capture>>,
    /// The others, in their order.
    pub unreadable: Vec<Unreadable>,
}

/// Why one capture was not read.
#[derive(Debug, thiserror::Error)]
pub enum NotRead {
    /// It can't be read as it is: so it stays until somebody says how to read it.
    #[error("{0}")]
    AsItIs(String),
    /// The disk or the store failed: the next time it may go well.
    #[error("{0}")]
    ThisTime(String),
}

impl From<stored::Error> for NotRead {
    fn from(error: stored::Error) -> NotRead {
        use std::io::ErrorKind::{InvalidData, InvalidInput, UnexpectedEof};
        let is_the_file_s = match &error {
            stored::Error::Store(store::Error::NotFound { .. } | store::Error::Damaged { .. })
            | stored::Error::Changed { .. } => true,
            stored::Error::Store(_) => false,
            // What is packed wrongly or cut off shows as an error of reading.
            stored::Error::File(ingest::Error { kind, .. }) => match kind {
                ErrorKind::Io(cause) => matches!(cause.kind(), InvalidData | InvalidInput | UnexpectedEof),
                ErrorKind::Cancelled | ErrorKind::Spill(_) => false,
                _ => true,
            },
        };
        match is_the_file_s {
            true => NotRead::AsItIs(error.to_string()),
            false => NotRead::ThisTime(error.to_string()),
        }
    }
}
