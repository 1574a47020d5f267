#![no_main]
//! Any setup text: settings, or a mistake of one line.

libfuzzer_sys::fuzz_target!(|text: &str| {
    if let Err(error) = edgewitness::setup::Setup::parse(text, "setup.toml") {
        assert!(!error.to_string().contains('\n'));
    }
});
