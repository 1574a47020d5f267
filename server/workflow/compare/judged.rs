//! Counts of two sets of runs → verdicts with their sentences.

use super::bar::{bar_of_rules, earlier};
use super::depth::{Change, Depth};
use super::says::says;
use super::sight::{Sight, at_one_sampling};
use super::still::{Still, Which, still};
use super::{uncounted, unlike};
use crate::analysis::compare::{Bar, Counts, Judgement, Verdict, judge_against};
use crate::analysis::stats::intervals::{CONFIDENCE, clopper_pearson};
use crate::model::units::{
    Bound, per_time, percent_bound, percent_to_tenths, seconds, three_digits, three_digits_bound,
};
use crate::report::Interval;
use crate::report::compare::{EACH_OTHER, OccasionsRow, Tallies, Trouble, TroubleKind};

/// One trouble, judged between two sets of runs.
pub struct Judged<'a> {
    pub trouble: &'a Trouble,
    pub before: Counts,
    pub after: Counts,
    pub judgement: Judgement,
    /// The verdict in words, with its counts.
    pub says: String,
    /// A run before all of these, and on neither side, shows it as well.
    pub is_known: bool,
    /// One recording stands on both sides: no verdict.
    is_twice: bool,
    /// A line of it that moved before and never after.
    pub still: Option<String>,
    /// Of a rail that is still seen after: how deep it goes.
    pub depth: Option<Depth>,
    /// A side's runs are not alike: one of them alone shows it.
    pub is_unlike: bool,
    /// A line of it whose level itself is wrong on a side, so that nothing is counted there.
    pub left_out: Option<String>,
}

impl Judged<'_> {
    /// None before, some after, and none earlier: the change may have brought it.
    pub fn is_new(&self) -> bool {
        self.is_absent_before() && !self.is_known
    }

    /// None before and some after, though an earlier run shows it too.
    pub fn is_back(&self) -> bool {
        self.is_absent_before() && self.is_known
    }

    fn is_absent_before(&self) -> bool {
        self.before.strays == 0 && self.after.strays > 0 && self.before.opportunities > 0
    }

    /// One recording stands on both sides, so that nothing can be told.
    pub fn is_one_recording(&self) -> bool {
        self.is_twice
    }

    /// None came after, and at most half of the rate before can be left; and it never was away before the change.
    pub fn is_gone_for_good(&self) -> bool {
        self.judgement.verdict == Verdict::Gone && self.judgement.is_backed && !self.is_unlike
    }

    /// A rail that dips no less often as far as is told, and less deep.
    pub fn is_shallower(&self) -> bool {
        self.changes_by_depth(Change::Shallower)
    }

    /// A rail that dips no more often as far as is told, and deeper.
    pub fn is_deeper(&self) -> bool {
        self.changes_by_depth(Change::Deeper)
    }

    fn changes_by_depth(&self, change: Change) -> bool {
        let is_open = matches!(self.judgement.verdict, Verdict::Unchanged | Verdict::Undecided);
        is_open && self.depth.as_ref().is_some_and(|depth| depth.change == change)
    }

    /// What to try next, in a sentence.
    pub fn next(&self) -> String {
        super::next::what_next(self)
    }

    /// It went wrong at least once on either side.
    pub fn is_seen(&self) -> bool {
        self.before.strays + self.after.strays > 0
    }
}

