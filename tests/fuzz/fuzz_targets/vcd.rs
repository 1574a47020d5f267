#![no_main]
//! Any changes under a sound header: edges ascend.

use edgewitness::ingest::{ReadOptions, read_bytes};

libfuzzer_sys::fuzz_target!(|changes: &[u8]| {
    let mut text = b"$timescale 1 ns $end $var wire 1 ! a $end $var wire 4 \" b [3:0] $end $var real 64 # r $end \
                     $enddefinitions $end\n"
        .to_vec();
    text.extend_from_slice(changes);
    if let Ok(capture) = read_bytes("fuzz", text, &ReadOptions::default()) {
        for line in &capture.lines {
            assert!(line.edges.windows(2).all(|w| w[0] < w[1]));
        }
    }
});
