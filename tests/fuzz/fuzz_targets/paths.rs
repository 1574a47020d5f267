#![no_main]
//! Any bytes in a file: the fast path says what the general one says. The first byte chooses a sound beginning.

use edgewitness::ingest::{ReadOptions, read_file};

const STARTS: [&str; 4] = [
    "",
    "$timescale 1 ns $end $var wire 1 ! a $end $var wire 1 aa c $end $var wire 4 \" b [3:0] $end $var real 64 # r $end \
     $enddefinitions $end\n#0\n0!\n0aa\nb0 \"\n#12345678\n1!\n",
    "Time (s),A,B\n0.000000000,0,1\n0.000000100,0,1\n0.000000200,1,1\n0.000000300,1,1\n",
    "Time (s);A;V [V]\n0.000000000;0;0.125\n0.000000100;0;4.500\n0.000000200;1;4.250\n0.000000300;1;4.125\n",
];

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let Some((&start, rest)) = bytes.split_first() else { return };
    let path = std::env::temp_dir().join(format!("edgewitness-fuzz-{}", std::process::id()));
    let text = [STARTS[usize::from(start) % STARTS.len()].as_bytes(), rest].concat();
    std::fs::write(&path, text).expect("a temporary file can be written");
    let plain = ReadOptions {
        plain: true,
        ..ReadOptions::default()
    };
    match (read_file(&path, &ReadOptions::default(), &()), read_file(&path, &plain, &())) {
        (Ok(fast), Ok(plain)) => {
            assert_eq!((fast.lines.len(), fast.span), (plain.lines.len(), plain.span));
            for (a, b) in fast.lines.iter().zip(&plain.lines) {
                assert_eq!(a.edges[..], b.edges[..]);
                assert_eq!((a.first, &a.flips, &a.stretches), (b.first, &b.flips, &b.stretches));
                assert_eq!((a.tally(), &a.runts), (b.tally(), &b.runts));
            }
        }
        (fast, plain) => assert_eq!(fast.map(|_| ()).map_err(|e| e.to_string()), plain.map(|_| ()).map_err(|e| e.to_string())),
    }
});
