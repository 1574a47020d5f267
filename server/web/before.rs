//! What earlier conditions tell to later ones: kept as they are looked at, and looked for where nobody did.

use crate::report::inspect::{Finding, InspectReport, Severity};
use crate::store::{SessionId, Summary};
use crate::workflow::earlier::Told;
use crate::workflow::session::{Held, told_scope};

use super::error::Failure;
use super::state::App;
use super::work::{Step, look};

/// Whether the report tells of nothing wrong: what earlier conditions show to be narrow may be all that can be said.
pub(super) fn is_quiet(report: &InspectReport) -> bool {
    let is_note = |finding: &Finding| finding.severity == Severity::Note;
    report.findings.iter().all(is_note)
}

/// Looks at the conditions before that of `held` at which nobody looked yet; whether there were any.
///
/// # Errors
/// The disk's own; a condition that can't be read is passed over.
pub(super) fn look_before(
    app: &App,
    id: SessionId,
    held: &Held,
    tell: &(dyn Fn(Step) + Sync),
) -> Result<bool, Failure> {
    let mut any = false;
    for condition in held.conditions_before() {
        if app.store.latest_report(id, &told_scope(condition))?.is_some() {
            continue;
        }
        any = true;
        let before = Held::under(&app.store, id, condition, None)?;
        // One that can't be read tells nothing, and is not tried again with each look.
        if look(app, id, &before, tell).is_err() {
            keep_told(app, id, &before, &Told::default())?;
        }
    }
    Ok(any)
}

/// Keeps what the runs of a condition tell to later ones, where it is not kept already.
///
/// # Errors
/// The disk's own.
pub(super) fn keep_told(app: &App, id: SessionId, held: &Held, told: &Told) -> Result<(), Failure> {
    let scope = told_scope(held.condition());
    let json = serde_json::to_string(told).map_err(Failure::ours)?;
    if app.store.latest_report(id, &scope)?.as_ref() == Some(&json) {
        return Ok(());
    }
    let none = Summary::default();
    Ok(app
        .store
        .save_report(id, &scope, "", held.changed_ms, &json, &none)?)
}
