//! A stretch of a capture as an SVG figure: for print, for pages without script, and to keep.
//!
//! Black on white whatever the page's colours; no style sheet inside, so that it stands alone. Lines are drawn as
//! in a data book: sloped transitions where there is room, hatching for unknown, a mid-level dash for floating.

mod names;

use std::fmt::Write;

use crate::model::units::on_scale;
use crate::model::{Level, StretchKind, Ticks};
use crate::report::text::{engineering, seconds};
use crate::store::DimensionLine;

use super::occurrences::{Mark, Occurrence};
use super::opened::Opened;
use super::volts::{Volts, range, volts};
use super::window::{Shape, window};
use names::name_rows;

const WIDTH: f64 = 1000.0;
const GUTTER: f64 = 170.0;
const PLOT: f64 = WIDTH - GUTTER - 20.0;
const TOP: f64 = 34.0;
const ROW: f64 = 54.0;
const SWING: f64 = 24.0;
const SLOPE: f64 = 4.0;
/// From one line of a name to the next.
const NAME_LINE: f64 = 13.0;
/// What the volts of a supply's limits take before its trace.
const VOLTS_WIDTH: f64 = 48.0;
/// Least distance of two figures in volts.
const VOLTS_LINE: f64 = 9.5;
/// Most lines in one figure.
const MOST_LINES: usize = 40;

/// What a figure shows. Times in ticks from the capture's first moment.
pub struct Spec<'a> {
    /// Positions in the capture, from top to bottom.
    pub lines: Vec<usize>,
    pub start: i64,
    pub end: i64,
    /// The moment the scale counts from.
    pub zero: i64,
    pub marks: &'a [Mark],
    pub caption: &'a str,
    /// Dimension lines kept with the session; those in sight are drawn.
    pub dimensions: &'a [DimensionLine],
}

/// The figure of one occurrence: its evidence takes up about a third of the width.
pub fn occurrence_figure(
    opened: &Opened,
    lines: Vec<usize>,
    occurrence: &Occurrence,
    dimensions: &[DimensionLine],
) -> String {
    let (start, end) = around(opened, occurrence.from, occurrence.to);
    figure(
        opened,
        &Spec {
            lines,
            start,
            end,
            zero: occurrence.from,
            marks: &occurrence.marks,
            caption: &occurrence.caption,
            dimensions,
        },
    )
}

/// A stretch three times as long with the evidence in its middle, no shorter than eight ticks.
pub fn around(opened: &Opened, from: i64, to: i64) -> (i64, i64) {
    let pad = (to - from).max(3).saturating_mul(3) / 2;
    (
        from.saturating_sub(pad).max(-pad),
        to.saturating_add(pad).min(opened.length().saturating_add(pad)),
    )
}

/// Draws `spec` as an SVG document.
pub fn figure(opened: &Opened, spec: &Spec) -> String {
    let lines: Vec<usize> = spec.lines.iter().copied().take(MOST_LINES).collect();
    let height = TOP + ROW * lines.len() as f64 + 34.0;
    let mut svg = format!(
        r##"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" font-family="sans-serif" font-size="12" fill="none" stroke="#1f2a33" stroke-width="1.4"><title>{}</title><defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse"><path d="M0 6L6 0" stroke="#6f6a5c" stroke-width="1"/></pattern></defs><rect width="{WIDTH}" height="{height}" fill="#fff" stroke="none"/>"##,
        escape(spec.caption),
    );
    let place = Scale {
        start: spec.start,
        end: spec.end.max(spec.start + 1),
    };
    grid(&mut svg, opened, spec, &place, height);
    for (row, &line) in lines.iter().enumerate() {
        let high = TOP + ROW * row as f64 + 14.0;
        draw_name(&mut svg, opened, line, high);
        if !draw_supply(&mut svg, opened, line, &place, high) {
            draw_line(&mut svg, opened, line, &place, high);
        }
    }
    draw_marks(&mut svg, opened, spec, &lines, &place);
    draw_dimensions(&mut svg, opened, spec, &lines, &place);
    let _ = write!(
        svg,
        r##"<text x="8" y="{}" fill="#1f2a33" stroke="none" font-family="serif" font-size="14">{}</text></svg>"##,
        height - 12.0,
        escape(spec.caption)
    );
    svg
}

