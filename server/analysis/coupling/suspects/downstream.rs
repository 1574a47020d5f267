//! Edges that the victim brings about: they follow its edges, strays included, and tell nothing of who caused these.
//!
//! A one-shot that a stray fires, a flag that a dip of the clear line resets, a counter bit: each switches some time after
//! every stray, and seen among the instants it goes with the strays better than any cause could. [`super::reacting`] knows lines
//! all of whose edges do so; of a flag those of one polarity do, and what sets it is another's. What shows it is that (nearly)
//! all edges of that polarity keep one distance behind edges of the victim, its own as well as those of its strays.
//!
//! A counter that the victim clears counts as well: most of its falls are its clock's. What shows that the others are the
//! victim's doing is that (nearly) every edge of the victim's that finds it high is followed by its fall, after one time.

use super::able::{OwnEdges, any_within, first_from, gallop};
use super::instants::key;
use super::not_brought::{answers_to_strays, explains, strike, without_all};
use super::reacting::{FEWEST, FOLLOWS};
use crate::analysis::coupling::fit::copies::crowd;
use crate::analysis::coupling::fit::select::{Suspect, Victim};
use crate::analysis::coupling::{Edge, suspects_of};
use crate::analysis::strays::Strays;
use crate::model::{Capture, Polarity};

/// So many of the edges are looked at first, and of these so large a share must follow.
const TASTED: usize = 128;
const TASTED_FOLLOW: f64 = 0.7;
/// Edges of the victim other than of its strays that the edges follow, at least.
const FEWEST_OWN: usize = 3;
/// What comes so long after the victim's edge is not looked for: a one-shot's or a counter chain's delay is shorter.
const LATEST_S: f64 = 400e-9;
/// Edges that come behind others by this share of a sample and this on the mean are behind: a line that is clipped to another
/// channel is read a little later or earlier.
const PLAINLY: f64 = 0.6;
const SKEW_S: f64 = 2e-9;
/// The share of a sample in standard errors, where at least so much lies in one sample and as much in others.
const ERRORS: f64 = 4.0;
const DITHERED: f64 = 0.1;
/// The victim's edges may have so large a share of the time within the distances kept; where it is larger all follows them.
const COVERED: f64 = 0.3;

/// Edges of the victim that another line's answer, at least: own ones or strays.
const FEWEST_ANSWERS: usize = 5;
/// Lines that answer, at least, where those are strays alone.
const SEVERAL: usize = 2;
/// Share of them that must keep one distance, of those that find the line able to answer.
pub(super) const ANSWERS: f64 = 0.9;
/// An answer comes within this; a synchronous machine does the same after longer times whoever answers whom.
const LATEST_ANSWER_S: f64 = 120e-9;

/// What the victim brings about.
#[derive(Default)]
pub struct Downstream {
    /// Edges of one polarity of a line, all of them.
    pub all: Vec<Suspect>,
    /// Of these some, with those that remain (ascending ticks).
    pub some: Vec<(Suspect, Vec<i64>)>,
}

