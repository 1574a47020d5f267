//! The rule parts of the setup file: `[[limit]]`, `[[logic]]`, `[[latch]]` and `[[sequence]]` → checked [`Rule`]s.
//!
//! One flat raw shape for all kinds of limit (spans do not survive tagged enums): each kind then takes the keys
//! it knows, and a key left over is a mistake at its own place.

use serde::Deserialize;
use toml::Spanned;

mod itself;
mod keys;

use super::Error;
use super::raw::{LONGEST_WAIT, Place};
use crate::rule::expression::Expression;
use crate::rule::{Demand, EdgeOf, Latch, Limit, Logic, Rule, Sequence, Step};

use keys::{Names, Need, Text};

/// Bits in a bus, at most.
const MOST_BITS: usize = 64;
/// Lines in one rule `exclusive`, at most.
const MOST_LINES: usize = 64;

/// The words that `kind` of a limit may be, for messages.
pub const LIMIT_KINDS: &str =
    "pulse-width, setup, hold, recovery, stay, exclusive, answer, delay, period, frequency";
/// The words that `rule` of a sequence may be, for messages.
pub const STEP_RULES: &str = "count-up, count-down, count, shift-left, shift-right, load, hold, clear";

/// One `[[limit]]` as it stands in the file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawLimit {
    kind: Text,
    name: Text,
    line: Text,
    lines: Option<Spanned<Names>>,
    data: Option<Spanned<Names>>,
    level: Text,
    strobe: Text,
    edge: Text,
    from: Text,
    from_edge: Text,
    to: Text,
    to_edge: Text,
    before: Text,
    after: Text,
    at_least: Text,
    at_most: Text,
}

/// One `[[logic]]` as it stands in the file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawLogic {
    name: Text,
    output: Option<Spanned<Names>>,
    is: Text,
    settle: Text,
}

/// One `[[latch]]` as it stands in the file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawLatch {
    name: Text,
    output: Option<Spanned<Names>>,
    data: Option<Spanned<Names>>,
    enable: Text,
    open_at: Text,
    settle: Text,
}

/// One `[[sequence]]` as it stands in the file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawSequence {
    name: Text,
    bus: Option<Spanned<Names>>,
    strobe: Text,
    edge: Text,
    rule: Text,
    from: Option<Spanned<Names>>,
    serial: Text,
    direction: Text,
    up_at: Text,
    modulus: Option<Spanned<i64>>,
    settle: Text,
    watch: Option<Spanned<Names>>,
}

/// The rule of one `[[limit]]`.
///
/// # Errors
/// The first mistake, at its key.
pub fn limit(raw: Spanned<RawLimit>, place: &Place) -> Result<Rule, Error> {
    let at = raw.span().start;
    let mut raw = raw.into_inner();
    let Some(kind) = raw.kind.take() else {
        return Err(place.error(at, format!("expected kind, one of {LIMIT_KINDS}")));
    };
    let name = raw.name.take();
    let need = Need {
        place,
        at,
        kind: kind.get_ref().clone(),
    };
    let Some(limit) = limit_of(&mut raw, &need)? else {
        let message = format!("found the kind \"{}\", expected one of {LIMIT_KINDS}", need.kind);
        return Err(place.error(kind.span().start, message));
    };
    if let Some((start, key)) = raw.left_over() {
        let message = format!(
            "the key {key} has no meaning in a limit of kind \"{}\"; remove it",
            need.kind
        );
        return Err(place.error(start, message));
    }
    Ok(Rule {
        name: name.map_or_else(|| limit_name(&limit), Spanned::into_inner),
        setup_line: place.line_of(at),
        demand: Demand::Limit(limit),
    })
}

