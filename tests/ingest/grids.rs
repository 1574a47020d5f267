//! Samples finer than they are written, and changes coarser than their unit: the sampling is found and told. What must come
//! out is known by construction.

use crate::reading::read;

/// 24 million samples a second written to the picosecond, with milliseconds between changes: the period is found, and
/// told, and edges are known as well as the samples are.
#[test]
fn a_rounded_grid_is_found_among_long_pauses() {
    let mut text = "Time (s),NOTE\n".to_owned();
    let (mut sample, mut truth) = (0u64, Vec::new());
    for i in 0..30u64 {
        text.push_str(&format!("{:.12},{}\n", sample as f64 / 24e6, i % 2));
        truth.push(sample as f64 / 24e6);
        sample += 15_190 + (i * 104_729) % 700_001;
    }
    let capture = read(&text);
    let period_s = capture.timebase.length_s(capture.resolution_ticks);
    assert!((period_s * 24e6 - 1.0).abs() < 1e-9, "{period_s}");
    let line = &capture.lines[0];
    assert_eq!(line.sample_ticks, capture.resolution_ticks);
    for (&edge, truth) in line.edges.iter().zip(&truth[1..]) {
        assert!((capture.seconds(edge) - truth).abs() < 1e-12);
    }
    assert!(
        capture.warnings.iter().any(|w| w.text.contains("24 MHz")),
        "{:?}",
        capture.warnings
    );
}

/// Changes of a VCD that all lie on a coarser grid than its unit: the resolution stays the unit's, the sampling is told.
#[test]
fn a_vcd_on_a_coarser_grid_says_its_sampling() {
    let mut text = "$timescale 1 ns $end $var wire 1 ! a $end $enddefinitions $end #0 0!\n".to_owned();
    let mut now = 0;
    for i in 0..40u64 {
        now += 5 * (3 + i * 7 % 11);
        text.push_str(&format!("#{now}\n{}!\n", (i + 1) % 2));
    }
    let capture = read(&text);
    assert_eq!(
        (capture.resolution_ticks, capture.lines[0].sample_ticks),
        (1.0, 5.0)
    );
    assert!(
        capture.warnings.iter().any(|w| w.text.contains("5 ns (200 MHz)")),
        "{:?}",
        capture.warnings
    );
}
