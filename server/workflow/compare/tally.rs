//! Runs → what every trouble came to in each: counts by one definition, which add up.

use std::collections::BTreeMap;

use super::left_out::Levelled;
use super::limits::SharedLimits;
use super::{each_other, names, over_time, rails, sight};
use crate::analysis::compare::{self, Counts, Pair, Side};
use crate::analysis::coupling::{Attribution, Coupling, CouplingOptions, Standing, attribute};
use crate::analysis::findings::Finding;
use crate::analysis::links::{self, Link};
use crate::analysis::rules::{self, RuleResults};
use crate::analysis::strays::{self, Stray, StrayKind, StrayOptions, Strays};
use crate::model::Capture;
use crate::report::CaptureRow;
use crate::report::compare::{OccasionsRow, SeenRow, Tallies, Trouble, TroubleKind};
use crate::setup::Setup;
use crate::workflow::inspect::{link_options, stray_options};
use crate::workflow::joined::Joined;
use crate::workflow::same_signal::{each_once, is_whole, part_links, with_first_records, without_copies};

/// One run, looked at.
pub(super) struct Looked {
    pub capture: Capture,
    pub strays: Strays,
    /// Positions of lines whose levels are wrong themselves, ascending: of them no strays are counted.
    pub left_out: Vec<usize>,
    pub attribution: Attribution,
    links: Vec<Link>,
    /// Ends of declared links that can't be judged: on clocks that nothing joins.
    unjoined: Vec<[String; 2]>,
    /// Broken and judged occasions of each rule of the setup.
    rules: Vec<Counts>,
    /// Names of the lines of each rule.
    rule_lines: Vec<Vec<String>>,
}

/// A run that is on one clock, as it is counted.
pub struct Counted {
    pub capture: Capture,
    /// One for each of its files.
    pub sources: Vec<CaptureRow>,
    /// What is to be said of its clocks.
    pub findings: Vec<Finding>,
}

/// Counts every trouble that any run shows in all of them.
/// Cost: that of inspecting each run, twice the search for strays.
pub fn tallies(runs: Vec<Counted>, setup: &Setup) -> Tallies {
    let (mut captures, mut sources, mut findings) = (Vec::new(), Vec::new(), Vec::new());
    for run in runs {
        captures.push(run.capture);
        sources.push(run.sources);
        findings.push(run.findings);
    }
    // Whichever part of the setup names it.
    let said = format!("{setup:?}");
    let called = names::join(&mut captures, &|name| said.contains(name));
    let parted: Vec<Vec<(usize, usize)>> = captures
        .iter_mut()
        .map(|capture| part_links(capture, setup))
        .collect();
    let clocks = captures.iter().zip(&parted).zip(sources.iter().zip(&findings));
    let mut settled: Vec<Settled> = clocks
        .map(|((capture, parted), (sources, known))| Settled::of((capture, parted), (sources, known), setup))
        .collect();
    one_suspect_in_all(&mut settled);
    let unjoined = settled.iter().map(|run| run.unjoined.clone()).collect();
    let unjoined_rules = settled.iter().map(|run| run.unjoined_rules.clone()).collect();
    // A signal that two instruments of a run recorded is counted once.
    let setups: Vec<Setup> = captures.iter().map(|c| with_first_records(setup, c)).collect();
    let captures: Vec<Capture> = captures.into_iter().map(without_copies).collect();
    let twins = twins(&captures);
    let of_setups = captures.into_iter().zip(&setups);
    let levelled: Vec<Levelled> = of_setups.map(|(c, setup)| Levelled::of(c, setup)).collect();
    let left_out = levelled.iter().map(Levelled::names).collect();
    let of_setups = levelled.iter().zip(setups.iter().zip(&settled));
    let links: Vec<Vec<Link>> = of_setups
        .map(|(run, (setup, settled))| settled.links(&run.capture, setup))
        .collect();
    let limits = SharedLimits::of(&levelled, &setups, &links);
    let looked: Vec<Looked> = levelled
        .into_iter()
        .zip(setups.iter().zip(links).zip(settled))
        .map(|(levelled, (of_setup, settled))| look(levelled, of_setup, &limits, settled))
        .collect();
    let mut troubles: Vec<Trouble> = Vec::new();
    for pair in pairs(&looked) {
        let counted = looked.iter().map(|l| {
            let mut struck = Vec::new();
            let counts = match [&pair.victim, &pair.aggressor]
                .iter()
                .any(|name| l.leaves_out(name))
            {
                true => Counts::default(),
                false => compare::count_each(&l.side(), &pair, &mut |stray| struck.push(stray)),
            };
            let victim = l.capture.line_index(&pair.victim);
            let seen = victim.map_or_else(SeenRow::default, |line| sight::seen(l, line, struck.into_iter()));
            (row(counts), seen)
        });
        let (counts, seen) = counted.unzip();
        troubles.push(Trouble {
            kind: TroubleKind::Coupling,
            lines: vec![pair.victim.clone(), pair.aggressor.clone()],
            detail: pair.edge().word().to_owned(),
            counts,
            slot_s: None,
            seen,
        });
    }
    let slot_s = over_time::slot_s(looked.iter().map(|l| &l.capture));
    let unexplained = over_time::stray_troubles(&looked, &troubles, slot_s);
    each_other::join(&looked, &mut troubles);
    let (rails, depths) = rails::rail_troubles(&looked, setup, slot_s);
    troubles.extend(link_troubles(&looked));
    troubles.extend(bounce_troubles(&looked));
    for (index, rule) in setup.rules.iter().enumerate() {
        troubles.push(Trouble {
            kind: TroubleKind::Limit,
            lines: rule_lines(&looked, index),
            detail: rule.name.clone(),
            counts: looked.iter().map(|l| row(l.rules[index])).collect(),
            slot_s: None,
            seen: Vec::new(),
        });
    }
    troubles.extend(unexplained);
    troubles.extend(rails);
    let names = |l: &Looked| l.capture.lines.iter().map(|line| line.name.clone()).collect();
    let edges = |l: &Looked| (0..l.capture.lines.len()).map(|line| l.own_edges(line)).collect();
    Tallies {
        runs: sources,
        edges: looked.iter().map(edges).collect(),
        lines: looked.iter().map(names).collect(),
        troubles,
        depths,
        twins,
        called,
        unjoined,
        unjoined_rules,
        left_out,
        asked: limits.asked,
    }
}

