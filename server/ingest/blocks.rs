//! A file in blocks that end at line ends, worked on by all cores, handed over in order.

use std::fs::File;
use std::io;
use std::os::unix::fs::FileExt;
use std::path::Path;
use std::sync::mpsc::sync_channel;

/// Bytes of a block.
const BLOCK: usize = 1 << 20;
/// A line that runs this far over the end of its block is not for the fast path.
const OVERHANG: usize = 64 << 10;
/// Bytes that can be read behind a block.
pub const PADDING: usize = 256;
/// Finished blocks that may wait, for each worker.
const WAITING: usize = 2;

/// One block: whole lines of the file.
pub struct Block<'a> {
    /// As they stand in the file.
    pub bytes: &'a [u8],
    /// The same and [`PADDING`] bytes more, of any worth: whoever reads words need not look where the block ends.
    pub padded: &'a [u8],
    /// Where it lies in the file.
    pub offset: u64,
}

/// Parses the lines of `path` from byte `from` (the start of a line) on with `parse`, block by block on all
/// cores, and hands the results to `take` in order; stops when `take` says false. Every worker has a value of
/// `begin` to itself. Memory: a few blocks and results.
///
/// # Errors
/// A failing disk, or what `take` failed with.
pub fn for_each<S, T: Send, E: From<io::Error>>(
    path: &Path,
    from: u64,
    begin: impl Fn() -> S + Sync,
    parse: impl Fn(&mut S, Option<Block>) -> T + Sync,
    mut take: impl FnMut(T) -> Result<bool, E>,
) -> Result<(), E> {
    let file = File::open(path)?;
    let size = file.metadata()?.len();
    let blocks = size.saturating_sub(from).div_ceil(BLOCK as u64);
    let workers = std::thread::available_parallelism().map_or(1, |n| n.get()).min(8) as u64;
    std::thread::scope(|scope| {
        let mut inboxes = Vec::new();
        for worker in 0..workers {
            let (sender, inbox) = sync_channel::<io::Result<T>>(WAITING);
            inboxes.push(inbox);
            let (file, begin, parse) = (&file, &begin, &parse);
            scope.spawn(move || {
                let mut buffer = vec![0u8; BLOCK + OVERHANG + 1 + PADDING];
                let mut state = begin();
                let mut block = worker;
                while block < blocks {
                    let result = whole_lines(file, from, size, block, &mut buffer).map(|found| {
                        let found = found.map(|(start, end, offset)| Block {
                            bytes: &buffer[start..end],
                            padded: &buffer[start..end + PADDING],
                            offset,
                        });
                        parse(&mut state, found)
                    });
                    // The other end is gone when the taker has had enough.
                    if sender.send(result).is_err() {
                        return;
                    }
                    block += workers;
                }
            });
        }
        for block in 0..blocks {
            let inbox = &inboxes[(block % workers) as usize];
            let result = inbox
                .recv()
                .map_err(|_| io::Error::other("a reading thread ended early"))??;
            if !take(result)? {
                break;
            }
        }
        drop(inboxes);
        Ok(())
    })
}

/// Reads block number `block`: the lines that begin in it. `None` where one is too long.
fn whole_lines(
    file: &File,
    from: u64,
    size: u64,
    block: u64,
    buffer: &mut [u8],
) -> io::Result<Option<(usize, usize, u64)>> {
    let start = from + block * BLOCK as u64;
    // One byte before tells whether a line begins right here.
    let read_from = if block == 0 { start } else { start - 1 };
    let want = (size - read_from).min((buffer.len() - PADDING) as u64) as usize;
    file.read_exact_at(&mut buffer[..want], read_from)?;
    let bytes = &buffer[..want];
    let lead = if block == 0 {
        0
    } else {
        match memchr::memchr(b'\n', bytes) {
            Some(n) => n + 1,
            None if read_from + want as u64 == size => want,
            None => return Ok(None),
        }
    };
    let nominal = (start + BLOCK as u64 - read_from) as usize;
    let end = if want <= nominal {
        want
    } else {
        match memchr::memchr(b'\n', &bytes[nominal - 1..]) {
            Some(n) => nominal + n,
            None if read_from + want as u64 == size => want,
            None => return Ok(None),
        }
    };
    let lead = lead.min(end);
    Ok(Some((lead, end, read_from + lead as u64)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blocks_hold_every_line_once() {
        let folder = crate::ingest::columns::SpillFolder::new();
        let path = folder.file("lines").unwrap();
        let mut text = Vec::new();
        let mut state = 1u64;
        while text.len() < 5 << 20 {
            state = state
                .wrapping_mul(6364136223846793005)
                .wrapping_add(1442695040888963407);
            text.extend(std::iter::repeat_n(
                b'a' + (state >> 60) as u8,
                (state >> 33) as usize % 300,
            ));
            text.push(b'\n');
        }
        text.extend(b"no line end");
        for skip in [0usize, 17] {
            let from = if skip == 0 {
                0
            } else {
                text.iter().position(|&b| b == b'\n').unwrap() + 1
            };
            std::fs::write(&path, &text).unwrap();
            let mut whole = Vec::new();
            for_each::<_, _, io::Error>(
                &path,
                from as u64,
                || (),
                |(), block| block.map(|b| (b.offset, b.bytes.to_vec())).unwrap(),
                |(offset, bytes)| {
                    assert_eq!(offset as usize, from + whole.len());
                    whole.extend(bytes);
                    Ok(true)
                },
            )
            .unwrap();
            assert!(whole == text[from..]);
        }
    }
}
