//! Before and after: did the fix make a difference, or was it luck?
//!
//! Rates are compared, not raw counts: strikes of an aggressor's edges over its opportunities, each side counted
//! with the same narrow limit, lag window and polarities. The verdict follows from Fisher's exact test, the
//! Miettinen–Nurminen interval of the ratio and an exact bound, all at 95 %.

mod contact;
mod count;

pub use contact::{count_bounces, parting_pause_s};
pub use count::{Pair, Side, count, count_each};

use super::stats::fisher::fisher;
use super::stats::intervals::{CONFIDENCE, clopper_pearson_upper};
use super::stats::power::{CleanNeeded, clean_needed, clean_to_settle, longer_after, longer_on_both};
use super::stats::ratio::{Ratio, miettinen_nurminen};

/// Level of the test: verdicts are given at 95 %.
const ALPHA: f64 = 0.05;
/// Beyond so many opportunities nobody waits for a verdict.
const MOST_OPPORTUNITIES: u64 = 1_000_000_000;
/// Nobody captures so many times longer.
pub const LONGER: u64 = 100;
/// A ratio interval that lies above this rules out that the fix halved the rate.
const HALVING: f64 = 0.5;

/// Where a change must be worth the name, the rate must fall to this of what it was, or rise to its inverse. No source: a fifth is
/// about what a change of pace or of the tune brings.
const WORTH_THE_NAME: f64 = 0.8;

/// What is asked of two rates before a change between them is told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bar {
    /// Troubles of one kind that are compared at once: the level of the test is parted among them (Bonferroni).
    pub compared: usize,
    /// A significant change that is too small to be worth the name is none.
    pub worth_the_name: bool,
}

impl Default for Bar {
    /// One trouble, and any change.
    fn default() -> Bar {
        Bar {
            compared: 1,
            worth_the_name: false,
        }
    }
}

/// Strikes and opportunities under one condition.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    pub strays: u64,
    pub opportunities: u64,
}

impl std::ops::AddAssign for Counts {
    fn add_assign(&mut self, other: Counts) {
        self.strays += other.strays;
        self.opportunities += other.opportunities;
    }
}

/// What two rates allow to be said of the change between them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// None after, and the drop is significant.
    Gone,
    /// Significantly fewer, not none.
    Reduced,
    /// Significantly more.
    Worse,
    /// Not significant, or too small to be worth the name; a halving and a doubling are ruled out.
    Unchanged,
    /// Too few opportunities to say.
    Undecided,
}

impl Verdict {
    /// The word of the report.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Gone => "gone",
            Verdict::Reduced => "reduced",
            Verdict::Worse => "worse",
            Verdict::Unchanged => "unchanged",
            Verdict::Undecided => "undecided",
        }
    }
}

/// What two counts say of each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judgement {
    /// Fisher's exact test, two-sided.
    pub p_value: f64,
    /// Rate after over rate before, Miettinen–Nurminen 95 %.
    pub ratio: Ratio,
    /// Exact one-sided 95 % upper bound of the strike rate after.
    pub after_upper_bound: f64,
    pub verdict: Verdict,
    /// How many opportunities after in all, the further ones clean, would settle it. When undecided: show that it is fewer.
    /// When none came after, but so few went by that more than a tenth of the rate before may be left: rule that out. `None` where no number would, as nothing struck before, and where nothing is open.
    pub opportunities_needed: Option<u64>,
    /// When undecided though strikes go on: about how many opportunities after would tell, at the rate of now. `None` where even
    /// [`LONGER`] times as many as now would not.
    pub needed_at_this_rate: Option<u64>,
    /// Where these would not: about how many times what is counted now on both sides would tell, at the rates of now.
    pub longer_on_both: Option<f64>,
    /// Whether the verdict is gone, and at most half of the rate before can be left: what is significant by a hair is not.
    pub is_backed: bool,
}

impl Judgement {
    /// Takes the verdict back, with what would settle it: further counts of the same kind would not.
    pub fn cannot_be_told(&mut self) {
        self.verdict = Verdict::Undecided;
        (self.opportunities_needed, self.needed_at_this_rate) = (None, None);
        (self.longer_on_both, self.is_backed) = (None, false);
    }
}

/// Judges the counts after against those before.
///
/// # Source
/// Fisher 1935; Miettinen and Nurminen 1985; Clopper and Pearson 1934 (see [`super::stats`]).
pub fn judge(before: Counts, after: Counts) -> Judgement {
    judge_against(before, after, Bar::default())
}

/// How many clean opportunities show what a change did to a trouble that was counted so before. See [`clean_needed`].
pub fn clean_needed_after(before: Counts) -> CleanNeeded {
    clean_needed([before.strays, before.opportunities], ALPHA, MOST_OPPORTUNITIES)
}

