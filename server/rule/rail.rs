//! Supply rails: what they should be, and what a meter read.

/// An analog line that is a supply.
#[derive(Clone, Debug, PartialEq)]
pub struct Rail {
    pub line: String,
    /// Negative for a negative rail.
    pub nominal_v: f64,
    /// Allowed distance from nominal, as a fraction of it.
    pub tolerance: f64,
    /// The same rail at the supply, to see what the wire drops.
    pub supply_end: Option<String>,
    pub max_drop_v: Option<f64>,
    /// Meter readings entered by hand: where, volts.
    pub readings: Vec<Reading>,
    /// Where the setup file names it; `None` when it was assumed from the line's name and level.
    pub setup_line: Option<usize>,
}

/// What a meter read on a rail, and when.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    pub at: String,
    pub volts: f64,
}

impl Rail {
    /// Lowest and highest allowed potential in volts, both allowed.
    pub fn allowed_v(&self) -> (f64, f64) {
        let reach = self.nominal_v.abs() * self.tolerance;
        (self.nominal_v - reach, self.nominal_v + reach)
    }
}
