//! Speed of the diagram's windows, against the targets written beside each figure.
//!
//! `cargo bench --bench window` makes a line of 100 million edges in a mapped file and a capture of 16 lines with
//! 100 million edges together, and prints p50, p99 and the worst; warm figures are the quickest of three for each
//! window. `cargo bench --bench window -- 10` makes a tenth
//! of that. `cargo bench --bench window -- serve` serves the capture (address on standard output) until it is
//! killed: `tests/browser/frames.mjs` draws it.

mod asking;
#[path = "../common/dice.rs"]
mod dice;

use std::fs::File;
use std::io::{BufReader, BufWriter, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::time::{Duration, Instant};

use asking::ask;
use dice::Dice;
use edgewitness::model::{Capture, Column, Format, Level, Line, Ticks, TimeSpan, Timebase};
use edgewitness::report::inspect::{InspectReport, SCHEMA};
use edgewitness::store::{SessionBody, SessionId, Store};
use edgewitness::web::window::{LineIndex, Shape, window};
use edgewitness::web::{App, Opened, router};
use serde_json::{Value, json};

const COLUMNS: usize = 1600;
const EDGES: usize = 100_000_000;
const LINES: usize = 16;

/// Bursts of edges 20 to 300 ticks apart, with rests between as machines have them. `each` is told every edge.
fn edges(count: usize, seed: u64, mut each: impl FnMut(i64)) -> i64 {
    let (mut random, mut time) = (Dice(seed), 0i64);
    for _ in 0..count {
        let word = random.word();
        time += 20 + (word % 280) as i64;
        if word >> 54 == 0 {
            time += (word >> 20 & 0x3f_ffff) as i64;
        }
        each(time);
    }
    time
}

struct Mapped(memmap2::Mmap);

impl AsRef<[Ticks]> for Mapped {
    fn as_ref(&self) -> &[Ticks] {
        bytemuck::cast_slice(&self.0)
    }
}

fn mapped(path: &Path) -> Line {
    let file = File::open(path).expect("the file was just made");
    // SAFETY: nobody else writes to the benchmark's own file.
    let map = unsafe { memmap2::Mmap::map(&file) }.expect("mapping the file");
    let map = Arc::new(Mapped(map));
    let pages = map.clone();
    let column = Column::shared(map).with_read_ahead(Arc::new(move |entries: std::ops::Range<usize>| {
        let advice = memmap2::Advice::WillNeed;
        let _ = pages.0.advise_range(advice, entries.start * 8, entries.len() * 8);
    }));
    let span = TimeSpan::new(Ticks(0), column[column.len() - 1]);
    Line {
        edges: column,
        ..Line::digital("STEP", Level::Low, Vec::new(), span)
    }
}

fn report(what: &str, mut times: Vec<Duration>, p50: Option<f64>, p99: f64) {
    times.sort();
    let ms = |share: f64| times[((times.len() - 1) as f64 * share).round() as usize].as_secs_f64() * 1e3;
    let target = |limit: Option<f64>| limit.map_or(String::new(), |limit| format!(" (target {limit})"));
    println!(
        "{what}: {} windows, p50 {:.3} ms{}, p99 {:.3} ms{}, worst {:.3} ms",
        times.len(),
        ms(0.5),
        target(p50),
        ms(0.99),
        target(Some(p99)),
        ms(1.0)
    );
}

/// Of three times, the quickest: the machine's other work is not what is measured.
fn quickest(mut once: impl FnMut() -> Duration) -> Duration {
    once().min(once()).min(once())
}

/// A stretch from 2,000 ticks to the whole, evenly on a logarithmic scale, anywhere.
fn stretch(random: &mut Dice, length: i64) -> (Ticks, Ticks) {
    let span = (2e3 * (length as f64 / 2e3).powf(random.unit())) as i64;
    let start = (random.unit() * (length - span) as f64) as i64;
    (Ticks(start), Ticks(start + span))
}

fn one(line: &Line, index: &LineIndex, (start, end): (Ticks, Ticks)) -> Duration {
    let begun = Instant::now();
    let found = window(line, index, start, end, COLUMNS);
    let took = begun.elapsed();
    match found.shape {
        Shape::Edges => assert!(found.edges.len() <= COLUMNS),
        Shape::Columns(codes) => assert_eq!(codes.len(), COLUMNS),
    }
    took
}

fn library(path: &Path, count: usize) {
    let mut file =
        BufWriter::with_capacity(1 << 20, File::create(path).expect("a file in the target folder"));
    let length = edges(count, 7, |time| {
        file.write_all(&time.to_le_bytes()).expect("room on the disk")
    });
    file.into_inner()
        .expect("written")
        .sync_all()
        .expect("on the disk");
    let line = mapped(path);
    let begun = Instant::now();
    let index = LineIndex::new(&line.edges);
    println!(
        "index of {count} edges, made in {:.0} ms",
        begun.elapsed().as_secs_f64() * 1e3
    );
    let mut random = Dice(11);
    let warm = (0..4000).map(|_| {
        let stretch = stretch(&mut random, length);
        quickest(|| one(&line, &index, stretch))
    });
    report("window of one line, warm", warm.collect(), Some(0.2), 1.5);
    drop(line);
    let cold = (0..100).map(|_| {
        // Opened anew each time: pages that are mapped are not dropped from the cache.
        drop_from_cache(path);
        one(&mapped(path), &index, stretch(&mut random, length))
    });
    report("window of one line, cold", cold.collect(), None, 30.0);
    std::fs::remove_file(path).expect("our own file");
}

/// `dd` of coreutils asks the system to drop the file from its cache.
fn drop_from_cache(path: &Path) {
    let name = format!("if={}", path.display());
    let words = [name.as_str(), "iflag=nocache", "count=0", "status=none"];
    let done = Command::new("dd").args(words).status().expect("dd of coreutils");
    assert!(done.success());
}

/// A session in memory: `count` edges on 16 lines, a thousand strays.
fn app(folder: &Path, count: usize) -> Arc<App> {
    let tick_s = 1e-9;
    let mut lines = Vec::new();
    for i in 0..LINES {
        let mut times = Vec::with_capacity(count / LINES);
        let last = edges(count / LINES, 100 + i as u64, |time| times.push(Ticks(time)));
        let span = TimeSpan::new(Ticks(0), Ticks(last));
        lines.push(Line::digital(format!("LINE_{i}"), Level::Low, times, span));
    }
    let last = lines.iter().map(|line| line.span.end).max().unwrap_or_default();
    let strays = (0..1000).map(|i| {
        let line = &lines[i % LINES];
        let at = line.edges[line.edges.len() / 1000 * i];
        json!({"line": line.name, "start_s": at.0 as f64 * tick_s, "width_s": 20.0 * tick_s, "level": "low",
               "kind": "pulse", "aggressor": null, "edge": null, "lag_s": null})
    });
    let strays: Vec<Value> = strays.collect();
    let report = json!({"schema": SCHEMA, "captures": [], "lines": [], "strays": strays, "couplings": [], "links": [],
                        "findings": []});
    let report: InspectReport = serde_json::from_value(report).expect("the report's own shape");
    let capture = Capture {
        file: "bench.vcd".to_owned(),
        format: Format::Vcd,
        timebase: Timebase::decimal(-9),
        span: TimeSpan::new(Ticks(0), last),
        resolution_ticks: 1.0,
        lines,
        buses: Vec::new(),
        not_logic: Vec::new(),
        warnings: Vec::new(),
    };
    let store = Store::open(folder).expect("a folder of our own");
    let body = SessionBody {
        title: "Sixteen lines".to_owned(),
        ..SessionBody::default()
    };
    let id: SessionId = store.create_session(&body).expect("a new session").id;
    let app = App::new(store, SocketAddr::from(([127, 0, 0, 1], 0)), &[]);
    app.keep(Opened::new(id, body.title, capture, report, String::new()));
    Arc::new(app)
}

/// Serves on a free port from threads of its own.
fn start(app: Arc<App>) -> (tokio::runtime::Runtime, SocketAddr) {
    let runtime = tokio::runtime::Runtime::new().expect("threads");
    let listener = runtime
        .block_on(tokio::net::TcpListener::bind("127.0.0.1:0"))
        .expect("a free port");
    let address = listener.local_addr().expect("bound");
    runtime.spawn(async move { axum::serve(listener, router(app)).await });
    (runtime, address)
}

/// Asks for a window of all 16 lines over one connection and reads the whole answer.
fn ask_window(stream: &mut BufReader<TcpStream>, (start, end): (Ticks, Ticks)) -> Duration {
    let path = format!(
        "/api/sessions/1/window?start={}&end={}&columns={COLUMNS}",
        start.0, end.0
    );
    let (took, body) = ask(stream, &path);
    assert!(body.len() > LINES * 20);
    took
}

fn over_http(folder: &Path, count: usize) {
    let app = app(folder, count);
    let length = app.in_memory(SessionId(1)).expect("kept").length();
    let (_runtime, address) = start(app);
    let stream = TcpStream::connect(address).expect("the server listens");
    stream.set_nodelay(true).expect("a socket");
    let mut stream = BufReader::new(stream);
    let mut random = Dice(13);
    let times = (0..1000).map(|_| {
        let stretch = stretch(&mut random, length);
        quickest(|| ask_window(&mut stream, stretch))
    });
    report("16 lines over HTTP", times.collect(), None, 10.0);
}

fn main() {
    let words: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| word != "--bench")
        .collect();
    let part: usize = words.iter().find_map(|word| word.parse().ok()).unwrap_or(1);
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("window-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("the target folder can be written to");
    let count = EDGES / part.max(1);
    if words.iter().any(|word| word == "serve") {
        let (_runtime, address) = start(app(&folder, count));
        println!("http://{address}");
        std::thread::park();
    }
    library(&folder.join("edges.bin"), count);
    over_http(&folder, count);
    std::fs::remove_dir_all(&folder).expect("our own folder");
}
