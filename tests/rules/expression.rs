//! Expression semantics against an independent simulator (Icarus Verilog 11.0, `tests/data/expressions.py`), and textbook
//! truth tables.

use edgewitness::rule::expression::{Expression, Value};

fn width_of(name: &str) -> Option<u32> {
    let (stem, select) = name
        .split_once('[')
        .map_or((name, None), |(s, r)| (s, Some(r.trim_end_matches(']'))));
    let width = match stem {
        "A" | "B" | "C" => 1,
        "D" => 4,
        "E" => 8,
        _ => return None,
    };
    match select {
        None => Some(width),
        Some(range) => {
            let (high, low) = range.split_once(':').unwrap_or((range, range));
            Some(high.parse::<u32>().ok()? - low.parse::<u32>().ok()? + 1)
        }
    }
}

/// From digits 0, 1, x, z, most significant first.
fn from_digits(digits: &str) -> Value {
    let word = |set: [char; 2]| {
        digits
            .chars()
            .fold(0, |word, digit| word << 1 | u64::from(set.contains(&digit)))
    };
    Value::new(digits.len() as u32, false, word(['1', 'x']), word(['z', 'x']))
}

/// The value of a name given the digits of its line or bus, most significant first.
fn value_of(name: &str, digits: &dyn Fn(&str) -> String) -> Value {
    let (stem, select) = name
        .split_once('[')
        .map_or((name, None), |(s, r)| (s, Some(r.trim_end_matches(']'))));
    let whole = digits(stem);
    let part = match select {
        None => whole.clone(),
        Some(range) => {
            let (high, low) = range.split_once(':').unwrap_or((range, range));
            let (high, low): (usize, usize) = (high.parse().unwrap(), low.parse().unwrap());
            whole[whole.len() - 1 - high..whole.len() - low].to_owned()
        }
    };
    from_digits(&part)
}

fn evaluate(text: &str, width: u32, digits: &dyn Fn(&str) -> String) -> String {
    let expression = Expression::parse(text).unwrap_or_else(|e| panic!("{text}: {e}"));
    let typed = expression
        .typed(width_of)
        .unwrap_or_else(|e| panic!("{text}: {e}"));
    let values: Vec<Value> = typed
        .operands()
        .iter()
        .map(|o| value_of(&o.name, digits))
        .collect();
    typed.evaluate(&values, width).to_string()
}

#[test]
fn random_expressions_agree_with_an_independent_simulator() {
    let table = include_str!("../data/expressions.tsv");
    let (mut rows, mut wrong) = (0, Vec::new());
    for row in table.lines() {
        let cells: Vec<&str> = row.split('\t').collect();
        assert_eq!(cells.len(), 8, "{row}");
        let digits = |name: &str| {
            cells[2 + ["A", "B", "C", "D", "E"].iter().position(|n| *n == name).unwrap()].to_owned()
        };
        let got = evaluate(cells[1], cells[0].parse().unwrap(), &digits);
        rows += 1;
        if got != cells[7] {
            wrong.push(format!("{row}\n    got {got}"));
        }
    }
    assert!(rows >= 1200, "{rows}");
    assert!(
        wrong.is_empty(),
        "{} of {rows} differ:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

fn table(text: &str, width: u32, names: &[&str]) -> Vec<String> {
    let rows = 0..1usize << names.len();
    let row = |row: usize| {
        let digits = |name: &str| {
            let place = names
                .iter()
                .position(|n| *n == name)
                .expect("a name of the table");
            (row >> (names.len() - 1 - place) & 1).to_string()
        };
        evaluate(text, width, &digits)
    };
    rows.map(row).collect()
}

#[test]
fn textbook_truth_tables() {
    // Any digital logic text; rows in binary order of A B C.
    let bits = |text: &str, names: &[&str]| table(text, 1, names).concat();
    assert_eq!(bits("A & B", &["A", "B"]), "0001");
    assert_eq!(bits("~(A & B)", &["A", "B"]), "1110");
    assert_eq!(bits("A | B", &["A", "B"]), "0111");
    assert_eq!(bits("~(A | B)", &["A", "B"]), "1000");
    assert_eq!(bits("A ^ B", &["A", "B"]), "0110");
    assert_eq!(bits("A ~^ B", &["A", "B"]), "1001");
    assert_eq!(bits("C ? B : A", &["A", "B", "C"]), "00011011");
    assert_eq!(bits("A & B | C & (A ^ B)", &["A", "B", "C"]), "00010111");
    assert_eq!(bits("A ^ B ^ C", &["A", "B", "C"]), "01101001");
    assert_eq!(
        table("~(4'b1 << {A, B})", 4, &["A", "B"]),
        ["1110", "1101", "1011", "0111"]
    );
    assert_eq!(
        table("A + B + C", 2, &["A", "B", "C"]),
        ["00", "01", "01", "10", "01", "10", "10", "11"]
    );
}

#[test]
fn a_mistake_in_an_expression_names_its_byte() {
    let mistake = |text: &str| {
        let mistake = Expression::parse(text).unwrap_err();
        (mistake.offset, mistake.message)
    };
    let cases = [
        ("A &", 3, "found the end"),
        ("A & & ", 6, "found the end"),
        ("A B", 2, "expected an operator"),
        ("(A | B", 6, "expected \")\""),
        ("A = B", 2, "an operator or the end"),
        ("A[B]", 2, "whole number"),
        ("4'b12", 4, "digit that its base does not have"),
        ("4'q1", 2, "base"),
        ("99'b1", 0, "1 to 64"),
        ("5000000000", 0, "needs more than 32 bits"),
        ("1.5 + A", 0, "whole number"),
        ("A @ B", 2, "found \"@\""),
        ("{0{A}}", 1, "repetitions"),
        ("\\ A", 0, "name after the backslash"),
    ];
    for (text, offset, words) in cases {
        let (at, message) = mistake(text);
        assert_eq!(at, offset, "{text}: {message}");
        assert!(message.contains(words), "{text}: {message}");
    }
    let wide = Expression::parse("{8{E}} + {E, {8{E}}}")
        .unwrap()
        .typed(width_of)
        .unwrap_err();
    assert_eq!(
        (wide.offset, wide.message.as_str()),
        (9, "found 72 bits, expected at most 64")
    );
}

#[test]
fn no_expression_overflows_the_stack() {
    for text in [
        "(".repeat(4000),
        "~".repeat(4000),
        "A?".repeat(2000),
        "A+".repeat(2000),
        "{".repeat(4000),
    ] {
        assert!(Expression::parse(&text).is_err());
    }
    let long = vec!["A"; 190].join("+");
    assert_eq!(evaluate(&long, 8, &|_| "1".to_owned()), format!("{:08b}", 190));
}

#[test]
fn odd_names_are_written_escaped() {
    let expression = Expression::parse("\\tower/STRIKE-1  & u1.Q[3] | BUS[7:4]").unwrap();
    assert_eq!(expression.names(), ["tower/STRIKE-1", "u1.Q[3]", "BUS[7:4]"]);
}