/// Judges every trouble between the runs `before` and the runs `after` (positions in [`Tallies::runs`]): new
/// troubles first, then worse ones, what is still there, what is better, what can't be told, what is gone.
pub fn judge_all<'a>(tallies: &'a Tallies, before: &[usize], after: &[usize]) -> Vec<Judged<'a>> {
    let is_twice = is_one_recording(tallies, before, after);
    let mut dead = still(tallies, before, after);
    dead.retain(|still| still.side == Which::After);
    let of_rules = bar_of_rules(tallies, before, after);
    let judged = tallies.troubles.iter().map(|trouble| {
        let bar = match trouble.kind {
            TroubleKind::Limit => of_rules,
            _ => Bar::default(),
        };
        let is_known = earlier(before, after).any(|run| trouble.counts.get(run).is_some_and(|row| row.wrong > 0));
        let runs = (before, after);
        let (before, after) = (
            counts(sum_over(trouble, before)),
            counts(sum_over(trouble, after)),
        );
        let sight = at_one_sampling(trouble, (runs.0, before), (runs.1, after));
        let (judgement, is_open) = match &sight {
            None => (judge_against(before, after, bar), false),
            Some(sight) => judge_ends(sight, bar),
        };
        let sides = ((runs.0, before), (runs.1, after));
        let left_out = uncounted::left_out(tallies, trouble, sides.0, sides.1);
        let (left_out, unlevelled) = left_out.unzip();
        let absent = uncounted::absent_line(tallies, trouble, sides.0, sides.1)
            .or_else(|| uncounted::unjoined(tallies, trouble, sides.0, sides.1))
            .or(unlevelled);
        let is_absent = absent.is_some();
        let mut says = match (absent, is_open) {
            (Some(sentence), _) => sentence,
            (None, true) => format!(
                "{}: can't be told from captures sampled so differently ({} before, {} after).",
                what(trouble),
                tally(before.strays, before.opportunities, trouble.slot_s),
                tally(after.strays, after.opportunities, trouble.slot_s)
            ),
            (None, false) => says(trouble, before, after, (&judgement, is_known)),
        };
        let is_seen = before.strays + after.strays > 0;
        if let Some(sight) = sight.as_ref().filter(|_| is_seen && !is_absent) {
            says.push_str(&sampled_otherwise(sight, before, after, is_open));
        }
        let own = |still: &&Still| trouble.lines.contains(&still.line);
        let still = dead
            .iter()
            .find(own)
            .filter(|_| is_seen && !is_absent && after.strays == 0);
        let mut judgement = judgement;
        if left_out.is_some() {
            judgement.cannot_be_told();
        }
        if let Some(still) = still {
            judgement.cannot_be_told();
            says = format!(
                "{}: can't be told, {} never switched after, where it switched {} times before ({} before, {} after).",
                what(trouble),
                still.line,
                still.edges,
                tally(before.strays, before.opportunities, trouble.slot_s),
                tally(after.strays, after.opportunities, trouble.slot_s)
            );
        }
        if is_twice {
            judgement.cannot_be_told();
            says = format!(
                "{}: can't be told, the same recording stands on both sides ({} before, {} after).",
                what(trouble),
                tally(before.strays, before.opportunities, trouble.slot_s),
                tally(after.strays, after.opportunities, trouble.slot_s)
            );
        }
        let depth = (is_seen && after.strays > 0 && !is_twice && still.is_none() && left_out.is_none())
            .then(|| Depth::of(tallies, trouble, runs.0, runs.1))
            .flatten();
        if let Some(depth) = &depth {
            says.push_str(&depth.says());
        }
        // What can't be told at all needs no further doubt.
        let is_told = is_seen && !is_twice && !is_absent && still.is_none() && left_out.is_none();
        let sides = [(runs.0, "before"), (runs.1, "after")].into_iter().filter(|_| is_told);
        let unlike: Vec<String> = sides
            .filter_map(|(side, word)| unlike::says(tallies, trouble, side, word))
            .collect();
        if !unlike.is_empty() && judgement.verdict == Verdict::Gone {
            says = says.replacen(": gone (", ": none so far (", 1);
        }
        says.push_str(&unlike.concat());
        Judged {
            is_unlike: !unlike.is_empty(),
            depth,
            trouble,
            before,
            after,
            says,
            judgement,
            is_known,
            is_twice,
            still: still.map(|still| still.line.clone()),
            left_out,
        }
    });
    let mut judged: Vec<Judged> = judged.collect();
    judged.sort_by_key(|j| (rank(j), std::cmp::Reverse(j.after.strays.max(j.before.strays))));
    judged
}

/// Whether a run, or one with the same edges, stands on both sides: then no count shows what a change did.
fn is_one_recording(tallies: &Tallies, before: &[usize], after: &[usize]) -> bool {
    let is_across = |[a, b]: &[usize; 2]| {
        before.contains(a) && after.contains(b) || before.contains(b) && after.contains(a)
    };
    before.iter().any(|run| after.contains(run)) || tallies.twins.iter().any(is_across)
}

/// The verdict that holds by the least and by the most that the coarser sampling could have shown; undecided, and true, where
/// the two differ. The figures are those of the end that is nearer to chance.
fn judge_ends(sight: &Sight, bar: Bar) -> (Judgement, bool) {
    let [mut a, b] = sight
        .ends
        .map(|(before, after)| judge_against(before, after, bar));
    let is_open = a.verdict != b.verdict;
    if b.p_value > a.p_value {
        a = b;
    }
    if is_open {
        a.cannot_be_told();
    }
    (a, is_open)
}

