//! The names in a field that holds several.

/// The names in a field that holds several, parted by blanks or commas. Names in `known` may hold these themselves, others stand
/// in quotes where they do; `NAME[3:0]` is the lines `NAME[3]` to `NAME[0]`, where these are known. Cost: letters × names.
pub(super) fn parted(text: &str, known: &[String]) -> Vec<String> {
    const PARTS: [char; 2] = [' ', ','];
    let mut names = Vec::new();
    let mut rest = text.trim_start_matches(PARTS);
    while !rest.is_empty() {
        let in_quotes = rest.strip_prefix('"').and_then(|inner| inner.split_once('"'));
        let ends = |after: &str| after.is_empty() || after.starts_with(PARTS);
        let is_next = |name: &&String| !name.is_empty() && rest.strip_prefix(name.as_str()).is_some_and(ends);
        let longest = known.iter().filter(is_next).max_by_key(|name| name.len());
        let (name, after) = match (in_quotes, longest) {
            (_, Some(name)) => rest.split_at(name.len()),
            (Some(quoted), None) => quoted,
            (None, None) => rest.split_at(rest.find(PARTS).unwrap_or(rest.len())),
        };
        match known.iter().any(|known| known == name) {
            true => names.push(name.to_owned()),
            false => names.extend(bits(name, known).unwrap_or_else(|| vec![name.to_owned()])),
        }
        rest = after.trim_start_matches(PARTS);
    }
    names
}

/// The single lines that `NAME[3:0]` stands for, in its order, where all of them are `known`.
fn bits(name: &str, known: &[String]) -> Option<Vec<String>> {
    const MOST_BITS: u32 = 64;
    let (base, range) = name.strip_suffix(']')?.rsplit_once('[')?;
    let (from, to) = range.split_once(':')?;
    let (from, to): (u32, u32) = (from.trim().parse().ok()?, to.trim().parse().ok()?);
    if from.abs_diff(to) >= MOST_BITS {
        return None;
    }
    let bits: Vec<u32> = match from >= to {
        true => (to..=from).rev().collect(),
        false => (from..=to).collect(),
    };
    let lines = bits.iter().map(|bit| {
        let spelled = [
            format!("{base}[{bit}]"),
            format!("{base} [{bit}]"),
            format!("{base}{bit}"),
        ];
        spelled.into_iter().find(|line| known.contains(line))
    });
    lines.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_with_blanks_are_kept_whole() {
        let known = ["CH3 MUTE", "CH3 MUTE latch Q", "A"].map(str::to_owned);
        let told = parted("CH3 MUTE latch Q, A CH3 MUTE,CH4 X \"CH4 MUTE /S\" \"B", &known);
        let expected = [
            "CH3 MUTE latch Q",
            "A",
            "CH3 MUTE",
            "CH4",
            "X",
            "CH4 MUTE /S",
            "\"B",
        ];
        assert_eq!(told, expected);
        assert_eq!(parted(" , ", &known), [""; 0]);
    }

    #[test]
    fn a_range_of_bits_is_its_lines() {
        let known = [
            "NOTE[0]", "NOTE[1]", "NOTE[2]", "ADR0", "ADR1", "B [1]", "B [0]", "Q[1:0]",
        ]
        .map(str::to_owned);
        let told = |text: &str| parted(text, &known).join(" + ");
        assert_eq!(told("NOTE[2:0], ADR0"), "NOTE[2] + NOTE[1] + NOTE[0] + ADR0");
        assert_eq!(told("NOTE[0:1] ADR[1:0]"), "NOTE[0] + NOTE[1] + ADR1 + ADR0");
        assert_eq!(told("B[1:0] Q[1:0]"), "B [1] + B [0] + Q[1:0]");
        // One that is not there is left to be told of.
        assert_eq!(
            told("NOTE[3:0] NOTE[9999999:0] NOTE[:]"),
            "NOTE[3:0] + NOTE[9999999:0] + NOTE[:]"
        );
    }
}
