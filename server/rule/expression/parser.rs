//! Words → tree, by precedence (IEEE Std 1364-2005, Table 5-4): unary first, then `**`, `* / %`, `+ -`, shifts,
//! `< <= > >=`, `== != === !==`, `&`, `^ ^~ ~^`, `|`, `&&`, `||`, `?:`. All binary ones group from the left, `?:` from
//! the right.

use super::lexer::{Word, words};
use super::value::MOST_BITS;
use super::{Binary, Kind, MOST_NODES, Mistake, Node, Unary};

/// Brackets, unary operators and conditionals within one another, at most.
const MOST_DEPTH: usize = 60;

/// Reads a whole expression; precedence by IEEE Std 1364-2005, table 5-4. Depth and number of nodes are limited.
///
/// # Errors
/// The first mistake, with its byte.
pub fn parse(text: &str) -> Result<Node, Mistake> {
    let mut parser = Parser {
        words: words(text)?,
        next: 0,
        nodes: 0,
        depth: 0,
    };
    let root = parser.conditional()?;
    match parser.peek() {
        Word::End => Ok(root),
        _ => Err(parser.unexpected("an operator or the end")),
    }
}

struct Parser {
    words: Vec<(usize, Word)>,
    next: usize,
    nodes: usize,
    depth: usize,
}

impl Parser {
    fn peek(&self) -> &Word {
        &self.words[self.next].1
    }

    fn offset(&self) -> usize {
        self.words[self.next].0
    }

    fn advance(&mut self) {
        self.next = (self.next + 1).min(self.words.len() - 1);
    }

    fn takes(&mut self, symbol: &str) -> bool {
        let taken = matches!(self.peek(), Word::Symbol(s) if *s == symbol);
        if taken {
            self.advance();
        }
        taken
    }

    fn expect(&mut self, symbol: &str) -> Result<(), Mistake> {
        if self.takes(symbol) {
            Ok(())
        } else {
            Err(self.unexpected(&format!("\"{symbol}\"")))
        }
    }

    fn unexpected(&self, expected: &str) -> Mistake {
        let found = match self.peek() {
            Word::End => "the end".to_owned(),
            Word::Number(value) => format!("the number {value:?}"),
            Word::Name(name) => format!("the name \"{name}\""),
            Word::Symbol(symbol) => format!("\"{symbol}\""),
        };
        Mistake::at(self.offset(), format!("found {found}, expected {expected}"))
    }

    fn node(&mut self, offset: usize, kind: Kind) -> Result<Node, Mistake> {
        self.nodes += 1;
        if self.nodes > MOST_NODES {
            let message =
                format!("expected an expression of at most {MOST_NODES} operators, names and numbers");
            return Err(Mistake::at(offset, message));
        }
        Ok(Node { offset, kind })
    }

    fn deeper<T>(&mut self, inner: impl FnOnce(&mut Parser) -> Result<T, Mistake>) -> Result<T, Mistake> {
        self.depth += 1;
        if self.depth > MOST_DEPTH {
            let message = format!("expected at most {MOST_DEPTH} brackets within one another");
            return Err(Mistake::at(self.offset(), message));
        }
        let result = inner(self);
        self.depth -= 1;
        result
    }

    fn conditional(&mut self) -> Result<Node, Mistake> {
        self.deeper(|parser| {
            let condition = parser.binary(0)?;
            if !parser.takes("?") {
                return Ok(condition);
            }
            let yes = parser.conditional()?;
            parser.expect(":")?;
            let no = parser.conditional()?;
            let offset = condition.offset;
            parser.node(
                offset,
                Kind::Conditional(Box::new(condition), Box::new(yes), Box::new(no)),
            )
        })
    }

    /// Operators of at least `lowest` precedence.
    fn binary(&mut self, lowest: u8) -> Result<Node, Mistake> {
        let mut left = self.unary()?;
        loop {
            let Word::Symbol(symbol) = self.peek() else {
                return Ok(left);
            };
            let Some((operator, precedence)) = binary_operator(symbol) else {
                return Ok(left);
            };
            if precedence < lowest {
                return Ok(left);
            }
            self.advance();
            let right = self.deeper(|parser| parser.binary(precedence + 1))?;
            let offset = left.offset;
            left = self.node(offset, Kind::Binary(operator, Box::new(left), Box::new(right)))?;
        }
    }

    fn unary(&mut self) -> Result<Node, Mistake> {
        let offset = self.offset();
        let operator = match self.peek() {
            Word::Symbol(symbol) => unary_operator(symbol),
            _ => None,
        };
        let Some(operator) = operator else {
            return self.primary();
        };
        self.advance();
        let operand = self.deeper(Parser::unary)?;
        self.node(offset, Kind::Unary(operator, Box::new(operand)))
    }

