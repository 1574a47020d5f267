//! Edges of a far end, recorded in volts, that are slow for what the link carries.

use super::Link;
use super::sentences::{name, shortest_pulse, ticks_s};
use crate::analysis::findings::{Finding, Severity};
use crate::analysis::stats::intervals::median_of_sorted;
use crate::analysis::volts::Volts;
use crate::analysis::waveform::Waveform;
use crate::model::{Capture, Polarity};

/// A far end whose edges, from 10 to 90 %, last this share of the shortest pulse sent loses pulses not much shorter.
/// Common practice, no source.
const OF_PULSE: f64 = 0.25;
/// And this many times what they last at the sending end, where that was recorded in volts too. Common practice, no
/// source.
const OF_SENDER: f64 = 3.0;
/// An edge is measured where it lasts at least as many samples: a faster one is only known to be faster.
const LEAST_SAMPLES: f64 = 3.0;
/// Fewer edges of one polarity give no median to speak of.
const LEAST_EDGES: usize = 4;

/// What the edges of one polarity last, in ticks.
struct Edges {
    median: f64,
    count: usize,
    /// Between two samples, at most.
    sample: f64,
}

/// The edges of both polarities of a line; `None` without volts that have two states. Cost: linear in samples.
fn edges(capture: &Capture, line: usize) -> Option<[Option<Edges>; 2]> {
    let volts = Volts::of(capture.lines[line].trace.as_ref()?);
    let sample = volts
        .times
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .fold(0.0, f64::max);
    let waveform = Waveform::of(&volts)?;
    let of = |polarity: Polarity| {
        let own = waveform.transitions.iter().filter(|t| t.polarity == polarity);
        let mut durations: Vec<f64> = own.map(|t| t.duration()).collect();
        if durations.len() < LEAST_EDGES {
            return None;
        }
        durations.sort_by(f64::total_cmp);
        Some(Edges {
            median: median_of_sorted(&durations)?.0,
            count: durations.len(),
            sample,
        })
    };
    Some([of(Polarity::Rise), of(Polarity::Fall)])
}

/// A warning for each polarity of the far end that is slow by either measure.
pub(super) fn findings(capture: &Capture, link: &Link) -> Vec<Finding> {
    let Some(far) = edges(capture, link.to) else {
        return Vec::new();
    };
    let near = edges(capture, link.from).unwrap_or([None, None]);
    let shortest = shortest_pulse(capture, link);
    let words = ["rises", "falls"];
    let sides = far.into_iter().zip(near).zip(words);
    sides
        .filter_map(|((far, near), word)| finding(capture, link, &far?, near.as_ref(), shortest, word))
        .collect()
}

