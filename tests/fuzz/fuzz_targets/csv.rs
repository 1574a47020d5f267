#![no_main]
//! Any rows under sound headings: edges ascend.

use edgewitness::ingest::{ReadOptions, preview_bytes, read_bytes};

libfuzzer_sys::fuzz_target!(|rows: &[u8]| {
    let mut text = b"Time (s),A,B\n0.0,0,1\n0.1,0,1\n".to_vec();
    text.extend_from_slice(rows);
    let _ = preview_bytes("fuzz", text.clone(), &ReadOptions::default());
    if let Ok(capture) = read_bytes("fuzz", text, &ReadOptions::default()) {
        for line in &capture.lines {
            assert!(line.edges.windows(2).all(|w| w[0] < w[1]));
        }
    }
});
