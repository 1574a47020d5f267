//! From verdicts on victim levels to what is said: whose cause was not captured, and what a shared lead strikes.

use super::context::{Hidden, Verdict};
use super::dose::{self, Dose};
use super::instants::Table;
use super::select::Victim;
use super::{Attribution, Coupling, DosePoint, Edge, SharedSupply, Standing, Uncaptured};

/// Lines named as switching along, at most.
const COMPANIONS_NAMED: usize = 4;

/// One victim level with its verdict.
pub struct Judged<'a> {
    pub victim: &'a Victim,
    pub table: Table,
    pub verdict: Verdict,
}

/// Turns verdicts into findings: rows of doubtful victims lose their standing, a hidden cause is said once a
/// victim, a shared lead once for all its victims.
pub fn settle(judged: &[Judged], found: &mut [Coupling], attribution: &mut Attribution) {
    attribution.shared = shared_leads(judged);
    for line in lines_of(judged, |v| matches!(v, Verdict::Shared(_) | Verdict::Hidden(_))) {
        found
            .iter_mut()
            .filter(|row| row.victim == line)
            .for_each(|row| row.standing = Standing::Companion);
    }
    for line in lines_of(judged, |v| matches!(v, Verdict::Hidden(_))) {
        let is_shared = attribution.shared.iter().any(|s| s.victims.contains(&line));
        if !is_shared {
            attribution.uncaptured.push(uncaptured(line, judged, found));
        }
    }
}

fn lines_of(judged: &[Judged], which: impl Fn(&Verdict) -> bool) -> Vec<usize> {
    let mut lines: Vec<usize> = judged
        .iter()
        .filter(|j| which(&j.verdict))
        .map(|j| j.victim.line)
        .collect();
    lines.dedup();
    lines
}

fn uncaptured(line: usize, judged: &[Judged], found: &[Coupling]) -> Uncaptured {
    let of_line = || judged.iter().filter(|j| j.victim.line == line);
    let of: u64 = of_line().map(|j| j.victim.times.len() as u64).sum();
    let rows = || found.iter().filter(|row| row.victim == line);
    let with: u64 = rows().map(|row| row.strays).sum();
    let hidden: Vec<&Hidden> = of_line()
        .filter_map(|j| match &j.verdict {
            Verdict::Hidden(hidden) => Some(hidden),
            _ => None,
        })
        .collect();
    let mut companions: Vec<usize> = Vec::new();
    let mut rows: Vec<&Coupling> = rows().collect();
    rows.sort_by_key(|row| std::cmp::Reverse(row.strays));
    let named = rows
        .iter()
        .map(|row| row.aggressor)
        .chain(hidden.iter().flat_map(|h| h.companions.iter().copied()));
    for companion in named {
        if !companions.contains(&companion) && companions.len() < COMPANIONS_NAMED {
            companions.push(companion);
        }
    }
    Uncaptured {
        victim: line,
        strays: of.saturating_sub(with),
        of,
        companions,
        contrast: hidden.iter().find_map(|h| h.contrast),
    }
}

/// Doses whose lines overlap are one lead.
fn shared_leads(judged: &[Judged]) -> Vec<SharedSupply> {
    let mut groups: Vec<Vec<(&Judged, &Dose)>> = Vec::new();
    for one in judged {
        let Verdict::Shared(dose) = &one.verdict else {
            continue;
        };
        let same = groups
            .iter_mut()
            .find(|g| g.iter().any(|(_, d)| overlap(&d.lines, &dose.lines)));
        match same {
            Some(group) => group.push((one, dose)),
            None => groups.push(vec![(one, dose)]),
        }
    }
    groups.iter().map(|group| pooled(group)).collect()
}

fn overlap(a: &[usize], b: &[usize]) -> bool {
    let common = a.iter().filter(|l| b.contains(l)).count();
    2 * common >= a.len().min(b.len())
}

fn pooled(group: &[(&Judged, &Dose)]) -> SharedSupply {
    let mut victims: Vec<usize> = group.iter().map(|(j, _)| j.victim.line).collect();
    victims.sort_unstable();
    victims.dedup();
    let mut lines: Vec<usize> = group.iter().flat_map(|(_, d)| d.lines.clone()).collect();
    lines.sort_unstable();
    lines.dedup();
    lines.retain(|l| {
        let named = group.iter().filter(|(_, d)| d.lines.contains(l)).count();
        2 * named >= group.len() && !victims.contains(l)
    });
    let edge = group[0].1.edge;
    let edge = if group.iter().all(|(_, d)| d.edge == edge) {
        edge
    } else {
        Edge::Both
    };
    let mut curve: Vec<DosePoint> = Vec::new();
    for (one, _) in group {
        for point in dose::measured(&one.table, &lines, edge).curve {
            match curve.iter_mut().find(|p| p.switched == point.switched) {
                Some(known) => {
                    known.instants += point.instants;
                    known.strays += point.strays;
                }
                None => curve.push(point),
            }
        }
    }
    curve.sort_by_key(|p| p.switched);
    SharedSupply {
        victims,
        lines,
        edge,
        curve,
    }
}