/// The edges that the victim brings about. `steady`: how near distances must be to be one; `possible`: so long
/// after a stray's start an edge may still seem to have caused it; `second`: ticks in a second; all in ticks.
/// Cost: strays × lines × log of the edges, and linear in the edges of those that follow strays.
pub fn of(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    victim: &Victim,
    [steady, possible]: [i64; 2],
    second: f64,
) -> Downstream {
    if victim.times.len() < FEWEST {
        return Downstream::default();
    }
    let record = &capture.lines[victim.line];
    let Some(leading) = Polarity::towards(victim.level) else {
        return Downstream::default();
    };
    let of_victim = [Polarity::Rise, Polarity::Fall].map(|polarity| -> Vec<i64> {
        let edges = record.edges.iter().enumerate();
        edges
            .filter(|(at, _)| record.polarity(*at) == polarity)
            .map(|(_, edge)| edge.0)
            .collect()
    });
    let ends: Vec<i64> = victim
        .strays
        .iter()
        .map(|&stray| strays.strays[stray].start.0 + strays.strays[stray].width.0)
        .collect();
    let span = (record.span.end.0 - record.span.start.0).max(1) as f64;
    let latest = (LATEST_S * second) as i64;
    let longest = (LATEST_ANSWER_S * second) as i64;
    let behind = |polarity: Polarity| Behind {
        edges: &of_victim[usize::from(polarity == Polarity::Fall)],
        strays: if polarity == leading { &victim.times } else { &ends },
        starts: &victim.times,
        possible,
        unit: victim.unit,
        skew: SKEW_S * second,
    };
    let both = [behind(leading), behind(leading.opposite())];
    let mut found = Downstream::default();
    let mut answering: Vec<(Suspect, Vec<i64>)> = Vec::new();
    for suspect in suspects_of(capture, victim.line) {
        let times = edges[suspect.line].of(suspect.polarity);
        let is_whole = |behind: &Behind| {
            window(times, behind.strays, latest, steady).and_then(|window| {
                let covered = behind.edges.len() as f64 * (window.1 - window.0 + 1) as f64;
                let is_so = covered <= COVERED * span && behind.are_all(times, window);
                is_so.then(|| behind.others(times, window))
            })
        };
        let does_strike = |of: &[i64]| strike(of, &victim.times, longest, span);
        let whole = both.iter().find_map(is_whole);
        if let Some(free) = whole {
            match does_strike(&free) {
                false => found.all.push(suspect),
                // What the victim brings about strikes nothing, where the rest does.
                true if !does_strike(&without_all(times, &free)) => found.some.push((suspect, free)),
                true => {}
            }
            continue;
        }
        let opposite = edges[suspect.line].of(suspect.polarity.opposite());
        let mut by_strays_alone = false;
        let kept = both.iter().find_map(|behind| {
            let (window, alone) = behind.answered([times, opposite], longest, steady)?;
            by_strays_alone = alone;
            let covered = times.len() as f64 * (window.1 - window.0 + 1) as f64;
            (covered <= COVERED * span).then(|| behind.others(times, window))
        });
        let kept = kept.filter(|kept| !does_strike(kept) || !does_strike(&without_all(times, kept)));
        let kept = kept.filter(|kept| {
            let after_strays = answers_to_strays(times, kept, &victim.times, latest);
            let mut others = suspects_of(capture, victim.line).filter(|other| *other != suspect);
            !others.any(|other| {
                let cause = edges[other.line].of(other.polarity);
                explains(cause, &after_strays, kept, latest, steady)
            })
        });
        match by_strays_alone {
            true => answering.extend(kept.map(|kept| (suspect, kept))),
            false => found.some.extend(kept.map(|kept| (suspect, kept))),
        }
    }
    // One line that answers strays, and no other edges of the victim's, may keep its step with the culprit: what is cleared or clocked are
    // several.
    let mut lines: Vec<usize> = answering.iter().map(|(suspect, _)| suspect.line).collect();
    lines.sort_unstable();
    lines.dedup();
    if lines.len() >= SEVERAL {
        found.some.extend(answering);
    }
    found
}

/// The victim's edges of one polarity, which another line's may follow.
struct Behind<'a> {
    /// All of them, ascending ticks.
    edges: &'a [i64],
    /// Those of its strays, and the starts of these in the same order.
    strays: &'a [i64],
    starts: &'a [i64],
    /// So long after a stray's start an edge may still seem to have caused it, in ticks.
    possible: i64,
    unit: f64,
    /// How much later than another a channel may be read, in ticks.
    skew: f64,
}

/// The distances, close together, at which edges first follow (ascending) moments of strays, widened by `steady`; none where too few
/// do.
fn window(times: &[i64], of_strays: &[i64], latest: i64, steady: i64) -> Option<(i64, i64)> {
    let mut lags: Vec<i64> = of_strays
        .iter()
        .filter_map(|&at| {
            let lag = first_from(times, at)? - at;
            (lag <= latest).then_some(lag)
        })
        .collect();
    lags.sort_unstable();
    let crowd = crowd(&lags, 2 * steady);
    (crowd.len() >= FEWEST).then(|| ((lags[crowd.start] - steady).max(0), lags[crowd.end - 1] + steady))
}

