//! Where `serve` listens and whom it answers: loopback by default, beyond it only by an explicit word and with a token.
//! Requests are written by hand, so that every header is what the test says.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};

struct Server {
    child: Child,
    address: String,
    query: String,
    /// First line of what it tells.
    told: String,
    data: tempfile::TempDir,
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Server {
    fn start(words: &[&str]) -> Server {
        let data = tempfile::tempdir().unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_edgewitness"))
            .arg("serve")
            .arg("--data")
            .arg(data.path())
            .args(words)
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .unwrap();
        // Byte by byte: what follows stays in the pipe for who asks for it.
        let mut line = Vec::new();
        let mut told = BufReader::with_capacity(1, child.stdout.as_mut().unwrap());
        told.read_until(b'\n', &mut line).unwrap();
        let line = String::from_utf8(line).unwrap();
        let url = line
            .split_whitespace()
            .find(|word| word.starts_with("http://"))
            .expect(&line);
        let (address, query) = url.trim_start_matches("http://").split_once('/').unwrap();
        let port = address.rsplit(':').next().unwrap();
        Server {
            address: format!("127.0.0.1:{port}"),
            query: query.to_owned(),
            told: line.clone(),
            child,
            data,
        }
    }

    /// Status line and headers of the answer to `GET path`.
    fn get(&self, path: &str, host: &str, more: &str) -> String {
        self.ask("GET", path, host, more, "")
    }

    /// Status line and headers of the answer.
    fn ask(&self, method: &str, path: &str, host: &str, more: &str, body: &str) -> String {
        let text = self.whole(method, path, host, more, body);
        text.split("\r\n\r\n").next().unwrap().to_owned()
    }

    /// The whole answer.
    fn whole(&self, method: &str, path: &str, host: &str, more: &str, body: &str) -> String {
        let mut stream = TcpStream::connect(&self.address).unwrap();
        write!(
            stream,
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\n{more}Connection: close\r\n\r\n{body}"
        )
        .unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).unwrap();
        String::from_utf8_lossy(&answer).into_owned()
    }

    fn status(&self, path: &str, host: &str, more: &str) -> u16 {
        self.get(path, host, more)[9..12].parse().unwrap()
    }
}

#[test]
fn loopback_needs_no_token_and_only_named_hosts_are_answered() {
    let server = Server::start(&["--listen", "127.0.0.1:0", "--allow-host", "bench.example"]);
    assert_eq!(server.query, "");
    assert_eq!(server.status("/", &server.address, ""), 200);
    assert_eq!(server.status("/", "bench.example:7117", ""), 200);
    assert_eq!(server.status("/", "elsewhere.example", ""), 403);
    assert_eq!(server.status("/", "192.0.2.7", ""), 403);
}

#[test]
fn beyond_loopback_needs_a_word_and_then_a_token_on_every_request() {
    let data = tempfile::tempdir().unwrap();
    let refused = Command::new(env!("CARGO_BIN_EXE_edgewitness"))
        .args(["serve", "--listen", "0.0.0.0:0", "--data"])
        .arg(data.path())
        .output()
        .unwrap();
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("--beyond-this-machine"));

    let server = Server::start(&["--listen", "0.0.0.0:0", "--beyond-this-machine"]);
    let token = server
        .query
        .strip_prefix("?edgewitness-token=")
        .expect("a token is told");
    for path in ["/", "/api/sessions", "/static/js/main.js", "/api/openapi.json"] {
        assert_eq!(server.status(path, &server.address, ""), 401, "{path}");
        let bearer = format!("Authorization: Bearer {token}\r\n");
        assert_eq!(server.status(path, &server.address, &bearer), 200, "{path}");
        // Another name than an address of this machine stays refused, token or not.
        assert_eq!(server.status(path, "elsewhere.example", &bearer), 403, "{path}");
    }
    let led = server.get(&format!("/{}", server.query), &server.address, "");
    assert!(led.starts_with("HTTP/1.1 303"), "{led}");
    let cookie = led
        .lines()
        .find_map(|l| l.strip_prefix("set-cookie: "))
        .expect(&led);
    let cookie = format!("Cookie: {}\r\n", cookie.split(';').next().unwrap());
    assert_eq!(server.status("/", &server.address, &cookie), 200);
    assert_eq!(server.status("/", "192.0.2.7:7117", &cookie), 200);

    // Who may look may also change things, and nobody else.
    let bearer = format!("Authorization: Bearer {token}\r\n");
    let body = "{\"title\":\"Tower\"}";
    let made = |header: &str| {
        let kind = "Content-Type: application/json\r\n";
        let more = format!("{kind}Content-Length: {}\r\n{header}", body.len());
        let answer = server.ask("POST", "/api/sessions", &server.address, &more, body);
        answer[9..12].parse::<u16>().unwrap()
    };
    assert_eq!((made(&bearer), made(&cookie)), (201, 201));
    assert_eq!(made(""), 401);
    let elsewhere = format!("{cookie}Origin: http://elsewhere.example\r\n");
    assert_eq!(made(&elsewhere), 403);
    let head = server.ask("HEAD", "/", &server.address, &cookie, "");
    assert!(head.starts_with("HTTP/1.1 200"), "{head}");
}

