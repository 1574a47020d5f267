//! What was planted in a file of the demo.

use edgewitness::demo;
use edgewitness::demo::truth::CaptureTruth;

/// The truth of the demo's file `name`.
pub fn truth(name: &str) -> CaptureTruth {
    let (_, truths) = demo::captures();
    truths
        .into_iter()
        .find(|t| t.file == name)
        .expect("the demo knows this file")
}