impl Behind<'_> {
    /// Whether (nearly) all of `times` lie in the window behind these edges, as those behind strays do, too late to be their
    /// cause; or so late that they are plainly behind, with own edges of the victim followed alike.
    fn are_all(&self, times: &[i64], (least, most): (i64, i64)) -> bool {
        // A few of them, evenly spread, tell most lines.
        let step = times.len() / TASTED + 1;
        let tasted = times.iter().step_by(step);
        let followers = tasted
            .clone()
            .filter(|&&time| any_within(self.edges, time - most, time - least));
        if (followers.count() as f64) < TASTED_FOLLOW * tasted.len() as f64 {
            return false;
        }
        let most_missing = ((1.0 - FOLLOWS) * times.len() as f64) as usize;
        let (mut missing, mut from) = (0, 0);
        let (mut own, mut behind, mut late) = (0, 0, 0);
        let mut lags: Vec<i64> = Vec::new();
        for &time in times {
            from += gallop(&self.edges[from..], |&edge| edge < time - most);
            match self.edges.get(from).filter(|&&edge| edge <= time - least) {
                None => missing += 1,
                Some(&edge) => {
                    lags.push(time - edge);
                    match self.strays.binary_search(&edge) {
                        Ok(stray) => {
                            behind += 1;
                            late += usize::from(time - self.starts[stray] > self.possible);
                        }
                        Err(_) => own += 1,
                    }
                }
            }
            if missing > most_missing {
                return false;
            }
        }
        if behind < FEWEST || lags.is_empty() {
            return false;
        }
        let count = lags.len() as f64;
        let mean = lags.iter().sum::<i64>() as f64 / count;
        // Where moments fall on samples at random, the mean is known to a sample's deviation, 1/√12 of it, over the root of their number.
        let by_sample = lags.iter().filter(|&&lag| (lag as f64) < self.unit / 2.0).count() as f64 / count;
        let error = match (DITHERED..=1.0 - DITHERED).contains(&by_sample) {
            true => PLAINLY.min(ERRORS / (12.0 * count).sqrt()),
            false => PLAINLY,
        };
        late == behind || own >= FEWEST_OWN && mean > error * self.unit + self.skew
    }

    /// The distances, widened by `steady`, at which (nearly) each of these edges, own and stray, is followed by one of `times` where
    /// the line can: where its next edge is none of `opposite`. None where it is not so, or where what follows strays may be
    /// their cause. And whether strays alone show it.
    fn answered(
        &self,
        [times, opposite]: [&[i64]; 2],
        longest: i64,
        steady: i64,
    ) -> Option<((i64, i64), bool)> {
        let (mut own, mut stray): (Vec<i64>, Vec<i64>) = (Vec::new(), Vec::new());
        for (&at, &start) in self.strays.iter().zip(self.starts) {
            // What may be its cause is no answer.
            let answer = answer([times, opposite], at).filter(|&t| t - start > self.possible);
            stray.extend(answer.map(|t| t - at));
        }
        stray.sort_unstable();
        let steadily = crowd(&stray, 2 * steady).len();
        if steadily < FEWEST || (steadily as f64) < ANSWERS * stray.len() as f64 {
            return None;
        }
        for &at in self
            .edges
            .iter()
            .filter(|at| self.strays.binary_search(at).is_err())
        {
            own.extend(answer([times, opposite], at).map(|t| t - at));
        }
        // A line that rests but for its strays has few edges of its own to be answered, or none.
        if own.len().max(stray.len()) < FEWEST_ANSWERS {
            return None;
        }
        let able = (own.len() + stray.len()) as f64;
        let is_mostly = |lags: &[i64], (least, most): (i64, i64)| {
            let within = lags.iter().filter(|lag| (least..=most).contains(*lag)).count();
            within as f64 >= ANSWERS * lags.len() as f64
        };
        let mut lags = [own.as_slice(), &stray].concat();
        lags.sort_unstable();
        let crowd = crowd(&lags, 2 * steady);
        if (crowd.len() as f64) < ANSWERS * able {
            return None;
        }
        let window = (lags[crowd.start], lags[crowd.end - 1]);
        let widened = ((window.0 - steady).max(0), window.1 + steady);
        (window.1 <= longest && is_mostly(&own, window) && is_mostly(&stray, window))
            .then_some((widened, own.len() < FEWEST_ANSWERS))
    }

    /// Those of `times` that do not lie in the window behind these edges; what may be a stray's cause stays.
    fn others(&self, times: &[i64], (least, most): (i64, i64)) -> Vec<i64> {
        let is_answer = |&time: &i64| {
            let from = self.edges.partition_point(|&edge| edge < time - most);
            let mut near = self.edges[from..]
                .iter()
                .take_while(|&&edge| edge <= time - least);
            near.any(|edge| match self.strays.binary_search(edge) {
                Ok(stray) => time - self.starts[stray] > self.possible,
                Err(_) => true,
            })
        };
        times.iter().copied().filter(|time| !is_answer(time)).collect()
    }
}

