//! Bytes → [`crate::model::Capture`]; knows model only; no web, no store, no async.