/// RFC 9110, section 12.5.1: a browser that opens an address accepts `text/html`; programs name JSON, `*/*` or nothing.
#[test]
fn who_brings_no_token_is_told_how_to_give_it_in_the_form_that_was_asked_for() {
    let server = Server::start(&["--listen", "0.0.0.0:0", "--beyond-this-machine"]);
    let token = server.query.strip_prefix("?edgewitness-token=").unwrap();
    let whole = |path: &str, host: &str, more: &str| server.whole("GET", path, host, more, "");
    let browser = "Accept: text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8\r\n";

    let page = whole("/sessions/1?run=2", &server.address, browser);
    assert!(page.starts_with("HTTP/1.1 401"), "{page}");
    let field = page.contains("name=\"edgewitness-token\"") && page.contains("action=\"/sessions/1\"");
    assert!(
        field && page.contains("<h1>This server needs its token"),
        "{page}"
    );
    assert!(page.contains("Authorization: Bearer TOKEN"), "{page}");
    // The page stands alone: what it would fetch is stopped as well.
    assert!(!page.contains("/static/") && !page.contains(token), "{page}");
    assert!(
        page.contains("content-security-policy: default-src 'none'"),
        "{page}"
    );
    let page = whole("//elsewhere.example/", &server.address, browser);
    assert!(page.contains("action=\"/\""), "{page}");

    // A token of the start before: the browser still has its cookie.
    let old = format!("{browser}Cookie: edgewitness-token={}\r\n", "0".repeat(64));
    let page = whole("/", &server.address, &old);
    assert!(page.contains("each start makes a new one"), "{page}");
    let page = whole("/", "tower.example", browser);
    assert!(
        page.starts_with("HTTP/1.1 403") && page.contains("--allow-host NAME") && page.contains("<h1>"),
        "{page}"
    );
    assert!(!page.contains("<form"), "{page}");

    for accept in ["", "Accept: */*\r\n", "Accept: application/json\r\n"] {
        let answer = whole("/", &server.address, accept);
        assert!(answer.contains("www-authenticate: Bearer"), "{answer}");
        assert!(
            answer.contains("{\"error\":\"This server listens beyond"),
            "{answer}"
        );
        assert!(answer.contains("Authorization: Bearer TOKEN"), "{answer}");
    }
}

#[test]
fn the_addresses_that_are_told_can_be_opened() {
    let mut server = Server::start(&["--listen", "0.0.0.0:0", "--beyond-this-machine"]);
    assert!(server.told.contains("http://127.0.0.1:"), "{}", server.told);
    let stdout = BufReader::new(server.child.stdout.as_mut().unwrap());
    let mut rest = String::new();
    // The line for programs is the last.
    for line in stdout.lines().map(Result::unwrap) {
        rest.push_str(&line);
        if line.starts_with("Programs send") {
            break;
        }
    }
    assert!(!rest.contains("http://0.0.0.0"), "{rest}");
    assert!(rest.contains("From another machine: "), "{rest}");
    assert!(rest.contains("Authorization: Bearer "), "{rest}");
}

