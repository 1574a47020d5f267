//! The demo: the sequencer of a tower carillon, simulated with faults whose truth is known.
//!
//! | module | what it is for |
//! | --- | --- |
//! | [`wires`] | nets, edges to the picosecond, the queue of what will happen |
//! | [`boards`] | sequencer, tune memory, striker driver, keyboard panel: each answers edges with gate delays and jitter |
//! | [`harness`] | connectors, pins and neighbours; the ribbon that couples, the contact that loses pulses |
//! | [`machine`] | all of it together, run with planted faults |
//! | [`instrument`] | sampling: period, clock offset, drift; narrow pulses may be missed |
//! | [`multiplexer`] | the panel's key multiplexer with an open select pin: a wrong truth table |
//! | [`supply`] | the five-volt supply in volts: it sags in the tower |
//! | [`export`] | VCD, table of samples, list of changes |
//! | [`truth`] | what was planted, in the words of the report |
//!
//! [`files`] gives everything that `sample-captures/` holds; the same bytes on every machine.

pub mod boards;
pub mod export;
pub mod harness;
pub mod instrument;
pub mod machine;
pub mod multiplexer;
pub mod random;
pub mod supply;
pub mod truth;
pub mod wires;

use std::io;
use std::path::Path;

use export::{changes_csv, samples_csv, vcd};
use instrument::Instrument;
use machine::{Faults, Pace, Plan, Run, run};
use truth::{CaptureTruth, truth};
use wires::Net;

use crate::model::Ticks;

/// One file of the demo.
#[derive(Clone, Debug)]
pub struct DemoFile {
    pub name: &'static str,
    pub text: String,
    /// A sentence on what is in it.
    pub about: String,
}

