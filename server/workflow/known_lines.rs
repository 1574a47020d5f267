//! A line's name as a person typed it: when no capture has it, the sentence that says so and what may have been meant.

use crate::model::Capture;

/// Names told where nothing is near to what was typed.
const MOST_TOLD: usize = 24;

/// "The captures have no SELECT_O: did you mean SELECT_0?", or the names there are.
pub fn no_such(capture: &Capture, typed: &str) -> String {
    let lines = capture.lines.iter().map(|line| line.name.as_str());
    let names: Vec<&str> = lines
        .chain(capture.buses.iter().map(|bus| bus.name.as_str()))
        .collect();
    // A name without the board or instrument that stands before it, then a slip, then a part of a name.
    let near = match holding(typed, &names, true) {
        own if !own.is_empty() => own,
        _ => nearest(typed, &names).map_or_else(|| holding(typed, &names, false), |near| vec![near]),
    };
    if let Some((last, others)) = near.split_last() {
        let others = match others {
            [] => String::new(),
            others => format!("{} or ", others.join(", ")),
        };
        return format!("The captures have no {typed}: did you mean {others}{last}?");
    }
    let more = match names.len().saturating_sub(MOST_TOLD) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let told = &names[..names.len().min(MOST_TOLD)];
    format!(
        "The captures have no {typed}. They have {}{more}.",
        told.join(", ")
    )
}

/// Most names that are offered for one part of a name.
const MOST_OFFERED: usize = 4;

/// The names that hold what was typed: at their end after a mark (`whole`), or anywhere. None where it is one letter, or where
/// more do than anybody would read. Upper and lower case are alike.
fn holding<'a>(typed: &str, names: &[&'a str], whole: bool) -> Vec<&'a str> {
    let wanted = typed.trim().to_lowercase();
    let holds = |name: &&str| {
        let name = name.to_lowercase();
        match name.strip_suffix(&wanted) {
            Some(before) if whole => before.ends_with(|letter: char| !letter.is_alphanumeric()),
            _ => !whole && name.contains(&wanted),
        }
    };
    let found: Vec<&str> = match wanted.chars().count() > 1 {
        true => names.iter().filter(|name| holds(name)).copied().collect(),
        false => Vec::new(),
    };
    match found.len() <= MOST_OFFERED {
        true => found,
        false => Vec::new(),
    }
}

/// The name that the fewest changes of a letter lead to, if no more than a third of its letters change (one at least).
/// Upper and lower case are alike, and so are the letters that are taken for digits: O and 0, I, L and 1; marks between
/// letters do not count. Cost: names × letters².
fn nearest<'a>(typed: &str, names: &[&'a str]) -> Option<&'a str> {
    let alike = |letter: char| match letter {
        'o' => '0',
        'i' | 'l' => '1',
        other => other,
    };
    let letters = |text: &str| {
        text.to_lowercase()
            .chars()
            .filter(|letter| letter.is_alphanumeric())
            .map(alike)
            .take(200)
            .collect::<Vec<char>>()
    };
    let wanted = letters(typed);
    let far = names.iter().map(|name| (changes(&wanted, &letters(name)), *name));
    let (count, name) = far.min_by_key(|(count, _)| *count)?;
    (count <= (wanted.len() / 3).max(1)).then_some(name)
}

/// "VALVE_INN: did you mean VALVE_IN?" for each of `absent` that a line or bus of the capture is near to. Figures count:
/// D2 is no slip of D0.
pub fn meant(capture: &Capture, absent: &[&str]) -> Vec<String> {
    let lines = capture.lines.iter().map(|line| line.name.as_str());
    let names: Vec<&str> = lines
        .chain(capture.buses.iter().map(|bus| bus.name.as_str()))
        .collect();
    let near = |name: &&str| nearest(name, &names).filter(|near| figures(near) == figures(name));
    let told = absent
        .iter()
        .filter_map(|name| Some(format!("{name}: did you mean {}?", near(name)?)));
    told.collect()
}

fn figures(name: &str) -> String {
    name.chars().filter(char::is_ascii_digit).collect()
}

