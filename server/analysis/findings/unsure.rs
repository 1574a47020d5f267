//! Sentences about short pulses of which nothing shows whether they are strays or their line's job.
//!
//! A strobe whose pulses of one level are all short and of one width is the plainest of these: it stands in most captures
//! of a machine in health. All such lines are told in one note, so that they don't stand before what is really in doubt;
//! where samples are too coarse to show that they have one width, in another ([`only_short`]).

use super::coupling::{edges_of, name, names, switching};
use super::only_short;
use super::words::{count_of, list, span};
use super::{CAUTION, Finding, Severity};
use crate::analysis::coupling::Attribution;
use crate::analysis::coupling::legitimate::USEFUL_S;
use crate::analysis::coupling::legitimate::crowds::{Crowd, Unsure};
use crate::analysis::strays::Strays;
use crate::model::Capture;

/// Widths this many samples apart at most are one width: either edge is known to a sample.
const SAME_SAMPLES: f64 = 2.0;
/// So are those that differ by no more than this share: a monostable's keep within a few hundredths (common practice, no
/// source).
const SAME_SHARE: f64 = 0.04;
/// Lines named in a title; of more only their number.
pub(super) const MOST_NAMED: usize = 4;

/// Whether all pulses of the crowd have one width, as far as the sampling shows.
fn repeats(strays: &Strays, crowd: &Crowd) -> bool {
    let [least, _, most] = crowd.widths.map(|w| w as f64);
    most - least <= (SAME_SAMPLES * strays.sampling[crowd.line].max(1.0)).max(SAME_SHARE * least)
}

/// Pulses of fewer samples than this don't show whether they have one width: two neighbouring numbers of samples may be
/// twice as long.
pub(super) const SHOW_WIDTH: f64 = 4.0;

/// Whether pulses of so few samples look like a plain strobe that they may be anything.
pub(super) fn is_too_coarse(strays: &Strays, u: &Unsure) -> bool {
    looks_plain(strays, u) && (u.crowd.widths[1] as f64) < SHOW_WIDTH * strays.sampling[u.crowd.line]
}

/// Whether it is all of a level's pulses, long enough to be read and of one width, after one line's edges: a plain strobe.
fn is_plain(strays: &Strays, u: &Unsure) -> bool {
    looks_plain(strays, u) && !is_too_coarse(strays, u)
}

/// Whether it is a plain strobe as far as sampling shows.
fn looks_plain(strays: &Strays, u: &Unsure) -> bool {
    let crowd = &u.crowd;
    !u.whole
        && u.follows.is_some()
        && !(crowd.is_part || crowd.is_useless || crowd.scatters)
        && crowd.pulses == crowd.of
        && repeats(strays, crowd)
}

/// Those that don't look like plain strobes, each with a finding.
pub fn of(capture: &Capture, strays: &Strays, attribution: &Attribution) -> Vec<Finding> {
    let unsure = attribution.unsure.iter().filter(|u| !looks_plain(strays, u));
    unsure.map(|u| finding(capture, strays, u)).collect()
}

/// The title under which each of [`Attribution::unsure`] is told, in their order.
pub fn titles(capture: &Capture, strays: &Strays, attribution: &Attribution) -> Vec<String> {
    let plain = plain_strobes(capture, strays, attribution).map_or(String::new(), |f| f.title);
    let coarse = only_short::finding(capture, strays, attribution).map_or(String::new(), |f| f.title);
    let title = |u: &Unsure| match looks_plain(strays, u) {
        true if is_too_coarse(strays, u) => coarse.clone(),
        true => plain.clone(),
        false => finding(capture, strays, u).title,
    };
    attribution.unsure.iter().map(title).collect()
}

