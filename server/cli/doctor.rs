//! `edgewitness doctor`: looks the data folder through.

use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::Context;

use super::one_line;
use crate::store::{Doctor, Mend};

/// Look the data folder through, and say what is wrong and what would mend it
#[derive(clap::Args)]
pub struct Words {
    /// Folder that keeps the sessions and captures [default: edgewitness in the user's data folder]
    #[arg(long, value_name = "FOLDER")]
    data: Option<PathBuf>,
    /// Mend what was found; nothing that you brought is deleted, what is damaged is moved aside
    #[arg(long)]
    mend: bool,
}

/// Exit code 0 when nothing is wrong any more, 1 when something is.
///
/// # Errors
/// There is no store in the folder, it is in use, or it can't be read.
pub fn run(words: &Words) -> anyhow::Result<ExitCode> {
    let dir = match &words.data {
        Some(dir) => dir.clone(),
        None => super::serve::data_home()?.join("edgewitness"),
    };
    let doctor = Doctor::open(&dir)?;
    let found = doctor
        .look()
        .with_context(|| format!("{} could not be looked through", dir.display()))?;
    println!(
        "{}: {} sessions, {} entries, {} files with {} bytes",
        one_line(&dir.display().to_string()),
        found.sessions,
        found.entries,
        found.originals,
        found.bytes
    );
    let mut left = 0;
    for trouble in &found.troubles {
        println!("- {}", one_line(&trouble.what));
        let is_by_hand = matches!(trouble.mend, Mend::ByHand(_));
        let mend = one_line(&trouble.mend.to_string());
        if words.mend && !is_by_hand {
            doctor.mend(trouble)?;
            println!("  done: {mend}");
        } else {
            left += 1;
            println!("  {}: {mend}", if is_by_hand { "by hand" } else { "with --mend" });
        }
    }
    if left == 0 {
        println!(
            "Nothing is wrong{}.",
            if found.troubles.is_empty() {
                ""
            } else {
                " any more"
            }
        );
    }
    Ok(ExitCode::from(u8::from(left > 0)))
}
