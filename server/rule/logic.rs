//! What a part must do: its outputs as an expression over other lines.

use super::expression::Expression;

/// Outputs that must equal an expression once its inputs have been still for the settling time.
#[derive(Clone, Debug, PartialEq)]
pub struct Logic {
    /// Lines, most significant first; one name may be a bus.
    pub outputs: Vec<String>,
    pub is: Expression,
    pub settle_s: f64,
}