/// All lines with plain strobes, in one note.
pub fn plain_strobes(capture: &Capture, strays: &Strays, attribution: &Attribution) -> Option<Finding> {
    let plain = || attribution.unsure.iter().filter(|u| is_plain(strays, u));
    let time = |ticks: f64| span(&capture.timebase, ticks);
    let mut strobes: Vec<usize> = plain().map(|u| u.crowd.line).collect();
    strobes.sort_unstable();
    strobes.dedup();
    let named = names(capture, &strobes[..strobes.len().min(MOST_NAMED)]);
    let (whose, its) = match (named.as_slice(), strobes.len() - named.len()) {
        ([], _) => return None,
        ([only], 0) => (only.clone(), "its"),
        (_, 0) => (list(&named), "their"),
        (_, 1) => (format!("{} and 1 more line", named.join(", ")), "their"),
        (_, more) => (format!("{} and {more} more lines", named.join(", ")), "their"),
    };
    let one = |u: &Unsure| {
        let crowd = &u.crowd;
        let [least, _, most] = crowd.widths.map(|w| time(w as f64));
        let wide = match least == most {
            true => least,
            false => format!("{least} to {most}"),
        };
        let (to, edge, followers, _) = u.follows?;
        let how_many = match followers == crowd.pulses {
            true => "all".to_owned(),
            false => followers.to_string(),
        };
        Some(format!(
            "{}: {} of {wide}, {how_many} of them after {} of {}",
            name(capture, crowd.line),
            count_of(crowd.pulses, &format!("{} pulse", crowd.level.word())),
            edges_of(edge),
            name(capture, to)
        ))
    };
    let told: Vec<String> = plain().filter_map(one).collect();
    let limit = plain().map(|u| u.crowd.limit).fold(0.0, f64::max);
    let least = plain().map(|u| u.crowd.widths[0]).min()?;
    let mut lines = strobes.clone();
    for (to, ..) in plain().filter_map(|u| u.follows) {
        if !lines.contains(&to) {
            lines.push(to);
        }
    }
    let caught: Vec<String> = plain()
        .filter_map(|u| caught_as_well(capture, &u.crowd))
        .collect();
    Some(Finding {
        severity: Severity::Note,
        topic: "stray",
        title: format!(
            "{whose}: all {its} pulses of one level are short and of one width; most likely {its} job, which this capture can't prove"
        ),
        detail: format!(
            "{}. Pulses that a part drives repeat like that; strays seldom do.",
            told.join("; ")
        ),
        try_next: vec![
            format!(
                "If they are meant, nothing is to be done; narrow_below = \"{}\" for such a line in the setup says so, and it is not told again.",
                time(least as f64 / 2.0)
            ),
            [
                format!(
                    "If no part drives a line with such pulses, say narrow_below = \"{}\" for it: they are then counted as strays, and whatever brings them is named. Where only single ones are strays, step to these and judge them.",
                    time(limit)
                ),
                caught.join(" "),
            ]
            .join(" ")
            .trim_end()
            .to_owned(),
        ],
        lines: names(capture, &lines),
    })
}

/// What the crowd's limit would take for strays on the other level as well: a limit from the setup holds for both.
fn caught_as_well(capture: &Capture, crowd: &Crowd) -> Option<String> {
    let other = crowd.level.inverted();
    let pulses = capture.lines[crowd.line].pulses();
    let caught = pulses.filter(|p| p.level == other && (p.width().0 as f64) < crowd.limit);
    let caught = caught.count() as u64;
    (caught > 0).then(|| {
        format!(
            "That limit holds for both levels: it would count {} of {} as well.",
            count_of(caught, &format!("{} pulse", other.word())),
            name(capture, crowd.line)
        )
    })
}

/// Pulses that are another line's from the first edge to the last: a gate, or two lines that touch.
fn whole_pulses(
    capture: &Capture,
    u: &Unsure,
    [line, other]: [&str; 2],
    (followers, of): (u64, u64),
) -> Finding {
    let time = |ticks: f64| span(&capture.timebase, ticks);
    let [least, _, most] = u.crowd.widths.map(|w| time(w as f64));
    Finding {
        severity: Severity::Note,
        topic: "stray",
        title: format!(
            "{line} now and then shows {other}'s whole pulse; a gate lets it through or the two touch, this capture can't tell"
        ),
        detail: format!(
            "{} of {line}'s {} begin and end with a pulse of {other} ({least} to {most} wide); {of} pulses of {other} could have done so. {line} has longer pulses of its own, and no captured line's level shows what would let these through.",
            followers,
            count_of(u.crowd.of, &format!("{} pulse", u.crowd.level.word())),
        ),
        try_next: vec![
            format!(
                "Look at the wiring list: if a gate joins {other} to {line}, capture its enable as well; these pulses must come with it."
            ),
            format!(
                "If none does: with the power off and nothing stored, measure between {line} and {other}; look for a solder bridge, a bent pin, or two strands that touch when the board is moved."
            ),
            CAUTION.to_string(),
        ],
        lines: vec![line.to_owned(), other.to_owned()],
    }
}

