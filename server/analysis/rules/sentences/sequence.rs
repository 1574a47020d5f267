//! Sentences on sequences that went astray.

use super::Teller;
use crate::analysis::findings::{Finding, Severity};
use crate::analysis::rules::sequence::{Instead, Suspicion, Tale, going, instead_words};
use crate::model::Capture;
use crate::rule::Sequence;

/// The finding of a bus that took wrong steps; the result has a tale.
pub fn broken(teller: &Teller, sequence: &Sequence) -> Finding {
    let tale = teller
        .result
        .tale
        .as_ref()
        .expect("a checked sequence has a tale");
    let bus = sequence.bus.join(" ");
    let rule = sequence.step.word();
    let title = match &tale.suspicion {
        Some((suspicion @ Suspicion::Stuck(_), _)) => {
            format!(
                "{bus} cannot {rule}: {}",
                suspicion_words(teller.capture, tale, suspicion)
            )
        }
        Some((suspicion, _)) => {
            format!(
                "{bus} keeps to {rule} only with {}",
                suspicion_words(teller.capture, tale, suspicion)
            )
        }
        None => {
            let mostly = tale.instead.first().map_or(String::new(), |(instead, n)| {
                let words = instead_words(*instead, &teller.capture.lines, &tale.bus);
                let mostly = if *n < tale.wrong { "mostly " } else { "" };
                format!(": {mostly}{words}")
            });
            format!(
                "{bus} breaks {rule} in {} of {} steps{mostly}",
                tale.wrong, tale.steps
            )
        }
    };
    let mut detail = format!("Rule \"{}\". {}", teller.rule.name, teller.counts());
    if let Some((_, n)) = tale.suspicion {
        detail.push_str(&format!(" So taken, {n} of {} steps are right.", tale.steps));
    }
    let told: Vec<String> = tale
        .instead
        .iter()
        .map(|(instead, n)| {
            format!(
                "{n} × {}",
                instead_words(*instead, &teller.capture.lines, &tale.bus)
            )
        })
        .collect();
    detail.push_str(&format!(" Instead: {}.", told.join(", ")));
    if tale.moved_between > 0 {
        detail.push_str(&format!(" {}", moved_between(tale.moved_between)));
    }
    if let Some(told) = &tale.direction {
        let name = teller.name(told.line);
        detail.push_str(&format!(
            " At the wrong steps {name} was high in {} and low in {}; in {} of them it had an edge in the {} before.",
            told.high,
            told.low,
            told.edge_before,
            teller.ticks(told.within.0 as f64)
        ));
    }
    for company in &tale.company {
        let (right, name) = (tale.steps.saturating_sub(tale.wrong), teller.name(company.line));
        detail.push_str(&format!(
            " {name} moved during {} of the {} wrong steps and {} of the {right} right ones.",
            company.wrong,
            tale.wrong,
            company.all - company.wrong
        ));
        for strays in &company.strays {
            detail.push_str(&match strays.aggressor {
                Some((line, edge)) => format!(
                    " In {} of them it shows a stray that goes with {} {}: see the coupling of {name} and {}.",
                    strays.steps,
                    teller.name(line),
                    going(edge),
                    teller.name(line)
                ),
                None => format!(" In {} of them it shows a stray whose cause is not known.", strays.steps),
            });
        }
    }
    let mut finding = teller.make(Severity::Fault, title, detail, next(teller, tale, sequence));
    // The figure shows the strays and what causes them.
    for company in tale.company.iter().filter(|c| !c.strays.is_empty()) {
        let aggressors = company.strays.iter().filter_map(|s| Some(s.aggressor?.0));
        for line in std::iter::once(company.line).chain(aggressors) {
            let name = teller.name(line).to_owned();
            if !finding.lines.contains(&name) {
                finding.lines.push(name);
            }
        }
    }
    finding
}

/// That a counter moved `times` between its strobes in ways that nobody judged.
pub fn moved_between(times: u64) -> String {
    let (moved, are) = match times {
        1 => ("once".to_owned(), "this is"),
        times => (format!("{times} times"), "these are"),
    };
    format!(
        "It also changed {moved} between its settling and the next strobe, and not only by steps, as a load or a clear does: {are} \
         not judged."
    )
}

/// What would make the steps right, in words.
pub fn suspicion_words(capture: &Capture, tale: &Tale, suspicion: &Suspicion) -> String {
    let name = |bit: usize| {
        tale.bus
            .iter()
            .rev()
            .nth(bit)
            .map_or("?", |&l| capture.lines[l].name.as_str())
    };
    match suspicion {
        Suspicion::OtherWay => "its direction the other way round".to_owned(),
        Suspicion::Reversed => "its bits in reverse order".to_owned(),
        Suspicion::Swapped(a, b) => format!("{} and {} swapped", name(*a), name(*b)),
        Suspicion::Stuck(bit) => format!("{} never moves", name(*bit)),
    }
}

fn next(teller: &Teller, tale: &Tale, sequence: &Sequence) -> Vec<String> {
    let mut next = Vec::new();
    if let Some(company) = tale.company.first() {
        let name = teller.name(company.line);
        next.push(match company.strays.first().and_then(|strays| strays.aggressor) {
            Some((line, _)) => format!(
                "Mend the coupling of {name} and {} first: its strays stand in the wrong steps.",
                teller.name(line)
            ),
            None if !company.strays.is_empty() => {
                format!("Look at the strays of {name} in the wrong steps: they are the likely cause.")
            }
            None if 2 * company.wrong >= tale.wrong => format!(
                "Look at {name} in the wrong steps: it moves in {} of these {}, and in {} of the {} right ones.",
                company.wrong,
                tale.wrong,
                company.all - company.wrong,
                tale.steps.saturating_sub(tale.wrong)
            ),
            None => format!(
                "{name} moves in only {} of the {} wrong steps: it does not explain the others.",
                company.wrong, tale.wrong
            ),
        });
    }
    next.push(match (&tale.suspicion, tale.instead.first().map(|i| i.0)) {
        (Some((Suspicion::Reversed | Suspicion::Swapped(..), _)), _) => {
            "Compare the order of the bits at both ends of the ribbon, and in the setup file, with the drawing.".to_owned()
        }
        (Some((Suspicion::OtherWay, _)), _) => {
            "Compare the direction or count inputs with the drawing; one wire moved by a pin does this.".to_owned()
        }
        (Some((Suspicion::Stuck(_), _)), _) | (None, Some(Instead::BitStuck(_))) => {
            "Probe the still bit at the part's own pin: a short, an open joint, or a probe that slipped off.".to_owned()
        }
        (None, Some(Instead::Twice)) => format!(
            "Look at {} at the part's own pin, fast: a double or slow edge there steps the bus twice though one edge was captured.",
            sequence.strobe.line
        ),
        (None, Some(Instead::Unbidden)) => format!(
            "Look at {} and the other count, load and clear inputs at the part's own pins, fast: something stepped the bus where no \
             strobe was captured, as ringing on the strobe's other edge does.",
            sequence.strobe.line
        ),
        (None, Some(Instead::NotAtAll)) => format!(
            "Look at {} and the enable inputs at the part's own pins: a strobe that was captured but did not arrive.",
            sequence.strobe.line
        ),
        (None, Some(Instead::Cleared)) => "Look at the clear input for strays, fast.".to_owned(),
        _ => "Step through the wrong steps in the diagram and look what else moved.".to_owned(),
    });
    next
}
