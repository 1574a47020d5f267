//! `edgewitness demo DIR`: writes the demo's captures into a folder.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use super::failure::unwritten;
use crate::demo;

/// Write the demo captures into a folder, each with a line on what is in it
#[derive(clap::Args)]
pub struct Words {
    /// Folder to write to; it is made if it is missing
    #[arg(value_name = "FOLDER")]
    folder: PathBuf,
}

/// Writes the files and says what each one holds.
///
/// # Errors
/// The folder or a file that could not be written, and why.
pub fn run(words: &Words) -> anyhow::Result<ExitCode> {
    let folder = &words.folder;
    demo::write(folder).map_err(|error| unwritten(folder, true, &error))?;
    std::io::stdout().write_all(summary(folder).as_bytes())?;
    Ok(ExitCode::SUCCESS)
}

fn summary(folder: &Path) -> String {
    let mut text = format!("Wrote to {}:\n", folder.display());
    for file in demo::files() {
        text.push_str(&format!("  {:<21} {}\n", file.name, file.about));
    }
    let (capture, setup) = (demo::SESSION.as_found.1[0], demo::SESSION.setup);
    text.push_str(&format!(
        "\nNow try:\n  edgewitness inspect {} --setup {}\n",
        folder.join(capture).display(),
        folder.join(setup).display()
    ));
    text
}
