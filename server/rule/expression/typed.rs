//! An expression whose names have widths: sizes and signs by IEEE Std 1364-2005 clauses 5.4 and 5.5, and evaluation.
//!
//! An operand of a context takes the context's width and sign before the operation; self-determined operands (of
//! reductions, `!`, `&&`, `||`, concatenations, the right side of shifts and `**`, conditions) do not.

use super::value::{MOST_BITS, Value};
use super::{Binary, Expression, Kind, Mistake, Node, Unary};

/// A name of the expression and how many bits it has.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Operand {
    pub name: String,
    /// In bits.
    pub width: u32,
}

/// An expression ready to be evaluated.
#[derive(Clone, Debug)]
pub struct Typed {
    root: TypedNode,
    operands: Vec<Operand>,
}

#[derive(Clone, Debug)]
struct TypedNode {
    width: u32,
    signed: bool,
    kind: TypedKind,
}

#[derive(Clone, Debug)]
enum TypedKind {
    Literal(Value),
    Operand(usize),
    Unary(Unary, Box<TypedNode>),
    Binary(Binary, Box<TypedNode>, Box<TypedNode>),
    Conditional(Box<TypedNode>, Box<TypedNode>, Box<TypedNode>),
    Concatenation(u32, Vec<TypedNode>),
    /// The inner value, of its own size, taken as having this node's sign.
    Recast(Box<TypedNode>),
}

impl Expression {
    /// Ties names to widths: `width_of` gives the bits of a name, `None` when there is no such name.
    ///
    /// # Errors
    /// A name without a width, or a node of more than 64 bits, with its place.
    pub fn typed(&self, mut width_of: impl FnMut(&str) -> Option<u32>) -> Result<Typed, Mistake> {
        let mut operands = Vec::new();
        let root = typed(&self.root, &mut operands, &mut width_of)?;
        Ok(Typed { root, operands })
    }
}

impl Typed {
    /// Names in order of first use; [`Typed::evaluate`] takes their values in this order.
    pub fn operands(&self) -> &[Operand] {
        &self.operands
    }

    /// The expression's own width.
    pub fn width(&self) -> u32 {
        self.root.width
    }

    /// The value as assigned to something `width` bits wide. `values`: one per operand, of its width.
    pub fn evaluate(&self, values: &[Value], width: u32) -> Value {
        let context = self.root.width.max(width);
        let value = evaluate(&self.root, values, context, self.root.signed);
        value.resized(width, false)
    }
}

fn typed(
    node: &Node,
    operands: &mut Vec<Operand>,
    width_of: &mut dyn FnMut(&str) -> Option<u32>,
) -> Result<TypedNode, Mistake> {
    let mut inner = |node: &Node| typed(node, operands, width_of).map(Box::new);
    let (width, signed, kind) = match &node.kind {
        Kind::Literal(value) => (value.width, value.signed, TypedKind::Literal(*value)),
        Kind::Name(name) => {
            let index = match operands.iter().position(|o| o.name == *name) {
                Some(index) => index,
                None => {
                    let width = width_of(name);
                    let width =
                        width.ok_or_else(|| Mistake::at(node.offset, format!("there is no line {name}")))?;
                    operands.push(Operand {
                        name: name.clone(),
                        width,
                    });
                    operands.len() - 1
                }
            };
            (operands[index].width, false, TypedKind::Operand(index))
        }
        Kind::Unary(operator, a) => {
            let a = inner(a)?;
            let keeps = matches!(operator, Unary::Plus | Unary::Minus | Unary::Invert);
            let (width, signed) = if keeps { (a.width, a.signed) } else { (1, false) };
            (width, signed, TypedKind::Unary(*operator, a))
        }
        Kind::Binary(operator, a, b) => {
            let (a, b) = (inner(a)?, inner(b)?);
            let (width, signed) = match operator {
                _ if compares(*operator) || joins(*operator) => (1, false),
                _ if is_one_sided(*operator) => (a.width, a.signed),
                _ => (a.width.max(b.width), a.signed && b.signed),
            };
            (width, signed, TypedKind::Binary(*operator, a, b))
        }
        Kind::Conditional(condition, yes, no) => {
            let (condition, yes, no) = (inner(condition)?, inner(yes)?, inner(no)?);
            let (width, signed) = (yes.width.max(no.width), yes.signed && no.signed);
            (width, signed, TypedKind::Conditional(condition, yes, no))
        }
        Kind::Concatenation(_) | Kind::Replication(..) => {
            let (times, parts) = match &node.kind {
                Kind::Replication(times, parts) => (*times, parts),
                Kind::Concatenation(parts) => (1, parts),
                _ => unreachable!("one of the two"),
            };
            let parts: Vec<TypedNode> = parts
                .iter()
                .map(|p| typed(p, operands, width_of))
                .collect::<Result<_, _>>()?;
            let width = parts
                .iter()
                .map(|p| p.width)
                .fold(0, u32::saturating_add)
                .saturating_mul(times);
            (width, false, TypedKind::Concatenation(times, parts))
        }
        Kind::Sign(signed, a) => {
            let a = inner(a)?;
            (a.width, *signed, TypedKind::Recast(a))
        }
    };
    if width > MOST_BITS {
        let message = format!("found {width} bits, expected at most {MOST_BITS}");
        return Err(Mistake::at(node.offset, message));
    }
    Ok(TypedNode { width, signed, kind })
}

