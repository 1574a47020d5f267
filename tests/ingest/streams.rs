//! Streams: those that never end, what they leave on the disk, and a file that is not there.

use edgewitness::ingest::{self, ReadOptions};

/// Bytes without end; counts what was taken of them.
struct Endless(u8, usize);

impl std::io::Read for Endless {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        assert!(self.1 < 1 << 20, "took a megabyte of what is no capture");
        buffer.fill(self.0);
        self.1 += buffer.len();
        Ok(buffer.len())
    }
}

#[test]
fn an_endless_stream_that_is_no_capture_is_refused_at_its_start() {
    let mut zeros = Endless(0, 0);
    let error = ingest::read_stream("standard input", &mut zeros, &ReadOptions::default(), &()).unwrap_err();
    assert!(error.to_string().contains("binary data"), "{error}");
    assert!(zeros.1 <= 256 << 10, "{} bytes taken", zeros.1);
}

/// A table that never ends; counts its bytes.
struct EndlessTable(u64);

impl std::io::Read for EndlessTable {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        const ROW: &[u8; 5] = b"17,0\n";
        buffer
            .iter_mut()
            .enumerate()
            .for_each(|(i, byte)| *byte = ROW[(self.0 as usize + i) % 5]);
        self.0 += buffer.len() as u64;
        Ok(buffer.len())
    }
}

#[test]
fn an_endless_table_does_not_fill_the_disk() {
    let mut options = ReadOptions::default();
    options.limits.streamed_bytes = 2 << 20;
    let mut table = EndlessTable(0);
    let error = ingest::read_stream("standard input", &mut table, &options, &()).unwrap_err();
    let text = error.to_string();
    assert!(
        text.contains("the limit of 2097152: end the stream, or write it to a file"),
        "{text}"
    );
    assert!(table.0 < 3 << 20);
}

/// Looks for files of its own among the temporary ones when all is read.
#[cfg(target_os = "linux")]
struct Watching(std::io::Cursor<String>);

#[cfg(target_os = "linux")]
impl std::io::Read for Watching {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let n = self.0.read(buffer)?;
        if n == 0 {
            let own = format!("edgewitness-{}-", std::process::id());
            for folder in std::fs::read_dir(std::env::temp_dir())?.flatten() {
                let is_own = folder.file_name().to_string_lossy().starts_with(&own);
                let is_named = || folder.path().join("stream").exists();
                // Another test's stream has a name for an instant, until it is opened.
                let stays = is_own && is_named() && {
                    std::thread::sleep(std::time::Duration::from_millis(100));
                    is_named()
                };
                assert!(!stays, "{:?}", folder.path());
            }
        }
        Ok(n)
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_stream_leaves_no_name_on_the_disk_and_is_read_whole() {
    let rows: String = (0..20_000).map(|i| format!("{i},{}\n", i % 2)).collect();
    assert!(rows.len() > 128 << 10, "more than what is looked at first");
    let stream = Watching(std::io::Cursor::new(format!("time,A\n{rows}")));
    let capture = ingest::read_stream("standard input", stream, &ReadOptions::default(), &()).unwrap();
    assert_eq!(capture.lines[0].edges.len(), 19_999);
}

#[test]
fn a_file_that_is_not_there_is_told_in_a_sentence() {
    let path = std::env::temp_dir().join("no-such-folder").join("nope.vcd");
    let error = ingest::read_file(&path, &ReadOptions::default(), &())
        .unwrap_err()
        .to_string();
    let expected = format!("nope.vcd: there is no file {}: check its name", path.display());
    assert!(error.starts_with(&expected), "{error}");
    assert!(!error.contains("os error"), "{error}");
}
