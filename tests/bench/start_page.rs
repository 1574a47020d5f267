//! The start page with 1,000 sessions and 10,000 captures, asked over HTTP on one connection: p50, p99, the worst, and
//! the target beside them. `cargo bench --bench start_page`.

mod asking;
#[path = "../common/evenings.rs"]
mod evenings;

use std::io::BufReader;
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;

use asking::ask;
use edgewitness::store::Store;
use edgewitness::web::{App, router};

const SESSIONS: usize = 1000;
const CAPTURES: usize = 10;
const ASKED: usize = 300;
const TARGET_MS: f64 = 50.0;

fn main() {
    let folder = tempfile::tempdir().expect("a folder");
    let store = Store::open(folder.path()).expect("a store");
    evenings::fill(&store, SESSIONS, CAPTURES);
    let app = Arc::new(App::new(store, SocketAddr::from(([127, 0, 0, 1], 0)), &[]));
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let listener = runtime
        .block_on(tokio::net::TcpListener::bind("127.0.0.1:0"))
        .expect("a free port");
    let address = listener.local_addr().expect("an address");
    runtime.spawn(async move { axum::serve(listener, router(app)).await });
    let stream = TcpStream::connect(address).expect("the server listens");
    stream.set_nodelay(true).expect("a socket");
    let mut stream = BufReader::new(stream);
    let mut times: Vec<f64> = (0..ASKED)
        .map(|_| {
            let (took, body) = ask(&mut stream, "/?sessions");
            let rows = String::from_utf8_lossy(&body)
                .matches("<li><a href=\"/sessions/")
                .count();
            assert_eq!(rows, SESSIONS, "every session is listed");
            took.as_secs_f64() * 1e3
        })
        .collect();
    times.sort_by(f64::total_cmp);
    println!(
        "start page, {SESSIONS} sessions with {} captures, over HTTP: p50 {:.2} ms, p99 {:.2} ms, worst {:.2} ms of {ASKED} (target {TARGET_MS} ms)",
        SESSIONS * CAPTURES,
        times[ASKED / 2],
        times[ASKED * 99 / 100],
        times[ASKED - 1]
    );
}