/// Takes the keys that the kind knows; `None` for a kind that is none of [`LIMIT_KINDS`].
fn limit_of(raw: &mut RawLimit, need: &Need) -> Result<Option<Limit>, Error> {
    let place = need.place;
    Ok(Some(match need.kind.as_str() {
        "pulse-width" => Limit::PulseWidth {
            line: need.text(&mut raw.line, "line")?,
            level: place.level(raw.level.take())?,
            bounds: need.bounds(&mut raw.at_least, &mut raw.at_most)?,
        },
        "setup" => Limit::Setup {
            data: need.names(&mut raw.data, "data")?,
            strobe: raw.edge_at_strobe(need)?,
            at_least_s: need.seconds(&mut raw.at_least, "at_least")?,
        },
        "hold" => Limit::Hold {
            data: need.names(&mut raw.data, "data")?,
            strobe: raw.edge_at_strobe(need)?,
            at_least_s: need.seconds(&mut raw.at_least, "at_least")?,
        },
        "recovery" => Limit::Recovery {
            release: raw.edge_before(need)?,
            strobe: raw.edge_at_strobe(need)?,
            at_least_s: need.seconds(&mut raw.at_least, "at_least")?,
        },
        "stay" => Limit::Stay {
            line: need.text(&mut raw.line, "line")?,
            level: need.level(&mut raw.level)?,
            strobe: raw.edge_at_strobe(need)?,
            before_s: place.seconds_or_zero(raw.before.take())?,
            after_s: place.seconds_or_zero(raw.after.take())?,
        },
        "exclusive" => Limit::Exclusive {
            lines: raw.few_lines(need)?,
            level: need.level(&mut raw.level)?,
            at_most_s: place.seconds_or_zero(raw.at_most.take())?,
        },
        "answer" => {
            let (from, to) = (raw.edge_before(need)?, raw.edge_after(need)?);
            if raw.at_most.is_none() {
                return Err(need.missing("at_most"));
            }
            let bounds = need.bounds(&mut raw.at_least, &mut raw.at_most)?;
            Limit::Answer { from, to, bounds }
        }
        "delay" => Limit::Delay {
            from: raw.edge_before(need)?,
            to: raw.edge_after(need)?,
            bounds: need.bounds(&mut raw.at_least, &mut raw.at_most)?,
        },
        "period" => Limit::Period {
            of: need.edge_of((&mut raw.line, "line"), (&mut raw.edge, "edge"))?,
            bounds: need.bounds(&mut raw.at_least, &mut raw.at_most)?,
            as_frequency: false,
        },
        "frequency" => Limit::Period {
            of: need.edge_of((&mut raw.line, "line"), (&mut raw.edge, "edge"))?,
            bounds: need.frequency_bounds(&mut raw.at_least, &mut raw.at_most)?,
            as_frequency: true,
        },
        _ => return Ok(None),
    }))
}

/// The rule of one `[[logic]]`.
pub fn logic(raw: Spanned<RawLogic>, place: &Place) -> Result<Rule, Error> {
    let at = raw.span().start;
    let mut raw = raw.into_inner();
    let need = Need {
        place,
        at,
        kind: "logic".to_owned(),
    };
    let outputs_at = raw.output.as_ref().map_or(at, |o| o.span().start);
    let outputs = need.names(&mut raw.output, "output")?;
    if outputs.len() > MOST_BITS {
        let message = format!("found {} outputs, expected at most {MOST_BITS}", outputs.len());
        return Err(place.error(outputs_at, message));
    }
    let is = raw.is.take().ok_or_else(|| need.missing("is"))?;
    let expression = Expression::parse(is.get_ref())
        .map_err(|mistake| place.error_inside(&is, mistake.offset, mistake.message))?;
    if expression.names().is_empty() {
        return Err(place.error(
            is.span().start,
            "expected an expression that names at least one line",
        ));
    }
    if let Some((offset, message)) = itself::mistake(&outputs, &expression) {
        return Err(place.error_inside(&is, offset, message));
    }
    Ok(Rule {
        name: raw.name.map_or_else(
            || format!("{} = {}", outputs.join(" "), expression.text),
            Spanned::into_inner,
        ),
        setup_line: place.line_of(at),
        demand: Demand::Logic(Logic {
            outputs,
            is: expression,
            settle_s: settle(raw.settle, place)?.ok_or_else(|| need.missing("settle"))?,
        }),
    })
}