/// For each of the names on a sheet that no line has although one that the sheet does not name is near to it: "RESETN: did
/// you mean RESET_N?". A sheet may name lines that are not captured. Cost: names on the sheet × lines × letters².
pub fn doubts(on_sheet: &[&str], lines: &[&str]) -> Vec<String> {
    let free: Vec<&str> = lines
        .iter()
        .copied()
        .filter(|line| !on_sheet.contains(line))
        .collect();
    let mut told = Vec::new();
    for name in on_sheet
        .iter()
        .filter(|name| !name.is_empty() && !lines.contains(name))
    {
        // D2 is not a slip of D0: what is counted differs on purpose.
        let near = nearest(name, &free).filter(|near| figures(near) == figures(name));
        if let Some(near) = near.or_else(|| whole(name, &free)) {
            let sentence = format!("The captures have no {name}: did you mean {near}?");
            if !told.contains(&sentence) {
                told.push(sentence);
            }
        }
    }
    told
}

/// The only line that is called so with something in brackets behind it: a name that was cut short.
fn whole<'a>(name: &str, lines: &[&'a str]) -> Option<&'a str> {
    let goes_on = |line: &&&str| {
        let rest = line.strip_prefix(name).map(str::trim_start);
        rest.is_some_and(|rest| rest.starts_with('('))
    };
    let mut longer = lines.iter().filter(goes_on);
    longer.next().copied().filter(|_| longer.next().is_none())
}

/// Letters put in, left out or replaced to make `to` of `from` (Levenshtein 1965; from memory).
fn changes(from: &[char], to: &[char]) -> usize {
    let mut row: Vec<usize> = (0..=to.len()).collect();
    for (i, letter) in from.iter().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, other) in to.iter().enumerate() {
            let replaced = diagonal + usize::from(letter != other);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[to.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_finger_finds_its_line_and_another_word_finds_none() {
        let names = ["STEP", "SELECT_1", "SELECT_0", "CLEAR_N"];
        assert_eq!(nearest("SELECT_O", &names), Some("SELECT_0"));
        assert_eq!(nearest("claer_n", &names), Some("CLEAR_N"));
        assert_eq!(nearest("STRIKE", &names), None);
        assert_eq!(nearest("STEP", &[]), None);
        assert_eq!(nearest("CLEARN", &names), Some("CLEAR_N"));
        assert_eq!(nearest("CLEAR", &names), Some("CLEAR_N"));
        // Worked by hand: kitten, sitten, sittin, sitting.
        let letters = |text: &str| text.chars().collect::<Vec<_>>();
        assert_eq!(changes(&letters("kitten"), &letters("sitting")), 3);
    }

    #[test]
    fn a_name_without_its_board_or_in_part_finds_the_lines_that_hold_it() {
        let names = ["SEQ.U3.Q3", "SEQ.U3.Q30", "DEC.U5.Y3_n", "CH3 MUTE latch Q"];
        assert_eq!(holding("u3.q3", &names, true), ["SEQ.U3.Q3"]);
        assert_eq!(holding("U3.Q3", &names, false), ["SEQ.U3.Q3", "SEQ.U3.Q30"]);
        assert_eq!(holding("mute", &names, false), ["CH3 MUTE latch Q"]);
        // Part of a longer word is no name without its board; one letter is in many.
        assert_eq!(holding("Q30", &["SEQ.XQ30"], true), [""; 0]);
        assert_eq!(holding("Q", &names, false), [""; 0]);
        assert_eq!(holding("e", &["e1", "e2"], false), [""; 0]);
    }

    #[test]
    fn a_sheet_is_doubted_only_where_a_line_without_a_pin_is_near() {
        let lines = ["CLEAR_N", "STEP", "BELL0"];
        assert_eq!(
            doubts(&["CLEARN", "STEP", "LAMP", ""], &lines),
            ["The captures have no CLEARN: did you mean CLEAR_N?"]
        );
        // Cut short before its brackets, which hold figures.
        assert_eq!(
            doubts(
                &["/CLR U12-1"],
                &["/CLR U12-1 (ribbon 6)", "/CLR U9-8 (ribbon 5)"]
            ),
            ["The captures have no /CLR U12-1: did you mean /CLR U12-1 (ribbon 6)?"]
        );
        assert_eq!(doubts(&["DATA"], &["DATA (low)", "DATA (high)"]), [""; 0]);
        // Not captured, and no slip: another bit, and a line whose like has its own pin.
        assert_eq!(doubts(&["BELL1", "STEPS", "STEP"], &lines), [""; 0]);
    }
}
