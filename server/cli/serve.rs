//! `edgewitness serve`: the pages, on the user's own machine.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::Context;

use crate::web::{ServeOptions, serve};

/// Serve the pages on this machine and say where
#[derive(clap::Args)]
pub struct Words {
    /// Address and port to listen on; only loopback is reachable from here alone
    #[arg(long, default_value = "127.0.0.1:7117", value_name = "ADDRESS:PORT", value_parser = address)]
    listen: SocketAddr,
    /// Listen where other machines can reach it, with --listen 0.0.0.0:7117; every request then needs the token that is
    /// told at the start: a browser opens the address that carries it, a program sends the header Authorization: Bearer
    /// TOKEN
    #[arg(long)]
    beyond_this_machine: bool,
    /// Another name that this machine is called by, besides localhost
    #[arg(long, value_name = "NAME")]
    allow_host: Vec<String>,
    /// Most bytes that one uploaded file may have
    #[arg(long, value_name = "BYTES", default_value_t = crate::web::UPLOAD_LIMIT_BYTES, value_parser = clap::value_parser!(u64).range(1..))]
    upload_limit: u64,
    /// Folder that keeps the sessions and captures [default: edgewitness in the user's data folder]
    #[arg(long, value_name = "FOLDER")]
    data: Option<PathBuf>,
    /// Open a ready session on the carillon's demo captures, in a data folder of its own
    #[arg(long)]
    demo: bool,
    /// Open the browser
    #[arg(long)]
    open: bool,
    /// Take up new exports that the instrument's program saves in this folder
    #[arg(long, value_name = "FOLDER")]
    watch: Option<PathBuf>,
}

/// An address with its port.
fn address(text: &str) -> Result<SocketAddr, String> {
    let parsed = text.parse().ok();
    // The loopback's name is what people say of it; other names may be several addresses.
    let local = || {
        text.strip_prefix("localhost:")?
            .parse()
            .ok()
            .map(|port: u16| ([127, 0, 0, 1], port).into())
    };
    parsed.or_else(local).ok_or_else(|| {
        let is_number = |text: &str| !text.is_empty() && text.bytes().all(|digit| digit.is_ascii_digit());
        let port = text.rsplit(':').next().unwrap_or_default();
        if is_number(port) && port.parse::<u16>().is_err() {
            return "expected a port from 0 (any free one) to 65535".to_owned();
        }
        let port = text.trim_start_matches(':').parse().unwrap_or(7117u16);
        format!("expected an address and a port, such as 127.0.0.1:{port}")
    })
}

/// Serves until interrupted.
///
/// # Errors
/// When the data folder can't be used or the address can't be listened on.
pub fn run(words: &Words) -> anyhow::Result<ExitCode> {
    // What the server has to say (a watched file left alone, a failure of ours) goes to its own window. Where
    // something listens already, as in tests, that stays.
    let _ = tracing_subscriber::fmt()
        .with_writer(std::io::stderr)
        .with_ansi(false)
        .with_target(false)
        .try_init();
    let data = match &words.data {
        Some(folder) => folder.clone(),
        None => data_home()?.join(if words.demo {
            "edgewitness-demo"
        } else {
            "edgewitness"
        }),
    };
    let mut options = ServeOptions::new(data);
    options.listen = words.listen;
    options.demo = words.demo;
    options.open = words.open || words.demo;
    options.beyond_this_machine = words.beyond_this_machine;
    options.allowed_hosts = words.allow_host.clone();
    options.upload_limit_bytes = words.upload_limit;
    options.watch = words.watch.clone();
    serve(options)?;
    Ok(ExitCode::SUCCESS)
}

/// The user's data folder, by the XDG base directory specification.
pub(super) fn data_home() -> anyhow::Result<PathBuf> {
    let absolute = |name: &str| {
        std::env::var_os(name)
            .map(PathBuf::from)
            .filter(|path| path.is_absolute())
    };
    absolute("XDG_DATA_HOME")
        .or_else(|| absolute("HOME").map(|home| home.join(".local/share")))
        .context("neither XDG_DATA_HOME nor HOME is set: say with --data which folder keeps the captures")
}
