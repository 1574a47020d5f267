//! Lines that are at one voltage all the time, and stand between the thresholds together: two outputs on one wire.

use super::{Kind, OPEN_TTL_V, Trouble};
use crate::analysis::volts::Volts;
use crate::model::Capture;

/// Two probes on one wire read this near each other, in volts: what instruments are off, and the wire's own drop (no source).
const NEAR_V: f64 = 0.25;
/// For so much of the time: the rest is edges that come a sample apart (no source).
const TOGETHER: f64 = 0.95;

/// Tells of each line that stands between the thresholds at times, and is good at others, which other such line is at its voltage
/// all the time. Where the level is that of open inputs nothing is told: bus lines that nobody drives rest there together; nor of
/// two ends of one wire.
pub fn tell(capture: &Capture, troubles: &mut [Trouble], is_one_wire: &dyn Fn(usize, usize) -> bool) {
    let contends = |trouble: &Trouble| match trouble.kind {
        Kind::Between { stands_v, .. } | Kind::Weak { stands_v, .. } => {
            trouble.has_good && !(OPEN_TTL_V.0..=OPEN_TTL_V.1).contains(&stands_v)
        }
        _ => false,
    };
    let which: Vec<usize> = (0..troubles.len())
        .filter(|&at| contends(&troubles[at]))
        .collect();
    let volts: Vec<Option<Volts>> = which
        .iter()
        .map(|&at| capture.lines[troubles[at].line].trace.as_ref().map(Volts::of))
        .collect();
    for (n, &at) in which.iter().enumerate() {
        let other = (0..which.len()).filter(|&m| m != n).find(|&m| {
            let pair = volts[n].as_ref().zip(volts[m].as_ref());
            !is_one_wire(troubles[at].line, troubles[which[m]].line)
                && pair.is_some_and(|(a, b)| are_one(a, b))
        });
        if let Some(other) = other {
            let found = troubles[which[other]].line;
            troubles[at].stands_with(found);
        }
    }
}

/// Whether two lines are at one voltage. Those sampled at other moments than each other are held to be two.
fn are_one(a: &Volts, b: &Volts) -> bool {
    if a.times != b.times {
        return false;
    }
    let pairs = a.volts.iter().zip(&b.volts);
    let near = pairs.filter(|(a, b)| (*a - *b).abs() <= NEAR_V).count();
    near as f64 >= TOGETHER * a.volts.len() as f64
}

impl Trouble {
    fn stands_with(&mut self, other: usize) {
        if let Kind::Weak {
            stands_v,
            share,
            stretches,
            usual,
            ..
        } = self.kind
        {
            self.kind = Kind::Between {
                stands_v,
                share,
                stretches,
                usual,
                with: None,
            };
        }
        if let Kind::Between { with, .. } = &mut self.kind {
            *with = Some(other);
            self.is_told = true;
        }
    }
}
