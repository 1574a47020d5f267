//! Which suspects the strays need, by the likelihood of a point process, and the counts that go with them.
//!
//! | in the order of use | |
//! | --- | --- |
//! | `evidence`, `lags` | a suspect's edges before the strays, and the window of lags that tells most |
//! | `select`, `model` | which suspects the strays need |
//! | `twice` | second strays of edges that strike twice |
//! | `preferences`, `beside` | which of explanations that fit nearly alike; what strays beside own edges say of it |
//! | `rows`, `missed`, `never_struck` | counts, chance and intervals; strikes between samples, edges that could not strike |
//! | `nearby` | whether strikes stand out against the strays around the same edges |
//! | `copies`, `passed_on`, `lost` | who fits as well: copies of the accused, struck lines before it, pulses between samples |

pub(super) mod beside;
pub(super) mod copies;
pub(super) mod evidence;
pub mod lags;
pub(super) mod lost;
mod missed;
pub(super) mod model;
pub(super) mod nearby;
mod never_struck;
pub(super) mod passed_on;
pub(super) mod preferences;
pub(super) mod rows;
pub(super) mod select;
pub mod twice;