/// The next of `times` after `at`, where none of `opposite` comes first.
fn answer([times, opposite]: [&[i64]; 2], at: i64) -> Option<i64> {
    first_from(times, at).filter(|&t| first_from(opposite, at).is_none_or(|other| t < other))
}

impl Downstream {
    /// Whether the victim brings nothing about.
    pub fn is_empty(&self) -> bool {
        self.all.is_empty() && self.some.is_empty()
    }

    /// Takes in `more`; says whether anything is new.
    pub fn extend(&mut self, more: Downstream) -> bool {
        let mut is_new = false;
        for (suspect, kept) in more.some.into_iter().filter(|some| !self.all.contains(&some.0)) {
            match self.some.iter_mut().find(|some| some.0 == suspect) {
                None => {
                    self.some.push((suspect, kept));
                    is_new = true;
                }
                Some((_, known)) => {
                    let before = known.len();
                    known.retain(|time| kept.binary_search(time).is_ok());
                    is_new |= known.len() < before;
                }
            }
        }
        is_new
    }

    /// The edges of all lines without those.
    pub fn without(&self, edges: &[OwnEdges]) -> (Vec<OwnEdges>, Told) {
        let mut edges = edges.to_vec();
        let told = Told {
            some: self.some.iter().map(|(suspect, _)| *suspect).collect(),
            all: self.all.clone(),
        };
        let none = told.all.iter().map(|suspect| (*suspect, Vec::new()));
        for (suspect, kept) in none.chain(self.some.iter().cloned()) {
            match suspect.polarity {
                Polarity::Rise => edges[suspect.line].rises = kept,
                Polarity::Fall => edges[suspect.line].falls = kept,
            }
        }
        (edges, told)
    }
}

/// Whose edges the victim brings about.
#[derive(Default)]
pub struct Told {
    pub all: Vec<Suspect>,
    pub some: Vec<Suspect>,
}

/// Their keys among what lines do at an instant, and those of their lines' switching either way, of which theirs is a part.
pub fn keys(suspects: &[Suspect]) -> impl Iterator<Item = usize> + '_ {
    suspects.iter().flat_map(|suspect| {
        let edges = [suspect.polarity.into(), Edge::Both];
        edges.map(|edge| key(suspect.line, edge))
    })
}

#[cfg(test)]
mod tests {
    use crate::analysis::coupling::Standing;
    use crate::analysis::coupling::fixtures;
    use crate::demo::random::Random;
    use crate::model::{Level, Line, Ticks, TimeSpan};

    const END: i64 = 16_100_000;

    /// PEG rests high, dips for 4,000 ticks by itself and for short where EYE's rises strike it.
    struct Bench {
        eye: Vec<i64>,
        peg: Vec<i64>,
        random: Random,
    }

    impl Bench {
        /// EYE rises every 40,000 ticks or so and strikes every other time; PEG has its own pulse 20,000 later.
        fn new() -> Bench {
            let mut random = Random::new(5);
            let (mut eye, mut peg) = (Vec::new(), Vec::new());
            for n in 1..400i64 {
                let at = 40_000 * n + (random.unit() * 9_000.0) as i64;
                eye.extend([at, at + 5_000]);
                if random.chance(0.5) {
                    let start = at + 9 + (random.unit() * 3.0) as i64;
                    peg.extend([start, start + 20 + (random.unit() * 30.0) as i64]);
                }
                let own = at + 20_000;
                peg.extend([own, own + 4_000]);
            }
            Bench { eye, peg, random }
        }

        fn falls(&self) -> Vec<i64> {
            self.peg.iter().step_by(2).copied().collect()
        }

