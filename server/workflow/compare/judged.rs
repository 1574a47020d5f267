//! Counts of two sets of runs → verdicts with their sentences.

use crate::analysis::compare::{Counts, Judgement, Verdict, judge};
use crate::analysis::stats::intervals::clopper_pearson;
use crate::report::Interval;
use crate::report::compare::{OccasionsRow, Tallies, Trouble, TroubleKind};

/// One trouble, judged between two sets of runs.
pub struct Judged<'a> {
    pub trouble: &'a Trouble,
    pub before: Counts,
    pub after: Counts,
    pub judgement: Judgement,
    /// The verdict in words, with its counts.
    pub says: String,
}

impl Judged<'_> {
    /// None before, some after: the change may have brought it.
    pub fn is_new(&self) -> bool {
        self.before.strays == 0 && self.after.strays > 0 && self.before.opportunities > 0
    }

    /// It went wrong at least once on either side.
    pub fn is_seen(&self) -> bool {
        self.before.strays + self.after.strays > 0
    }
}

/// Judges every trouble between the runs `before` and the runs `after` (positions in [`Tallies::runs`]): new
/// troubles first, then worse ones, what is still there, what is better, what can't be told, what is gone.
pub fn judge_all<'a>(tallies: &'a Tallies, before: &[usize], after: &[usize]) -> Vec<Judged<'a>> {
    let judged = tallies.troubles.iter().map(|trouble| {
        let (before, after) = (
            counts(sum_over(trouble, before)),
            counts(sum_over(trouble, after)),
        );
        let judgement = judge(before, after);
        Judged {
            trouble,
            before,
            after,
            says: says(trouble, before, after, &judgement),
            judgement,
        }
    });
    let mut judged: Vec<Judged> = judged.collect();
    judged.sort_by_key(|j| (rank(j), std::cmp::Reverse(j.after.strays.max(j.before.strays))));
    judged
}

/// A rate with its two-sided 95 % interval (Clopper–Pearson); `None` without an occasion.
pub fn rate(row: OccasionsRow) -> Option<Interval> {
    let (low, high) = clopper_pearson(row.wrong, row.occasions, 0.95);
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
        TroubleKind::Coupling => format!("{} struck by {}", line(0), line(1)),
        TroubleKind::Loss => format!("{} to {} losing pulses", line(0), line(1)),
        TroubleKind::Extra => format!("{} showing pulses that {} never sent", line(1), line(0)),
        TroubleKind::Bounce => format!("{} bouncing", line(0)),
        TroubleKind::Limit => format!("\"{}\" broken", trouble.detail),
    }
}

/// What the occasions are, in the plural.
pub fn noun(kind: TroubleKind) -> &'static str {
    match kind {
        TroubleKind::Coupling => "opportunities",
        TroubleKind::Loss | TroubleKind::Extra => "pulses",
        TroubleKind::Bounce => "switchings",
        TroubleKind::Limit => "occasions",
    }
}

fn says(trouble: &Trouble, before: Counts, after: Counts, judged: &Judgement) -> String {
    let (what, noun) = (what(trouble), noun(trouble.kind));
    if before.opportunities == 0 || after.opportunities == 0 {
        let side = match (before.opportunities, after.opportunities) {
            (0, 0) => "either side",
            (0, _) => "the captures before",
            _ => "the captures after",
        };
        return format!(
            "{what}: can't be compared, {side} had no {noun} ({} of {} before, {} of {} after).",
            before.strays, before.opportunities, after.strays, after.opportunities
        );
    }
    let counts = format!(
        "{} of {} {noun} before, {} of {} after",
        before.strays, before.opportunities, after.strays, after.opportunities
    );
    let bound = format!("{:.1} %", judged.after_upper_bound * 100.0);
    match judged.verdict {
        Verdict::Gone if trouble.kind == TroubleKind::Coupling => format!(
            "{what}: gone ({counts}); with 95 % confidence it now strikes at most {bound} of the time."
        ),
        Verdict::Gone => {
            format!("{what}: gone ({counts}); with 95 % confidence at most {bound} of the {noun} now.")
        }
        Verdict::Reduced => format!("{what}: fewer, but not gone ({counts})."),
        Verdict::Worse if before.strays == 0 => format!("{what}: new since the change ({counts})."),
        Verdict::Worse => format!("{what}: worse ({counts})."),
        Verdict::Unchanged => format!("{what}: no change ({counts}); that the rate was halved is ruled out."),
        Verdict::Undecided if before.strays + after.strays == 0 => {
            format!(
                "{what}: none on either side ({counts}); with 95 % confidence at most {bound} of the {noun} now."
            )
        }
        Verdict::Undecided if before.strays == 0 => {
            format!(
                "{what}: not seen before ({counts}), but so few may be chance; capture longer as it is now."
            )
        }
        Verdict::Undecided => match judged.opportunities_needed {
            Some(n) if n > after.opportunities => format!(
                "{what}: can't be told yet ({counts}); {} more clean {noun} would settle it.",
                n - after.opportunities
            ),
            _ => format!(
                "{what}: can't be told from these counts ({counts}); capture longer under both conditions."
            ),
        },
    }
}
