//! Where answers go: text for a person, or JSON by the contract.

use std::io::{ErrorKind, IsTerminal, Write};

use serde::Serialize;

use crate::report::text::Style;

/// How a command answers.
#[derive(clap::Args)]
pub struct Output {
    /// Answer as JSON, for scripts; the fields are a contract
    #[arg(long)]
    pub json: bool,
}

impl Output {
    /// Writes `report` to standard output: as JSON, or as the text that `text` makes of it.
    ///
    /// # Errors
    /// When standard output can't be written.
    pub fn write<R: Serialize>(&self, report: &R, text: impl Fn(&R, Style) -> String) -> anyhow::Result<()> {
        let stdout = std::io::stdout();
        let style = Style {
            colour: stdout.is_terminal() && colour_is_welcome(),
        };
        let mut out = std::io::BufWriter::new(stdout.lock());
        if self.json {
            serde_json::to_writer_pretty(&mut out, report)?;
            out.write_all(b"\n")?;
        } else {
            out.write_all(text(report, style).as_bytes())?;
        }
        out.flush()?;
        Ok(())
    }
}

/// `NO_COLOR`, set to anything but nothing, keeps the output plain.
fn colour_is_welcome() -> bool {
    std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}

/// Whether the reader of our output has gone away, which is its right (`edgewitness … | head`).
pub fn is_closed_pipe(error: &anyhow::Error) -> bool {
    let kinds = error.chain().filter_map(|cause| {
        let io = cause.downcast_ref::<std::io::Error>().map(std::io::Error::kind);
        io.or_else(|| {
            cause
                .downcast_ref::<serde_json::Error>()
                .and_then(serde_json::Error::io_error_kind)
        })
    });
    kinds.into_iter().any(|kind| kind == ErrorKind::BrokenPipe)
}
