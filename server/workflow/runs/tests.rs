//! Which captures come together, and why others do not.

use super::*;
use crate::demo::captures as demo_captures;
use crate::ingest::{ReadOptions, read_stream};

fn demo(names: &[&str]) -> Vec<Capture> {
    let (files, _) = demo_captures();
    let read = |name: &&str| {
        let file = files.iter().find(|f| f.name == *name).unwrap();
        read_stream(name, file.text.as_bytes(), &ReadOptions::default(), &()).unwrap()
    };
    names.iter().map(read).collect()
}

fn members(runs: &[Run]) -> Vec<Vec<usize>> {
    let of = |run: &Run| run.members.iter().map(|m| m.position).collect();
    runs.iter().map(of).collect()
}

#[test]
fn another_instrument_joins_the_run_and_a_repeat_is_a_run_of_its_own() {
    let captures = demo(&["as-found.vcd", "tower.csv", "clear-moved.vcd"]);
    let found = runs(captures.clone(), &[], &[]);
    assert_eq!(members(&found), [vec![0, 1], vec![2]]);
    let tower = &found[0].members[1];
    // The truth of the demo: started 87.1342 ms later, 31.2 ppm fast; the sequencer's own clock is 1.7 ns late.
    assert!(
        (tower.alignment.offset_s - 0.087_134_2).abs() < 42e-9,
        "{tower:?}"
    );
    assert!((tower.alignment.drift_ppm - 31.2).abs() < 0.05, "{tower:?}");
    assert_eq!(found[0].findings.len(), 1);
    assert!(found[0].capture.line_index("HAMMER").is_some());

    let ties = [Tie::Nothing, Tie::Own, Tie::Nothing];
    assert_eq!(
        members(&runs(captures.clone(), &ties, &[])),
        [vec![0], vec![1], vec![2]]
    );
    let shifted = Tie::With {
        with: 0,
        on: vec!["NOTE".to_owned()],
        shift_s: 1e-6,
    };
    let moved = runs(captures, &[Tie::Nothing, shifted], &[]);
    let by_hand = moved[0].members[1].alignment.offset_s - tower.alignment.offset_s;
    assert!((by_hand - 1e-6).abs() < 1e-12);
    assert!(
        moved[0].findings[0].title.contains("Moved by hand by 1 µs"),
        "{}",
        moved[0].findings[0].title
    );
}

/// What goes with a capture that drifts drifts with it, be that capture's offset 0.
#[test]
fn a_capture_is_brought_through_one_that_only_drifts() {
    use crate::model::{Level, Line, Ticks, TimeSpan};
    let capture = |file: &str, name: &str| {
        // Every pulse has a width of its own.
        let edges: Vec<Ticks> = (1..200).map(|k| Ticks(k * k * 50)).collect();
        let span = TimeSpan::new(Ticks(0), Ticks(2_000_000));
        Capture::in_nanoseconds(file, span, vec![Line::digital(name, Level::Low, edges, span)])
    };
    let captures = [capture("panel.vcd", "KEY"), capture("tower.vcd", "NOTE")];
    let drifting = Alignment {
        drift_ppm: 40.0,
        ..Alignment::SAME_CLOCK
    };
    let group = [
        alone(0),
        Member {
            alignment: drifting,
            ..alone(1)
        },
    ];
    // Recorded on the tower's clock.
    let third = capture("memory.vcd", "NOTE");
    let found = brought(&captures, &group, &third, &["NOTE".to_owned()]).unwrap();
    assert!((found.drift_ppm - 40.0).abs() < 1e-3, "{found:?}");
    let (end, expected) = (found.time_in_a(2e-3), 2e-3 * (1.0 + 40e-6));
    assert!((end - expected).abs() < 1e-12, "{end}");
}

#[test]
fn a_capture_that_fits_nowhere_says_why() {
    let captures = demo(&["as-found.vcd", "tower.csv"]);
    let tie = Tie::With {
        with: 0,
        on: vec!["BELL[4]=DAMPER".to_owned()],
        shift_s: 0.0,
    };
    let found = runs(captures, &[Tie::Nothing, tie], &[]);
    assert!(found[1].is_left_over() && !found[0].is_left_over());
    assert!(
        found[1].findings[0].detail.contains("0 edges"),
        "{}",
        found[1].findings[0].detail
    );
}

