//! The pages and the interface for programs, on the user's own machine.
//!
//! [`router`] has every URL in one list; [`serve`] listens. `pages/` answers with HTML that reads without
//! script, `api/` with JSON or columns of numbers. [`guard`] looks at every request before anything else.
//!
//! | module | what it is for |
//! | --- | --- |
//! | `state`, `work`, `watch` | what requests share; captures read and inspected in the background; a watched folder |
//! | `opened`, `shown`, `occurrences` | a session in memory; which condition a page shows; the moments its findings rest on |
//! | `window`, `volts`, `overlay` | what the diagram draws of lines, of samples, of occurrences laid on one another |
//! | `figure`, `history` | the same and a trouble's history as SVG |
//! | `view`, `answers`, `alike`, `remains`, `since`, `not_judged`, `finding_state`, `clock_view` | findings, conditions and clocks as ready strings for the templates |
//! | `guard`, `token`, `stopped`, `refused`, `error` | who may ask, and what is said to those who may not or asked wrongly |
//! | `serve`, `reach` | listening, and the addresses that are told |
//! | `assets`, `base64` | static files, and pictures inside a page |

mod alike;
mod answers;
mod api;
mod asked;
mod assets;
mod base64;
mod before;
mod clock_view;
mod error;
mod figure;
mod finding_state;
mod guard;
mod history;
mod not_judged;
mod occurrences;
mod opened;
mod overlay;
mod pages;
mod reach;
mod refused;
mod remains;
mod router;
mod serve;
mod shown;
mod since;
mod standings;
mod state;
mod stopped;
mod token;
mod view;
mod volts;
mod watch;
pub mod window;
mod work;

pub use guard::Guard;
pub use opened::Opened;
pub use router::router;
pub use serve::{ServeOptions, serve};
pub use state::{App, UPLOAD_LIMIT_BYTES};
