//! Progress on standard error, for whatever takes over a second.

use std::io::IsTerminal;
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use crate::ingest::Progress;

/// How long a job may take before a bar appears.
const PATIENCE: Duration = Duration::from_secs(1);

/// A bar that appears once a job has taken over a second, and only on a terminal; gone when dropped.
pub struct Bar {
    bar: ProgressBar,
    started: Instant,
    wanted: bool,
}

impl Bar {
    /// A bar that says what is being done.
    pub fn new(what: &str) -> Bar {
        let bar = ProgressBar::with_draw_target(None, ProgressDrawTarget::hidden());
        bar.set_message(crate::report::text::printable(what));
        Bar {
            bar,
            started: Instant::now(),
            wanted: std::io::stderr().is_terminal(),
        }
    }

    fn show_when_due(&self, total: Option<u64>) {
        if self.wanted && self.bar.is_hidden() && self.started.elapsed() >= PATIENCE {
            let form = match total {
                Some(total) => {
                    self.bar.set_length(total);
                    "{msg}: {bytes} of {total_bytes}, {eta} to go [{wide_bar}]"
                }
                None => "{msg}: {bytes}",
            };
            let style = ProgressStyle::with_template(form).expect("the template is fixed and valid");
            self.bar.set_style(style.progress_chars("=> "));
            self.bar.set_draw_target(ProgressDrawTarget::stderr());
        }
    }
}

impl Progress for Bar {
    fn bytes(&self, done: u64, total: Option<u64>) {
        self.show_when_due(total);
        self.bar.set_position(done);
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}
