//! Checked rails and measured waveforms → the rows of the report.

use crate::analysis::rails::RailResult;
use crate::analysis::volts::Volts;
use crate::analysis::waveform::Waveform;
use crate::model::{Capture, Polarity};
use crate::report::rails::{CauseRow, ExcursionRow, RailRow, ReadingRow, WaveformRow};
use crate::rule::Rail;

/// One row a rail. `rails` and `results`: as many.
pub fn rail_rows(capture: &Capture, rails: &[Rail], results: &[RailResult]) -> Vec<RailRow> {
    let pairs = rails.iter().zip(results);
    pairs
        .map(|(rail, result)| rail_row(capture, rail, result))
        .collect()
}

fn rail_row(capture: &Capture, rail: &Rail, result: &RailResult) -> RailRow {
    let (low_v, high_v) = rail.allowed_v();
    let known = result.samples > 0;
    let broken = !result.excursions.is_empty()
        || !result.readings_outside.is_empty()
        || result
            .drop_v
            .zip(rail.max_drop_v)
            .is_some_and(|((_, largest), limit)| largest > limit);
    let verdict = match () {
        () if broken => "broken",
        () if known || !rail.readings.is_empty() => "kept",
        () => "nothing-checked",
    };
    let excursion = |e: &crate::analysis::rails::Excursion| ExcursionRow {
        start_s: capture.seconds(e.start),
        end_s: capture.seconds(e.end),
        extreme_v: e.extreme_v,
        kind: if e.is_dip { "dip" } else { "rise" }.to_owned(),
    };
    RailRow {
        rail: rail.line.clone(),
        nominal_v: rail.nominal_v,
        low_v,
        high_v,
        verdict: verdict.to_owned(),
        samples: result.samples,
        mean_v: known.then_some(result.mean_v),
        smallest_v: known.then_some(result.smallest_v),
        largest_v: known.then_some(result.largest_v),
        ripple_rms_v: known.then_some(result.ripple_rms_v),
        outside: known.then_some(result.outside),
        excursions: result.excursions.iter().map(excursion).collect(),
        cause: result.cause.as_ref().map(|c| CauseRow {
            line: capture.lines[c.line].name.clone(),
            edge: c.polarity.word().to_owned(),
            dips: c.dips,
            of: c.of,
            within_s: capture.timebase.length_s(c.within),
            inseparable_from: c
                .inseparable
                .iter()
                .map(|&line| capture.lines[line].name.clone())
                .collect(),
            expected_by_chance: c.expected,
            p_value: c.p_value,
        }),
        mean_drop_v: result.drop_v.map(|d| d.0),
        largest_drop_v: result.drop_v.map(|d| d.1),
        readings: rail
            .readings
            .iter()
            .enumerate()
            .map(|(i, r)| ReadingRow {
                at: r.at.clone(),
                volts: r.volts,
                within: !result.readings_outside.contains(&i),
            })
            .collect(),
    }
}

/// Measures of every analog line that is no rail and has at least one transition.
pub fn waveform_rows(capture: &Capture, rails: &[Rail]) -> Vec<WaveformRow> {
    let is_rail = |name: &str| {
        rails
            .iter()
            .any(|r| r.line == name || r.supply_end.as_deref() == Some(name))
    };
    let mut rows = Vec::new();
    for line in &capture.lines {
        let Some(trace) = line
            .trace
            .as_ref()
            .filter(|_| !line.edges.is_empty() && !is_rail(&line.name))
        else {
            continue;
        };
        let Some(waveform) = Waveform::of(&Volts::of(trace)).filter(|w| !w.transitions.is_empty()) else {
            continue;
        };
        let of = |polarity| {
            waveform
                .transitions
                .iter()
                .filter(move |t| t.polarity == polarity)
        };
        let median = |polarity| {
            let mut durations: Vec<f64> = of(polarity).map(|t| t.duration()).collect();
            durations.sort_by(f64::total_cmp);
            let middle = durations.get(durations.len() / 2)?;
            Some(capture.timebase.length_s(*middle))
        };
        let largest = |of: fn(&crate::analysis::waveform::Transition) -> f64| {
            waveform.transitions.iter().map(of).fold(0.0, f64::max)
        };
        let (margin_low_v, margin_high_v) = waveform.noise_margins(trace.thresholds);
        rows.push(WaveformRow {
            line: line.name.clone(),
            low_v: waveform.states.low_v,
            high_v: waveform.states.high_v,
            rises: of(Polarity::Rise).count() as u64,
            falls: of(Polarity::Fall).count() as u64,
            rise_s: median(Polarity::Rise),
            fall_s: median(Polarity::Fall),
            overshoot: largest(|t| t.overshoot),
            pre_shoot: largest(|t| t.pre_shoot),
            runts: waveform.runts,
            margin_low_v,
            margin_high_v,
        });
    }
    rows
}
