//! Sentences about what shows an accused line to be more likely a part of what strikes.

use super::coupling::{edges_of, name, names, switching};
use super::words::{list, small};
use crate::analysis::coupling::Edge;
use crate::analysis::coupling::in_volts::moved::Moved;
use crate::analysis::coupling::verdict::clues::{Clue, Count};
use crate::model::Capture;
use crate::model::units::engineering;

/// Clues told of one victim, at most: the first say enough.
const TOLD: usize = 2;

/// A sentence for each of the first clues, each once.
pub fn told(capture: &Capture, victim: &str, clues: &[Clue]) -> Vec<String> {
    let mut told: Vec<String> = Vec::new();
    let mut subjects = Vec::new();
    for clue in clues {
        let sentence = sentence(capture, victim, clue);
        // What the strays of the other level show of the same line in the same way says no more.
        let subject = (std::mem::discriminant(clue), clue.accused());
        if !told.contains(&sentence) && !subjects.contains(&subject) {
            told.push(sentence);
        }
        subjects.push(subject);
    }
    told.truncate(TOLD);
    told
}

fn sentence(capture: &Capture, victim: &str, clue: &Clue) -> String {
    let of = |line: &usize| name(capture, *line);
    match clue {
        Clue::KeepsDistance {
            line,
            edge,
            together,
            expected,
        } => format!(
            "Strikes at two {edges} of {line} in a row are rare: {together}, where {} would be expected of a line that strikes at each edge anew. Something that {line} clocks, and that can't switch the same way twice in a row, does that.",
            small(*expected),
            edges = edges_of(*edge),
            line = of(line),
        ),
        Clue::StaysStill { line, edge, moved } => stays_still(victim, &of(line), *edge, moved),
        Clue::Crowd {
            line,
            edge,
            at_most,
            few,
            many,
        } => format!(
            "{} brings a stray {} where at most {at_most} other lines switch with it, and {} where more do: if {} alone did it, that would make no difference.",
            switching(capture, *line, *edge),
            times(*few),
            times(*many),
            of(line)
        ),
        Clue::Level {
            line,
            edge,
            other,
            low,
            high,
        } => format!(
            "{} brings a stray {} while {other} is low, and {} while it is high: so a gate that {other} opens, and that carries no clip, looks.",
            switching(capture, *line, *edge),
            times(*low),
            times(*high),
            other = of(other)
        ),
        Clue::StruckItself {
            line,
            edge,
            short,
            lasting,
        } => format!(
            "{} brings a stray {} where {line} shows a short pulse itself, and {} elsewhere: something else seems to strike both {line} and {victim}.",
            switching(capture, *line, *edge),
            times(*short),
            times(*lasting),
            line = of(line)
        ),
        Clue::Rested {
            line,
            edge,
            bound,
            short,
            long,
        } => format!(
            "{} brings a stray {} where {line} had rested for at least {}, and {} where it had not: what a line induces, it induces at each of its edges that has the whole swing. Something that {line} sets off or lets through at these edges only, and that carries no clip, does that; so would {line} itself if a pull-up lifts it too slowly for a short rest, which a scope shows.",
            switching(capture, *line, *edge),
            times(*long),
            engineering(capture.timebase.length_s(*bound as f64), "s"),
            times(*short),
            line = of(line)
        ),
        Clue::EveryFew {
            line,
            edge,
            step,
            here,
            others,
        } => format!(
            "Of every {step} {edges} of {line} one brings a stray {}, and the others {}: what a line induces, it induces at each of its edges. Something that {line} counts or divides down, and that carries no clip, does that.",
            times(*here),
            times(*others),
            edges = edges_of(*edge),
            line = of(line)
        ),
        Clue::TooEarly { line, edge, early, by } => format!(
            "{early} begin {} or more before {} of {}, and a cause comes first.",
            engineering(capture.timebase.length_s(*by as f64), "s"),
            edges_of(*edge),
            of(line)
        ),
        Clue::Scattered {
            line,
            edge,
            least,
            most,
        } => {
            let length = |ticks: i64| engineering(capture.timebase.length_s(ticks as f64), "s");
            let from = match *least < 0 {
                true => format!("{} before", length(-least)),
                false => length(*least),
            };
            format!(
                "They come anywhere from {from} to {} after {} of {}; what an edge induces begins at nearly one lag, unless that edge is slow, as one is that a pull-up makes.",
                length(*most),
                edges_of(*edge),
                of(line)
            )
        }
        Clue::StepWithout { line } => format!(
            "Others come at {line}'s moment of the machine's step, and {line} does not switch there.",
            line = of(line)
        ),
        Clue::RestKeepsStep => {
            "Those that are left come after other lines' edges at the same lag; strays from elsewhere would not.".to_owned()
        }
        Clue::AsOne { lines } => format!(
            "{} strike no oftener where they switch together than where one of them does; of neighbours that each strike, the chances would add up.",
            list(&names(capture, lines))
        ),
        Clue::OneLag { line, other } => format!(
            "Seen from {}, they come after one lag, whether {} switches as well or not; two neighbours would each strike at a time of their own.",
            of(line),
            of(other)
        ),
        Clue::OppositeEdges { line, edge } => format!(
            "Some of those that are left come after {}'s {} at the same lag, and an edge and its opposite pull opposite ways.",
            of(line),
            edges_of(opposite(*edge))
        ),
        Clue::OneWay { line } => format!(
            "{}'s rises and its falls both pull one way, which one coupled edge can't.",
            of(line)
        ),
    }
}