/// What the widths say where the pulses follow a line.
fn what_widths_say(capture: &Capture, strays: &Strays, crowd: &Crowd) -> String {
    let [_, middle, _] = crowd.widths;
    match crowd.scatters {
        _ if crowd.is_part => "A second part that drives it would do so as well.".to_owned(),
        true => "That is so nearly always that they may be meant.".to_owned(),
        false if repeats(strays, crowd) => {
            "Their widths repeat, as those of pulses that a part drives.".to_owned()
        }
        false if middle as f64 >= capture.timebase.ticks_of(USEFUL_S) => format!(
            "Their widths vary more than those of pulses that a part drives; yet half of them last {} or more, long enough to be read.",
            span(&capture.timebase, middle as f64)
        ),
        false => "Their widths speak for neither.".to_owned(),
    }
}

/// Pulses this soon after one another are of a bunch, and share of a crowd in bunches on a line that chatters (no source).
const BUNCH_S: f64 = 2e-6;
const IN_BUNCHES: f64 = 0.5;

/// Whether most of the crowd come close after one another, as on a line that nothing holds: a job is done at its time.
fn come_in_bunches(capture: &Capture, crowd: &Crowd) -> bool {
    let near = capture.timebase.ticks_of(BUNCH_S) as i64;
    let pulses = capture.lines[crowd.line].pulses();
    let of_crowd = pulses.filter(|p| p.level == crowd.level && p.width().0 <= crowd.widths[2]);
    let mut last: Option<i64> = None;
    let close = of_crowd.filter(|p| {
        last.replace(p.start.0)
            .is_some_and(|before| p.start.0 - before <= near)
    });
    close.count() as f64 >= IN_BUNCHES * crowd.pulses as f64
}

/// Short pulses that may be strays or a line's job.
fn finding(capture: &Capture, strays: &Strays, u: &Unsure) -> Finding {
    let crowd = &u.crowd;
    let line = name(capture, crowd.line);
    let time = |ticks: f64| span(&capture.timebase, ticks);
    let level = crowd.level.word();
    let short = count_of(crowd.pulses, &format!("short {level} pulse"));
    let [least, middle, most] = crowd.widths.map(|w| time(w as f64));
    let wide = match least == most {
        true => format!("all {least} wide"),
        false => format!("{least} to {most} wide, half of them no longer than {middle}"),
    };
    let (title, why) = match u.follows {
        Some((to, edge, followers, of)) => (
            format!(
                "{line}: {} {}; strays or its job, this capture can't tell",
                match followers == crowd.pulses {
                    true => format!("{short} follow"),
                    false => format!("{followers} of {short} follow"),
                },
                switching(capture, to, edge)
            ),
            format!(
                "{followers} of them follow {} of {}, {of} of which could have brought one. {}",
                edges_of(edge),
                name(capture, to),
                what_widths_say(capture, strays, crowd)
            ),
        ),
        None => (
            format!("{line}: {short} may be strays or its job, which this capture can't tell"),
            match crowd.is_useless {
                true => "They are too short for most parts to heed, and follow no captured line often enough to name it.",
                false => "No captured line could be shown to bring them.",
            }
            .to_owned(),
        ),
    };
    let to = u.follows.map(|(to, ..)| name(capture, to));
    if let (true, Some((_, _, followers, of)), Some(other)) = (u.whole, u.follows, &to) {
        return whole_pulses(capture, u, [&line, other], (followers, of));
    }
    let settles = format!(
        "If no part drives {line} with such pulses, say narrow_below = \"{}\" for {line} in the setup: they are then counted as strays, and whatever brings them is named.",
        time(crowd.limit)
    );
    Finding {
        severity: match crowd.is_useless
            || crowd.scatters && (u.follows.is_some() || come_in_bunches(capture, crowd))
        {
            true => Severity::Warning,
            false => Severity::Note,
        },
        topic: "stray",
        title,
        detail: format!(
            "{why} They are {wide}, and {} of {} {level} pulses of {line}: {}",
            crowd.pulses,
            crowd.of,
            match (crowd.is_parted, crowd.is_part) {
                (true, _) => "apart from the longer ones, but most of the level: a stray is what comes besides.",
                (_, true) =>
                    "too short for most parts to heed, and apart from its longer ones, which follow another line.",
                _ => "its widths show no limit below which a pulse is stray.",
            },
        ),
        try_next: [
            match caught_as_well(capture, crowd) {
                Some(caught) => format!("{settles} {caught}"),
                None => settles,
            },
            format!("If they are its job, say a narrow_below shorter than {least}."),
        ]
        .into_iter()
        .chain(crowd.is_parted.then(|| {
            format!("Or capture what makes them: the clock of {line}'s driver, or the far end of its wire, declared as a link.")
        }))
        .collect(),
        lines: std::iter::once(line).chain(to).collect(),
    }
}