/// The rule of one `[[latch]]`.
///
/// # Errors
/// The first mistake, at its key.
pub fn latch(raw: Spanned<RawLatch>, place: &Place) -> Result<Rule, Error> {
    let at = raw.span().start;
    let mut raw = raw.into_inner();
    let need = Need {
        place,
        at,
        kind: "latch".to_owned(),
    };
    let outputs = need.names(&mut raw.output, "output")?;
    let data_at = raw.data.as_ref().map_or(at, |d| d.span().start);
    let data = need.names(&mut raw.data, "data")?;
    if let Some(both) = data.iter().find(|name| outputs.contains(name)) {
        let message = format!("found {both} as output and as data, expected two different lines");
        return Err(place.error(data_at, message));
    }
    let enable = need.text(&mut raw.enable, "enable")?;
    let open_at = place
        .level(raw.open_at.take())?
        .ok_or_else(|| need.missing("open_at"))?;
    Ok(Rule {
        name: raw.name.map_or_else(
            || format!("latch {} of {} at {enable}", outputs.join(" "), data.join(" ")),
            Spanned::into_inner,
        ),
        setup_line: place.line_of(at),
        demand: Demand::Latch(Latch {
            outputs,
            data,
            enable,
            open_at,
            settle_s: settle(raw.settle, place)?.ok_or_else(|| need.missing("settle"))?,
        }),
    })
}

/// How long a part takes to put out what its inputs say.
fn settle(value: Text, place: &Place) -> Result<Option<f64>, Error> {
    place.seconds_at_most(value, LONGEST_WAIT, "how long a part takes to settle")
}

/// The rule of one `[[sequence]]`.
pub fn sequence(raw: Spanned<RawSequence>, place: &Place) -> Result<Rule, Error> {
    let at = raw.span().start;
    let mut raw = raw.into_inner();
    let need = Need {
        place,
        at,
        kind: "sequence".to_owned(),
    };
    let bus_at = raw.bus.as_ref().map_or(at, |b| b.span().start);
    let bus = need.names(&mut raw.bus, "bus")?;
    if bus.len() > MOST_BITS {
        let message = format!("found {} bits, expected at most {MOST_BITS}", bus.len());
        return Err(place.error(bus_at, message));
    }
    let strobe = need.edge_of((&mut raw.strobe, "strobe"), (&mut raw.edge, "edge"))?;
    let Some(word) = raw.rule.take() else {
        return Err(place.error(at, format!("expected rule, one of {STEP_RULES}")));
    };
    let mut serial = || raw.serial.take().map(Spanned::into_inner);
    let step = match word.get_ref().as_str() {
        "count-up" => Step::CountUp,
        "count-down" => Step::CountDown,
        "count" => Step::Count {
            direction: need.text(&mut raw.direction, "direction")?,
            up: place
                .level(raw.up_at.take())?
                .ok_or_else(|| need.missing("up_at"))?,
        },
        "shift-left" => Step::ShiftLeft { serial: serial() },
        "shift-right" => Step::ShiftRight { serial: serial() },
        "load" => Step::Load {
            from: need.names(&mut raw.from, "from")?,
        },
        "hold" => Step::Hold,
        "clear" => Step::Clear,
        other => {
            let message = format!("found the rule \"{other}\", expected one of {STEP_RULES}");
            return Err(place.error(word.span().start, message));
        }
    };
    let counts = matches!(step, Step::CountUp | Step::CountDown | Step::Count { .. });
    let modulus = match raw.modulus.take() {
        Some(modulus) if !counts => {
            let message = "modulus has a meaning only with count-up, count-down and count; remove it";
            return Err(place.error(modulus.span().start, message));
        }
        Some(modulus) if *modulus.get_ref() < 2 => {
            let message = format!("found the modulus {}, expected 2 or more", modulus.get_ref());
            return Err(place.error(modulus.span().start, message));
        }
        modulus => modulus.map(|m| *m.get_ref() as u64),
    };
    let leftover = [
        raw.from.as_ref().map(|f| (f.span().start, "from")),
        raw.serial.as_ref().map(|s| (s.span().start, "serial")),
        raw.direction.as_ref().map(|s| (s.span().start, "direction")),
        raw.up_at.as_ref().map(|s| (s.span().start, "up_at")),
    ];
    if let Some((start, key)) = leftover.into_iter().flatten().next() {
        let message = format!(
            "the key {key} has no meaning with the rule \"{}\"; remove it",
            word.get_ref()
        );
        return Err(place.error(start, message));
    }
    let watch = raw.watch.map_or(Vec::new(), |w| w.into_inner().0);
    let name = raw.name.map_or_else(
        || format!("{} of {} at {}", step.word(), bus.join(" "), strobe.line),
        Spanned::into_inner,
    );
    Ok(Rule {
        name,
        setup_line: place.line_of(at),
        demand: Demand::Sequence(Sequence {
            bus,
            strobe,
            step,
            modulus,
            settle_s: settle(raw.settle, place)?,
            watch,
        }),
    })
}

