//! With few channels: which clip to move where next, and why.
//!
//! A victim whose cause is not among the captured lines is most likely struck by what runs beside it. The
//! candidates are the signals beside the victim that were not captured, those beside it at most connectors
//! first; the clips offered for moving are of lines that played no part in any finding, quietest first. This is
//! the bench's own rule of thumb (common practice, no source).

use std::collections::{BTreeMap, BTreeSet};

use super::{Clips, Harness};

/// A captured line, as far as advice needs it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Captured {
    pub line: String,
    /// Edges that the newest capture has of it.
    pub edges: u64,
    /// Named in a finding, or an end of a link: its clip stays.
    pub is_needed: bool,
}

/// One clip to move.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize, utoipa::ToSchema)]
pub struct Move {
    /// The line whose clip can go; `None` when every captured line is still needed (use a free channel).
    pub from: Option<String>,
    /// The signal to look at, and where: "sequencer J2-11, yellow".
    pub signal: String,
    pub to: String,
    /// The victim this is for.
    pub victim: String,
    /// A sentence.
    pub why: String,
}

/// What stands behind the first of `places` places: "", ", and at one more place", ", and at 11 more places".
pub fn and_more_places(places: usize) -> String {
    match places {
        0 | 1 => String::new(),
        2 => ", and at one more place".to_owned(),
        n => format!(", and at {} more places", n - 1),
    }
}

impl Harness {
    /// Moves to try for `victims` (lines whose strays no captured line explains), best first, at most `most`.
    pub fn advise(&self, victims: &[String], captured: &[Captured], clips: &Clips, most: usize) -> Vec<Move> {
        let watched: BTreeSet<&str> = captured
            .iter()
            .flat_map(|line| self.pins_of(&line.line, clips))
            .map(|pin| self.pins[pin].signal.as_str())
            .collect();
        // (victim, signal) → the victim's own places and the signal's, in the order of the sheet.
        let mut candidates: BTreeMap<(usize, &str), Vec<(String, String)>> = BTreeMap::new();
        for (rank, victim) in victims.iter().enumerate() {
            for beside in self.neighbours(victim, clips) {
                let signal = beside.neighbour.signal.as_str();
                if !watched.contains(signal) {
                    let places = (beside.own.place(), beside.neighbour.place_and_colour());
                    candidates.entry((rank, signal)).or_default().push(places);
                }
            }
        }
        let mut ranked: Vec<_> = candidates.into_iter().collect();
        ranked.sort_by_key(|((rank, _), places)| (std::cmp::Reverse(places.len()), *rank));
        let mut free: Vec<&Captured> = captured.iter().filter(|line| !line.is_needed).collect();
        free.sort_by_key(|line| line.edges);
        let mut free = free.into_iter();
        let mut told = BTreeSet::new();
        ranked.retain(|((_, signal), _)| told.insert(*signal));
        ranked
            .into_iter()
            .take(most)
            .map(|((rank, signal), places)| {
                let victim = victims[rank].clone();
                let spare = free.next();
                let mut why = format!(
                    "{signal} runs beside {victim} at {}{} and was not captured",
                    places[0].0,
                    and_more_places(places.len())
                );
                if let Some(spare) = spare {
                    let edges = match spare.edges {
                        0 => "never moved".to_owned(),
                        1 => "moved once".to_owned(),
                        n => format!("moved {n} times"),
                    };
                    why.push_str(&format!(
                        "; {} {edges} and has no part in any finding",
                        spare.line
                    ));
                }
                why.push('.');
                Move {
                    from: spare.map(|spare| spare.line.clone()),
                    signal: signal.to_owned(),
                    to: places[0].1.clone(),
                    victim,
                    why,
                }
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_beyond_the_first_are_counted() {
        let rows =
            (1..=12).map(|board| format!("board {board},J1,1,CLEAR_N,,ribbon\nboard {board},J1,2,RESET,,\n"));
        let sheet = format!(
            "board,connector,pin,signal,colour,neighbours\n{}",
            rows.collect::<String>()
        );
        let harness = Harness::parse(&sheet, "h.csv").unwrap();
        let moves = harness.advise(&["CLEAR_N".to_owned()], &[], &Clips::default(), 5);
        assert!(
            moves[0]
                .why
                .contains(" at board 1 J1-1, and at 11 more places and was not captured"),
            "{}",
            moves[0].why
        );
        assert_eq!(and_more_places(1), "");
        assert_eq!(and_more_places(2), ", and at one more place");
    }

    #[test]
    fn the_uncaptured_neighbour_is_advised_and_the_idle_clip_moved() {
        let sheet = "board,connector,pin,signal,colour,neighbours\n\
                     sequencer,J2,10,STEP,brown,ribbon\nsequencer,J2,11,LAMP,red,\n\
                     sequencer,J2,12,CLEAR_N,orange,\nsequencer,J2,13,RESET,yellow,\nsequencer,J2,14,GND,,\n\
                     tower,J1,1,CLEAR_N,orange,ribbon\ntower,J1,2,RESET,yellow,\n\
                     panel,J5,1,KEY_1,,\npanel,J5,2,KEY_2,,\n";
        let harness = Harness::parse(sheet, "h.csv").unwrap();
        let captured = |line: &str, edges, is_needed| Captured {
            line: line.to_owned(),
            edges,
            is_needed,
        };
        let lines = [
            captured("STEP", 900, false),
            captured("CLEAR_N", 40, true),
            captured("KEY_1", 0, false),
            captured("KEY_2", 2, true),
        ];
        let victims = ["CLEAR_N".to_owned()];
        let moves = harness.advise(&victims, &lines, &Clips::default(), 5);
        let read: Vec<_> = moves
            .iter()
            .map(|m| (m.from.as_deref(), m.signal.as_str(), m.to.as_str()))
            .collect();
        assert_eq!(
            read,
            [
                (Some("KEY_1"), "RESET", "sequencer J2-13, yellow"),
                (Some("STEP"), "LAMP", "sequencer J2-11, red"),
            ]
        );
        assert_eq!(
            moves[0].why,
            "RESET runs beside CLEAR_N at sequencer J2-12, and at one more place and was not captured; \
             KEY_1 never moved and has no part in any finding."
        );
        assert!(harness.advise(&[], &lines, &Clips::default(), 5).is_empty());
    }
}
