//! What a session's earlier conditions tell of their lines, for a condition in which a line's own widths tell nothing.
//!
//! Where a fix worked no stray is left to show what is narrow. Before and after takes the limit over from where there were
//! some; findings do the same, so that both say the same of one capture.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::analysis::compare::{self, Pair, Side};
use crate::analysis::coupling::joined::few::FEWEST_TO_ACCUSE;
use crate::analysis::coupling::{Attribution, CouplingOptions, judge};
use crate::analysis::stats::intervals::{CONFIDENCE, clopper_pearson_upper};
use crate::analysis::strays::{LimitOrigin, NarrowLimit, StrayOptions, Strays};
use crate::model::{Capture, Level, Polarity};
use crate::report::inspect::{InspectReport, StrayRow, TakenOverRow};

use super::same_signal::last_part;

/// What one condition tells of its lines.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Told {
    /// The condition's name.
    pub condition: String,
    /// Narrow limits that a line's own widths gave, in seconds for low and high pulses, by the line's name.
    pub limits: BTreeMap<String, [Option<f64>; 2]>,
    pub strikes: Vec<Strikes>,
}

/// A coupling that was clear, by the strays put down to it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Strikes {
    pub victim: String,
    pub aggressor: String,
    /// Which edges raise strays of which level: `rise` or `fall`, `low` or `high`.
    pub of: Vec<[String; 2]>,
    /// Least and greatest lag in seconds.
    pub lag_s: [f64; 2],
}

impl Told {
    /// What a whole report tells; the condition's name is left empty. Cost: linear in its strays.
    pub fn of(report: &InspectReport) -> Told {
        let own = report.lines.iter().filter(|row| row.narrow_from == "inferred");
        let limit = |row: &crate::report::inspect::LineRow| [row.narrow_below_low_s, row.narrow_below_high_s];
        let mut told = Told {
            limits: own.map(|row| (row.line.clone(), limit(row))).collect(),
            ..Told::default()
        };
        let clear = report.couplings.iter().filter(|row| row.standing == "clear");
        let pairs: Vec<(&str, &str)> = clear
            .map(|row| (row.victim.as_str(), row.aggressor.as_str()))
            .collect();
        for row in &report.strays {
            let by = row.aggressor.as_deref().unwrap_or_default();
            if let (true, Some(edge), Some(lag)) =
                (pairs.contains(&(row.line.as_str(), by)), &row.edge, row.lag_s)
            {
                told.add_strike(row, by, edge, lag);
            }
        }
        told
    }

    fn add_strike(&mut self, row: &StrayRow, by: &str, edge: &str, lag_s: f64) {
        let strike = [edge.to_owned(), row.level.clone()];
        match self
            .strikes
            .iter_mut()
            .find(|s| s.victim == row.line && s.aggressor == by)
        {
            Some(known) => {
                if !known.of.contains(&strike) {
                    known.of.push(strike);
                }
                known.lag_s = [known.lag_s[0].min(lag_s), known.lag_s[1].max(lag_s)];
            }
            None => self.strikes.push(Strikes {
                victim: row.line.clone(),
                aggressor: by.to_owned(),
                of: vec![strike],
                lag_s: [lag_s, lag_s],
            }),
        }
    }

    /// What the runs of a condition tell together: the widest limits, all strikes.
    pub fn together<'a>(condition: &str, runs: impl Iterator<Item = &'a Told>) -> Told {
        let mut all = Told {
            condition: condition.to_owned(),
            ..Told::default()
        };
        for run in runs {
            for (line, own) in &run.limits {
                let held = all.limits.entry(line.clone()).or_default();
                *held = [wider(held[0], own[0]), wider(held[1], own[1])];
            }
            for own in &run.strikes {
                let is_it = |s: &&mut Strikes| s.victim == own.victim && s.aggressor == own.aggressor;
                match all.strikes.iter_mut().find(is_it) {
                    Some(known) => {
                        known.of.extend(own.of.iter().cloned());
                        known.of.sort();
                        known.of.dedup();
                        known.lag_s = [known.lag_s[0].min(own.lag_s[0]), known.lag_s[1].max(own.lag_s[1])];
                    }
                    None => all.strikes.push(own.clone()),
                }
            }
        }
        all
    }
}