impl RawLimit {
    fn edge_at_strobe(&mut self, need: &Need) -> Result<EdgeOf, Error> {
        need.edge_of((&mut self.strobe, "strobe"), (&mut self.edge, "edge"))
    }

    fn edge_before(&mut self, need: &Need) -> Result<EdgeOf, Error> {
        need.edge_of((&mut self.from, "from"), (&mut self.from_edge, "from_edge"))
    }

    fn edge_after(&mut self, need: &Need) -> Result<EdgeOf, Error> {
        need.edge_of((&mut self.to, "to"), (&mut self.to_edge, "to_edge"))
    }

    /// The key `lines`, whose pairs are all looked at.
    fn few_lines(&mut self, need: &Need) -> Result<Vec<String>, Error> {
        let span = self.lines.as_ref().map(Spanned::span);
        let lines = need.names(&mut self.lines, "lines")?;
        if lines.len() > MOST_LINES {
            let message = format!("found {} lines, expected at most {MOST_LINES}", lines.len());
            return Err(need.place.error(span.map_or(need.at, |s| s.start), message));
        }
        Ok(lines)
    }

    /// A key that no one took, with its place.
    fn left_over(&self) -> Option<(usize, &'static str)> {
        let texts = [
            (&self.line, "line"),
            (&self.level, "level"),
            (&self.strobe, "strobe"),
            (&self.edge, "edge"),
            (&self.from, "from"),
            (&self.from_edge, "from_edge"),
            (&self.to, "to"),
            (&self.to_edge, "to_edge"),
            (&self.before, "before"),
            (&self.after, "after"),
            (&self.at_least, "at_least"),
            (&self.at_most, "at_most"),
        ];
        let texts = texts
            .iter()
            .filter_map(|(v, key)| Some((v.as_ref()?.span().start, *key)));
        let lists = [(&self.lines, "lines"), (&self.data, "data")];
        let lists = lists
            .iter()
            .filter_map(|(v, key)| Some((v.as_ref()?.span().start, *key)));
        texts.chain(lists).min()
    }
}

/// A name for a limit that was given none.
fn limit_name(limit: &Limit) -> String {
    let word = limit.word();
    match limit {
        Limit::PulseWidth { line, level, .. } => match level {
            Some(level) => format!("{word} of {line} ({})", level.word()),
            None => format!("{word} of {line}"),
        },
        Limit::Setup { data, strobe, .. } | Limit::Hold { data, strobe, .. } => {
            format!("{word} of {} at {}", data.join(" "), strobe.line)
        }
        Limit::Recovery { release, strobe, .. } => format!("{word} of {} to {}", release.line, strobe.line),
        Limit::Stay {
            line, level, strobe, ..
        } => format!("{line} stays {} around {}", level.word(), strobe.line),
        Limit::Exclusive { lines, level, .. } => {
            format!("never {} together: {}", level.word(), lines.join(" "))
        }
        Limit::Answer { from, to, .. } | Limit::Delay { from, to, .. } => {
            format!("{word} from {} to {}", from.line, to.line)
        }
        Limit::Period { of, .. } => format!("{word} of {}", of.line),
    }
}
