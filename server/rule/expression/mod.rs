//! Expressions over lines with the operators, precedence, sizes and four states of IEEE Std 1364-2005 clause 5.
//!
//! | file | what it is for |
//! | --- | --- |
//! | [`value`] | four-state vectors of up to 64 bits and the operations on them |
//! | `lexer` | text → words, each with its place |
//! | `parser` | words → tree |
//! | [`typed`] | names tied to widths, every node with its size and sign (5.4, 5.5), evaluation |
//!
//! Left out: real numbers, function calls other than `$signed` and `$unsigned`, selects by anything but whole
//! numbers. Whole standard unread; the semantics are checked against a simulator's output (`tests/rules/expression.rs`).

mod lexer;
mod parser;
mod typed;
pub mod value;

pub use typed::{Operand, Typed};
pub use value::Value;

use crate::model::Level;

/// Bytes in an expression, at most.
pub const MOST_BYTES: usize = 4096;
/// Nodes in its tree, at most; also bounds the depth of recursion.
pub const MOST_NODES: usize = 400;

/// What is wrong with an expression, and at which byte of it.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct Mistake {
    /// From 0.
    pub offset: usize,
    /// Found, expected, what to do.
    pub message: String,
}

impl Mistake {
    fn at(offset: usize, message: impl Into<String>) -> Mistake {
        Mistake {
            offset,
            message: message.into(),
        }
    }
}

/// A parsed expression: names not yet tied to lines.
#[derive(Clone, Debug, PartialEq)]
pub struct Expression {
    pub text: String,
    root: Node,
}

impl Expression {
    /// Parses `text`.
    ///
    /// # Errors
    /// The first mistake, with its byte offset.
    pub fn parse(text: &str) -> Result<Expression, Mistake> {
        let root = parser::parse(text)?;
        Ok(Expression {
            text: text.to_owned(),
            root,
        })
    }

    /// Names used, each once, in order of first use; a selected bit is `NAME[3]`, a selected part `NAME[3:0]`.
    pub fn names(&self) -> Vec<String> {
        let mut names = Vec::new();
        self.root.each(&mut |node| {
            if let Kind::Name(name) = &node.kind
                && !names.contains(name)
            {
                names.push(name.clone());
            }
        });
        names
    }

    /// The byte at which `name` is first used, as [`names`](Self::names) has it.
    pub fn first_use(&self, name: &str) -> Option<usize> {
        let mut found = None;
        self.root.each(&mut |node| {
            if matches!(&node.kind, Kind::Name(other) if other == name) {
                found = found.or(Some(node.offset));
            }
        });
        found
    }

    /// Of `E ? D : name` and `E ? name : D`, with E a line or its inverse and D a line: E, the level of E at which D is taken,
    /// and D. That is a latch written as an expression.
    pub fn as_latch(&self, name: &str) -> Option<(&str, Level, &str)> {
        let Kind::Conditional(condition, yes, no) = &self.root.kind else {
            return None;
        };
        let (mut level, mut enable) = (Level::High, &condition.kind);
        while let Kind::Unary(Unary::Not | Unary::Invert, inner) = enable {
            (level, enable) = (level.inverted(), &inner.kind);
        }
        match (enable, &yes.kind, &no.kind) {
            (Kind::Name(enable), Kind::Name(data), Kind::Name(kept)) if kept == name && data != name => {
                Some((enable, level, data))
            }
            (Kind::Name(enable), Kind::Name(kept), Kind::Name(data)) if kept == name && data != name => {
                Some((enable, level.inverted(), data))
            }
            _ => None,
        }
    }
}

/// A node of the tree and the byte at which it begins.
#[derive(Clone, Debug, PartialEq)]
struct Node {
    offset: usize,
    kind: Kind,
}

#[derive(Clone, Debug, PartialEq)]
enum Kind {
    Literal(Value),
    Name(String),
    Unary(Unary, Box<Node>),
    Binary(Binary, Box<Node>, Box<Node>),
    Conditional(Box<Node>, Box<Node>, Box<Node>),
    Concatenation(Vec<Node>),
    Replication(u32, Vec<Node>),
    /// `$signed` or `$unsigned`.
    Sign(bool, Box<Node>),
}

impl Node {
    fn each(&self, see: &mut dyn FnMut(&Node)) {
        see(self);
        match &self.kind {
            Kind::Literal(_) | Kind::Name(_) => {}
            Kind::Unary(_, a) | Kind::Sign(_, a) => a.each(see),
            Kind::Binary(_, a, b) => {
                a.each(see);
                b.each(see);
            }
            Kind::Conditional(a, b, c) => {
                a.each(see);
                b.each(see);
                c.each(see);
            }
            Kind::Concatenation(parts) | Kind::Replication(_, parts) => {
                parts.iter().for_each(|p| p.each(see))
            }
        }
    }
}

/// Operators before one operand: sign, logical not, bitwise not, and the reductions.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unary {
    Plus,
    Minus,
    Not,
    Invert,
    And,
    Nand,
    Or,
    Nor,
    Xor,
    Xnor,
}

/// Operators between two operands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Binary {
    Power,
    Multiply,
    Divide,
    Remainder,
    Add,
    Subtract,
    ShiftLeft,
    ShiftRight,
    ArithmeticShiftLeft,
    ArithmeticShiftRight,
    Less,
    LessOrEqual,
    Greater,
    GreaterOrEqual,
    Equal,
    NotEqual,
    CaseEqual,
    CaseNotEqual,
    And,
    Xor,
    Xnor,
    Or,
    LogicalAnd,
    LogicalOr,
}