fn wider(a: Option<f64>, b: Option<f64>) -> Option<f64> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (a, b) => a.or(b),
    }
}

/// Limits of lines whose own widths tell nothing, by line: what was taken, and of which condition.
pub struct Taken<'a> {
    limits: BTreeMap<usize, (NarrowLimit, &'a Told)>,
    /// Who struck whom under any of the earlier conditions.
    strikes: Vec<Strikes>,
}

/// The limits to take over; `found` by the capture's own widths. Of a line that bounces, of one whose short pulses are told
/// of already, and of a level on which enough pulses to accuse anybody or as many as half are narrower, none is: there the
/// capture's own widths had their say. Cost: linear in the edges of the lines that are taken.
pub fn taken<'a>(
    capture: &Capture,
    (found, attribution): (&Strays, &Attribution),
    earlier: &'a [Told],
) -> Taken<'a> {
    let mut limits = BTreeMap::new();
    for line in 0..capture.lines.len() {
        let is_open = found.limits[line].origin == LimitOrigin::None
            // Of one that never moved it can't be told: it may be dead.
            && !capture.lines[line].edges.is_empty()
            && !found.bursts.iter().any(|burst| burst.line == line)
            && !is_told(attribution, line);
        let known = earlier.iter().filter_map(|told| {
            let named = told
                .limits
                .iter()
                .find(|(name, _)| is_line(capture, line, name))?;
            Some((*named.1, told))
        });
        let widest = known.filter(|_| is_open).max_by(|a, b| {
            let of = |limit: &[Option<f64>; 2]| wider(limit[0], limit[1]).unwrap_or(0.0);
            of(&a.0).total_cmp(&of(&b.0))
        });
        let Some((seconds, told)) = widest else {
            continue;
        };
        let of_level = |level: Level, seconds: Option<f64>| {
            let limit = capture.timebase.ticks_of(seconds?);
            may_be_taken(capture, line, level, limit).then_some(limit)
        };
        let (low, high) = (
            of_level(Level::Low, seconds[0]),
            of_level(Level::High, seconds[1]),
        );
        if low.or(high).is_some() {
            let origin = LimitOrigin::TakenOver;
            limits.insert(line, (NarrowLimit { low, high, origin }, told));
        }
    }
    let strikes = Told::together("", earlier.iter()).strikes;
    Taken { limits, strikes }
}

/// Whether something is said of the line's short pulses already.
fn is_told(attribution: &Attribution, line: usize) -> bool {
    attribution.answers.iter().any(|a| a.line == line)
        || attribution.own.iter().any(|o| o.line == line)
        || attribution.unsure.iter().any(|u| u.crowd.line == line)
        || attribution.sent.iter().any(|s| s.line == line)
        || attribution.hazards.iter().any(|h| h.victim == line)
}

fn may_be_taken(capture: &Capture, line: usize, level: Level, limit: f64) -> bool {
    let (mut narrow, mut all) = (0u64, 0u64);
    for pulse in capture.lines[line].pulses().filter(|p| p.level == level) {
        all += 1;
        narrow += u64::from((pulse.width().0 as f64) < limit);
    }
    narrow < FEWEST_TO_ACCUSE && 2 * narrow <= all
}

/// Whether a line is the one of that name: by its scopes too, or the only one whose name ends so.
fn is_line(capture: &Capture, line: usize, name: &str) -> bool {
    let own = &capture.lines[line].name;
    let ends_so = |other: &str| last_part(other) == last_part(name);
    own == name
        || ends_so(own)
            && capture.line_index(name).is_none()
            && capture.lines.iter().filter(|l| ends_so(&l.name)).count() == 1
}