/// Judges the counts after against those before, with what `bar` asks. See [`judge`].
pub fn judge_against(before: Counts, after: Counts, bar: Bar) -> Judgement {
    let alpha = ALPHA / bar.compared.max(1) as f64;
    let (p_value, ratio, verdict) = tell(before, after, bar);
    let (a, n1, b, n2) = (
        before.strays,
        before.opportunities,
        after.strays,
        after.opportunities,
    );
    let of = |[strays, opportunities]: [u64; 2]| Counts {
        strays,
        opportunities,
    };
    let is_told = |before: Counts, after: Counts| tell(before, after, bar).2 != Verdict::Undecided;
    let goes_on = verdict == Verdict::Undecided && b > 0 && n1 > 0;
    let at_this_rate = match goes_on {
        true => longer_after([b, n2], LONGER * n2, &|b, n2| is_told(before, of([b, n2]))),
        false => None,
    };
    let after_upper_bound = match n2 {
        0 => 1.0,
        n2 => clopper_pearson_upper(b, n2, 1.0 - ALPHA),
    };
    Judgement {
        p_value,
        ratio,
        after_upper_bound,
        is_backed: verdict == Verdict::Gone && after_upper_bound <= HALVING * a as f64 / n1.max(1) as f64,
        verdict,
        opportunities_needed: match verdict {
            Verdict::Undecided => clean_to_settle(a, n1, b, alpha, MOST_OPPORTUNITIES),
            Verdict::Gone => clean_needed_after(before).gone.filter(|needed| *needed > n2),
            _ => None,
        },
        needed_at_this_rate: at_this_rate,
        longer_on_both: match goes_on && at_this_rate.is_none() {
            true => longer_on_both([[a, n1], [b, n2]], LONGER as f64, &|before, after| {
                is_told(of(before), of(after))
            }),
            false => None,
        },
    }
}

