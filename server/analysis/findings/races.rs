//! Sentences about strays that look like a race of the line's own logic.

use super::coupling::{edges_of, name, names, switching};
use super::words::{count_of, list, span};
use super::{CAUTION, Finding, Severity};
use crate::analysis::coupling::verdict::races::Sign;
use crate::analysis::coupling::{Edge, RaceOf};
use crate::analysis::strays::Strays;
use crate::model::{Capture, Level};

/// That what the victim's own part does as it switches, in the step of `step`, looks like what is induced.
pub fn looks_alike(capture: &Capture, victim: usize, step: usize) -> String {
    let (victim, step) = (name(capture, victim), name(capture, step));
    format!(
        "{step} switches at (nearly) all of these strays and of {victim}'s own edges: if the part that drives {victim} has inputs that settle one after the other at that step, its race looks like this."
    )
}

/// When a race does no harm.
pub fn harmless(victim: &str) -> String {
    format!(
        "If what reads {victim} looks at it only well after it has settled, these pulses do no harm; if it counts or latches on {victim}, take it through a flip-flop."
    )
}

/// One finding a victim level.
pub fn finding(capture: &Capture, strays: &Strays, r: &RaceOf) -> Finding {
    let victim = name(capture, r.victim);
    let others = names(capture, &r.race.lines);
    let (title, grounds) = sign_of(capture, strays, r, &victim, &others);
    let rests = if r.level == Level::High { "low" } else { "high" };
    Finding {
        severity: Severity::Warning,
        topic: "inseparable",
        title,
        detail: grounds,
        try_next: match r.race.sign {
            Sign::Clocked { .. } => is_it_meant(capture, strays, r, &victim, &others),
            _ => vec![
                harmless(&victim),
                format!(
                    "Put clips on the inputs of the part that drives {victim}: if they settle one after the other at these pulses, it is the race."
                ),
                format!(
                    "To be sure: lift the inputs of the part that drives {victim} and tie them so that {victim} rests {rests}, and let the machine run on. Pulses that stay are induced on {victim}'s wire; those that go were the part's own."
                ),
                CAUTION.to_string(),
            ],
        },
        lines: std::iter::once(victim).chain(others).collect(),
    }
}

/// What settles whether short pulses at the time of the long ones are meant.
fn is_it_meant(
    capture: &Capture,
    strays: &Strays,
    r: &RaceOf,
    victim: &str,
    others: &[String],
) -> Vec<String> {
    let time = |ticks: f64| span(&capture.timebase, ticks);
    let of_level = strays.of_line(r.victim).iter().filter(|s| s.level == r.level);
    let least = of_level.map(|s| s.width.0).min().unwrap_or(0);
    let by = others.first().map_or("what seems to clock it", String::as_str);
    let limit = strays.limits.get(r.victim).and_then(|limits| limits.of(r.level));
    let says = limit.map_or(String::new(), |limit| {
        format!(
            ": say narrow_below = \"{}\" for it in the setup, and what brings them is named",
            time(limit)
        )
    });
    vec![
        format!(
            "Look in the circuit at what drives {victim}: if it may send pulses as short as {}, they are no strays: say narrow_below = \"{}\" \
             for {victim} in the setup.",
            time(least as f64),
            time(least as f64 / 2.0)
        ),
        format!("If it never sends {victim} such pulses, {by}'s edges strike it{says}."),
        CAUTION.to_string(),
    ]
}

