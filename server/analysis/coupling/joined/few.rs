//! Strikes too few to accuse anybody, however unlikely chance makes them.
//!
//! What a probability weighs is chance among the captured lines. That a line without a probe struck three or four times while a
//! captured one switched along it doesn't know. On the captures of `tests/simulator` (three times 200 seeds a family) six of
//! the seven couplings that rested on three or four strays, those beside the victim's own edges among them, were wrong; of
//! those with five or six one in 93 was.

use crate::analysis::coupling::{Attribution, Cause, Standing};
use crate::analysis::strays::Strays;

/// A line with fewer edges to which strays are put down than this is named, and not accused.
pub const FEWEST_TO_ACCUSE: u64 = 5;

/// Takes back what too few strays say: their couplings lose their standing, and they their cause; [`Attribution::few`] holds
/// the couplings. Cost: linear in couplings, a sort of the strays.
pub fn withdraw(strays: &Strays, attribution: &mut Attribution) {
    let mut put_down = vec![0u64; attribution.couplings.len()];
    // An edge that strikes twice says it once.
    let of_edges = attribution
        .causes
        .iter()
        .zip(&strays.strays)
        .filter_map(|(cause, stray)| {
            let cause = cause.as_ref()?;
            Some((cause.coupling, stray.start.0 - cause.lag))
        });
    let mut of_edges: Vec<(usize, i64)> = of_edges.collect();
    of_edges.sort_unstable();
    of_edges.dedup();
    for (coupling, _) in of_edges {
        put_down[coupling] += 1;
    }
    let couplings = attribution.couplings.iter_mut().zip(put_down).enumerate();
    for (at, (coupling, put_down)) in couplings {
        let put_down = put_down.max(coupling.strays);
        if coupling.standing == Standing::Clear && put_down < FEWEST_TO_ACCUSE {
            coupling.standing = Standing::Companion;
            attribution.few.insert(at, put_down);
        }
    }
    let is_few = |cause: &Cause| attribution.few.contains_key(&cause.coupling);
    for (stray, cause) in attribution.causes.iter_mut().enumerate() {
        if cause.as_ref().is_some_and(is_few) {
            *cause = None;
            attribution.beside.push(stray);
        }
    }
    attribution.beside.sort_unstable();
    attribution.beside.dedup();
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::{CouplingOptions, attribute};
    use crate::analysis::findings;
    use crate::analysis::strays::{StrayOptions, find};
    use crate::model::{Capture, Level, Line, Ticks, TimeSpan};
    use std::collections::BTreeMap;

    /// HAND rises 60 times; `struck` of these rises bring a dip of PEG 20 ticks later.
    fn asked(struck: i64) -> (Vec<Standing>, usize, Vec<String>) {
        asked_of(struck, false)
    }

    /// The same; with `twice`, each dip comes again 100 ticks later.
    fn asked_of(struck: i64, twice: bool) -> (Vec<Standing>, usize, Vec<String>) {
        let span = TimeSpan::new(Ticks(0), Ticks(2_000_000));
        let rise = |n: i64| 30_000 * n + 97 * (n % 7) + 5_000;
        let hand = (0..60).flat_map(|n| [Ticks(rise(n)), Ticks(rise(n) + 9_000 + 31 * (n % 5))]);
        let peg = (0..struck).flat_map(|n| {
            let start = rise(11 * n + 2) + 20 + n % 2;
            let dips = if twice { 2 } else { 1 };
            (0..dips).flat_map(move |dip| [Ticks(start + 100 * dip), Ticks(start + 100 * dip + 25 + n)])
        });
        let lines = vec![
            Line::digital("HAND", Level::Low, hand.collect(), span),
            Line::digital("PEG", Level::High, peg.collect(), span),
        ];
        let capture = Capture::in_nanoseconds("few", span, lines);
        let options = StrayOptions {
            narrow_below: BTreeMap::from([(1, 60.0)]),
            ..StrayOptions::default()
        };
        let strays = find(&capture, &options);
        let attribution = attribute(&capture, &strays, &CouplingOptions::default());
        let titles = findings::of(&capture, &strays, &attribution);
        (
            attribution.couplings.iter().map(|c| c.standing).collect(),
            attribution.causes.iter().flatten().count(),
            titles.into_iter().map(|f| f.title).collect(),
        )
    }

    #[test]
    fn edges_that_strike_twice_count_once() {
        let (standing, causes, titles) = asked_of(4, true);
        assert_eq!((standing, causes), (vec![Standing::Companion], 0), "{titles:?}");
        let (standing, ..) = asked_of(8, true);
        assert_eq!(standing, [Standing::Clear]);
    }

    #[test]
    fn four_strikes_name_a_line_and_five_accuse_it() {
        let (standing, causes, titles) = asked(4);
        assert_eq!((standing, causes), (vec![Standing::Companion], 0));
        assert_eq!(
            titles,
            ["PEG: 4 of 4 stray pulses follow HAND rising, too few to accuse it"]
        );
        let (standing, causes, titles) = asked(5);
        assert_eq!((standing, causes), (vec![Standing::Clear], 5));
        assert_eq!(titles, ["PEG: 5 of 5 stray pulses follow HAND rising"]);
    }
}
