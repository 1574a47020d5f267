//! How a session's diagram is looked at: lines in their order, dimension lines. One for each session.
//!
//! Not in the journal: putting a line elsewhere is nothing that undoing in the bench log should meet.

use rusqlite::{OptionalExtension, params};
use serde::{Deserialize, Serialize};

use super::sessions::{from_json, to_json};
use super::{Error, Kind, SessionId, Store, now_ms};

/// Most bytes of one session's view, as JSON.
const LIMIT_BYTES: usize = 1 << 20;

/// What is kept of a diagram.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(default)]
pub struct DiagramView {
    /// Lines and buses in their order with what a person said of each; the page's own, null before any change.
    #[schema(value_type = Object)]
    pub arrangement: serde_json::Value,
    /// Kinds of evidence that are hidden.
    pub hidden: Vec<String>,
    pub dimensions: Vec<DimensionLine>,
}

/// A dimension line: from a moment on a line to another.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(default)]
pub struct DimensionLine {
    /// Seconds on the session's clock.
    pub from_s: f64,
    pub to_s: f64,
    /// The lines at whose edges it ends; null where it ends at no edge.
    pub from_line: Option<String>,
    pub to_line: Option<String>,
    /// The most that time may be off, both ends together.
    pub uncertainty_s: f64,
}

impl Kind for DiagramView {
    const KIND: &'static str = "diagram-view";

    fn check(&self) -> Result<(), Error> {
        let is_number = |line: &DimensionLine| {
            [line.from_s, line.to_s, line.uncertainty_s]
                .iter()
                .all(|s| s.is_finite())
        };
        if !self.dimensions.iter().all(is_number) {
            return Err(Error::Invalid(
                "expected dimension lines whose ends are numbers".to_owned(),
            ));
        }
        if to_json(self).len() > LIMIT_BYTES {
            return Err(Error::Invalid(format!(
                "expected a view of at most {LIMIT_BYTES} bytes"
            )));
        }
        Ok(())
    }
}

impl Store {
    /// The session's view; an empty one before it was ever set.
    ///
    /// # Errors
    /// No such session, or the disk's own.
    pub fn diagram_view(&self, session: SessionId) -> Result<DiagramView, Error> {
        self.session(session)?;
        let held = self.connection().query_row(
            "SELECT body FROM entry WHERE kind = ?1 AND session = ?2 AND binned_ms IS NULL ORDER BY id LIMIT 1",
            params![DiagramView::KIND, session.0],
            |row| row.get::<_, String>(0),
        );
        match held.optional()? {
            Some(body) => from_json(&body, || format!("{} of session {session}", DiagramView::KIND)),
            None => Ok(DiagramView::default()),
        }
    }

    /// Sets the session's view, in place of the one before.
    ///
    /// # Errors
    /// A view that can't be kept, no such session, or the disk's own.
    pub fn set_diagram_view(&self, session: SessionId, view: &DiagramView) -> Result<(), Error> {
        view.check()?;
        self.session(session)?;
        let connection = self.connection();
        let (body, now) = (to_json(view), now_ms());
        let changed = connection.execute(
            "UPDATE entry SET body = ?3, changed_ms = ?4 WHERE kind = ?1 AND session = ?2",
            params![DiagramView::KIND, session.0, body, now],
        )?;
        if changed == 0 {
            connection.execute(
                "INSERT INTO entry (session, kind, position, body, created_ms, changed_ms)
                     VALUES (?1, ?2, 1, ?3, ?4, ?4)",
                params![session.0, DiagramView::KIND, body, now],
            )?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::test_evening;

    #[test]
    fn a_view_is_kept_and_is_nothing_to_undo() {
        let (_folder, store, id) = test_evening();
        assert_eq!(store.diagram_view(id).unwrap(), DiagramView::default());
        let mut view = DiagramView {
            arrangement: serde_json::json!({ "items": [] }),
            ..DiagramView::default()
        };
        store.set_diagram_view(id, &view).unwrap();
        view.dimensions.push(DimensionLine {
            from_s: 1e-9,
            to_s: 3e-9,
            from_line: Some("STEP".to_owned()),
            ..DimensionLine::default()
        });
        store.set_diagram_view(id, &view).unwrap();
        assert_eq!(store.diagram_view(id).unwrap(), view);
        assert_eq!(store.undo(id).unwrap(), None);
        view.dimensions[0].to_s = f64::NAN;
        assert!(store.set_diagram_view(id, &view).is_err());
        assert!(store.diagram_view(SessionId(99)).is_err());
    }
}