/// Captures with the same edges: one recording, brought twice. Ones without an edge are nobody's twin.
fn twins(captures: &[Capture]) -> Vec<[usize; 2]> {
    let edges = |c: &Capture| c.lines.iter().map(|l| l.edges.len()).sum::<usize>();
    let same = |a: &Capture, b: &Capture| {
        a.span == b.span
            && a.timebase == b.timebase
            && a.lines.len() == b.lines.len()
            && edges(a) > 0
            && a.lines
                .iter()
                .zip(&b.lines)
                .all(|(x, y)| x.name == y.name && x.edges[..] == y.edges[..])
    };
    let mut twins = Vec::new();
    for (at, capture) in captures.iter().enumerate() {
        twins.extend(
            (0..at)
                .filter(|&other| same(&captures[other], capture))
                .map(|other| [other, at]),
        );
    }
    twins
}

/// The counts as the report shows them for any kind of trouble.
pub(super) fn row(counts: Counts) -> OccasionsRow {
    OccasionsRow {
        wrong: counts.strays,
        occasions: counts.opportunities,
    }
}

impl Looked {
    fn side(&self) -> Side<'_> {
        Side {
            capture: &self.capture,
            strays: &self.strays,
            attribution: &self.attribution,
        }
    }

    /// Whether nothing is judged of the line of that name: its levels are wrong themselves.
    pub fn leaves_out(&self, name: &str) -> bool {
        let mut names = self.left_out.iter().map(|&line| &self.capture.lines[line].name);
        names.any(|own| own == name)
    }

    /// Whether the line of that name bounces in this run.
    pub(super) fn bounces(&self, name: &str) -> bool {
        let line = self.capture.line_index(name);
        line.is_some_and(|line| self.strays.bursts.iter().any(|burst| burst.line == line))
    }

    /// Edges of a line without those of its strays.
    fn own_edges(&self, line: usize) -> u64 {
        // Of a contact that bounces all edges are its own.
        let is_stray = |s: &&Stray| s.edge.is_some() && s.kind != StrayKind::Bounce;
        let of_strays = self.strays.of_line(line).iter().filter(is_stray).count() * 2;
        self.capture.lines[line].edges.len().saturating_sub(of_strays) as u64
    }

    fn name(&self, line: usize) -> String {
        self.capture.lines[line].name.clone()
    }
}

/// The lines of rule `index`, as far as any run captured them, each once.
fn rule_lines(looked: &[Looked], index: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for name in looked.iter().flat_map(|run| &run.rule_lines[index]) {
        if !lines.contains(name) {
            lines.push(name.clone());
        }
    }
    lines
}

