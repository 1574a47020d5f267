#![no_main]
//! Any bytes: an error of one line, or a capture.

use edgewitness::ingest::{ReadOptions, read_bytes};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    if let Err(error) = read_bytes("fuzz", bytes.to_vec(), &ReadOptions::default()) {
        assert!(!error.to_string().contains('\n'));
    }
});
