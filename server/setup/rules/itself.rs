//! An expression in which the output stands itself: whatever the part does then agrees with itself, and nothing is checked.

use crate::rule::expression::Expression;

/// Where such an expression names one of the outputs, in bytes, and what is said; `None` where it names none.
pub(super) fn mistake(outputs: &[String], is: &Expression) -> Option<(usize, String)> {
    let names = is.names();
    let (name, output) = names.iter().find_map(|name| {
        let output = outputs.iter().find(|output| overlap(output, name))?;
        Some((name, output))
    })?;
    let instead = match is.as_latch(name).filter(|_| outputs.len() == 1) {
        Some((enable, level, data)) => format!(
            "this one is a latch, say [[latch]] (on the page Limits and logic the kind latch) with output = \"{output}\", data = \"{data}\", enable = \"{enable}\", \
             open_at = \"{}\" and settle",
            level.word()
        ),
        None => "of an output that follows its data and keeps it while the enable is shut say [[latch]] (on the page Limits and logic the kind latch), of one that changes at an \
                 edge [[sequence]]; else leave it out"
            .to_owned(),
    };
    let message = format!(
        "found the output {output} on the right side of its own rule: whatever it holds agrees with itself, so that the rule would \
         be kept without a check; {instead}"
    );
    Some((is.first_use(name).unwrap_or(0), message))
}

/// Whether two names share a line: the same, or a bus and a bit or part of it.
fn overlap(one: &str, other: &str) -> bool {
    let ((one, bits), (other, others)) = (parted(one), parted(other));
    one == other
        && match (bits, others) {
            (Some(bits), Some(others)) => bits.0 <= others.1 && others.0 <= bits.1,
            _ => true,
        }
}

/// A name and the lowest and highest bit that stand in brackets at its end.
fn parted(name: &str) -> (&str, Option<(i64, i64)>) {
    let whole = (name, None);
    let Some((stem, range)) = name.strip_suffix(']').and_then(|n| n.rsplit_once('[')) else {
        return whole;
    };
    let (high, low) = range.split_once(':').unwrap_or((range, range));
    match (high.trim().parse::<i64>(), low.trim().parse::<i64>()) {
        (Ok(high), Ok(low)) => (stem, Some((high.min(low), high.max(low)))),
        _ => whole,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(output: &str, is: &str) -> Option<(usize, String)> {
        mistake(&[output.to_owned()], &Expression::parse(is).unwrap())
    }

    #[test]
    fn an_output_on_its_own_right_side_is_found_whole_or_in_part() {
        assert_eq!(told("Q", "LE ? D : Q").unwrap().0, 9);
        for (output, is) in [
            ("Q", "Q"),
            ("B", "A & B[1]"),
            ("B[1]", "A & B[2:0]"),
            ("B[1]", "B"),
        ] {
            assert!(told(output, is).is_some(), "{output} = {is}");
        }
        for (output, is) in [
            ("Q", "LE ? D : QN"),
            ("B[1]", "A & B[0]"),
            ("B[3]", "B[2:0] == 7"),
        ] {
            assert_eq!(told(output, is), None, "{output} = {is}");
        }
    }

    #[test]
    fn a_latch_written_as_an_expression_is_told_as_one() {
        let latch = |is: &str| told("Q", is).unwrap().1;
        for is in ["LE ? D : Q", "!LE ? Q : D", "~(~LE) ? D : Q"] {
            let told = latch(is);
            assert!(
                told.contains("data = \"D\", enable = \"LE\", open_at = \"high\""),
                "{told}"
            );
        }
        assert!(latch("LE_N ? Q : D").contains("open_at = \"low\""));
        let other = latch("SET | Q & ~CLEAR");
        assert!(
            other.contains("[[latch]]") && other.contains("[[sequence]]"),
            "{other}"
        );
    }
}