/// Chance, ratio and verdict of two counts.
fn tell(before: Counts, after: Counts, bar: Bar) -> (f64, Ratio, Verdict) {
    let alpha = ALPHA / bar.compared.max(1) as f64;
    let (a, n1, b, n2) = (
        before.strays,
        before.opportunities,
        after.strays,
        after.opportunities,
    );
    let p_value = if n1 == 0 || n2 == 0 {
        1.0
    } else {
        fisher(a, n1, b, n2).two_sided().min(1.0)
    };
    let ratio = miettinen_nurminen(a, n1, b, n2, CONFIDENCE);
    let rate = |k: u64, n: u64| k as f64 / n.max(1) as f64;
    let is_worth = !bar.worth_the_name
        || ratio
            .estimate
            .is_none_or(|estimate| !(WORTH_THE_NAME..=1.0 / WORTH_THE_NAME).contains(&estimate));
    let verdict = if p_value < alpha && is_worth {
        match (rate(b, n2) > rate(a, n1), b) {
            (true, _) => Verdict::Worse,
            (false, 0) => Verdict::Gone,
            (false, _) => Verdict::Reduced,
        }
    } else if a > 0 && n2 > 0 && ratio.low > HALVING && ratio.high.is_some_and(|high| high <= 1.0 / HALVING) {
        Verdict::Unchanged
    } else {
        Verdict::Undecided
    };
    (p_value, ratio, verdict)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counts(strays: u64, opportunities: u64) -> Counts {
        Counts {
            strays,
            opportunities,
        }
    }

    /// Outside values: two-sided Fisher by scipy.stats.fisher_exact 1.17.1; the Miettinen–Nurminen upper end by
    /// statsmodels 0.15.0 (confint_proportions_2indep, ratio, score); the bound is 1 − 0.05^(1/88) (Hanley and
    /// Lippman-Hand 1983).
    #[test]
    fn a_fix_that_worked_is_gone() {
        let judged = judge(counts(39, 90), counts(0, 88));
        assert!((judged.p_value / 1.947413641402024e-14 - 1.0).abs() < 1e-9);
        assert_eq!(judged.ratio.low, 0.0);
        assert!((judged.ratio.high.unwrap() - 0.0972724912954196).abs() < 1e-9);
        assert!((judged.after_upper_bound - 0.03346948891663744).abs() < 1e-12);
        assert_eq!(judged.verdict, Verdict::Gone);
        assert_eq!(judged.opportunities_needed, None);
    }

    #[test]
    fn each_verdict_has_its_ground() {
        assert_eq!(judge(counts(39, 90), counts(5, 88)).verdict, Verdict::Reduced);
        assert_eq!(judge(counts(5, 88), counts(39, 90)).verdict, Verdict::Worse);
        assert_eq!(
            judge(counts(400, 900), counts(400, 900)).verdict,
            Verdict::Unchanged
        );
        let lucky = judge(counts(3, 90), counts(0, 20));
        assert_eq!(lucky.verdict, Verdict::Undecided);
        let needed = lucky.opportunities_needed.unwrap();
        assert!(judge(counts(3, 90), counts(0, needed)).verdict == Verdict::Gone);
        assert!(judge(counts(3, 90), counts(0, needed - 1)).verdict == Verdict::Undecided);
    }

    #[test]
    fn strikes_that_go_on_are_told_by_a_longer_capture_at_their_rate() {
        let judged = judge(counts(9, 38), counts(5, 45));
        assert_eq!(judged.verdict, Verdict::Undecided);
        let longer = judged.needed_at_this_rate.unwrap();
        let after = |n: u64| counts((n as f64 * 5.0 / 45.0).round() as u64, n);
        assert_eq!(judge(counts(9, 38), after(longer)).verdict, Verdict::Reduced);
        assert_eq!(
            judge(counts(9, 38), after(longer / 2)).verdict,
            Verdict::Undecided
        );
        // Rates so near that no capture after alone tells: longer on both sides, until nothing but "no change" is left.
        let near = judge(counts(3, 12), counts(3, 13));
        assert_eq!(
            (near.verdict, near.needed_at_this_rate),
            (Verdict::Undecided, None)
        );
        let by = near.longer_on_both.unwrap();
        let times =
            |k: u64, n: u64, by: f64| counts((k as f64 * by).round() as u64, (n as f64 * by).round() as u64);
        let told = |by: f64| judge(times(3, 12, by), times(3, 13, by)).verdict;
        assert_eq!(
            (told(by), told(by / 2.0)),
            (Verdict::Unchanged, Verdict::Undecided)
        );
        let worse = judge(counts(10, 45), counts(19, 45));
        assert!(
            worse.ratio.low > HALVING && worse.verdict == Verdict::Undecided,
            "{worse:?}"
        );
    }

    #[test]
    fn luck_and_a_small_change_are_no_fix_where_a_bar_is_set() {
        let (before, after) = (counts(1178, 2300), counts(1116, 2268));
        let rules = |compared| Bar {
            compared,
            worth_the_name: true,
        };
        // 51.2 % and 49.2 %; and more of the same, which is significant and no more worth the name.
        assert_eq!(judge_against(before, after, rules(1)).verdict, Verdict::Unchanged);
        let (before, after) = (counts(51_200, 100_000), counts(49_200, 100_000));
        assert_eq!(judge(before, after).verdict, Verdict::Reduced);
        assert_eq!(judge_against(before, after, rules(1)).verdict, Verdict::Unchanged);
        // One of ten rules that differs at 5 % is what chance brings.
        let (before, after) = (counts(20, 100), counts(9, 100));
        assert_eq!(judge_against(before, after, rules(1)).verdict, Verdict::Reduced);
        assert_eq!(
            judge_against(before, after, rules(10)).verdict,
            Verdict::Undecided
        );
        assert_eq!(
            judge_against(counts(200, 1000), counts(0, 1000), rules(10)).verdict,
            Verdict::Gone
        );
    }

    /// None in 22 is significant, and the rule of three leaves 12.7 % of 18.6 %.
    #[test]
    fn gone_with_too_little_behind_it_says_how_much_more_is_needed() {
        let few = judge(counts(149, 800), counts(0, 22));
        assert_eq!((few.verdict, few.is_backed), (Verdict::Gone, false));
        assert_eq!(
            few.opportunities_needed,
            clean_needed_after(counts(149, 800)).gone
        );
        let enough = judge(counts(149, 800), counts(0, few.opportunities_needed.unwrap()));
        assert!(enough.is_backed && enough.opportunities_needed.is_none());
        assert!(enough.after_upper_bound <= 0.1 * 149.0 / 800.0);
    }

    #[test]
    fn a_ratio_that_leaves_a_doubling_open_is_not_unchanged() {
        // Ratio 1.9, 0.53 to 7.2.
        let judged = judge(counts(3, 30), counts(6, 31));
        assert!(
            judged.ratio.low > 0.5 && judged.ratio.high.unwrap() > 6.0,
            "{judged:?}"
        );
        assert_eq!(judged.verdict, Verdict::Undecided);
    }

    #[test]
    fn no_opportunity_decides_nothing() {
        let judged = judge(counts(39, 90), counts(0, 0));
        assert_eq!(judged.verdict, Verdict::Undecided);
        assert_eq!(judged.after_upper_bound, 1.0);
        assert_eq!(judge(counts(0, 0), counts(0, 0)).opportunities_needed, None);
    }
}
