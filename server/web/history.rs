//! The history of one trouble: a dot with its interval for each condition, as SVG.

use std::fmt::Write;

use super::figure::escape;
use crate::model::units::{per_time, percent_to_tenths, three_digits};
use crate::report::Interval;

const WIDTH: f64 = 560.0;
const HEIGHT: f64 = 128.0;
const LEFT: f64 = 62.0;
const TOP: f64 = 12.0;
const BOTTOM: f64 = 34.0;
/// Letters of a condition's name under its dot; the whole name is in the dot's title.
const LETTERS: usize = 60;

/// What a trouble came to under one condition.
pub struct Point {
    pub name: String,
    /// `None`: it had no occasion.
    pub rate: Option<Interval>,
    /// "66 of 125".
    pub counts: String,
    pub is_clean: bool,
    /// `before`, `after` or empty.
    pub side: &'static str,
}

/// The drawing. Styled by the classes of `compare.css`, which the printed report repeats.
/// `slot_s`: the seconds of one occasion of what is counted over time; its axis is a rate a second.
pub fn history(words: &str, points: &[Point], slot_s: Option<f64>) -> String {
    let most = points
        .iter()
        .filter_map(|point| point.rate)
        .map(|rate| rate.high)
        .fold(0.0, f64::max);
    // Of what is counted over time, an occasion is no unit of anybody's: the axis is a second's.
    let scale = slot_s.map_or(1.0, |slot| 1.0 / slot);
    let top = match slot_s {
        Some(_) => super::figure::nice_step((most * scale).max(1e-9)) / scale,
        None => nice_top(most),
    };
    // One unit for the whole axis.
    let (_, _, unit) = per_time(top * scale);
    let label = |rate: f64| match slot_s {
        Some(_) if rate == 0.0 => "0".to_owned(),
        Some(_) => format!(
            "{} {unit}",
            three_digits(rate * scale * per_time(top * scale).0 / (top * scale))
        ),
        None if rate == 0.0 => "0".to_owned(),
        None => format!("{} %", percent_to_tenths(rate)),
    };
    let y = |rate: f64| TOP + (HEIGHT - TOP - BOTTOM) * (1.0 - rate / top);
    let step = (WIDTH - LEFT) / points.len().max(1) as f64;
    let mut svg = format!(
        r#"<svg class="history" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{}">"#,
        escape(words)
    );
    for share in [0.0, 0.5, 1.0] {
        let at = y(top * share);
        let _ = write!(
            svg,
            r#"<path class="{}" d="M{LEFT} {at:.1}H{WIDTH}"/><text x="{:.1}" y="{:.1}" text-anchor="end">{}</text>"#,
            if share == 0.0 { "base" } else { "grid" },
            LEFT - 6.0,
            at + 3.5,
            label(top * share)
        );
    }
    let letters = ((step / 5.2) as usize).clamp(3, LETTERS);
    for (i, point) in points.iter().enumerate() {
        draw_point(&mut svg, point, LEFT + step * (i as f64 + 0.5), letters, y);
    }
    svg.push_str("</svg>");
    svg
}

/// One point at `x` with its interval, counts, name (of `letters` letters at most) and side; `y`: where a rate is drawn.
fn draw_point(svg: &mut String, point: &Point, x: f64, letters: usize, y: impl Fn(f64) -> f64) {
    let _ = write!(
        svg,
        r#"<g class="{}"><title>{}: {}</title>"#,
        point.side,
        escape(&point.name),
        escape(&point.counts)
    );
    match point.rate {
        Some(rate) => {
            let (low, high, at) = (y(rate.low), y(rate.high), y(rate.estimate));
            let _ = write!(
                svg,
                r#"<path class="interval" d="M{x:.1} {high:.1}V{low:.1}M{:.1} {high:.1}h8M{:.1} {low:.1}h8"/><circle class="{}" cx="{x:.1}" cy="{at:.1}" r="4.5"/><text class="figure" x="{:.1}" y="{:.1}">{}</text>"#,
                x - 4.0,
                x - 4.0,
                if point.is_clean { "clean" } else { "dot" },
                x + 9.0,
                at.min(y(0.0) - 4.0) + 1.0,
                escape(&point.counts)
            );
        }
        None => {
            let _ = write!(
                svg,
                r#"<text x="{x:.1}" y="{:.1}" text-anchor="middle">no occasion</text>"#,
                y(0.0) - 6.0
            );
        }
    }
    let _ = write!(
        svg,
        r#"<text x="{x:.1}" y="{:.1}" text-anchor="middle">{}</text>"#,
        HEIGHT - 18.0,
        escape(&short(&point.name, letters))
    );
    if !point.side.is_empty() {
        let _ = write!(
            svg,
            r#"<text class="side" x="{x:.1}" y="{:.1}" text-anchor="middle">{}</text>"#,
            HEIGHT - 4.0,
            point.side
        );
    }
    svg.push_str("</g>");
}

/// A round rate at or above the largest to be drawn, 100 % at most.
fn nice_top(most: f64) -> f64 {
    super::figure::nice_step(most.clamp(1e-9, 1.0)).min(1.0)
}

fn short(name: &str, letters: usize) -> String {
    if name.chars().count() <= letters {
        return name.to_owned();
    }
    name.chars()
        .take(letters.saturating_sub(1))
        .chain(['…'])
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_condition_has_a_dot_and_nothing_of_a_name_is_markup() {
        let point = |name: &str, rate| Point {
            name: name.to_owned(),
            rate,
            counts: "3 of 4".to_owned(),
            is_clean: false,
            side: "",
        };
        let rate = Interval {
            estimate: 0.75,
            low: 0.2,
            high: 0.99,
        };
        let svg = history(
            "words",
            &[point("<as found>", Some(rate)), point("later", None)],
            None,
        );
        assert_eq!(svg.matches("<circle").count(), 1);
        assert!(svg.contains("&lt;as found&gt;") && svg.contains("no occasion") && svg.contains("100 %"));
        // 0.99 in 1 µs is 990,000 a second.
        let svg = history("words", &[point("as found", Some(rate))], Some(1e-6));
        assert!(
            svg.contains("1 /µs") && svg.contains("0.5 /µs") && !svg.contains('%'),
            "{svg}"
        );
    }
}
