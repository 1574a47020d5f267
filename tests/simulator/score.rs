//! What the analysis says of a scene, held against what was planted.

use edgewitness::analysis::coupling::{self, Attribution, Coupling, CouplingOptions, Edge, Standing};
use edgewitness::analysis::findings;
use edgewitness::analysis::stats::intervals::clopper_pearson;
use edgewitness::analysis::strays::{self, StrayKind, StrayOptions, Strays};
use edgewitness::model::Level;

use super::{Planted, Scene, TrueStray};

/// Counts of one scene or of many: they add up.
#[derive(Clone, Debug, Default)]
pub struct Score {
    pub captures: usize,
    /// Captures about which everything said is right.
    pub right: usize,
    pub strays_found: usize,
    pub strays_missed: usize,
    pub strays_invented: usize,
    /// Found strays whose cause, or lack of one, is told right.
    pub causes_right: usize,
    pub planted: usize,
    /// Planted couplings named with exactly their polarities.
    pub named: usize,
    /// Planted couplings that are not named, but told as a doubt: with the lines that fit as well, or with the job that the
    /// short pulses may be.
    pub in_doubt: usize,
    /// Victim and aggressor pairs accused that were not planted.
    pub accused_falsely: usize,
    /// Captures with doubts to be told (no captured cause, a shared lead), and those where they are.
    pub doubts: usize,
    pub doubts_told: usize,
    pub bursts: usize,
    pub bursts_told: usize,
    /// Pulses called bounce outside every burst.
    pub bounce_invented: usize,
    pub intervals: usize,
    pub intervals_hold: usize,
    /// Sums of interval widths, and of Clopper–Pearson's on the same counts.
    pub width: f64,
    pub width_exact: f64,
    /// What went wrong, a line a capture.
    pub complaints: Vec<String>,
}

impl Score {
    pub fn add(&mut self, other: Score) {
        self.captures += other.captures;
        self.right += other.right;
        self.strays_found += other.strays_found;
        self.strays_missed += other.strays_missed;
        self.strays_invented += other.strays_invented;
        self.causes_right += other.causes_right;
        self.planted += other.planted;
        self.named += other.named;
        self.in_doubt += other.in_doubt;
        self.accused_falsely += other.accused_falsely;
        self.doubts += other.doubts;
        self.doubts_told += other.doubts_told;
        self.bursts += other.bursts;
        self.bursts_told += other.bursts_told;
        self.bounce_invented += other.bounce_invented;
        self.intervals += other.intervals;
        self.intervals_hold += other.intervals_hold;
        self.width += other.width;
        self.width_exact += other.width_exact;
        self.complaints.extend(other.complaints);
    }

    pub fn precision(&self) -> f64 {
        share(self.strays_found, self.strays_found + self.strays_invented)
    }

    pub fn recall(&self) -> f64 {
        share(self.strays_found, self.strays_found + self.strays_missed)
    }

    pub fn cause_share(&self) -> f64 {
        share(self.causes_right, self.strays_found)
    }

    pub fn false_accusations(&self) -> f64 {
        self.accused_falsely as f64 / self.captures.max(1) as f64
    }

    pub fn coverage(&self) -> f64 {
        share(self.intervals_hold, self.intervals)
    }
}

/// 1 where there was nothing to get wrong.
fn share(part: usize, of: usize) -> f64 {
    if of == 0 { 1.0 } else { part as f64 / of as f64 }
}

/// Analyses a scene and scores it.
pub fn of(scene: &Scene) -> Score {
    let options = StrayOptions {
        narrow_below: scene.narrow_below.into_iter().collect(),
        ..StrayOptions::default()
    };
    let (strays, attribution) = coupling::judge::judge(&scene.capture, &options, &CouplingOptions::default());
    let mut score = Score {
        captures: 1,
        ..Score::default()
    };
    let mut wrong: Vec<String> = Vec::new();
    score_strays(scene, &strays, &attribution, &mut score, &mut wrong);
    score_couplings(scene, &attribution, &mut score, &mut wrong);
    score_doubts(scene, &strays, &attribution, &mut score, &mut wrong);
    if wrong.is_empty() {
        score.right = 1;
    } else {
        score
            .complaints
            .push(format!("{}: {}", scene.name, wrong.join("; ")));
    }
    score
}

