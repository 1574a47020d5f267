//! What the analysis says of a capture must not hang on the length of the ticks, on when the instrument's clock began, or
//! on the order of the lines: the same evidence, told otherwise, brings the same claims (a relation between two runs, which
//! needs no truth; common practice, no source).

use std::collections::BTreeSet;

use super::number_from;
use super::simulator::families::{Family, scene};
use super::simulator::retold::Telling;
use edgewitness::analysis::coupling::{self, CouplingOptions, Standing};
use edgewitness::analysis::strays::StrayOptions;
use edgewitness::model::Capture;

/// What is claimed, in words and in order: strays by line, who is accused by which edge, who can't be told apart, whose cause
/// is not among the lines. Not how many strikes of how many: where a lag window ends may hang on rounding.
fn claims(capture: &Capture, narrow_below: Option<(usize, f64)>) -> Vec<String> {
    let options = StrayOptions {
        narrow_below: narrow_below.into_iter().collect(),
        ..StrayOptions::default()
    };
    let (strays, attribution) = coupling::judge::judge(capture, &options, &CouplingOptions::default());
    let name = |line: usize| capture.lines[line].name.as_str();
    let with_strays = (0..capture.lines.len()).filter(|&line| !strays.of_line(line).is_empty());
    let mut said: Vec<String> = with_strays
        .map(|line| format!("{} has {} strays", name(line), strays.of_line(line).len()))
        .collect();
    said.extend(attribution.couplings.iter().map(|c| match c.standing {
        Standing::Clear => format!("{} by {} {}", name(c.victim), name(c.aggressor), c.edge.word()),
        // Which of lines that fit alike is named first says nothing.
        Standing::Inseparable => {
            let lines = c.inseparable_from.iter().chain([&c.aggressor]);
            let lines: BTreeSet<&str> = lines.map(|&line| name(line)).collect();
            format!("{} by one of {lines:?}", name(c.victim))
        }
        standing => format!("{} by something: {standing:?}", name(c.victim)),
    }));
    said.extend(
        attribution
            .unsure
            .iter()
            .map(|u| format!("{} is asked about", name(u.crowd.line))),
    );
    said.extend(
        attribution
            .own
            .iter()
            .map(|o| format!("{} does its job", name(o.line))),
    );
    said.extend(
        attribution
            .answers
            .iter()
            .map(|a| format!("{} answers", name(a.line))),
    );
    said.sort_unstable();
    said.dedup();
    said
}

#[test]
fn the_same_evidence_told_otherwise_brings_the_same_claims() {
    let seeds = number_from("EDGEWITNESS_RETOLD", 3);
    let first = number_from("EDGEWITNESS_RETOLD_FROM", 1);
    let mut differ = Vec::new();
    let mut compared = 0;
    for family in Family::ALL {
        for seed in first..first + seeds {
            let scene = scene(family, seed);
            let said = claims(&scene.capture, scene.narrow_below);
            for telling in Telling::ALL
                .into_iter()
                .filter(|telling| telling.tells_all(&scene.capture))
            {
                let lines = scene.capture.lines.len();
                let narrow_below = scene.narrow_below.map(|(line, limit)| {
                    (
                        telling.position(line, lines),
                        limit * telling.ticks_of_one() as f64,
                    )
                });
                let told = claims(&telling.of(&scene.capture), narrow_below);
                compared += 1;
                if told != said {
                    let lost: Vec<&String> = said.iter().filter(|s| !told.contains(s)).collect();
                    let new: Vec<&String> = told.iter().filter(|s| !said.contains(s)).collect();
                    differ.push(format!(
                        "{} told with {telling:?}: {lost:#?} became {new:#?}",
                        scene.name
                    ));
                }
            }
        }
    }
    println!("{} of {compared} tellings differ", differ.len());
    assert!(compared > 0);
    assert!(differ.is_empty(), "{}", differ.join("\n"));
}