/// That volts show the victim still after edges that bring no stray.
fn stays_still(victim: &str, line: &str, edge: Edge, moved: &Moved) -> String {
    let [least, most] = moved.by_strikes_v;
    format!(
        "In volts {victim} moves by {} after {} {edges} of {line}, and by no more than {} after nine in ten of {} others: what {line} itself induces would move it by about as much each time. Something that switches along with it at times does that, or a part that lets go of {victim} at times.",
        between(least, most),
        moved.strikes,
        volts(moved.by_others_v[1].max(0.0)),
        moved.others,
        edges = edges_of(edge),
    )
}

/// "0.9 V to 1.4 V", "1.1 V".
pub(super) fn between(least: f64, most: f64) -> String {
    match (volts(least), volts(most)) {
        (least, most) if least == most => least,
        (least, most) => format!("{least} to {most}"),
    }
}

/// Volts to a hundredth.
fn volts(volts: f64) -> String {
    format!("{volts:.2} V")
}

fn opposite(edge: Edge) -> Edge {
    match edge {
        Edge::Rise => Edge::Fall,
        Edge::Fall => Edge::Rise,
        Edge::Both => Edge::Both,
    }
}

/// "12 of 60 times"
fn times((edges, strikes): Count) -> String {
    format!("{strikes} of {edges} times")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::in_volts::moved::Shows;
    use crate::model::{Level, Line, Ticks, TimeSpan};

    #[test]
    fn each_clue_is_told_once_with_its_counts() {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000));
        let line = |name: &str| Line::digital(name, Level::Low, vec![], span);
        let lines = ["CLEAR_N", "BEAT_1", "HOLD"].map(line).to_vec();
        let capture = Capture::in_nanoseconds("clues", span, lines);
        let (line, edge, other) = (1, Edge::Rise, 2);
        let crowd = Clue::Crowd {
            line,
            edge,
            at_most: 2,
            few: (90, 3),
            many: (40, 31),
        };
        let level = Clue::Level {
            line,
            edge,
            other,
            low: (55, 0),
            high: (60, 30),
        };
        let moved = Moved {
            strikes: 33,
            by_strikes_v: [1.16, 1.22],
            others: 133,
            by_others_v: [-0.1, 0.06],
            shows: Some(Shows::StaysStill),
        };
        let still = super::told(&capture, "CLEAR_N", &[Clue::StaysStill { line, edge, moved }]);
        let counts = "In volts CLEAR_N moves by 1.16 V to 1.22 V after 33 rises of BEAT_1, and by no more than 0.06 V after nine in ten of 133 others";
        assert!(still[0].starts_with(counts), "{still:?}");
        let all = [crowd.clone(), crowd, level, Clue::RestKeepsStep];
        let told = told(&capture, "CLEAR_N", &all);
        assert_eq!(
            told,
            [
                "BEAT_1 rising brings a stray 3 of 90 times where at most 2 other lines switch with it, and 31 of 40 times where more do: if BEAT_1 alone did it, that would make no difference.",
                "BEAT_1 rising brings a stray 0 of 55 times while HOLD is low, and 30 of 60 times while it is high: so a gate that HOLD opens, and that carries no clip, looks.",
            ]
        );
    }
}