/// The tower's instrument borrows two of the sequencer's lines for its three channels: it is still another view of the
/// run, unless its edges say that it was taken at another time. A second export of the same clips is another run.
#[test]
fn most_lines_of_a_small_capture_may_be_borrowed() {
    use crate::model::{Level, Line, Ticks, TimeSpan};
    let capture = |file: &str, names: &[&str], power: i64| {
        let span = TimeSpan::new(Ticks(0), Ticks(4_000_000));
        let line = |(at, name): (usize, &&str)| {
            // Every pulse has a width of its own.
            let edges =
                (1..190).map(|k: i64| Ticks(k * k * 50 + at as i64 * 700 + k.pow(power as u32) % 997));
            Line::digital(*name, Level::Low, edges.collect(), span)
        };
        Capture::in_nanoseconds(file, span, names.iter().enumerate().map(line).collect())
    };
    let all = ["STEP", "CLEAR_N", "BEAT", "NOTE", "PLAY", "STRIKE_OUT"];
    let sequencer = capture("sequencer.csv", &all, 3);
    let tower = capture("tower.csv", &["STEP", "CLEAR_N", "HAMMER"], 3);
    let found = runs(vec![sequencer.clone(), tower.clone()], &[], &[]);
    assert_eq!(members(&found), [vec![0, 1]]);
    assert_eq!(found[0].apart, None);
    let twins = found[0].capture.lines.iter().map(|line| line.same_as);
    assert_eq!(
        twins.collect::<Vec<_>>(),
        [None, None, None, None, None, None, Some(0), Some(1), None],
        "the same signals twice: no suspect beside themselves"
    );
    let names: Vec<&str> = found[0]
        .capture
        .lines
        .iter()
        .map(|line| line.name.as_str())
        .collect();
    assert_eq!(names[..2], ["STEP", "CLEAR_N"]);
    assert_eq!(names[6..], ["tower/STEP", "tower/CLEAR_N", "HAMMER"]);

    let another_time = capture("later.csv", &["STEP", "CLEAR_N", "HAMMER"], 5);
    let found = runs(vec![sequencer.clone(), another_time], &[], &[]);
    assert_eq!(members(&found), [vec![0], vec![1]]);
    let apart = found[1].apart.clone().unwrap();
    assert!(!found[1].is_left_over() && apart.with == 0, "{apart:?}");
    assert!(
        apart
            .says
            .starts_with("later.csv does not fit sequencer.csv in time, and is taken as another run."),
        "{}",
        apart.says
    );

    let again = capture("again.csv", &all[..5], 3);
    let found = runs(vec![sequencer, again], &[], &[]);
    assert_eq!(members(&found), [vec![0], vec![1]]);
    let apart = found[1].apart.clone().unwrap();
    assert_eq!(
        apart.says,
        "again.csv shows no line that sequencer.csv does not, and is taken as another run."
    );
    assert_eq!(apart.on.len(), MOST_TRIED);

    // Lines that another capture of the run has are not asked of the one that it goes with.
    let scope = capture("scope.csv", &["CLEAR_N", "HAMMER"], 3);
    let both = capture("both.csv", &["CLEAR_N", "STEP", "HAMMER"], 3);
    let found = runs(vec![capture("sequencer.csv", &all, 3), scope, both], &[], &[]);
    assert_eq!(members(&found), [vec![0, 1], vec![2]]);
    let apart = found[1].apart.clone().unwrap();
    let lines: &[&str] = if apart.with == 0 {
        &all
    } else {
        &["CLEAR_N", "HAMMER"]
    };
    assert!(
        apart.on.iter().all(|on| lines.contains(&on.as_str())),
        "{apart:?}"
    );
}

