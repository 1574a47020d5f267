//! The demo's files, as `sample-captures/` holds them.

/// The text of one, which must be there.
pub fn sample(name: &str) -> String {
    let path = format!("{}/sample-captures/{name}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{path}: {error}"))
}
