//! A watched folder: each new export becomes a capture of the session in hand, under its newest condition, and is
//! read and analysed at once.

use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use tokio::runtime::Handle;

use super::state::App;
use crate::ingest;
use crate::setup::Setup;
use crate::store::{SessionBody, SessionId};
use crate::workflow::read::read_options;
use crate::workflow::watch::{PERIOD, Watch};

/// Watches on a thread of its own until the program ends; `handle` runs the analysis.
///
/// # Errors
/// The folder can't be read.
pub fn start(app: Arc<App>, dir: &Path, handle: Handle) -> std::io::Result<()> {
    let mut watch = Watch::new(dir)?;
    std::thread::Builder::new()
        .name("watched folder".to_owned())
        .spawn(move || {
            let mut was_told = false;
            loop {
                std::thread::sleep(PERIOD);
                match watch.poll(Instant::now()) {
                    Ok(whole) => {
                        was_told = false;
                        whole.iter().for_each(|path| take(&app, path, &handle));
                    }
                    // Told once: a drive may be back in a moment.
                    Err(error) if !was_told => {
                        was_told = true;
                        tracing::warn!(
                            "the watched folder {} can't be read: {error}",
                            watch.dir().display()
                        );
                    }
                    Err(_) => {}
                }
            }
        })?;
    Ok(())
}

fn take(app: &Arc<App>, path: &Path, handle: &Handle) {
    let name = path
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    match bring(app, path, &name) {
        Ok(session) => {
            let _inside = handle.enter();
            app.start_work(session);
            tracing::info!("{name} from the watched folder is in session {session}");
        }
        Err(sentence) => tracing::warn!("{name} from the watched folder was left alone: {sentence}"),
    }
}

/// Only what can be read as a capture, as the session's setup says, is taken; anything else in the folder is none of
/// ours.
fn bring(app: &App, path: &Path, name: &str) -> Result<SessionId, String> {
    let told = |error: crate::store::Error| error.to_string();
    let in_hand = app.in_hand().map_err(told)?;
    let setup = match in_hand {
        Some(session) => app.store.session(session).map_err(told)?.body.setup,
        None => String::new(),
    };
    let setup = Setup::parse(&setup, "the session's setup").map_err(|error| error.to_string())?;
    ingest::read_file(path, &read_options(&setup), &()).map_err(|error| error.to_string())?;
    let file = std::fs::File::open(path).map_err(|error| error.to_string())?;
    let stored = app
        .store
        .store_from(name, file, app.upload_limit_bytes)
        .map_err(told)?;
    let session = match in_hand {
        Some(session) => session,
        None => {
            let body = SessionBody {
                title: "Watched folder".to_owned(),
                ..SessionBody::default()
            };
            app.store.create_session(&body).map_err(told)?.id
        }
    };
    app.store.bring_capture(session, &stored).map_err(told)?;
    Ok(session)
}
