//! The pages and the interface for programs, on the user's own machine.
//!
//! [`router`] has every URL in one list; [`serve`] listens. `pages/` answers with HTML that reads without
//! script, `api/` with JSON or columns of numbers. [`guard`] looks at every request before anything else.

mod answers;
mod api;
mod assets;
mod base64;
mod clock_view;
mod error;
mod figure;
mod finding_state;
mod guard;
mod history;
mod occurrences;
mod opened;
mod overlay;
mod pages;
mod refused;
mod router;
mod serve;
mod state;
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
