//! Names of lines in a figure: in two lines where they are long, so that none reaches its trace.

/// A name in one line or two that are no wider than `room`, in the figure's own units; broken behind a space where it can be.
pub(super) fn name_rows(name: &str, room: f64) -> Vec<String> {
    if bold_width(name) <= room {
        return vec![name.to_owned()];
    }
    let fits = |(at, _): &(usize, char)| bold_width(name[..*at].trim_end()) <= room;
    let broken = name.char_indices().skip(1).take_while(fits);
    let (mut at, mut at_gap, mut at_bracket) = (0, 0, 0);
    for (here, letter) in broken {
        at = here;
        if letter == '(' {
            at_bracket = here;
        }
        if name[..here].ends_with([' ', '/', '.', '_', '-']) {
            at_gap = here;
        }
    }
    // A first line of a letter or two says nothing.
    let at = [at_bracket, at_gap]
        .into_iter()
        .find(|gap| gap * 3 > at)
        .unwrap_or(at);
    let (first, rest) = (name[..at].trim_end(), name[at..].trim());
    vec![first.to_owned(), cut(rest, room)]
}

/// Text without its middle where it is wider than `room`: ends of names tell lines apart.
fn cut(text: &str, room: f64) -> String {
    let letters: Vec<char> = text.chars().collect();
    let short = |keep: usize| {
        let head: String = letters[..keep.div_ceil(2)].iter().collect();
        let tail: String = letters[letters.len() - keep / 2..].iter().collect();
        format!("{head}…{tail}")
    };
    if bold_width(text) <= room {
        return text.to_owned();
    }
    let keep = (1..letters.len().min(60)).rev();
    let fitting = keep.map(short).find(|short| bold_width(short) <= room);
    fitting.unwrap_or_else(|| "…".to_owned())
}

/// Width of bold text at the figure's size, rather too much than too little: whoever reads the figure has fonts of their own.
fn bold_width(text: &str) -> f64 {
    let width = |letter: char| match letter {
        'i' | 'j' | 'l' | 't' | 'f' | 'r' | 'I' | ' ' | '.' | ',' | ':' | ';' | '/' | '\\' | '\'' | '|'
        | '!' | '(' | ')' | '[' | ']' | '-' => 5.5,
        'm' | 'w' | 'M' | 'W' | '+' | '~' | '%' | '@' | '…' => 12.0,
        letter if letter.is_ascii_uppercase() || !letter.is_ascii() => 9.5,
        _ => 8.4,
    };
    text.chars().map(width).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROOM: f64 = 156.0;

    #[test]
    fn long_names_stay_beside_the_trace() {
        assert_eq!(name_rows("STEP", ROOM), ["STEP"]);
        assert_eq!(
            name_rows("/CLR latch U12-1 (ribbon 6)", ROOM),
            ["/CLR latch U12-1", "(ribbon 6)"]
        );
        assert_eq!(
            name_rows("/STROBE U9-8 (ribbon 5)", ROOM),
            ["/STROBE U9-8", "(ribbon 5)"]
        );
        for name in [
            "CH1 +5V at driver board".repeat(4),
            "W".repeat(300),
            "äöü ".repeat(40),
            "….".repeat(50),
        ] {
            let rows = name_rows(&name, ROOM);
            assert_eq!(rows.len(), 2, "{rows:?}");
            assert!(rows.iter().all(|row| bold_width(row) <= ROOM), "{rows:?}");
            assert!(
                name.starts_with(&rows[0]) && rows[1].ends_with(name.trim_end().chars().next_back().unwrap())
            );
        }
    }
}
