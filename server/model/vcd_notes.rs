//! What a VCD that this program wrote says of its lines in comments, and how it is read again.
//!
//! `$comment edgewitness-sampled 5e-9 ! " $end`: the variables of these identifier codes were sampled every 5 ns, so that an
//! edge stands at the first sample that shows it; `edgewitness-interpolated 2e-4 …`: their edges lie where volts crossed between
//! samples; `edgewitness-same ! # $end`: the second is another instrument's record of the first. Other programs pass over
//! comments (IEEE Std 1364-2005 §18.2.3.1).

/// Codes in one comment, at most.
pub const MOST_CODES: usize = 32;
/// Longest sampling period that is believed: a sample a day is no instrument's on a bench.
const LONGEST_S: f64 = 86_400.0;

const SAMPLED: &str = "edgewitness-sampled";
const INTERPOLATED: &str = "edgewitness-interpolated";
const SAME: &str = "edgewitness-same";

/// How an instrument took a line's edges.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sampling {
    /// In seconds; 0: not known.
    pub period_s: f64,
    /// Edges lie between samples, where volts crossed a threshold.
    pub is_interpolated: bool,
}

impl Sampling {
    /// The words of the comment for the variables of these codes.
    pub fn note(&self, codes: &[&str]) -> String {
        let word = if self.is_interpolated {
            INTERPOLATED
        } else {
            SAMPLED
        };
        format!("{word} {:e} {}", self.period_s, codes.join(" "))
    }
}

/// The words of the comment that the variable `code` is another record of `first`.
pub fn same(first: &str, code: &str) -> String {
    format!("{SAME} {first} {code}")
}

/// What a comment says.
#[derive(Clone, Debug, PartialEq)]
pub enum Note<'a> {
    /// Of the variables of these codes.
    Sampled(Sampling, &'a [String]),
    /// The second code's variable is another record of the first one's.
    Same(&'a str, &'a str),
}

/// What the words of a comment say; `None` where they are somebody else's, or damaged.
pub fn read(words: &[String]) -> Option<Note<'_>> {
    let (word, rest) = words.split_first()?;
    match (word.as_str(), rest) {
        (SAME, [first, code]) if first != code => Some(Note::Same(first, code)),
        (SAMPLED | INTERPOLATED, [period, codes @ ..]) => {
            let period_s: f64 = period.parse().ok()?;
            let sampling = Sampling {
                period_s,
                is_interpolated: word == INTERPOLATED,
            };
            (0.0..=LONGEST_S)
                .contains(&period_s)
                .then_some(Note::Sampled(sampling, codes))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(text: &str) -> Vec<String> {
        text.split(' ').map(str::to_owned).collect()
    }

    #[test]
    fn what_is_written_is_read_again_and_nothing_else() {
        let sampling = Sampling {
            period_s: 1.0 / 24e6,
            is_interpolated: false,
        };
        let written = words(&sampling.note(&["!", "\""]));
        assert_eq!(read(&written), Some(Note::Sampled(sampling, &words("! \"")[..])));
        assert_eq!(read(&words(&same("!", "#"))), Some(Note::Same("!", "#")));
        for other in [
            "a remark",
            "edgewitness-sampled fast !",
            "edgewitness-sampled NaN !",
            "edgewitness-sampled -5e-9 !",
            "edgewitness-sampled 1e300 !",
            "edgewitness-same !",
        ] {
            assert_eq!(read(&words(other)), None, "{other}");
        }
    }
}