/// A line's name beside its row: in two lines where it is too long for one, and cut in the middle where it is for two. Nothing
/// of it reaches the trace, or the volts before that.
fn draw_name(svg: &mut String, opened: &Opened, position: usize, high: f64) {
    let line = &opened.capture.lines[position];
    let is_supply = opened.report.rails.iter().any(|row| row.rail == line.name);
    let room = GUTTER - 8.0 - if is_supply { VOLTS_WIDTH } else { 6.0 };
    let rows = name_rows(&line.name, room);
    let first = high + if rows.len() == 1 { 16.0 } else { 9.0 };
    let whole = match rows.len() {
        1 => String::new(),
        _ => format!("<title>{}</title>", escape(&line.name)),
    };
    for (row, text) in rows.iter().enumerate() {
        let _ = write!(
            svg,
            r##"<text x="8" y="{}" fill="#1f2a33" stroke="none" font-weight="bold">{whole}{}</text>"##,
            first + NAME_LINE * row as f64,
            escape(text)
        );
    }
}

struct Scale {
    start: i64,
    end: i64,
}

impl Scale {
    /// Place of a moment, in the figure's own units, kept within the plot.
    fn x(&self, time: i64) -> f64 {
        let share = (time as f64 - self.start as f64) / (self.end as f64 - self.start as f64);
        GUTTER + PLOT * share.clamp(0.0, 1.0)
    }

    fn holds(&self, time: i64) -> bool {
        self.start <= time && time < self.end
    }
}

fn grid(svg: &mut String, opened: &Opened, spec: &Spec, place: &Scale, height: f64) {
    let tick_s = opened.capture.timebase.tick_s();
    let span_s = (place.end - place.start) as f64 * tick_s;
    let step_s = nice_step(span_s / 8.0);
    // Where zero is, to a tenth of a mark: else nobody finds the figure's moment in the capture again.
    let zero_s = opened
        .capture
        .seconds(Ticks(opened.origin().0.saturating_add(spec.zero)));
    if zero_s.abs() > step_s * 1e-6 {
        let _ = write!(
            svg,
            r##"<text x="8" y="18" font-size="11" fill="#6f6a5c" stroke="none">0 is at {}</text>"##,
            on_scale(zero_s, step_s / 10.0)
        );
    }
    let first = ((place.start - spec.zero) as f64 * tick_s / step_s).ceil() as i64;
    let last = ((place.end - spec.zero) as f64 * tick_s / step_s).floor() as i64;
    for n in first..=last.min(first + 20) {
        let at_s = n as f64 * step_s;
        let share = (at_s / tick_s + (spec.zero - place.start) as f64) / (place.end - place.start) as f64;
        let x = GUTTER + PLOT * share;
        let _ = write!(
            svg,
            r##"<path d="M{x:.2} 26V{:.1}" stroke="#d9d1c0" stroke-dasharray="1 3"/><text x="{x:.2}" y="18" text-anchor="middle" fill="#6f6a5c" stroke="none">{}</text>"##,
            height - 34.0,
            on_scale(at_s, step_s)
        );
    }
}

/// 1, 2 or 5 times a power of ten, at least `least`.
pub fn nice_step(least: f64) -> f64 {
    if !(least.is_finite() && least > 0.0) {
        return 1.0;
    }
    let decade = 10f64.powi(least.log10().floor() as i32);
    // A little slack, so that 2 × 10⁻⁹ asked for is 2 × 10⁻⁹ given.
    [1.0, 2.0, 5.0, 10.0]
        .map(|m| m * decade)
        .into_iter()
        .find(|step| *step >= least * 0.999_999)
        .unwrap_or(least)
}