/// What the sampling of the two sides has to do with it.
fn sampled_otherwise(sight: &Sight, before: Counts, after: Counts, is_open: bool) -> String {
    let period = |s: f64| match s {
        s if s > 0.0 => format!("every {}", seconds(s)),
        _ => "at an unknown rate".to_owned(),
    };
    let [(b0, a0), (b1, a1)] = &sight.ends;
    let (side, all, few, many) = match sight.is_before_finer() {
        true => ("before", before.strays, b0.strays, b1.strays),
        false => ("after", after.strays, a1.strays, a0.strays),
    };
    let shown = match (few, many) {
        (few, many) if few == many => few.to_string(),
        _ => format!("{few} to {many}"),
    };
    let advice = match is_open {
        true => " Capture again with the same sampling.",
        false => "",
    };
    if all == 0 {
        return String::new();
    }
    format!(
        " Sampled {} before and {} after: of the {all} {side}, {shown} would have shown at the coarser sampling.{advice}",
        period(sight.sampling_s.0),
        period(sight.sampling_s.1)
    )
}

/// A rate with its two-sided 95 % interval (Clopper–Pearson); `None` without an occasion.
pub fn rate(row: OccasionsRow) -> Option<Interval> {
    let (low, high) = clopper_pearson(row.wrong, row.occasions, CONFIDENCE);
    (row.occasions > 0).then(|| Interval {
        estimate: row.wrong as f64 / row.occasions as f64,
        low,
        high,
    })
}

/// What a trouble came to over several runs.
pub fn sum_over(trouble: &Trouble, runs: &[usize]) -> OccasionsRow {
    let rows = runs.iter().filter_map(|&run| trouble.counts.get(run));
    rows.fold(
        OccasionsRow {
            wrong: 0,
            occasions: 0,
        },
        |sum, row| OccasionsRow {
            wrong: sum.wrong + row.wrong,
            occasions: sum.occasions + row.occasions,
        },
    )
}

fn counts(row: OccasionsRow) -> Counts {
    Counts {
        strays: row.wrong,
        opportunities: row.occasions,
    }
}

fn rank(judged: &Judged) -> u8 {
    match judged.judgement.verdict {
        Verdict::Worse if judged.is_new() => 0,
        Verdict::Worse => 1,
        Verdict::Undecided if judged.is_new() => 2,
        Verdict::Unchanged => 3,
        Verdict::Reduced => 4,
        Verdict::Undecided => 5,
        Verdict::Gone => 6,
    }
}

/// What it is about: "CLEAR_N struck by STEP".
pub fn what(trouble: &Trouble) -> String {
    let line = |i: usize| trouble.lines.get(i).map_or("", String::as_str);
    match trouble.kind {
        TroubleKind::Coupling if trouble.detail == EACH_OTHER => {
            format!("{} and {} striking each other", line(0), line(1))
        }
        TroubleKind::Coupling => format!("{} struck by {}", line(0), line(1)),
        TroubleKind::Loss => format!("{} to {} losing pulses", line(0), line(1)),
        TroubleKind::Extra => format!("{} showing pulses that {} never sent", line(1), line(0)),
        TroubleKind::Bounce => format!("{} bouncing", line(0)),
        TroubleKind::Limit => format!("\"{}\" broken", trouble.detail),
        TroubleKind::Stray => format!("{} showing strays, whatever their cause", line(0)),
        TroubleKind::Rail => format!("{} out of its limits{}", line(0), after_edges(trouble)),
    }
}

/// " after LIFT rises" of a rail that is counted over these.
fn after_edges(trouble: &Trouble) -> String {
    let verb = if trouble.detail == "fall" {
        "falls"
    } else {
        "rises"
    };
    let cause = trouble.lines.get(1);
    cause.map_or(String::new(), |cause| format!(" after {cause} {verb}"))
}

/// What the occasions are, in the plural.
pub(super) fn noun(trouble: &Trouble) -> String {
    let noun = match (trouble.kind, trouble.lines.get(1)) {
        (TroubleKind::Coupling, _) => "opportunities",
        (TroubleKind::Loss | TroubleKind::Extra, _) => "pulses",
        (TroubleKind::Bounce, _) => "switchings",
        (TroubleKind::Limit, _) => "occasions",
        (TroubleKind::Rail, Some(_)) if trouble.detail == "fall" => "falls of that line",
        (TroubleKind::Rail, Some(_)) => "rises of that line",
        (TroubleKind::Stray | TroubleKind::Rail, _) => "time watched",
    };
    noun.to_owned()
}

/// So many occasions: "12 pulses", or "3.4 s" of what is counted over time.
pub fn amount(trouble: &Trouble, occasions: u64) -> String {
    match trouble.slot_s {
        Some(slot) => seconds(occasions as f64 * slot),
        None => format!("{occasions} {}", noun(trouble)),
    }
}