fn finding(
    capture: &Capture,
    link: &Link,
    far: &Edges,
    near: Option<&Edges>,
    shortest: Option<f64>,
    word: &str,
) -> Option<Finding> {
    let of_pulse = shortest.filter(|pulse| far.median > OF_PULSE * pulse);
    let of_sender = near.filter(|near| far.median > OF_SENDER * near.median.max(near.sample));
    if far.median < LEAST_SAMPLES * far.sample || (of_pulse.is_none() && of_sender.is_none()) {
        return None;
    }
    let (from, to) = (name(capture, link.from), name(capture, link.to));
    let mut detail = format!(
        "From 10 to 90 % it takes {} (median of {} {word}).",
        ticks_s(capture, far.median),
        far.count
    );
    if let Some(near) = near {
        let most = match near.median < LEAST_SAMPLES * near.sample {
            true => "at most ",
            false => "",
        };
        let own = near.median.max(near.sample);
        detail.push_str(&format!(" At {from} it takes {most}{}.", ticks_s(capture, own)));
    }
    if let Some(pulse) = shortest {
        detail.push_str(&format!(
            " The shortest pulse sent is {} wide.",
            ticks_s(capture, pulse)
        ));
    }
    Some(Finding {
        severity: Severity::Warning,
        topic: "link",
        lines: vec![from.to_string(), to.to_string()],
        title: format!(
            "{to} {word} slowly at the far end: {}",
            ticks_s(capture, far.median)
        ),
        detail,
        try_next: vec![
            format!(
                "Look for a weak or missing pull-up, a cable too long or too many inputs on {to}: power off, discharge the supply, and measure the pull-up."
            ),
            format!(
                "An edge this slow crosses the threshold late, and noise on it may be taken for several: put a driver nearer to {to}, or an input with hysteresis there."
            ),
        ],
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::links::{FarEnd, Verdict};
    use crate::model::{Level, Line, Source, Thresholds, Ticks, TimeSpan, Trace, TraceSamples};

    /// A pulse train whose edges are ramps of `rise` and `fall` ticks; sampled at every tick, 0 to 4 V.
    fn line(name: &str, at: i64, (rise, fall): (i64, i64)) -> Line {
        let span = TimeSpan::new(Ticks(0), Ticks(20_000));
        let mut volts = vec![0f64; 20_000];
        let mut edges = Vec::new();
        for pulse in 0..9 {
            let start = 1000 + 2000 * pulse + at;
            for (t, v) in volts.iter_mut().enumerate() {
                let t = t as i64;
                let up = ((t - start) as f64 / rise as f64).clamp(0.0, 1.0);
                let down = ((t - start - 400) as f64 / fall as f64).clamp(0.0, 1.0);
                *v += 4.0 * (up - down);
            }
            edges.extend([Ticks(start + rise / 2), Ticks(start + 400 + fall / 2)]);
        }
        let mut line = Line::digital(name, Level::Low, edges, span);
        line.source = Source::Analog;
        let thresholds = Thresholds {
            low_v: 0.8,
            high_v: 2.0,
        };
        line.trace = Some(Trace {
            samples: TraceSamples::Steps {
                times: std::sync::Arc::new((0..20_000).collect()),
                values: std::sync::Arc::new(volts),
            },
            thresholds,
            family: "ttl-5v".to_owned(),
            declared: true,
        });
        line
    }

    fn told(sender: (i64, i64), far: (i64, i64)) -> Vec<String> {
        let capture = Capture::in_nanoseconds(
            "slow.csv",
            TimeSpan::new(Ticks(0), Ticks(20_000)),
            vec![line("STRIKE_OUT", 0, sender), line("STRIKE_IN", 20, far)],
        );
        let link = Link {
            from: 0,
            to: 1,
            verdict: Verdict::Intact,
            sent: 9,
            arrived: 9,
            missing: Vec::new(),
            extra: Vec::new(),
            late: Vec::new(),
            distorted: Vec::new(),
            arrivals: Vec::new(),
            delay: None,
            end_delay: None,
            inverted: false,
            far_end: FarEnd::Carries,
            better_match: None,
        };
        findings(&capture, &link)
            .into_iter()
            .map(|f| format!("{}. {}", f.title, f.detail))
            .collect()
    }

    #[test]
    fn slow_edges_of_a_far_end_are_told_with_what_they_are_slow_for() {
        // A straight ramp takes 0.8 of its length from 10 to 90 % (IEEE Std 181).
        assert_eq!(
            told((10, 10), (250, 10)),
            [
                "STRIKE_IN rises slowly at the far end: 200 ns. From 10 to 90 % it takes 200 ns (median of 9 rises). At \
              STRIKE_OUT it takes 8 ns. The shortest pulse sent is 400 ns wide."
            ]
        );
        // Slower than it leaves, by three times, though short beside the pulse.
        assert_eq!(told((10, 10), (10, 50)).len(), 1);
        assert_eq!(told((40, 40), (50, 50)), [""; 0]);
        // Two samples are no measure.
        assert_eq!(told((1, 1), (2, 2)), [""; 0]);
    }
}