/// A supply's volts between its limits, in place of levels, which say nothing of it; false where the line is none.
fn draw_supply(svg: &mut String, opened: &Opened, position: usize, place: &Scale, high: f64) -> bool {
    let line = &opened.capture.lines[position];
    let rail = opened.report.rails.iter().find(|row| row.rail == line.name);
    let Some((rail, trace)) = rail.zip(line.trace.as_ref()) else {
        return false;
    };
    let Some([smallest, largest]) = range(trace) else {
        return false;
    };
    let origin = opened.origin().0;
    let (start, end) = (
        Ticks(place.start.saturating_add(origin)),
        Ticks(place.end.saturating_add(origin)),
    );
    let low = rail.low_v.min(f64::from(smallest));
    let room = rail.high_v.max(f64::from(largest)) - low;
    // The row's own height, a little beyond the swing of a level either way.
    let (top, height) = (high - 8.0, SWING + 16.0);
    let y = |volts: f64| top + height * (1.0 - (volts - low) / room.max(f64::MIN_POSITIVE));
    // Their figures stand beside the lines, moved apart where those are close; the nominal one only where there is room.
    let (middle, apart) = ((y(rail.low_v) + y(rail.high_v)) / 2.0, VOLTS_LINE / 2.0);
    let (low_at, high_at) = (
        y(rail.low_v).max(middle + apart),
        y(rail.high_v).min(middle - apart),
    );
    let has_room = (low_at - y(rail.nominal_v)).min(y(rail.nominal_v) - high_at) >= VOLTS_LINE;
    let nominal_at = has_room.then(|| y(rail.nominal_v));
    for (volts, dashes, figure_at) in [
        (rail.low_v, "6 4", Some(low_at)),
        (rail.nominal_v, "2 4", nominal_at),
        (rail.high_v, "6 4", Some(high_at)),
    ] {
        let at = y(volts);
        let _ = write!(
            svg,
            r##"<path d="M{GUTTER} {at:.1}h{PLOT}" stroke="#2b6b5d" stroke-width="1" stroke-dasharray="{dashes}"/>"##
        );
        if let Some(figure_at) = figure_at {
            let _ = write!(
                svg,
                r##"<text x="{:.1}" y="{:.1}" font-size="9" text-anchor="end" fill="#6f6a5c" stroke="none">{}</text>"##,
                GUTTER - 4.0,
                figure_at + 3.0,
                escape(&engineering(volts, "V"))
            );
        }
    }
    let columns = PLOT as usize;
    let mut path = String::new();
    match volts(trace, start, end, columns) {
        Volts::Points(points) => {
            for [time, volts] in points.into_iter().filter(|p| !p[1].is_nan()) {
                let letter = if path.is_empty() { 'M' } else { 'L' };
                let x = place.x(place.start.saturating_add(time as i64));
                let _ = write!(path, "{letter}{x:.2} {:.1}", y(volts));
            }
        }
        Volts::Envelope(pairs) => {
            for (column, [least, most]) in pairs.into_iter().enumerate() {
                if least <= most {
                    let (x, from, to) = (GUTTER + column as f64, y(f64::from(least)), y(f64::from(most)));
                    let _ = write!(path, "M{x} {:.1}V{:.1}", from + 0.5, to - 0.5);
                }
            }
        }
    }
    let _ = write!(svg, r#"<path d="{path}" stroke-width="1.2"/>"#);
    true
}

fn draw_line(svg: &mut String, opened: &Opened, position: usize, place: &Scale, high: f64) {
    let line = &opened.capture.lines[position];
    let origin = opened.origin().0;
    let (start, end) = (
        Ticks(place.start.saturating_add(origin)),
        Ticks(place.end.saturating_add(origin)),
    );
    let columns = PLOT as usize;
    let found = window(line, &opened.lines[position].index, start, end, columns);
    let y = |level: Level| match level {
        Level::High => high,
        Level::Low => high + SWING,
        _ => high + SWING / 2.0,
    };
    let mut level = found.entering;
    // Nothing is known before the first recorded moment and after the last.
    let last = opened.capture.span.end.0 - origin;
    let (from_x, to_x) = (
        place.x(0).clamp(GUTTER, GUTTER + PLOT),
        place.x(last).clamp(GUTTER, GUTTER + PLOT),
    );
    let mut path = format!("M{from_x:.2} {:.1}", y(level));
    match found.shape {
        Shape::Edges => {
            let edges = &line.edges[found.edges.clone()];
            for (i, &edge) in edges.iter().enumerate() {
                let x = place.x(edge.0 - origin);
                let next = edges.get(i + 1).map_or(to_x, |next| place.x(next.0 - origin));
                let slope = SLOPE.min((next - x) / 2.0).max(0.0);
                let _ = write!(path, "H{x:.2}");
                level = line.level_after(found.edges.start + i);
                let _ = write!(path, "L{:.2} {:.1}", x + slope, y(level));
            }
            let _ = write!(path, "H{to_x:.2}");
        }
        Shape::Columns(codes) => {
            for (column, code) in codes.iter().enumerate() {
                let x = GUTTER + column as f64;
                if x + 1.0 < from_x || x > to_x {
                    continue;
                }
                level = if code & 1 == 1 { Level::High } else { Level::Low };
                if code >> 2 == 0 {
                    let _ = write!(path, "M{x} {:.1}h1", y(level));
                } else {
                    let _ = write!(path, "M{x} {:.1}V{:.1}", high, high + SWING);
                }
            }
        }
    }
    let _ = write!(svg, r#"<path d="{path}"/>"#);
    draw_stretches(svg, opened, position, place, high);
}

/// The stretches of a line that hold no level, over what is drawn of its edges; one a pixel at most.
fn draw_stretches(svg: &mut String, opened: &Opened, position: usize, place: &Scale, high: f64) {
    let line = &opened.capture.lines[position];
    let origin = opened.origin().0;
    let [start, end] = [place.start, place.end].map(|at| Ticks(at.saturating_add(origin)));
    let shown = line
        .stretches
        .iter()
        .filter(|s| s.span.start < end && s.span.end > start)
        .take(PLOT as usize);
    for stretch in shown {
        let x = place.x(stretch.span.start.0 - origin);
        let width = (place.x(stretch.span.end.0 - origin) - x).max(1.0);
        let _ = write!(
            svg,
            r##"<rect x="{x:.2}" y="{:.1}" width="{width:.2}" height="{}" fill="#fff" stroke="none"/>"##,
            high - 2.0,
            SWING + 4.0
        );
        match stretch.kind {
            StretchKind::Unknown => {
                let _ = write!(
                    svg,
                    r##"<rect x="{x:.2}" y="{high:.1}" width="{width:.2}" height="{SWING}" fill="url(#hatch)"/>"##
                );
            }
            StretchKind::Floating => {
                let _ = write!(
                    svg,
                    r#"<path d="M{x:.2} {:.1}h{width:.2}" stroke-dasharray="6 4"/>"#,
                    high + SWING / 2.0
                );
            }
            StretchKind::Unrecorded => {
                let _ = write!(
                    svg,
                    r#"<path d="M{x:.2} {:.1}h{width:.2}" stroke-dasharray="1 5"/>"#,
                    high + SWING
                );
            }
        }
    }
}

fn draw_marks(svg: &mut String, opened: &Opened, spec: &Spec, lines: &[usize], place: &Scale) {
    let row = |line: usize| {
        lines
            .iter()
            .position(|&other| other == line)
            .map(|row| TOP + ROW * row as f64 + 14.0)
    };
    let cause = spec.marks.iter().find_map(|mark| match mark {
        Mark::Cause { line, at } => Some((row(*line)?, *at)),
        _ => None,
    });
    for mark in spec.marks {
        match mark {
            &Mark::Stray { line, start, end } | &Mark::Extra { line, start, end } => {
                let Some(high) = row(line) else { continue };
                let (x, until) = (place.x(start), place.x(end).max(place.x(start) + 1.0));
                let _ = write!(
                    svg,
                    r##"<path d="M{x:.2} {:.1}V{:.1}H{until:.2}V{:.1}" stroke="#c2452d" stroke-width="2.6"/>"##,
                    high - 3.0,
                    high + SWING + 3.0,
                    high - 3.0
                );
                if let Some((cause_high, at)) = cause
                    && place.holds(at)
                {
                    let from = place.x(at);
                    let below = high + SWING + 10.0;
                    let lag_s = opened.capture.timebase.length_s((start - at) as f64);
                    let _ = write!(
                        svg,
                        r##"<circle cx="{from:.2}" cy="{:.1}" r="4" fill="#8a6d1f" stroke="none"/><path d="M{from:.2} {:.1}L{x:.2} {high:.1}" stroke="#8a6d1f" stroke-dasharray="4 3"/><path d="M{from:.2} {:.1}v8M{x:.2} {:.1}v8M{from:.2} {below:.1}H{x:.2}" stroke-width="1"/><text x="{:.2}" y="{:.1}" fill="#1f2a33" stroke="none">{}</text>"##,
                        cause_high + SWING / 2.0,
                        cause_high + SWING / 2.0,
                        below - 4.0,
                        below - 4.0,
                        x + 6.0,
                        below + 4.0,
                        seconds(lag_s)
                    );
                }
            }
            &Mark::Missing {
                line,
                start,
                end,
                is_low,
                ..
            } => {
                let Some(high) = row(line) else { continue };
                let (rest, pulse) = match is_low {
                    true => (high, high + SWING),
                    false => (high + SWING, high),
                };
                let (x, until) = (place.x(start), place.x(end).max(place.x(start) + 2.0));
                let _ = write!(
                    svg,
                    r##"<path d="M{x:.2} {rest:.1}V{pulse:.1}H{until:.2}V{rest:.1}" stroke="#c2452d" stroke-dasharray="4 3"/><text x="{x:.2}" y="{:.1}" fill="#c2452d" stroke="none">never arrived</text>"##,
                    high - 5.0
                );
            }
            &Mark::Burst { line, start, end } => {
                let Some(high) = row(line) else { continue };
                bracket(svg, place, high, (start, end), "bounce");
            }
            Mark::Dip {
                line,
                start,
                end,
                says,
            }
            | Mark::Doubt {
                line,
                start,
                end,
                says,
            }
            | Mark::Violation {
                line,
                start,
                end,
                says,
            } => {
                let Some(high) = row(*line) else { continue };
                bracket(svg, place, high, (*start, *end), says);
            }
            &Mark::Suspect { line, at } => {
                let Some(high) = row(line).filter(|_| place.holds(at)) else {
                    continue;
                };
                let _ = write!(
                    svg,
                    r##"<circle cx="{:.2}" cy="{:.1}" r="5" stroke="#8a6d1f"/><text x="{:.2}" y="{:.1}" fill="#8a6d1f" stroke="none" font-size="11">this one?</text>"##,
                    place.x(at),
                    high + SWING / 2.0,
                    place.x(at) + 9.0,
                    high + SWING / 2.0 + 4.0,
                );
            }
            Mark::Cause { .. } => {}
        }
    }
}

/// A bracket under a stretch of a line, with a word.
fn bracket(svg: &mut String, place: &Scale, high: f64, (start, end): (i64, i64), says: &str) {
    let (x, until) = (place.x(start), place.x(end).max(place.x(start) + 2.0));
    let foot = high + SWING + 5.0;
    // Behind the bracket; before it where no room is left there.
    let (at, anchor) = match GUTTER + PLOT - until > 7.0 * says.chars().count() as f64 {
        true => (until + 5.0, "start"),
        false => (x - 5.0, "end"),
    };
    let _ = write!(
        svg,
        r##"<path d="M{x:.2} {foot:.1}v5H{until:.2}v-5" stroke="#c2452d"/><text x="{at:.2}" y="{:.1}" text-anchor="{anchor}" fill="#c2452d" stroke="none" font-size="11">{}</text>"##,
        foot + 7.0,
        escape(says)
    );
}

/// Dimension lines that a person put down, where both ends are in sight.
fn draw_dimensions(svg: &mut String, opened: &Opened, spec: &Spec, lines: &[usize], place: &Scale) {
    for dimension in spec.dimensions {
        let (from, to) = (opened.ticks_at(dimension.from_s), opened.ticks_at(dimension.to_s));
        let (from, to) = (from.min(to), from.max(to));
        if !(place.holds(from) && place.holds(to)) {
            continue;
        }
        let named = dimension.to_line.as_ref().or(dimension.from_line.as_ref());
        let line = named.and_then(|name| opened.capture.line_index(name));
        let row = line.and_then(|line| lines.iter().position(|&other| other == line));
        let Some(row) = row.or(named.is_none().then_some(0)) else {
            continue;
        };
        let below = TOP + ROW * row as f64 + 14.0 + SWING + 10.0;
        let (x, until) = (place.x(from), place.x(to));
        let _ = write!(
            svg,
            r##"<path d="M{x:.2} {:.1}v8M{until:.2} {:.1}v8M{x:.2} {below:.1}H{until:.2}" stroke-width="1"/><text x="{:.2}" y="{:.1}" fill="#1f2a33" stroke="none">{}</text>"##,
            below - 4.0,
            below - 4.0,
            until + 6.0,
            below + 4.0,
            escape(&dimension_text(dimension))
        );
    }
}

/// "13 ns ± 5 ns · 76.9 MHz".
fn dimension_text(dimension: &DimensionLine) -> String {
    let length_s = (dimension.to_s - dimension.from_s).abs();
    let mut text = seconds(length_s);
    if dimension.uncertainty_s > 0.0 {
        let _ = write!(text, " ± {}", seconds(dimension.uncertainty_s));
    }
    if length_s > 0.0 {
        let _ = write!(text, " · {}", engineering(1.0 / length_s, "Hz"));
    }
    text
}

/// Text for XML: nothing in a name can end an element or an attribute.
pub fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&#39;"),
            // Not allowed in XML 1.0 at all.
            control if control < ' ' && !matches!(control, '\t' | '\n' | '\r') => escaped.push('\u{fffd}'),
            '\u{fffe}' | '\u{ffff}' => escaped.push('\u{fffd}'),
            other => escaped.push(other),
        }
    }
    escaped
}
