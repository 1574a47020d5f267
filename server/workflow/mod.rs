//! The only place that joins ingest, setup, analysis, report and store.