impl Taken<'_> {
    /// Strays and causes by these limits as well; `None` where no pulse is narrower, and all stands as it was. Cost: that of
    /// [`judge::judge`].
    pub fn judged(&self, capture: &Capture, options: &StrayOptions) -> Option<(Strays, Attribution)> {
        let is_narrow = |(&line, (limit, _)): (&usize, &(NarrowLimit, &Told))| {
            let mut pulses = capture.lines[line].pulses();
            pulses.any(|p| limit.of(p.level).is_some_and(|l| (p.width().0 as f64) < l))
        };
        if !self.limits.iter().any(is_narrow) {
            return None;
        }
        let mut options = options.clone();
        let own = self.limits.iter().map(|(&line, (limit, _))| (line, *limit));
        options.taken_over.extend(own);
        Some(judge::judge(capture, &options, &CouplingOptions::default()))
    }

    /// Puts the limits beside those that were found.
    pub fn put_on(&self, strays: &mut Strays) {
        for (&line, (limit, _)) in &self.limits {
            let held = &mut strays.limits[line];
            if held.origin == LimitOrigin::None {
                *held = *limit;
            }
        }
    }

    /// One row for each line and each line that struck it, or one where none is known or was captured.
    pub fn rows(&self, capture: &Capture, strays: &Strays, attribution: &Attribution) -> Vec<TakenOverRow> {
        let mut rows: Vec<TakenOverRow> = Vec::new();
        for (&line, (limit, told)) in &self.limits {
            let side = Side {
                capture,
                strays,
                attribution,
            };
            let row = TakenOverRow {
                line: capture.lines[line].name.clone(),
                condition: told.condition.clone(),
                narrow_below_s: capture.timebase.length_s(limit.widest().unwrap_or(0.0)),
                aggressor: None,
                edge: None,
                strays: strays.of_line(line).len() as u64,
                opportunities: None,
                most: None,
            };
            let before = rows.len();
            let of_it = self.strikes.iter().filter(|s| is_line(capture, line, &s.victim));
            for strikes in of_it {
                let Some(pair) = pair(capture, line, strikes) else {
                    continue;
                };
                let counts = compare::count(&side, &pair);
                let is_there = |row: &TakenOverRow| row.aggressor.as_ref() == Some(&pair.aggressor);
                if counts.opportunities > 0 && !rows[before..].iter().any(is_there) {
                    rows.push(TakenOverRow {
                        aggressor: Some(pair.aggressor.clone()),
                        edge: Some(pair.edge().word().to_owned()),
                        strays: counts.strays,
                        opportunities: Some(counts.opportunities),
                        most: Some(clopper_pearson_upper(
                            counts.strays,
                            counts.opportunities,
                            CONFIDENCE,
                        )),
                        ..row.clone()
                    });
                }
            }
            if rows.len() == before {
                rows.push(row);
            }
        }
        rows
    }
}

/// The coupling as it is counted here; none where no line here is the one that struck.
fn pair(capture: &Capture, line: usize, strikes: &Strikes) -> Option<Pair> {
    let mut others = 0..capture.lines.len();
    let aggressor = others.find(|&other| other != line && is_line(capture, other, &strikes.aggressor))?;
    let polarity = |word: &str| match word {
        "rise" => Polarity::Rise,
        _ => Polarity::Fall,
    };
    let level = |word: &str| match word {
        "high" => Level::High,
        _ => Level::Low,
    };
    Some(Pair {
        victim: capture.lines[line].name.clone(),
        aggressor: capture.lines[aggressor].name.clone(),
        strikes: strikes
            .of
            .iter()
            .map(|[edge, to]| (polarity(edge), level(to)))
            .collect(),
        lag_low_s: strikes.lag_s[0],
        lag_high_s: strikes.lag_s[1],
    })
}
