//! Listening, on loopback unless told otherwise.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use anyhow::Context;
use tokio::sync::watch;

use crate::store::Store;
use crate::workflow::demo_session::open_demo;

use super::reach;
use super::state::{App, UPLOAD_LIMIT_BYTES};
use super::token::Token;

/// How long requests that go on may take after the first Ctrl-C.
const GRACE: Duration = Duration::from_secs(2);

/// What `edgewitness serve` was told.
#[derive(Clone, Debug)]
pub struct ServeOptions {
    pub listen: SocketAddr,
    pub data_dir: PathBuf,
    /// Open the demo session, made if it is not there.
    pub demo: bool,
    /// Open the person's browser on the page.
    pub open: bool,
    /// Names besides the loopback ones that the server answers to.
    pub allowed_hosts: Vec<String>,
    /// Listen where other machines can reach it; then every request needs a token.
    pub beyond_this_machine: bool,
    pub upload_limit_bytes: u64,
    /// Folder whose new exports are taken up.
    pub watch: Option<PathBuf>,
}

impl ServeOptions {
    /// The usual: this machine only, port 7117, no demo.
    pub fn new(data_dir: PathBuf) -> ServeOptions {
        ServeOptions {
            listen: SocketAddr::from(([127, 0, 0, 1], 7117)),
            data_dir,
            demo: false,
            open: false,
            allowed_hosts: Vec::new(),
            beyond_this_machine: false,
            upload_limit_bytes: UPLOAD_LIMIT_BYTES,
            watch: None,
        }
    }
}

/// Serves the pages until interrupted (Ctrl-C or SIGTERM). Requests that go on then have [`GRACE`], or until the second
/// signal; a reading or an analysis does not hold up the end.
///
/// # Errors
/// The data folder can't be opened, or the address is taken.
pub fn serve(options: ServeOptions) -> anyhow::Result<()> {
    let is_loopback = options.listen.ip().is_loopback();
    anyhow::ensure!(
        is_loopback || options.beyond_this_machine,
        "{} can be reached from other machines: say --beyond-this-machine if that is meant, or listen on 127.0.0.1",
        options.listen
    );
    // First of all: where the address is taken nothing is left behind.
    let listener = listening(options.listen)?;
    let store = Store::open(&options.data_dir)?;
    let home = options.demo.then(|| open_demo(&store)).transpose()?;
    let mut app = App::new(store, options.listen, &options.allowed_hosts);
    let mut token_text = String::new();
    if !is_loopback {
        let (token, text) = Token::new();
        app.guard = Arc::new((*app.guard).clone().with_token(token));
        token_text = text;
    }
    app.upload_limit_bytes = options.upload_limit_bytes;
    app.home = home;
    app.is_watching = options.watch.is_some();
    serve_app(Arc::new(app), listener, &options, &token_text)
}

/// Holds the address; nobody is answered yet.
fn listening(address: SocketAddr) -> anyhow::Result<std::net::TcpListener> {
    use std::io::ErrorKind;
    let listener = std::net::TcpListener::bind(address).map_err(|error| {
        let advice = match error.kind() {
            ErrorKind::AddrNotAvailable => {
                "this machine has no such address; --listen 0.0.0.0:7117 takes all that it has".to_owned()
            }
            ErrorKind::PermissionDenied => {
                "you may not use this port; those below 1024 need root's leave, 7117 does not".to_owned()
            }
            _ => format!("is it taken? --listen 127.0.0.1:0 takes any free port ({error})"),
        };
        anyhow::anyhow!("listening on {address}: {advice}")
    })?;
    listener
        .set_nonblocking(true)
        .context("listening without waiting")?;
    Ok(listener)
}

/// Serves an app that is ready. `token` is the text that every request needs, or nothing.
fn serve_app(
    app: Arc<App>,
    listener: std::net::TcpListener,
    options: &ServeOptions,
    token: &str,
) -> anyhow::Result<()> {
    let runtime = tokio::runtime::Runtime::new().context("starting the server's threads")?;
    let served = runtime.block_on(async {
        let signals = signals();
        let listener = tokio::net::TcpListener::from_std(listener).context("listening")?;
        if let Some(home) = app.home {
            app.start_work(home);
        }
        if let Some(dir) = &options.watch {
            super::watch::start(app.clone(), dir, tokio::runtime::Handle::current()).map_err(|error| {
                let dir = dir.display();
                anyhow::anyhow!(
                    "the folder {dir} can't be watched ({error}): name one that is there with --watch"
                )
            })?;
        }
        let query = match token {
            "" => String::new(),
            token => Token::query(token),
        };
        let told = reach::told(listener.local_addr()?, &reach::outside(), token, &query);
        println!("{}", told.lines.join("\n"));
        if options.open {
            open_browser(&told.here);
        }
        let serving = axum::serve(listener, super::router(app))
            .with_graceful_shutdown(heard(signals.clone(), 1))
            .into_future();
        let patience = async {
            heard(signals.clone(), 1).await;
            let _ = tokio::time::timeout(GRACE, heard(signals, 2)).await;
        };
        tokio::select! {
            served = serving => served?,
            () = patience => {}
        }
        Ok(())
    });
    // Without waiting for threads that read or analyse: what is not whole yet is cleared at the next start.
    runtime.shutdown_background();
    served
}

/// Counts the signals that ask for an end, from now on.
fn signals() -> watch::Receiver<usize> {
    let (count, receiver) = watch::channel(0);
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        // An error means that a signal can't be waited for: it then ends the server by itself.
        for kind in [SignalKind::interrupt(), SignalKind::terminate()] {
            let Ok(mut signal) = signal(kind) else { continue };
            let count = count.clone();
            tokio::spawn(async move {
                while signal.recv().await.is_some() {
                    count.send_modify(|n| *n += 1);
                }
            });
        }
    }
    #[cfg(not(unix))]
    tokio::spawn(async move {
        while tokio::signal::ctrl_c().await.is_ok() {
            count.send_modify(|n| *n += 1);
        }
    });
    receiver
}

/// Waits until so many signals came.
async fn heard(mut signals: watch::Receiver<usize>, so_many: usize) {
    // An error means that no signal can be waited for.
    if signals.wait_for(|n| *n >= so_many).await.is_err() {
        std::future::pending::<()>().await;
    }
}

/// Asks the desktop to show a page; says so when it can't.
fn open_browser(address: &str) {
    let command = if cfg!(target_os = "macos") {
        "open"
    } else if cfg!(windows) {
        "explorer"
    } else {
        "xdg-open"
    };
    let mut opener = Command::new(command);
    // What it has to say of browsers it looked for is nothing to a person here.
    opener
        .arg(address)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    if opener.spawn().is_err() {
        eprintln!("No browser could be started ({command} is not there): open {address} yourself.");
    }
}