#[test]
fn a_file_that_names_lines_with_their_scopes_is_joined_by_their_last_parts() {
    use crate::model::{Level, Line, Ticks, TimeSpan};
    let capture = |file: &str, names: &[&str]| {
        let span = TimeSpan::new(Ticks(0), Ticks(4_000_000));
        let edges =
            |at: usize| (1..190).map(move |k: i64| Ticks(k * k * 50 + at as i64 * 700 + k.pow(3) % 997));
        let line = |(at, name): (usize, &&str)| Line::digital(*name, Level::Low, edges(at).collect(), span);
        Capture::in_nanoseconds(file, span, names.iter().enumerate().map(line).collect())
    };
    let sequencer = capture(
        "sequencer.vcd",
        &["carillon.sequencer.STEP", "carillon.sequencer.BEAT"],
    );
    let tower = capture("tower.csv", &["STEP", "HAMMER", "DAMPER"]);
    let found = runs(vec![sequencer.clone(), tower], &[], &[]);
    assert_eq!(members(&found), [vec![0, 1]]);
    assert_eq!(found[0].members[1].on, ["carillon.sequencer.STEP=STEP"]);
    assert_eq!(found[0].capture.lines[2].same_as, Some(0));
    assert_eq!(found[0].capture.lines[0].name, "carillon.sequencer.STEP");
    // Two of that last part: nobody knows which.
    let tower = capture("tower.vcd", &["sequencer.STEP", "panel.STEP", "tower.DAMPER"]);
    assert_eq!(
        found_on(&runs(vec![sequencer, tower], &[], &[])),
        Vec::<String>::new()
    );
}

fn found_on(runs: &[Run]) -> Vec<String> {
    runs.iter()
        .flat_map(|run| &run.members)
        .flat_map(|member| member.on.clone())
        .collect()
}

/// A tower's instrument whose only line the sequencer has as well is joined by a person's word, and so is its next capture: by
/// its lines it is known for the same instrument. A repeat of the sequencer's own is not.
#[test]
fn a_word_on_a_line_of_one_name_holds_for_the_same_instruments_only() {
    use crate::model::{Level, Line, Ticks, TimeSpan};
    let capture = |file: &str, names: &[&str], power: u32| {
        let span = TimeSpan::new(Ticks(0), Ticks(4_000_000));
        let line = |(at, name): (usize, &&str)| {
            let edges = (1..190).map(|k: i64| Ticks(k * k * 50 + at as i64 * 700 + k.pow(power) % 997));
            Line::digital(*name, Level::Low, edges.collect(), span)
        };
        Capture::in_nanoseconds(file, span, names.iter().enumerate().map(line).collect())
    };
    let all = ["STEP", "CLEAR_N", "BEAT"];
    let captures = vec![
        capture("sequencer.vcd", &all, 3),
        capture("tower.vcd", &["STEP"], 3),
        capture("sequencer-2.vcd", &all, 4),
        capture("tower-2.vcd", &["STEP"], 4),
    ];
    let said = Tie::With {
        with: 0,
        on: vec!["STEP".to_owned()],
        shift_s: 0.0,
    };
    let habit = Habit {
        on: vec!["STEP".to_owned()],
        files: ["sequencer.vcd", "tower.vcd"].map(str::to_owned),
        pair: Some([0, 1]),
    };
    let ties = |habit: &Habit| {
        let as_before = Tie::As(vec![habit.clone()]);
        [Tie::Nothing, said.clone(), as_before.clone(), as_before]
    };
    let found = runs(captures.clone(), &ties(&habit), &[]);
    assert_eq!(members(&found), [vec![0, 1], vec![2, 3]]);
    let tried = found[1].members[1].tried.as_ref().unwrap();
    assert_eq!(
        (tried.on.clone(), &tried.trouble),
        (vec!["STEP".to_owned()], &None)
    );
    assert!(
        found[1].findings[0]
            .detail
            .contains("Nobody said so of tower-2.vcd")
    );
    // By its name alone the line says not which instrument is which.
    let unplaced = Habit { pair: None, ..habit };
    let found = runs(captures, &ties(&unplaced), &[]);
    assert_eq!(members(&found), [vec![0, 1], vec![2], vec![3]]);
}