fn score_strays(
    scene: &Scene,
    strays: &Strays,
    attribution: &Attribution,
    score: &mut Score,
    wrong: &mut Vec<String>,
) {
    let level = |high: bool| if high { Level::High } else { Level::Low };
    let same = |t: &TrueStray, s: &strays::Stray| {
        t.line == s.line && level(t.high) == s.level && (t.start - s.start.0).abs() <= 1
    };
    let said = || {
        strays
            .strays
            .iter()
            .enumerate()
            .filter(|(_, s)| s.kind != StrayKind::Bounce)
    };
    for planted in scene.truth.strays.iter().filter(|t| !t.marginal) {
        let Some((index, _)) = said().find(|(_, s)| same(planted, s)) else {
            score.strays_missed += 1;
            continue;
        };
        score.strays_found += 1;
        let cause = attribution.causes[index].map(|c| attribution.couplings[c.coupling].aggressor);
        let right = cause.map_or(planted.causes.is_empty(), |c| planted.causes.contains(&c));
        score.causes_right += usize::from(right);
    }
    // Beside a marginal stray the other short pulse may be taken for it.
    let excused = |s: &strays::Stray| {
        let beside =
            |t: &&TrueStray| t.line == s.line && s.start.0 <= t.end && t.start <= s.start.0 + s.width.0;
        scene
            .truth
            .strays
            .iter()
            .filter(|t| t.marginal)
            .any(|t| beside(&t))
    };
    let invented = said().filter(|(_, s)| !scene.truth.strays.iter().any(|t| same(t, s)) && !excused(s));
    let invented: Vec<&str> = invented
        .map(|(_, s)| scene.capture.lines[s.line].name.as_str())
        .collect();
    score.strays_invented = invented.len();
    let clean = scene.truth.strays.is_empty() && invented.is_empty();
    if !clean && (score.precision() < 0.9 || score.recall() < 0.9) {
        wrong.push(format!(
            "strays: {} found, {} missed, {} invented{}",
            score.strays_found,
            score.strays_missed,
            score.strays_invented,
            invented.first().map_or_else(String::new, |l| format!(" on {l}"))
        ));
    }
    score.bursts = scene.truth.bursts.len();
    let bounces: Vec<&strays::Stray> = strays
        .strays
        .iter()
        .filter(|s| s.kind == StrayKind::Bounce)
        .collect();
    let inside = |s: &strays::Stray| {
        let bursts = &scene.truth.bursts;
        bursts
            .iter()
            .position(|b| b.line == s.line && b.start <= s.start.0 && s.start.0 <= b.end)
    };
    let told: std::collections::BTreeSet<usize> = bounces.iter().filter_map(|s| inside(s)).collect();
    score.bursts_told = told.len();
    score.bounce_invented = bounces.iter().filter(|s| inside(s).is_none()).count();
    if score.bursts_told < score.bursts || score.bounce_invented > 0 {
        wrong.push(format!(
            "bounce: {} of {} bursts told, {} pulses invented",
            score.bursts_told, score.bursts, score.bounce_invented
        ));
    }
}

fn score_couplings(scene: &Scene, attribution: &Attribution, score: &mut Score, wrong: &mut Vec<String>) {
    let name = |line: usize| scene.capture.lines[line].name.as_str();
    let clear: Vec<&Coupling> = attribution
        .couplings
        .iter()
        .filter(|c| c.standing == Standing::Clear)
        .collect();
    score.planted = scene.truth.couplings.len();
    for planted in &scene.truth.couplings {
        let rows = || {
            clear
                .iter()
                .filter(|c| c.victim == planted.victim && c.aggressor == planted.aggressor)
        };
        let said = |rise: bool| {
            let word = if rise { Edge::Rise } else { Edge::Fall };
            rows().any(|c| c.edge == word || c.edge == Edge::Both)
        };
        let fits = |rise: bool, p: &super::Planting| said(rise) == p.demanded || p.shown > 0 && !p.demanded;
        if rows().next().is_some() && fits(true, &planted.rise) && fits(false, &planted.fall) {
            score.named += 1;
            rows().for_each(|row| score_interval(row, planted, score));
        } else {
            score.in_doubt += usize::from(is_in_doubt(attribution, planted));
            let words: Vec<&str> = rows().map(|c| c.edge.word()).collect();
            wrong.push(format!(
                "{} by {}: planted {:.2}/{:.2} ({} and {} shown), said {}",
                name(planted.victim),
                name(planted.aggressor),
                planted.rise.chance_shown,
                planted.fall.chance_shown,
                planted.rise.shown,
                planted.fall.shown,
                if words.is_empty() {
                    "nothing".to_owned()
                } else {
                    words.join(" and ")
                },
            ));
        }
    }
    let mut false_pairs: Vec<(usize, usize)> = clear
        .iter()
        .map(|c| (c.victim, c.aggressor))
        .filter(|pair| {
            !scene
                .truth
                .couplings
                .iter()
                .any(|p| (p.victim, p.aggressor) == *pair)
        })
        .collect();
    false_pairs.sort_unstable();
    false_pairs.dedup();
    score.accused_falsely = false_pairs.len();
    for (victim, aggressor) in false_pairs {
        wrong.push(format!("{} by {} accused", name(victim), name(aggressor)));
    }
}

