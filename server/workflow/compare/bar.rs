//! What is asked of counts before a change of them is told, and which runs came before.

use super::judged::sum_over;
use crate::analysis::compare::Bar;
use crate::report::compare::{Tallies, Trouble, TroubleKind};

/// What is asked of a rule's violations: parts of a machine's work, of which there are many, and which any change of its pace
/// changes a little. The level is parted among the rules that were broken on either side.
pub(super) fn bar_of_rules(tallies: &Tallies, before: &[usize], after: &[usize]) -> Bar {
    let is_compared = |trouble: &&Trouble| {
        let (before, after) = (sum_over(trouble, before), sum_over(trouble, after));
        trouble.kind == TroubleKind::Limit
            && before.wrong + after.wrong > 0
            && before.occasions > 0
            && after.occasions > 0
    };
    Bar {
        compared: tallies.troubles.iter().filter(is_compared).count(),
        worth_the_name: true,
    }
}

/// Runs before all those of the side `after`, on neither side: runs are in the order of the conditions.
pub(super) fn earlier<'a>(before: &'a [usize], after: &'a [usize]) -> impl Iterator<Item = usize> + 'a {
    let first = after.iter().copied().min().unwrap_or(0);
    (0..first).filter(|run| !before.contains(run))
}
