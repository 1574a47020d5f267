//! `edgewitness demo DIR`: writes the demo's captures into a folder.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context;

use crate::demo;

/// Words of `edgewitness demo`.
#[derive(Debug, clap::Args)]
pub struct Arguments {
    /// Folder to write to; it is made if it is missing.
    folder: PathBuf,
}

/// Writes the files and says what each one holds.
///
/// # Errors
/// The folder or a file that could not be written, and why.
pub fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    let folder = &arguments.folder;
    demo::write(folder)
        .with_context(|| format!("cannot write the demo to \"{}\": is it a folder?", folder.display()))?;
    print!("{}", summary(folder));
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
