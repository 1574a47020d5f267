//! Asking a server over one connection, as a browser that keeps it open does.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// Asks for `path` and reads the whole answer: how long that took, and the body.
pub fn ask(stream: &mut BufReader<TcpStream>, path: &str) -> (Duration, Vec<u8>) {
    let request = format!("GET {path} HTTP/1.1\r\nHost: localhost\r\n\r\n");
    let begun = Instant::now();
    stream
        .get_mut()
        .write_all(request.as_bytes())
        .expect("the server is there");
    let (mut length, mut line) = (0, String::new());
    loop {
        line.clear();
        stream.read_line(&mut line).expect("an answer");
        let low = line.to_ascii_lowercase();
        if let Some(text) = low.strip_prefix("content-length:") {
            length = text.trim().parse().expect("a number");
        }
        if line == "\r\n" {
            break;
        }
        assert!(!low.starts_with("http/1.1 ") || low.contains("200"), "{line}");
    }
    let mut body = vec![0; length];
    stream.read_exact(&mut body).expect("the whole answer");
    (begun.elapsed(), body)
}
