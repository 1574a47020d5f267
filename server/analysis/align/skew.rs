//! Skew between the channels of one instrument, from a capture of one edge (or many) fed to all its probes.

use super::Edges;
use crate::model::Capture;

/// How late one channel shows an edge, against the average of all channels that were fed.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelSkew {
    /// Position in the capture.
    pub line: usize,
    /// Seconds; negative: early.
    pub late_s: f64,
    /// Standard error: the scatter over the edges, or what sampling alone leaves open, whichever is larger.
    pub se_s: f64,
    /// Edges that were compared.
    pub edges: usize,
}

/// The skew of each channel that moved. All of them must show the same edges in the same order.
/// Cost: linear in edges.
///
/// # Formula
/// Of each edge the mean over the channels is taken off; a channel's skew is the mean of what is left. One edge
/// stamped every Ts is known to Ts/√12 (Bennett 1948), n unlocked ones to Ts/√(12 n).
///
/// # Errors
/// A sentence: fewer than two channels moved, or one shows other edges than the rest.
pub fn channel_skews(capture: &Capture) -> Result<Vec<ChannelSkew>, String> {
    let is_fed =
        |&line: &usize| !capture.lines[line].edges.is_empty() && capture.lines[line].same_as.is_none();
    let lines: Vec<usize> = (0..capture.lines.len()).filter(is_fed).collect();
    let [first, _, ..] = lines[..] else {
        return Err(format!(
            "{}: expected one edge on at least two channels, found {} that moved; clip all probes to one line that switches",
            capture.file,
            lines.len()
        ));
    };
    let trains: Vec<Edges> = lines.iter().map(|&line| Edges::of(capture, line)).collect();
    for (train, &line) in trains.iter().zip(&lines) {
        if train.rises != trains[0].rises {
            let (name, of_first) = (&capture.lines[line].name, &capture.lines[first].name);
            return Err(format!(
                "{}: expected the same edges on every channel, found {} on {name} and {} on {of_first}; clip all probes to \
                 one line, and stop the capture before anything else is moved",
                capture.file,
                train.times.len(),
                trains[0].times.len(),
            ));
        }
    }
    let n = trains[0].times.len();
    let time = |channel: usize, edge: usize| {
        trains[channel].times[edge] + (trains[channel].origin_s - trains[0].origin_s)
    };
    let means: Vec<f64> = (0..n)
        .map(|edge| (0..trains.len()).map(|c| time(c, edge)).sum::<f64>() / trains.len() as f64)
        .collect();
    let skew = |(channel, &line): (usize, &usize)| {
        let late: Vec<f64> = means
            .iter()
            .enumerate()
            .map(|(edge, mean)| time(channel, edge) - mean)
            .collect();
        let mean = late.iter().sum::<f64>() / n as f64;
        let scatter = late.iter().map(|l| (l - mean) * (l - mean)).sum::<f64>() / (n.max(2) - 1) as f64;
        let sampling = trains[channel].sample_s / 12f64.sqrt();
        ChannelSkew {
            line,
            late_s: mean,
            se_s: scatter.sqrt().max(sampling) / (n as f64).sqrt(),
            edges: n,
        }
    };
    Ok(lines.iter().enumerate().map(skew).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Level, Line, Ticks, TimeSpan};

    fn capture(channels: &[&[i64]]) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000_000));
        let line = |(i, edges): (usize, &&[i64])| {
            let edges = edges.iter().map(|&t| Ticks(t)).collect();
            Line::digital(format!("CHANNEL_{i}"), Level::Low, edges, span)
        };
        Capture::in_nanoseconds(
            "one-edge.vcd",
            span,
            channels.iter().enumerate().map(line).collect(),
        )
    }

    #[test]
    fn each_channel_s_lateness_is_against_the_average() {
        let found = channel_skews(&capture(&[&[1000, 2000], &[1003, 2003], &[], &[997, 1997]])).unwrap();
        let late: Vec<(usize, i64)> = found
            .iter()
            .map(|s| (s.line, (s.late_s * 1e12).round() as i64))
            .collect();
        assert_eq!(late, [(0, 0), (1, 3000), (3, -3000)]);
        // Bennett: 1 ns / √12 / √2.
        assert!((found[0].se_s - 2.041_241_452_319_315e-10).abs() < 1e-18);
    }

    #[test]
    fn other_edges_and_a_single_channel_are_told() {
        let error = channel_skews(&capture(&[&[1000], &[]])).unwrap_err();
        assert!(error.contains("found 1 that moved"), "{error}");
        let error = channel_skews(&capture(&[&[1000, 2000], &[1003]])).unwrap_err();
        assert!(
            error.contains("found 1 on CHANNEL_1 and 2 on CHANNEL_0"),
            "{error}"
        );
    }
}