#[test]
fn an_upload_above_the_limit_is_refused_before_it_is_read() {
    let server = Server::start(&["--listen", "127.0.0.1:0", "--upload-limit", "1000"]);
    let mut stream = TcpStream::connect(&server.address).unwrap();
    write!(
        stream,
        "POST /api/sessions/1/captures?name=a.csv HTTP/1.1\r\nHost: {}\r\nContent-Type: application/octet-stream\r\n\
         Content-Length: 1001\r\nConnection: close\r\n\r\n",
        server.address
    )
    .unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 413"), "{answer}");
    assert!(answer.contains("--upload-limit"), "{answer}");
}

/// A request that is only half there and an upload that stands still in its middle
/// are what a browser or an instrument's program leaves behind.
#[cfg(unix)]
#[test]
fn one_signal_ends_the_server_though_requests_are_half_sent() {
    for signal in ["-INT", "-TERM"] {
        let mut server = Server::start(&["--listen", "127.0.0.1:0"]);
        let mut made = TcpStream::connect(&server.address).unwrap();
        write!(
            made,
            "POST /api/sessions HTTP/1.1\r\nHost: {}\r\nContent-Type: application/json\r\nContent-Length: 13\r\n\
             Connection: close\r\n\r\n{{\"title\":\"A\"}}",
            server.address
        )
        .unwrap();
        let mut answer = String::new();
        made.read_to_string(&mut answer).unwrap();
        assert!(answer.starts_with("HTTP/1.1 201"), "{answer}");

        let mut half_open = TcpStream::connect(&server.address).unwrap();
        write!(half_open, "GET / HTTP/1.1\r\nHost: ").unwrap();
        let mut half_sent = TcpStream::connect(&server.address).unwrap();
        write!(
            half_sent,
            "POST /api/sessions/1/captures?name=a.csv HTTP/1.1\r\nHost: {}\r\n\
             Content-Type: application/octet-stream\r\nContent-Length: 1000\r\n\r\nTime,BEAT\n",
            server.address
        )
        .unwrap();
        // The server is in the middle of it once the upload has a file.
        let staged = || {
            std::fs::read_dir(server.data.path().join("staging"))
                .unwrap()
                .count()
        };
        wait_until("the upload has begun", || staged() == 1);

        let sent = Command::new("kill")
            .arg(signal)
            .arg(server.child.id().to_string())
            .status()
            .unwrap();
        assert!(sent.success());
        let child = &mut server.child;
        let mut ended = None;
        wait_until("the server has ended", || {
            ended = child.try_wait().unwrap();
            ended.is_some()
        });
        // An end by the signal itself has no code.
        assert_eq!(ended.and_then(|status| status.code()), Some(0), "{signal}");
        drop((half_open, half_sent));
    }
}

/// Looks again until it is so; a minute without that is "never".
#[cfg(unix)]
fn wait_until(what: &str, mut is_so: impl FnMut() -> bool) {
    let step = std::time::Duration::from_millis(20);
    for _ in 0..3000 {
        if is_so() {
            return;
        }
        std::thread::sleep(step);
    }
    panic!("not yet after a minute: {what}");
}

#[test]
fn a_taken_port_and_a_wrong_word_are_told_in_one_sentence_and_leave_nothing() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("not yet there");
    let refused = |words: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_edgewitness"))
            .arg("serve")
            .arg("--data")
            .arg(&data)
            .args(words)
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(2), "{words:?}");
        let told = String::from_utf8(output.stderr).unwrap();
        assert_eq!(told.lines().count(), 1, "{told}");
        assert!(!data.exists(), "{words:?}");
        told
    };
    let address = taken.local_addr().unwrap().to_string();
    let told = refused(&["--listen", &address]);
    assert!(
        told.contains(&format!("listening on {address}: is it taken?")),
        "{told}"
    );
    let told = refused(&["--listen", "7543"]);
    assert!(
        told.contains("expected an address and a port, such as 127.0.0.1:7543"),
        "{told}"
    );
    let told = refused(&["--port", "7541"]);
    assert!(
        told.contains("--listen 127.0.0.1:PORT") && !told.contains("Usage"),
        "{told}"
    );
    let told = refused(&["--lisen", "127.0.0.1:0"]);
    assert!(told.contains("'--listen'") && !told.contains("Usage"), "{told}");
}
