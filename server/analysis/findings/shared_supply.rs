//! Sentences about strays that come with several lines at once: a supply or 0 V lead that they share.

use super::coupling::{figures, name, names, switching};
use super::words::{count_of, list, percent};
use super::{CAUTION, Finding, Severity};
use crate::analysis::coupling::{Attribution, DosePoint, Edge, SharedSupply};
use crate::model::Capture;

/// The finding of a lead that lines share, with the curve of its dose where there is one.
pub(super) fn shared_supply(capture: &Capture, attribution: &Attribution, shared: &SharedSupply) -> Finding {
    let victims = names(capture, &shared.victims);
    let sources = names(capture, &shared.lines);
    let mut lines = victims.clone();
    lines.extend(sources.iter().cloned());
    let (title, detail) = if shared.curve.is_empty() {
        struck_together(capture, attribution, shared)
    } else {
        dosed(capture, shared)
    };
    Finding {
        severity: Severity::Fault,
        topic: "shared-supply",
        title,
        detail,
        lines,
        try_next: vec![
            format!(
                "Scope between the 0 V pin of the chip that drives {} and the 0 V pin of the one that reads {}, clip on the machine's 0 V only: a spike at these moments is the shared lead.",
                sources.first().map_or("them", String::as_str),
                victims.first().map_or("the victim", String::as_str)
            ),
            "Add a second ground wire and a supply wire straight from that board to the supply, and a capacitor at the pins of the drivers, then repeat.".to_string(),
            "A line without a probe that switches when several of these do would look the same: if the spike is not there, put a spare channel on an output of the same step.".to_string(),
            CAUTION.to_string(),
        ],
    }
}

/// Title and detail where the number of lines matters.
fn dosed(capture: &Capture, shared: &SharedSupply) -> (String, String) {
    let doing = match shared.edge {
        Edge::Rise => "rise",
        Edge::Fall => "fall",
        Edge::Both => "switch",
    };
    let point = |p: &DosePoint| {
        let share = p.strays as f64 / p.instants.max(1) as f64;
        format!(
            "{}: {} of {} ({} %)",
            match p.switched {
                0 => "none of them".to_owned(),
                n => count_of(n as u64, "line"),
            },
            p.strays,
            p.instants,
            percent(share)
        )
    };
    let curve: Vec<String> = shared.curve.iter().map(point).collect();
    (
        format!(
            "{}: stray pulses come when several of {} {doing} at once",
            list(&names(capture, &shared.victims)),
            list(&names(capture, &shared.lines))
        ),
        format!(
            "The more of them {doing} together the likelier a stray. How many of them {doing} at once, and at how many of such moments a stray comes: {}. A ground or supply lead that they share does that; no single one explains them.",
            curve.join("; ")
        ),
    )
}

/// Title and detail where one line's edges strike several victims at once.
fn struck_together(capture: &Capture, attribution: &Attribution, shared: &SharedSupply) -> (String, String) {
    let source = names(capture, &shared.lines).join(", ");
    let rows = attribution
        .couplings
        .iter()
        .filter(|c| shared.victims.contains(&c.victim) && shared.lines.contains(&c.aggressor));
    let rows: Vec<String> = rows
        .map(|c| format!("{}: {}", name(capture, c.victim), figures(capture, c)))
        .collect();
    (
        format!(
            "{} show stray pulses at the same moments, after {}",
            list(&names(capture, &shared.victims)),
            shared
                .lines
                .first()
                .map_or(source.clone(), |&l| switching(capture, l, shared.edge))
        ),
        format!(
            "{}. Wires that lie side by side are struck each by itself; these are struck together, so a ground or supply lead that they share with {source} is the likelier way.",
            rows.join("; ")
        ),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Level, Line, Ticks, TimeSpan};

    #[test]
    fn a_dose_says_what_it_counts() {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000));
        let line = |name: &str| Line::digital(name, Level::Low, vec![], span);
        let capture =
            Capture::in_nanoseconds("dose", span, ["CLEAR_N", "BELL_0", "BELL_1"].map(line).to_vec());
        let point = |(switched, instants, strays)| DosePoint {
            switched,
            instants,
            strays,
        };
        let shared = SharedSupply {
            victims: vec![0],
            lines: vec![1, 2],
            edge: Edge::Fall,
            curve: [(0, 4_666, 0), (1, 200, 3), (2, 50, 20)].map(point).to_vec(),
        };
        let (_, detail) = dosed(&capture, &shared);
        assert!(
            detail.contains(
                "How many of them fall at once, and at how many of such moments a stray comes: none of them: 0 of 4666 (0 %); 1 line: 3 of 200 (1.5 %); 2 lines: 20 of 50 (40 %)."
            ),
            "{detail}"
        );
    }
}