/// What the race is told by: title, and the counts behind it. `others`: the race's lines by name.
fn sign_of(
    capture: &Capture,
    strays: &Strays,
    r: &RaceOf,
    victim: &str,
    others: &[String],
) -> (String, String) {
    let edge = r.race.edge.unwrap_or(Edge::Both);
    let accused = r.race.lines.first().map(|&line| switching(capture, line, edge));
    let of_level = match strays.of_line(r.victim).iter().any(|s| s.level != r.level) {
        true => format!("{} stray pulse", r.level.word()),
        false => "stray pulse".to_owned(),
    };
    let (strays, they) = (
        count_of(r.strays, &of_level),
        if r.strays == 1 { "it" } else { "they" },
    );
    let step = match others.len() {
        _ if !r.race.in_step => String::new(),
        0 => String::new(),
        1 => format!(" {victim}'s own edges come at the same instants."),
        _ => format!(
            " {victim}'s own edges come at the same instants, as {} does.",
            others[1]
        ),
    };
    match r.race.sign {
        Sign::EachCycle {
            strays: each,
            cycles,
            of,
        } => (
            format!(
                "{victim}: its {strays} come {} in each of its cycles, as a race of its own logic does",
                if each == 1 {
                    "one".to_owned()
                } else {
                    each.to_string()
                }
            ),
            format!(
                "{cycles} of {of} cycles of {victim}, from one rise of its own to the next, have {each}. What is induced comes now and then; a decoder whose inputs settle one after the other does the same at each round.{}",
                match others {
                    [] => String::new(),
                    others => format!(" Edges of {} come with them.", list(others)),
                }
            ),
        ),
        Sign::EveryTime { strikes, of } => (
            format!(
                "{victim}: its {strays} come with {} every time, as a race of its own logic does",
                accused.unwrap_or_default()
            ),
            format!(
                "{strikes} of {of} {} bring one.{step} What is induced is left out now and then; logic does the same each time. A strong coupling that never fails would look alike.",
                edges_of(edge)
            ),
        ),
        Sign::Late { by } => (
            format!(
                "{victim}: its {strays} begin before {}, as a race of its own logic does",
                accused.unwrap_or_default()
            ),
            format!(
                "On the mean {they} begin {} before it.{step} What is induced comes after its cause: a third line drives both.",
                span(&capture.timebase, by)
            ),
        ),
        Sign::Inverted { strikes } => (
            format!(
                "{victim}: its {strays} repeat pulses of {} upside down, as an inverting gate does",
                others.first().map_or("another line", String::as_str)
            ),
            format!(
                "{strikes} of them begin with {} and end as it switches back. Two lines that touch go the same way.{step}",
                accused.unwrap_or_default()
            ),
        ),
        Sign::Clocked {
            own,
            of,
            lags: [short, long],
        } => (
            format!(
                "{victim}: its {strays} begin with {}, as its own longer pulses do, and may be what it sends",
                accused.unwrap_or_default()
            ),
            format!(
                "{own} of its {of} longer {} pulses begin after these {} as well, on the mean {} after them, and {they} {}. So that edge seems to clock the part that drives {victim}, which may send short pulses as well as long ones. What is induced mostly comes at a time of its own; a neighbour that strikes as late as that part answers would look alike.",
                r.level.word(),
                edges_of(edge),
                span(&capture.timebase, long),
                span(&capture.timebase, short),
            ),
        ),
        Sign::Input { own, of } => (
            format!(
                "{victim}: {}, or a race of the part that it drives, causes its {strays}",
                accused.unwrap_or_default()
            ),
            format!(
                "{own} of {victim}'s {of} own edges come as long after {line}'s edges as these strays, up with its one edge and down with the other: {line} seems to be an input of the part that drives {victim}. Where another input of such a part switches just after it, its output shows a short pulse.",
                line = others.first().map_or("the line", String::as_str),
            ),
        ),
        Sign::BeforeAnswers { least, most } => (
            format!(
                "{victim}: {}, or a race of the part that answers it, causes its {strays}",
                accused.unwrap_or_default()
            ),
            format!(
                "Each comes before the edge of {victim} that answers this one. They last {} to {}, one width as far as samples tell: a race of gates has one, what is induced mostly has not.",
                span(&capture.timebase, least as f64),
                span(&capture.timebase, most as f64)
            ),
        ),
        Sign::OneWidth { least, most } => (
            format!(
                "{victim}: its {strays} after {} all have one width, as what a part puts out does",
                accused.unwrap_or_default()
            ),
            format!(
                "They last {} to {}.{step} What is induced depends on amplitudes, and its widths differ; a gate's or a monostable's don't. A very steady coupling would look alike.",
                span(&capture.timebase, least as f64),
                span(&capture.timebase, most as f64)
            ),
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::verdict::races::Race;
    use crate::model::{Line, Ticks, TimeSpan};

    #[test]
    fn each_sign_is_said_with_its_figures_and_accuses_nobody() {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000));
        let line = |name: &str| Line::digital(name, Level::Low, Vec::new(), span);
        let capture = Capture::in_nanoseconds("race", span, ["BAR_0", "BAR_1", "STEP"].map(line).to_vec());
        let told = |sign: Sign, lines: &[usize]| {
            let race = Race {
                sign,
                lines: lines.to_vec(),
                edge: Some(Edge::Fall),
                in_step: true,
            };
            let of = RaceOf {
                victim: 0,
                level: Level::High,
                strays: 40,
                race,
            };
            finding(&capture, &Strays::default(), &of)
        };
        let each = told(
            Sign::EachCycle {
                strays: 1,
                cycles: 39,
                of: 40,
            },
            &[1],
        );
        assert!(
            each.title
                .starts_with("BAR_0: its 40 stray pulses come one in each of its cycles")
        );
        assert!(each.detail.contains("39 of 40 cycles"));
        let every = told(Sign::EveryTime { strikes: 40, of: 41 }, &[1, 2]);
        assert!(
            every.title.contains("come with BAR_1 falling every time"),
            "{}",
            every.title
        );
        assert!(every.detail.contains("40 of 41 falls") && every.detail.contains("as STEP does"));
        let late = told(Sign::Late { by: 12.0 }, &[1]);
        assert!(late.title.contains("begin before BAR_1 falling") && late.detail.contains("12 ns"));
        let clocked = told(
            Sign::Clocked {
                own: 43,
                of: 44,
                lags: [30.0, 31.0],
            },
            &[1],
        );
        assert!(
            clocked
                .title
                .contains("begin with BAR_1 falling, as its own longer pulses do"),
            "{}",
            clocked.title
        );
        assert!(
            clocked.detail.contains("43 of its 44 longer high pulses"),
            "{}",
            clocked.detail
        );
        assert!(
            clocked.try_next[0].contains("narrow_below"),
            "{:?}",
            clocked.try_next
        );
        assert!(
            [each, every, late, clocked]
                .iter()
                .all(|f| f.severity == Severity::Warning && f.topic == "inseparable")
        );
    }
}
