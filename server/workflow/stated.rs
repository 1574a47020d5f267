//! Pulses that a stated rule explains: nobody is asked whether they are strays or the line's job.

use crate::analysis::coupling::Attribution;
use crate::analysis::rules::RuleResult;
use crate::model::{Capture, Level};
use crate::rule::{Demand, Limit, Rule};

/// Levels of lines whose pulses a checked rule speaks for: how long they must last at least, or what part puts them out. A part that
/// contradicts its rule, other than by being late, speaks for nothing. Positions in the capture.
pub fn stated(capture: &Capture, rules: &[Rule], results: &[RuleResult]) -> Vec<(usize, Level)> {
    const BOTH: [Level; 2] = [Level::Low, Level::High];
    let mut stated = Vec::new();
    let checked = rules.iter().zip(results).filter(|(_, r)| r.tally.checked() > 0);
    for (rule, result) in checked {
        match &rule.demand {
            Demand::Limit(Limit::PulseWidth { line, level, bounds }) if bounds.at_least_s.is_some() => {
                let levels = BOTH
                    .into_iter()
                    .filter(|of| level.is_none_or(|level| level == *of));
                stated.extend(
                    capture
                        .line_index(line)
                        .into_iter()
                        .flat_map(|line| levels.clone().map(move |l| (line, l))),
                );
            }
            Demand::Logic(_) => {
                let Some(table) = &result.table else { continue };
                if result.tally.broken == 0 || table.late.is_some() {
                    stated.extend(
                        table
                            .outputs
                            .iter()
                            .flat_map(|&line| BOTH.map(|level| (line, level))),
                    );
                }
            }
            _ => {}
        }
    }
    stated
}

/// Takes what is stated from what would be asked about.
pub fn take_over(capture: &Capture, rules: &[Rule], results: &[RuleResult], attribution: &mut Attribution) {
    attribution.stated = stated(capture, rules, results);
    let stated = &attribution.stated;
    attribution
        .unsure
        .retain(|u| !stated.contains(&(u.crowd.line, u.crowd.level)));
}