/// Whether a doubt about the victim names the planted aggressor.
fn is_in_doubt(attribution: &Attribution, planted: &Planted) -> bool {
    let mut inseparable = attribution.couplings.iter().filter(|c| {
        let fits = c.aggressor == planted.aggressor || c.inseparable_from.contains(&planted.aggressor);
        c.victim == planted.victim && c.standing == Standing::Inseparable && fits
    });
    let mut unsure = attribution.unsure.iter().filter(|u| {
        let follows = u.follows.is_some_and(|(line, ..)| line == planted.aggressor);
        u.crowd.line == planted.victim && follows
    });
    inseparable.next().is_some() || unsure.next().is_some()
}

fn score_interval(row: &Coupling, planted: &Planted, score: &mut Score) {
    let parts = match row.edge {
        Edge::Rise => vec![planted.rise],
        Edge::Fall => vec![planted.fall],
        Edge::Both => vec![planted.rise, planted.fall],
    };
    let opportunities: f64 = parts.iter().map(|p| p.opportunities as f64).sum();
    let strikes: f64 = parts
        .iter()
        .map(|p| p.opportunities as f64 * p.chance_shown)
        .sum();
    let chance = strikes / opportunities.max(1.0);
    let (low, high) = clopper_pearson(row.strays, row.opportunities, 0.95);
    score.intervals += 1;
    score.intervals_hold += usize::from(row.strike_rate.low <= chance && chance <= row.strike_rate.high);
    score.width += row.strike_rate.high - row.strike_rate.low;
    score.width_exact += high - low;
}

fn score_doubts(
    scene: &Scene,
    strays: &Strays,
    attribution: &Attribution,
    score: &mut Score,
    wrong: &mut Vec<String>,
) {
    let truth = &scene.truth;
    if truth.uncaptured.is_none() && truth.shared.is_none() && truth.alike.is_none() {
        return;
    }
    score.doubts = 1;
    let findings = findings::of(&scene.capture, strays, attribution);
    let named = |topic: &str, line: usize| {
        let name = &scene.capture.lines[line].name;
        findings
            .iter()
            .any(|f| f.topic == topic && f.lines.contains(name))
    };
    let says_so = |f: &&findings::Finding| f.try_next.iter().any(|t| t.contains("A line without a probe"));
    let warned = findings.iter().any(|f| says_so(&f));
    let all_named = |victim: &usize, lines: &[usize]| {
        let told = findings.iter().filter(|f| f.topic == "inseparable");
        let mut names = std::iter::once(victim)
            .chain(lines)
            .map(|&l| &scene.capture.lines[l].name);
        told.into_iter()
            .any(|f| names.clone().all(|name| f.lines.contains(name)))
            && names.next().is_some()
    };
    let told = match (&truth.uncaptured, &truth.shared) {
        _ if truth.alike.is_some() => truth.alike.iter().any(|(v, lines)| all_named(v, lines)),
        (Some(_), _) if truth.untellable && warned => true,
        // Where nothing switches along with the culprit its strays come out of nowhere, which is what is said then.
        (Some(victim), _) => named("uncaptured-cause", *victim) || named("stray", *victim),
        (_, Some((_, lines))) => {
            lines.iter().filter(|&&l| named("shared-supply", l)).count() * 2 > lines.len()
        }
        _ => true,
    };
    score.doubts_told = usize::from(told);
    if !told {
        wrong.push(if truth.alike.is_some() {
            "does not name the lines that fit alike".to_owned()
        } else if truth.uncaptured.is_some() {
            "does not say that the cause was not captured".to_owned()
        } else {
            "does not say that a lead is shared".to_owned()
        });
    }
}
