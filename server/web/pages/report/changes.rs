//! What each change of conditions did, in short: the whole comparison shows the last one.

use super::comparison;
use crate::store::{SessionId, Store};
use crate::web::error::Failure;
use crate::web::pages::before_after::Choice;
use crate::workflow::session::RunTallies;

/// One change of conditions in short.
pub(super) struct ChangeView {
    pub headline: String,
    /// Verdict, and the sentence.
    pub troubles: Vec<(&'static str, String)>,
}

/// The changes that the whole comparison does not show: each condition against the one before it, and the last against the
/// first.
pub(super) fn changes(
    store: &Store,
    id: SessionId,
    counted: &RunTallies,
) -> Result<Vec<ChangeView>, Failure> {
    let whole = comparison(store, id, counted, "")?;
    let is_shown = |[before, after]: &[&String; 2]| {
        let stands = |side: &[Choice], value: &String| side.iter().any(|c| c.is_set && c.value == *value);
        stands(&whole.before, before) && stands(&whole.after, after)
    };
    let conditions: Vec<&String> = whole.before.iter().map(|choice| &choice.value).collect();
    let [first, .., last] = conditions.as_slice() else {
        return Ok(Vec::new());
    };
    let consecutive = conditions.windows(2).map(|pair| [pair[0], pair[1]]);
    let mut pairs: Vec<[&String; 2]> = consecutive.collect();
    if conditions.len() > 2 {
        pairs.push([*first, *last]);
    }
    pairs.retain(|pair| !is_shown(pair));
    let change = |[before, after]: [&String; 2]| {
        let compared = comparison(store, id, counted, &format!("before={before}&after={after}"))?;
        Ok(ChangeView {
            headline: compared.headline,
            troubles: compared
                .troubles
                .into_iter()
                .map(|trouble| (trouble.verdict, trouble.says))
                .collect(),
        })
    };
    pairs.into_iter().map(change).collect()
}