/// What of a run is settled before a signal that two of its instruments recorded is made one.
struct Settled {
    /// Ends of declared links that can't be judged: on clocks that nothing joins.
    unjoined: Vec<[String; 2]>,
    /// Names of rules that can't be, likewise.
    unjoined_rules: Vec<String>,
    /// Broken and judged occasions of each rule.
    rules: Vec<Counts>,
    /// Names of the lines of each rule that were captured.
    rule_lines: Vec<Vec<String>>,
    /// The two ends of each link that is whole and by which the clocks were joined: one suspect. The later capture's first.
    ends: Vec<[String; 2]>,
}

/// Two ends are one suspect where they are in all runs: a stray must not be looked for at both in one run, at one in another.
fn one_suspect_in_all(settled: &mut [Settled]) {
    let all: Vec<Vec<[String; 2]>> = settled.iter().map(|run| run.ends.clone()).collect();
    for run in settled {
        run.ends
            .retain(|ends| all.iter().all(|other| other.contains(ends)));
    }
}

impl Settled {
    /// Rules may name the second record, and what both recorded joins their clocks.
    /// `parted`: what [`part_links`] took apart; `sources` and `findings`: from the way to one clock.
    fn of(
        (capture, parted): (&Capture, &[(usize, usize)]),
        (sources, findings): (&[CaptureRow], &[Finding]),
        setup: &Setup,
    ) -> Settled {
        let mut links = links::check(capture, &link_options(capture, setup));
        let joined = Joined::of(capture, sources, findings, &links);
        let ends = |link: &Link| [link.from, link.to].map(|line| capture.lines[line].name.clone());
        let all: Vec<[String; 2]> = links.iter().map(ends).collect();
        joined.without_apart(capture, &mut links);
        let judged: Vec<[String; 2]> = links.iter().map(ends).collect();
        let mut checked = RuleResults {
            rules: rules::check_rules(capture, &setup.rules),
            ..RuleResults::default()
        };
        rules::set_apart(capture, &setup.rules, &mut checked, &|a, b| joined.is_one(a, b));
        let results = setup.rules.iter().zip(&checked.rules);
        let apart = results.filter(|(_, result)| result.apart.is_some());
        Settled {
            unjoined: all.into_iter().filter(|ends| !judged.contains(ends)).collect(),
            unjoined_rules: apart.map(|(rule, _)| rule.name.clone()).collect(),
            rules: checked.rules.iter().map(|result| counts(&result.tally)).collect(),
            rule_lines: checked
                .rules
                .iter()
                .map(|result| {
                    result
                        .lines
                        .iter()
                        .map(|&line| capture.lines[line].name.clone())
                        .collect()
                })
                .collect(),
            ends: parted
                .iter()
                .filter(|pair| is_whole(**pair, &links))
                .map(|&(line, twin)| [line, twin].map(|line| capture.lines[line].name.clone()))
                .collect(),
        }
    }

    /// The links of the run that can be judged.
    fn links(&self, capture: &Capture, setup: &Setup) -> Vec<Link> {
        let mut links = links::check(capture, &link_options(capture, setup));
        links.retain(|link| {
            let ends = [link.from, link.to].map(|line| capture.lines[line].name.as_str());
            !self.unjoined.iter().any(|other| *other == ends)
        });
        links
    }
}

/// What is within the sampling's uncertainty of a limit was judged neither way.
fn counts(tally: &rules::Tally) -> Counts {
    Counts {
        strays: tally.broken,
        opportunities: tally.broken + tally.kept,
    }
}

/// `links`: those of the run that can be judged.
fn look(
    levelled: Levelled,
    (setup, links): (&Setup, Vec<Link>),
    shared: &SharedLimits,
    settled: Settled,
) -> Looked {
    let capture = &levelled.capture;
    let judged = levelled.judged();
    let Settled {
        unjoined,
        rules,
        rule_lines,
        ends,
        ..
    } = settled;
    let mut options: StrayOptions = stray_options(&judged, setup, &links);
    shared.put_in(capture, &mut options);
    let position = |name: &String| capture.line_index(name);
    let one: Vec<(usize, usize)> = ends
        .iter()
        .filter_map(|[line, twin]| Some((position(line)?, position(twin)?)))
        .collect();
    let once = each_once(&judged, &one, &links);
    let once = once.as_ref().unwrap_or(&judged);
    let strays = strays::find(once, &options);
    let attribution = attribute(once, &strays, &CouplingOptions::default());
    drop(judged);
    Looked {
        rules,
        rule_lines,
        capture: levelled.capture,
        left_out: levelled.left_out,
        strays,
        attribution,
        links,
        unjoined,
    }
}