    fn primary(&mut self) -> Result<Node, Mistake> {
        let offset = self.offset();
        match self.peek().clone() {
            Word::Number(value) => {
                self.advance();
                self.node(offset, Kind::Literal(value))
            }
            Word::Name(name) => {
                self.advance();
                let name = self.selected(name)?;
                self.node(offset, Kind::Name(name))
            }
            Word::Symbol("(") => {
                self.advance();
                let inner = self.conditional()?;
                self.expect(")")?;
                Ok(inner)
            }
            Word::Symbol("{") => self.concatenation(offset),
            Word::Symbol(word @ ("$signed" | "$unsigned")) => {
                self.advance();
                self.expect("(")?;
                let inner = self.conditional()?;
                self.expect(")")?;
                self.node(offset, Kind::Sign(word == "$signed", Box::new(inner)))
            }
            _ => Err(self.unexpected("a line's name, a number, or a bracket")),
        }
    }

    /// `NAME`, `NAME[3]` or `NAME[3:0]` as one name.
    fn selected(&mut self, name: String) -> Result<String, Mistake> {
        if !self.takes("[") {
            return Ok(name);
        }
        let high = self.whole_number()?;
        let selected = if self.takes(":") {
            let low = self.whole_number()?;
            format!("{name}[{high}:{low}]")
        } else {
            format!("{name}[{high}]")
        };
        self.expect("]")?;
        Ok(selected)
    }

    fn whole_number(&mut self) -> Result<u64, Mistake> {
        match self.peek() {
            Word::Number(value) => {
                let number = value.number();
                let number = number.ok_or_else(|| self.unexpected("a whole number"))?;
                self.advance();
                Ok(number)
            }
            _ => Err(self.unexpected("a whole number (a bit is chosen by its number, not by other lines)")),
        }
    }

    fn concatenation(&mut self, offset: usize) -> Result<Node, Mistake> {
        self.expect("{")?;
        let first_at = self.offset();
        let first = self.conditional()?;
        if let Kind::Literal(count) = &first.kind
            && self.takes("{")
        {
            let times = count.number().filter(|n| (1..=u64::from(MOST_BITS)).contains(n));
            let times = times.ok_or_else(|| {
                Mistake::at(
                    first_at,
                    format!("expected a count of repetitions from 1 to {MOST_BITS}"),
                )
            })?;
            let parts = self.parts(None)?;
            self.expect("}")?;
            return self.node(offset, Kind::Replication(times as u32, parts));
        }
        let parts = self.parts(Some(first))?;
        self.node(offset, Kind::Concatenation(parts))
    }

    /// The rest of a list up to its closing brace.
    fn parts(&mut self, first: Option<Node>) -> Result<Vec<Node>, Mistake> {
        let mut parts = Vec::new();
        match first {
            Some(first) => parts.push(first),
            None => parts.push(self.conditional()?),
        }
        while self.takes(",") {
            let part = self.conditional()?;
            parts.push(part);
        }
        self.expect("}")?;
        Ok(parts)
    }
}

fn binary_operator(symbol: &str) -> Option<(Binary, u8)> {
    Some(match symbol {
        "||" => (Binary::LogicalOr, 1),
        "&&" => (Binary::LogicalAnd, 2),
        "|" => (Binary::Or, 3),
        "^" => (Binary::Xor, 4),
        "^~" | "~^" => (Binary::Xnor, 4),
        "&" => (Binary::And, 5),
        "==" => (Binary::Equal, 6),
        "!=" => (Binary::NotEqual, 6),
        "===" => (Binary::CaseEqual, 6),
        "!==" => (Binary::CaseNotEqual, 6),
        "<" => (Binary::Less, 7),
        "<=" => (Binary::LessOrEqual, 7),
        ">" => (Binary::Greater, 7),
        ">=" => (Binary::GreaterOrEqual, 7),
        "<<" => (Binary::ShiftLeft, 8),
        ">>" => (Binary::ShiftRight, 8),
        "<<<" => (Binary::ArithmeticShiftLeft, 8),
        ">>>" => (Binary::ArithmeticShiftRight, 8),
        "+" => (Binary::Add, 9),
        "-" => (Binary::Subtract, 9),
        "*" => (Binary::Multiply, 10),
        "/" => (Binary::Divide, 10),
        "%" => (Binary::Remainder, 10),
        "**" => (Binary::Power, 11),
        _ => return None,
    })
}

fn unary_operator(symbol: &str) -> Option<Unary> {
    Some(match symbol {
        "+" => Unary::Plus,
        "-" => Unary::Minus,
        "!" => Unary::Not,
        "~" => Unary::Invert,
        "&" => Unary::And,
        "~&" => Unary::Nand,
        "|" => Unary::Or,
        "~|" => Unary::Nor,
        "^" => Unary::Xor,
        "~^" | "^~" => Unary::Xnor,
        _ => return None,
    })
}