fn compares(operator: Binary) -> bool {
    matches!(
        operator,
        Binary::Less
            | Binary::LessOrEqual
            | Binary::Greater
            | Binary::GreaterOrEqual
            | Binary::Equal
            | Binary::NotEqual
            | Binary::CaseEqual
            | Binary::CaseNotEqual
    )
}

fn joins(operator: Binary) -> bool {
    matches!(operator, Binary::LogicalAnd | Binary::LogicalOr)
}

/// The right operand keeps its own size and sign.
fn is_one_sided(operator: Binary) -> bool {
    matches!(
        operator,
        Binary::ShiftLeft
            | Binary::ShiftRight
            | Binary::ArithmeticShiftLeft
            | Binary::ArithmeticShiftRight
            | Binary::Power
    )
}

/// The value in a context of `width` bits and sign `signed`.
fn evaluate(node: &TypedNode, values: &[Value], width: u32, signed: bool) -> Value {
    let alone = |node: &TypedNode| evaluate(node, values, node.width, node.signed);
    let value = match &node.kind {
        TypedKind::Literal(value) => *value,
        TypedKind::Operand(index) => values[*index],
        TypedKind::Unary(operator, a) => match operator {
            Unary::Plus | Unary::Minus | Unary::Invert => {
                return evaluate(a, values, width, signed).unary(*operator);
            }
            _ => alone(a).unary(*operator),
        },
        TypedKind::Binary(operator, a, b) => {
            if compares(*operator) {
                let (width, signed) = (a.width.max(b.width), a.signed && b.signed);
                let of = |node| evaluate(node, values, width, signed);
                of(a).binary(*operator, of(b))
            } else if joins(*operator) {
                alone(a).binary(*operator, alone(b))
            } else if is_one_sided(*operator) {
                return evaluate(a, values, width, signed).binary(*operator, alone(b));
            } else {
                let of = |node| evaluate(node, values, width, signed);
                return of(a).binary(*operator, of(b));
            }
        }
        TypedKind::Conditional(condition, yes, no) => {
            let of = |node| evaluate(node, values, width, signed);
            return match alone(condition).truth() {
                Some(true) => of(yes),
                Some(false) => of(no),
                None => of(yes).merged(of(no)),
            };
        }
        TypedKind::Concatenation(times, parts) => {
            let mut whole: Option<Value> = None;
            for _ in 0..*times {
                for part in parts {
                    let part = alone(part);
                    whole = Some(whole.map_or(part, |w| w.joined(part)));
                }
            }
            whole.expect("at least one part")
        }
        TypedKind::Recast(a) => alone(a),
    };
    value.resized(width, signed)
}