/// Every clear coupling of any run, and what two contacts do to each other, once, with the polarities, levels and lags that any run shows.
fn pairs(looked: &[Looked]) -> Vec<Pair> {
    let mut pairs: Vec<Pair> = Vec::new();
    for l in looked {
        let mutual = each_other::told_as_such(l);
        let is_told = |row: &&Coupling| {
            row.standing == Standing::Clear || mutual.contains(&[row.victim, row.aggressor])
        };
        for row in l.attribution.couplings.iter().filter(is_told) {
            let lags = row
                .occurrences
                .iter()
                .map(|o| l.capture.timebase.length_s(o.lag as f64));
            let (low, high) = lags.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), lag| {
                (a.min(lag), b.max(lag))
            });
            let (victim, aggressor) = (l.name(row.victim), l.name(row.aggressor));
            let strikes = row
                .occurrences
                .iter()
                .map(|o| (o.polarity, l.strays.strays[o.stray].level));
            let found = pairs
                .iter()
                .position(|p| p.victim == victim && p.aggressor == aggressor);
            let at = found.unwrap_or_else(|| {
                pairs.push(Pair {
                    victim,
                    aggressor,
                    strikes: Vec::new(),
                    lag_low_s: low,
                    lag_high_s: high,
                });
                pairs.len() - 1
            });
            let pair = &mut pairs[at];
            for strike in strikes {
                if !pair.strikes.contains(&strike) {
                    pair.strikes.push(strike);
                }
            }
            pair.lag_low_s = pair.lag_low_s.min(low);
            pair.lag_high_s = pair.lag_high_s.max(high);
        }
    }
    pairs
}

/// For each link: pulses lost of those sent; and pulses nobody sent of those at the far end.
fn link_troubles(looked: &[Looked]) -> Vec<Trouble> {
    let mut ends: Vec<[String; 2]> = Vec::new();
    let names = |l: &Looked, link: &Link| [l.name(link.from), l.name(link.to)];
    for l in looked {
        for link in &l.links {
            let both = names(l, link);
            if !ends.contains(&both) {
                ends.push(both);
            }
        }
        // That it can't be counted is to be said.
        for both in &l.unjoined {
            if !ends.contains(both) {
                ends.push(both.clone());
            }
        }
    }
    let count = |ends: &[String; 2], of: fn(&Link) -> Counts| {
        let counts = looked.iter().map(|l| {
            let mut sum = Counts::default();
            for link in l.links.iter().filter(|link| names(l, link) == *ends) {
                sum += of(link);
            }
            row(sum)
        });
        counts.collect::<Vec<OccasionsRow>>()
    };
    let lost = |link: &Link| Counts {
        strays: link.missing.len() as u64,
        opportunities: link.sent as u64,
    };
    let extra = |link: &Link| Counts {
        strays: link.extra.len() as u64,
        opportunities: (link.arrived + link.extra.len()) as u64,
    };
    let trouble = |kind, ends: &[String; 2], counts| Trouble {
        kind,
        lines: ends.to_vec(),
        detail: String::new(),
        counts,
        slot_s: None,
        seen: Vec::new(),
    };
    let all = ends.iter().flat_map(|both| {
        [
            trouble(TroubleKind::Loss, both, count(both, lost)),
            trouble(TroubleKind::Extra, both, count(both, extra)),
        ]
    });
    all.collect()
}

/// Contacts that bounce in any run, counted in all of them.
fn bounce_troubles(looked: &[Looked]) -> Vec<Trouble> {
    let mut pauses: BTreeMap<String, f64> = BTreeMap::new();
    for l in looked {
        for line in 0..l.capture.lines.len() {
            if let Some(pause) = compare::parting_pause_s(&l.capture, line, &l.strays.bursts) {
                let held = pauses.entry(l.name(line)).or_default();
                *held = held.max(pause);
            }
        }
    }
    let troubles = pauses.into_iter().map(|(name, pause)| Trouble {
        kind: TroubleKind::Bounce,
        counts: looked
            .iter()
            .map(|l| {
                let line = l.capture.line_index(&name).filter(|_| !l.leaves_out(&name));
                row(line.map_or(Counts::default(), |line| {
                    compare::count_bounces(&l.capture, line, pause)
                }))
            })
            .collect(),
        lines: vec![name],
        detail: String::new(),
        slot_s: None,
        seen: Vec::new(),
    });
    troubles.collect()
}