        /// What is thought of EYE, and whether any other line is clear, with another line's edges beside.
        fn standing(self, name: &str, other: Vec<i64>) -> (Option<Standing>, bool) {
            let span = TimeSpan::new(Ticks(0), Ticks(END));
            let line = |name: &str, first: Level, edges: Vec<i64>| {
                Line::digital(name, first, edges.into_iter().map(Ticks).collect(), span)
            };
            let lines = vec![
                line("EYE", Level::Low, self.eye),
                line(name, Level::Low, other),
                line("PEG", Level::High, self.peg),
            ];
            let (_, told) = fixtures::attributed(lines, END, &[(2, 60.0)]);
            let of_peg = || told.couplings.iter().filter(|row| row.victim == 2);
            (
                of_peg().find(|row| row.aggressor == 0).map(|row| row.standing),
                of_peg().any(|row| row.aggressor == 1 && row.standing == Standing::Clear),
            )
        }
    }

    #[test]
    fn a_one_shot_that_strays_fire_says_nothing_against_the_line_that_strikes() {
        let bench = Bench::new();
        // Soon after, and so late that a wider window sees it.
        for delay in [25, 250] {
            let mut shot: Vec<i64> = Vec::new();
            for fall in bench.falls() {
                if shot.last().is_none_or(|&end| end < fall) {
                    shot.extend([fall + delay, fall + delay + 9_000]);
                }
            }
            let bench = Bench {
                eye: bench.eye.clone(),
                peg: bench.peg.clone(),
                random: Random::new(1),
            };
            assert_eq!(
                bench.standing("SHOT", shot),
                (Some(Standing::Clear), false),
                "{delay}"
            );
        }
    }

    #[test]
    fn a_flag_that_the_victim_clears_now_and_then_says_nothing_either() {
        let mut bench = Bench::new();
        // Set and reset at times of its own, and reset by each fall of PEG.
        let falls = bench.falls();
        let (mut flag, mut at): (Vec<i64>, i64) = (Vec::new(), 0);
        loop {
            at += 3_000 + (bench.random.unit() * 9_000.0) as i64;
            let own = at + 2_000 + (bench.random.unit() * 12_000.0) as i64;
            let next = falls.partition_point(|&fall| fall < at);
            let end = falls.get(next).map_or(own, |fall| own.min(fall + 15));
            if end >= END {
                break;
            }
            flag.extend([at, end]);
            at = end;
        }
        assert_eq!(bench.standing("FLAG", flag), (Some(Standing::Clear), false));
    }

    /// What switches with every edge of the accused comes behind its strays at one time as well, and is no answer to them.
    #[test]
    fn a_line_that_the_accused_brings_along_stays_evidence() {
        let bench = Bench::new();
        let rises: Vec<i64> = bench.eye.iter().step_by(2).copied().collect();
        let toggled = rises.iter().map(|rise| rise + 30).collect();
        assert_eq!(bench.standing("TOGGLED", toggled), (Some(Standing::Clear), false));
    }

    /// LAMP is fired by PEG's falls and now and then by itself; either way its rise strikes PEG now and then.
    #[test]
    fn a_line_that_strikes_by_itself_as_well_stays_accused() {
        let mut random = Random::new(8);
        let (mut eye, mut peg, mut lamp) = (Vec::new(), Vec::new(), Vec::new());
        for n in 1..400i64 {
            let at = 40_000 * n + (random.unit() * 9_000.0) as i64;
            eye.extend([at + 26_000, at + 29_000]);
            peg.extend([at, at + 4_000]);
            let by_itself = random.chance(0.12).then_some(at + 15_000);
            let by_stray = random.chance(0.4).then(|| {
                let width = 20 + (random.unit() * 30.0) as i64;
                peg.extend([at + 26_009, at + 26_009 + width]);
                at + 26_009 + width + 250
            });
            for fired in [Some(at + 4_250), by_itself, by_stray].into_iter().flatten() {
                lamp.extend([fired, fired + 9_000]);
                if random.chance(0.4) {
                    let start = fired + 8 + (random.unit() * 3.0) as i64;
                    peg.extend([start, start + 20 + (random.unit() * 30.0) as i64]);
                }
            }
        }
        peg.sort_unstable();
        let bench = Bench { eye, peg, random };
        assert_eq!(bench.standing("LAMP", lamp), (Some(Standing::Clear), true));
    }
}
