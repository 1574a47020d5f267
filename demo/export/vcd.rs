//! Four-state VCD, IEEE Std 1364-2005 clause 18: header, first values in `$dumpvars`, changes by time.

use std::fmt::Write;

use crate::demo::instrument::Recording;
use crate::model::Level;

/// Bits called `NAME[i]`, in a row and descending, are written as one vector; all else as scalars.
struct Variable {
    code: char,
    name: String,
    /// Positions of its lines, most significant bit first.
    bits: Vec<usize>,
}

/// The recording as text. Every line lies in one scope, `carillon`.
///
/// # Panics
/// If the sampling period is no whole number of picoseconds, or there are over 94 variables.
pub fn vcd(recording: &Recording, comment: &str) -> String {
    let period_ps = (recording.period_s * 1e12).round();
    assert!(
        (recording.period_s * 1e12 - period_ps).abs() < 1e-6 * period_ps,
        "whole picoseconds"
    );
    let (scale, steps) = timescale(period_ps as i64);
    let variables = variables(recording);
    let mut owner = vec![0; recording.lines.len()];
    for (index, variable) in variables.iter().enumerate() {
        for &bit in &variable.bits {
            owner[bit] = index;
        }
    }

    let mut text = format!("$comment {comment} $end\n$timescale {scale} $end\n$scope module carillon $end\n");
    for variable in &variables {
        let (code, name, size) = (variable.code, &variable.name, variable.bits.len());
        let range = if size > 1 {
            format!(" [{}:0]", size - 1)
        } else {
            String::new()
        };
        writeln!(text, "$var wire {size} {code} {name}{range} $end").expect("text grows");
    }
    text.push_str("$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n");
    let mut levels: Vec<Level> = recording.lines.iter().map(|l| l.first).collect();
    for variable in &variables {
        value(&mut text, variable, &levels);
    }
    text.push_str("$end\n");

    let changes = recording.changes();
    for moment in changes.chunk_by(|a, b| a.0 == b.0) {
        writeln!(text, "#{}", moment[0].0 * steps).expect("text grows");
        let mut touched: Vec<usize> = moment.iter().map(|change| owner[change.1]).collect();
        touched.dedup();
        for &(_, line, level) in moment {
            levels[line] = level;
        }
        for index in touched {
            value(&mut text, &variables[index], &levels);
        }
    }
    writeln!(text, "#{}", (recording.samples - 1) * steps).expect("text grows");
    text
}

/// The largest `$timescale` that divides the period, and how many of it the period is.
fn timescale(period_ps: i64) -> (&'static str, i64) {
    const SCALES: [(&str, i64); 6] = [
        ("100 ns", 100_000),
        ("10 ns", 10_000),
        ("1 ns", 1_000),
        ("100 ps", 100),
        ("10 ps", 10),
        ("1 ps", 1),
    ];
    let (name, scale) = SCALES
        .into_iter()
        .find(|(_, scale)| period_ps % scale == 0)
        .expect("1 ps divides all");
    (name, period_ps / scale)
}

fn variables(recording: &Recording) -> Vec<Variable> {
    let mut variables: Vec<Variable> = Vec::new();
    for (index, line) in recording.lines.iter().enumerate() {
        let name = line.name.split('[').next().unwrap_or_default();
        match variables.last_mut() {
            Some(last) if last.name == name => last.bits.push(index),
            _ => {
                let code = char::from(b'!' + u8::try_from(variables.len()).expect("few variables"));
                assert!(code <= '~', "at most 94 variables");
                variables.push(Variable {
                    code,
                    name: name.to_owned(),
                    bits: vec![index],
                });
            }
        }
    }
    variables
}

fn value(text: &mut String, variable: &Variable, levels: &[Level]) {
    let digit = |&bit: &usize| if levels[bit] == Level::High { '1' } else { '0' };
    if variable.bits.len() == 1 {
        text.push(digit(&variable.bits[0]));
    } else {
        let digits: String = variable.bits.iter().map(digit).collect();
        // Clause 18's left extension brings the leading zeros back.
        let short = digits.trim_start_matches('0');
        text.push('b');
        text.push_str(if short.is_empty() { "0" } else { short });
        text.push(' ');
    }
    text.push(variable.code);
    text.push('\n');
}