/// "66 of 125", or "66 in 3.4 s" of what is counted over time.
pub fn tally(wrong: u64, occasions: u64, slot_s: Option<f64>) -> String {
    match slot_s {
        Some(slot) => format!("{wrong} in {}", seconds(occasions as f64 * slot)),
        None => format!("{wrong} of {occasions}"),
    }
}

/// A rate an occasion in words: "3.4 %", or "12 a second" of what is counted over time.
pub fn share(rate: f64, slot_s: Option<f64>) -> String {
    match slot_s {
        Some(slot) => {
            let (value, words, _) = per_time(rate / slot);
            format!("{} {words}", three_digits(value))
        }
        None => format!("{} %", percent_to_tenths(rate)),
    }
}

/// A bound of such a rate, outwards.
pub fn share_bound(rate: f64, slot_s: Option<f64>, bound: Bound) -> String {
    match slot_s {
        Some(slot) => {
            let (value, words, _) = per_time(rate / slot);
            format!("{} {words}", three_digits_bound(value, bound))
        }
        None => format!("{} %", percent_bound(rate, bound)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_an_earlier_condition_showed_is_not_new() {
        let counts =
            [(201, 1261), (0, 37), (191, 1291)].map(|(wrong, occasions)| OccasionsRow { wrong, occasions });
        let tallies = Tallies {
            runs: vec![Vec::new(); 3],
            lines: vec![Vec::new(); 3],
            troubles: vec![Trouble {
                kind: TroubleKind::Limit,
                lines: Vec::new(),
                detail: "count".to_owned(),
                counts: counts.into(),
                slot_s: None,
                seen: Vec::new(),
            }],
            ..Tallies::default()
        };
        let judged = &judge_all(&tallies, &[1], &[2])[0];
        assert_eq!(
            (judged.judgement.verdict, judged.is_new(), judged.is_back()),
            (Verdict::Worse, false, true)
        );
        assert!(
            judged.says.contains("back again") && !judged.next().contains("may have brought"),
            "{}",
            judged.says
        );
        // What comes after says nothing of what was new.
        assert!(judge_all(&tallies, &[1], &[0])[0].is_new());
    }

    #[test]
    fn a_rare_trouble_is_not_told_as_none() {
        assert_eq!(share(5e-5, None), "0.005 %");
        assert_eq!(share(0.034, None), "3.4 %");
        assert_eq!(share(0.0, None), "0 %");
    }

    #[test]
    fn what_is_counted_over_time_is_said_in_seconds() {
        let trouble = Trouble {
            kind: TroubleKind::Stray,
            lines: vec!["CLEAR_N".to_owned()],
            detail: String::new(),
            counts: [(60, 4_200_000), (0, 2_100_000)]
                .map(|(wrong, occasions)| OccasionsRow { wrong, occasions })
                .into(),
            slot_s: Some(1e-6),
            seen: Vec::new(),
        };
        let tallies = Tallies {
            runs: vec![Vec::new(), Vec::new()],
            lines: vec![vec!["CLEAR_N".to_owned()]; 2],
            edges: Vec::new(),
            troubles: vec![trouble],
            ..Tallies::default()
        };
        let judged = &judge_all(&tallies, &[0], &[1])[0];
        // 1 − 0.05^(1/n) over n stretches of 1 µs: −ln 0.05 over the time, Hanley and Lippman-Hand (1983).
        assert_eq!(
            judged.says,
            "CLEAR_N showing strays, whatever their cause: gone (60 in 4.2 s before, 0 in 2.1 s after); with 95 % confidence \
             at most 1.43 a second now."
        );
        // Poisson counts over time, given their sum (Przyborowski and Wilenski 1940): scipy.stats.binomtest(60, 60,
        // 4.2/6.3) of SciPy 1.17.1.
        assert!((judged.judgement.p_value / 3.505_360_121_570_678_6e-11 - 1.0).abs() < 1e-3);
        let swapped = &judge_all(&tallies, &[1], &[0])[0];
        assert!(swapped.says.contains("new since the change"), "{}", swapped.says);
        assert_eq!(
            [share(0.034, None), share(2e-7, Some(1e-6))],
            ["3.4 %", "0.2 a second"]
        );
        assert_eq!(share(1.25e-5, Some(1e-6)), "12.5 a second");
        assert_eq!(
            [share(1.283e-6, Some(1e-10)), share(0.5, Some(1e-7))],
            ["12.8 a millisecond", "5 a microsecond"]
        );
    }
}
