//! What a rail does at each edge of the line that its dips follow: how many of these bring a dip, and how deep it goes.

use super::Excursion;
use crate::analysis::rules::edges::Edges;
use crate::analysis::volts::Volts;
use crate::model::{Capture, Polarity};
use crate::rule::Rail;

/// A rail at the edges of one polarity of one line.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AtEdges {
    /// Edges after which the rail was recorded.
    pub edges: u64,
    /// Those of them after which a dip began.
    pub struck: u64,
    /// Dips that began after one of these edges; the others did not.
    pub dips: u64,
    /// The potential nearest to zero after each of the edges, in volts, in their order.
    pub lowest_v: Vec<f64>,
}

/// A rail at the edges of `polarity` of the line at position `line`. A dip goes with an edge when it begins at most `within` ticks
/// after it, and before the next; how deep the rail goes is looked for over `reach` ticks, as far as the next edge. `None` where
/// the rail was not recorded. Cost: linear in samples and edges.
pub fn at_edges(
    capture: &Capture,
    rail: &Rail,
    excursions: &[Excursion],
    (line, polarity): (usize, Polarity),
    (within, reach): (f64, f64),
) -> Option<AtEdges> {
    let volts = Volts::named(capture, &rail.line).filter(|volts| !volts.is_empty())?;
    let (first, last) = (*volts.times.first()?, *volts.times.last()?);
    let of_line = &capture.lines[line];
    // An edge may be stamped a sample late: then the dip may be seen first.
    let before = of_line.sample_ticks.max(0.0);
    let edges: Vec<f64> = Edges::of(of_line, Some(polarity))
        .iter()
        .map(|edge| edge.0 as f64 - before)
        .filter(|edge| (first..=last).contains(edge))
        .collect();
    let starts: Vec<f64> = excursions
        .iter()
        .filter(|excursion| excursion.is_dip)
        .map(|excursion| excursion.start.0 as f64)
        .collect();
    let sign = rail.nominal_v.signum();
    let mut found = AtEdges::default();
    for (at, &edge) in edges.iter().enumerate() {
        let next = edges.get(at + 1).copied().unwrap_or(f64::INFINITY);
        let end = (edge + before + within).min(next);
        let begun =
            starts.partition_point(|&start| start <= end) - starts.partition_point(|&start| start < edge);
        found.edges += 1;
        found.struck += u64::from(begun > 0);
        found.dips += begun as u64;
        let from = volts.times.partition_point(|&time| time < edge);
        let to = volts
            .times
            .partition_point(|&time| time < (edge + before + reach).min(next));
        let seen = volts.volts[from..to.max(from)].iter().map(|v| v * sign);
        if let Some(lowest) = seen.reduce(f64::min) {
            found.lowest_v.push(lowest * sign);
        }
    }
    Some(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;

    use crate::model::{Level, Line, Thresholds, Ticks, TimeSpan, Trace, TraceSamples};

    /// A rail of 5 V that dips by `depths[n]` volts, 20 µs after the n-th rise of LIFT and for 60 µs.
    #[test]
    fn each_edge_has_its_dip_and_its_depth() {
        let depths: [f64; 4] = [1.0, 0.1, 0.6, 1.5];
        let values = (0..4000).map(|us: usize| match (us % 1000, depths[us / 1000]) {
            (220..280, depth) => 5.0 - depth,
            _ => 5.0,
        });
        let span = TimeSpan::new(Ticks(0), Ticks(4_000_000));
        let rises: Vec<Ticks> = (0..4)
            .flat_map(|n| [Ticks(n * 1_000_000 + 200_000), Ticks(n * 1_000_000 + 700_000)])
            .collect();
        let mut supply = Line::digital("PLUS5", Level::High, Vec::new(), span);
        supply.trace = Some(Trace {
            thresholds: Thresholds {
                low_v: 0.8,
                high_v: 2.0,
            },
            family: "ttl-5v".to_owned(),
            declared: false,
            samples: TraceSamples::Steps {
                times: Arc::new((0..4000).map(|us| us * 1000).collect()),
                values: Arc::new(values.collect()),
            },
        });
        let capture = Capture::in_nanoseconds(
            "dips",
            span,
            vec![Line::digital("LIFT", Level::Low, rises, span), supply],
        );
        let rail = Rail {
            line: "PLUS5".to_owned(),
            nominal_v: 5.0,
            tolerance: 0.05,
            supply_end: None,
            max_drop_v: None,
            readings: Vec::new(),
            setup_line: None,
        };
        let result = &super::super::check(&capture, std::slice::from_ref(&rail))[0];
        let found = at_edges(
            &capture,
            &rail,
            &result.excursions,
            (0, Polarity::Rise),
            (30_000.0, 100_000.0),
        )
        .unwrap();
        assert_eq!((found.edges, found.struck, found.dips), (4, 3, 3));
        let want = [4.0, 4.9, 4.4, 3.5];
        assert!(
            found
                .lowest_v
                .iter()
                .zip(want)
                .all(|(got, want)| (got - want).abs() < 1e-6),
            "{found:?}"
        );
        // A fall has none.
        let falls = at_edges(
            &capture,
            &rail,
            &result.excursions,
            (0, Polarity::Fall),
            (30_000.0, 100_000.0),
        )
        .unwrap();
        assert_eq!((falls.edges, falls.dips), (4, 0));
    }
}