/// What `serve --demo` opens. Names are those of [`files`].
pub struct DemoSession {
    pub title: &'static str,
    pub setup: &'static str,
    pub harness: &'static str,
    /// The captures to open with, and the condition they were taken under.
    pub as_found: (&'static str, &'static [&'static str]),
    /// The same after the fix.
    pub after: (&'static str, &'static [&'static str]),
    /// A capture by another instrument of the same run as `as_found`, and the line both have.
    pub other_instrument: (&'static str, &'static str),
}

/// A further session of the demo: another trouble of the same machine, on captures of its own.
pub struct SideSession {
    pub title: &'static str,
    pub job: &'static str,
    pub setup: &'static str,
    pub capture: &'static str,
}

/// What else the demo's data folder holds, beside [`SESSION`].
pub const SIDE_SESSIONS: [SideSession; 2] = [
    SideSession {
        title: "Key multiplexer, fourth evening",
        job: "Some keys of the panel play the wrong bell.",
        setup: "key-multiplexer.toml",
        capture: "key-multiplexer.csv",
    },
    SideSession {
        title: "Supply in the tower, fourth evening",
        job: "Strikes grow faint when several hammers are lifted.",
        setup: "supply.toml",
        capture: "supply.csv",
    },
];

/// The session that `serve --demo` opens with.
pub const SESSION: DemoSession = DemoSession {
    title: "Carillon sequencer, third evening",
    setup: "setup.toml",
    harness: "harness.csv",
    as_found: ("as found", &["as-found.vcd"]),
    after: ("clear line moved to its own pair", &["clear-moved.vcd"]),
    other_instrument: ("tower.csv", "NOTE"),
};

const SEQUENCER_PROBES: [Net; 19] = [
    Net::Tempo,
    Net::Step,
    Net::Beat,
    Net::ClearN,
    Net::Lamp,
    Net::Address(0),
    Net::Address(1),
    Net::Note,
    Net::StrikeOut,
    Net::StrikeIn,
    Net::Play,
    Net::Bell(7),
    Net::Bell(6),
    Net::Bell(5),
    Net::Bell(4),
    Net::Bell(3),
    Net::Bell(2),
    Net::Bell(1),
    Net::Bell(0),
];

const TOWER_PROBES: [Net; 3] = [Net::Note, Net::Hammer, Net::Damper];

const BENCH_PROBES: [Net; 8] = [
    Net::Tempo,
    Net::Step,
    Net::Beat,
    Net::ClearN,
    Net::Address(0),
    Net::Note,
    Net::StrikeOut,
    Net::StrikeIn,
];

/// 200 million samples a second, at the sequencer; its clock is the session's, a fraction of a sample late.
const SEQUENCER_INSTRUMENT: Instrument = Instrument {
    period_s: 5e-9,
    offset_s: 1.7e-9,
    drift_ppm: 0.0,
};

/// 24 million samples a second, in the tower; started a little later, on a crystal of its own.
const TOWER_INSTRUMENT: Instrument = Instrument {
    period_s: 1.0 / 24e6,
    offset_s: 0.087_134_2,
    drift_ppm: 31.2,
};

/// 100 million samples a second, for the short run on the bench.
const BENCH_INSTRUMENT: Instrument = Instrument {
    period_s: 10e-9,
    offset_s: 3.1e-9,
    drift_ppm: 0.0,
};
const BENCH_SAMPLES: i64 = 24_000;

/// The third evening, as the machine was found.
pub fn as_found() -> Run {
    run(EVENING)
}

/// The same evening, the clear line moved to its own pair.
pub fn clear_moved() -> Run {
    run(Plan {
        seed: 2027,
        faults: Faults::CLEAR_MOVED,
        ..EVENING
    })
}

/// A quarter of a millisecond at bench pace.
pub fn bench() -> Run {
    run(Plan {
        seed: 2028,
        length: Ticks(241_000_000),
        pace: Pace::BENCH,
        faults: Faults::AS_FOUND,
        manned: false,
    })
}

const EVENING: Plan = Plan {
    seed: 2026,
    length: Ticks(4_200_000_000_000),
    pace: Pace::EVENING,
    faults: Faults::AS_FOUND,
    manned: true,
};

const SETUP: &str = "\
# The carillon's sequencer: what should arrive where.
[[link]]
from = \"STRIKE_OUT\"   # sequencer J5-2
to = \"STRIKE_IN\"      # tower J9-2
max_delay = \"200 ns\"
";

const SUPPLY_SETUP: &str = "\
# The supply of the striker drivers: at the supply, in the tower, and the negative rail.
[rail.VCC_SUPPLY]
nominal = \"5 V\"
tolerance = \"5 %\"

[rail.VCC_TOWER]
nominal = \"5 V\"
tolerance = \"5 %\"
supply_end = \"VCC_SUPPLY\"
max_drop = \"200 mV\"

[rail.VEE]
nominal = \"-12 V\"
tolerance = \"10 %\"
";

/// What the panel's key multiplexer must do.
fn multiplexer_setup() -> String {
    let (output, is, settle) = (multiplexer::OUTPUT, multiplexer::MUST_BE, multiplexer::SETTLES_NS);
    format!(
        "# The panel's key multiplexer must pass the key that the select lines name.\n\
         [[logic]]\nname = \"key multiplexer\"\noutput = \"{output}\"\nis = \"{is}\"\nsettle = \"{settle} ns\"\n"
    )
}

/// All files of the demo with the truth about each capture.
pub fn captures() -> (Vec<DemoFile>, Vec<CaptureTruth>) {
    let mut files = Vec::new();
    let mut truths = Vec::new();
    let mut add = |name: &'static str, text: String, about: &str, truth: CaptureTruth| {
        let about = about.to_owned();
        files.push(DemoFile { name, text, about });
        truths.push(truth);
    };

    let evening = as_found();
    let sequencer = &SEQUENCER_INSTRUMENT;
    let recording = sequencer.record(&evening, &SEQUENCER_PROBES, None);
    let about_evening = |name| truth(name, &evening, sequencer, &SEQUENCER_PROBES);
    add(
        "as-found.vcd",
        vcd(&recording, "carillon, third evening, as found"),
        "4.2 s of the machine as it was found, 19 lines at 200 million samples a second: CLEAR_N dips when STEP falls \
         while BEAT mostly switches along, some STRIKE pulses never reach the tower, BELL[4] never moves, the play \
         key bounces.",
        about_evening("as-found.vcd"),
    );
    add(
        "as-found-changes.csv",
        changes_csv(&recording),
        "the same recording as a list of changes: one row for each sample at which a line changed.",
        about_evening("as-found-changes.csv"),
    );

    let tower = TOWER_INSTRUMENT.record(&evening, &TOWER_PROBES, None);
    add(
        "tower.csv",
        changes_csv(&tower),
        "the same evening by a second instrument in the tower, 3 lines at 24 million samples a second: it was started \
         87 ms later and its clock is 31 ppm off; NOTE is on both captures.",
        truth("tower.csv", &evening, &TOWER_INSTRUMENT, &TOWER_PROBES),
    );

    let moved = clear_moved();
    let after = sequencer.record(&moved, &SEQUENCER_PROBES, None);
    add(
        "clear-moved.vcd",
        vcd(&after, "carillon, clear line moved to its own pair"),
        "4.2 s after the clear line was moved to its own pair: the dips that followed STEP are gone, everything else \
         is as it was.",
        truth("clear-moved.vcd", &moved, sequencer, &SEQUENCER_PROBES),
    );

    let short = bench();
    let sampled = BENCH_INSTRUMENT.record(&short, &BENCH_PROBES, Some(BENCH_SAMPLES));
    add(
        "bench-samples.csv",
        samples_csv(&sampled),
        "0.24 ms at bench pace, 8 lines, one row a sample at 100 million samples a second: the same coupling and the \
         same lost pulses.",
        truth("bench-samples.csv", &short, &BENCH_INSTRUMENT, &BENCH_PROBES),
    );
    let exact = Instrument::EXACT.record(&short, &BENCH_PROBES, None);
    add(
        "bench-exact.vcd",
        vcd(&exact, "carillon at bench pace, exact to the picosecond"),
        "the same run exact to the picosecond, as no instrument on a bench sees it.",
        truth("bench-exact.vcd", &short, &Instrument::EXACT, &BENCH_PROBES),
    );

    add(
        "key-multiplexer.csv",
        changes_csv(&multiplexer::record(2029)),
        "0.4 ms of the panel's key multiplexer, changes at 100 million samples a second: every line moves, and what comes \
         out contradicts the select lines, because one select pin is open.",
        CaptureTruth::plain("key-multiplexer.csv", 10e-9),
    );
    let (table, lowest_v) = supply::table(&evening, 2030);
    add(
        "supply.csv",
        table,
        &format!(
            "1.2 s of the supply in volts, 5 kilosamples a second: 5 V at the supply and in the tower, where it sags to \
             {lowest_v:.2} V when hammers are lifted (LIFT), and the negative rail."
        ),
        CaptureTruth::plain("supply.csv", 200e-6),
    );
    (files, truths)
}

/// Everything that `sample-captures/` holds, the same bytes every time: captures, setup, harness, truth, README.
pub fn files() -> Vec<DemoFile> {
    let (mut files, truths) = captures();
    let truth = serde_json::to_string_pretty(&truths).expect("plain data turns into JSON");
    for (name, text, about) in [
        (
            "setup.toml",
            SETUP.to_owned(),
            "the setup file: which signal is seen at two places.",
        ),
        (
            "key-multiplexer.toml",
            multiplexer_setup(),
            "the setup file for `key-multiplexer.csv`: what the part must do.",
        ),
        (
            "supply.toml",
            SUPPLY_SETUP.to_owned(),
            "the setup file for `supply.csv`: what the rails should be.",
        ),
        (
            "harness.csv",
            harness::SHEET.to_owned(),
            "the harness sheet: connectors, pins, signals, wires, and which pins lie side by side.",
        ),
        (
            "truth.json",
            truth + "\n",
            "what was planted in each capture, for tests; Edgewitness never reads it.",
        ),
    ] {
        let about = about.to_owned();
        files.push(DemoFile { name, text, about });
    }
    files.push(DemoFile {
        name: "README.md",
        text: readme(&files),
        about: "this list.".to_owned(),
    });
    files
}

fn readme(files: &[DemoFile]) -> String {
    let mut text = String::from(
        "# Sample captures\n\nThe sequencer of a tower carillon, simulated (see `demo/`). \
         `cargo run --release -- demo DIR` writes these files again, byte by byte.\n\n",
    );
    for file in files {
        text.push_str(&format!("- `{}`: {}\n", file.name, file.about));
    }
    text
}

/// Writes [`files`] into the folder `dir`, which is made if it is missing, and gives their names.
///
/// # Errors
/// Whatever the file system says; a file that exists is written again.
pub fn write(dir: &Path) -> io::Result<Vec<&'static str>> {
    std::fs::create_dir_all(dir)?;
    let mut names = Vec::new();
    for file in files() {
        std::fs::write(dir.join(file.name), file.text)?;
        names.push(file.name);
    }
    Ok(names)
}
