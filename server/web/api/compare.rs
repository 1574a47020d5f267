//! Before and after, for programs.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, RawQuery, State};

use crate::report::compare::CompareReport;
use crate::store::SessionId;
use crate::web::error::Failure;
use crate::web::state::App;
use crate::workflow::compare;
use crate::workflow::session::RunTallies;

/// The runs of one side, as asked for: `c` and a condition's id, `r` and the id of a run's first capture, `n` for
/// captures under no condition; several of them parted by commas or repeated.
pub fn side_of(query: &str, key: &str, all: &RunTallies) -> Vec<usize> {
    let wanted: Vec<&str> = query
        .split('&')
        .filter_map(|part| part.split_once('='))
        .filter(|(name, _)| *name == key)
        .flat_map(|(_, value)| value.split([',', '+']).flat_map(|value| value.split("%2C")))
        .collect();
    let is_wanted = |run: &usize| {
        let run = &all.runs[*run];
        wanted.iter().any(
            |word| match (word.get(..1), word.get(1..).and_then(|id| id.parse::<i64>().ok())) {
                (Some("n"), None) => run.condition.is_none(),
                (Some("c"), Some(id)) => run.condition.is_some_and(|condition| condition.0 == id),
                (Some("r"), Some(id)) => run.captures.first().is_some_and(|capture| capture.0 == id),
                _ => false,
            },
        )
    };
    (0..all.runs.len()).filter(is_wanted).collect()
}

async fn counted(app: Arc<App>, id: i64) -> Result<RunTallies, Failure> {
    let counted = app.counted_now(SessionId(id)).await?;
    counted.ok_or_else(|| Failure::no_capture(id))
}

/// What each run of the session counted. Waits for the counting.
pub async fn runs(State(app): State<Arc<App>>, Path(id): Path<i64>) -> Result<Json<RunTallies>, Failure> {
    Ok(Json(counted(app, id).await?))
}

/// Judges the runs of `before` against those of `after`. Waits for the counting.
pub async fn compare(
    State(app): State<Arc<App>>,
    Path(id): Path<i64>,
    RawQuery(query): RawQuery,
) -> Result<Json<CompareReport>, Failure> {
    let all = counted(app, id).await?;
    let query = query.unwrap_or_default();
    let sides = [side_of(&query, "before", &all), side_of(&query, "after", &all)];
    for (side, word) in sides.iter().zip(["before", "after"]) {
        if side.is_empty() {
            return Err(Failure::wrong(format!(
                "Expected {word}=c and a condition's id, or {word}=r and the id of a run's first capture, found no run by it."
            )));
        }
    }
    Ok(Json(compare::report(&all.tallies, &sides[0], &sides[1])))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::EntryId;
    use crate::workflow::session::RunOf;

    #[test]
    fn sides_are_named_by_condition_or_by_run() {
        let run = |condition: Option<i64>, captures: &[i64]| RunOf {
            condition: condition.map(EntryId),
            captures: captures.iter().map(|&id| EntryId(id)).collect(),
            trouble: None,
        };
        let all = RunTallies {
            runs: vec![
                run(None, &[1]),
                run(Some(5), &[2, 3]),
                run(Some(5), &[4]),
                run(Some(6), &[7]),
            ],
            tallies: Default::default(),
            unreadable: Vec::new(),
        };
        let of = |query: &str| side_of(query, "before", &all);
        assert_eq!(of("before=c5&after=c6"), [1, 2]);
        assert_eq!(of("before=n"), [0]);
        assert_eq!(of("before=r4&before=r7"), [2, 3]);
        assert_eq!(of("before=r4%2Cr7"), [2, 3]);
        assert_eq!(of("before=r3&before=%C3%A4&after=c5"), [0usize; 0]);
    }
}
