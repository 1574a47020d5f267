//! Cells in quotes: `"0.000000042","0","1"`. Where the quotes enclose whole plain cells they are taken off, and the rows
//! are read like any others.

use crate::ingest::blocks::PADDING;

/// Puts `bytes` without their quotes into `room`, [`PADDING`] bytes more at its end; `None` where a quote does not
/// enclose a whole cell, or encloses a delimiter, a line end or another quote.
pub fn unquoted<'r>(bytes: &[u8], delimiter: u8, room: &'r mut Vec<u8>) -> Option<&'r [u8]> {
    let begins = |byte: Option<&u8>| byte.is_none_or(|&b| b == delimiter || b == b'\n');
    let ends = |byte: Option<&u8>| byte.is_none_or(|&b| b == delimiter || matches!(b, b'\r' | b'\n'));
    room.clear();
    let mut at = 0;
    while let Some(open) = memchr::memchr(b'"', &bytes[at..]).map(|n| at + n) {
        let close = open + 1 + memchr::memchr(b'"', &bytes[open + 1..])?;
        let cell = &bytes[open + 1..close];
        let before = open.checked_sub(1).and_then(|n| bytes.get(n));
        if !begins(before) || !ends(bytes.get(close + 1)) || cell.iter().any(|&b| b == delimiter || b < b' ')
        {
            return None;
        }
        room.extend_from_slice(&bytes[at..open]);
        room.extend_from_slice(cell);
        at = close + 1;
    }
    room.extend_from_slice(&bytes[at..]);
    room.resize(room.len() + PADDING, 0);
    Some(room)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quotes_are_taken_off_whole_cells_only() {
        let off = |text: &str| {
            let mut room = Vec::new();
            let bytes = unquoted(text.as_bytes(), b',', &mut room)?;
            Some(String::from_utf8_lossy(&bytes[..bytes.len() - PADDING]).into_owned())
        };
        assert_eq!(
            off("\"0.1\",0,\"1\"\r\n\"0.2\",\"\",1").as_deref(),
            Some("0.1,0,1\r\n0.2,,1")
        );
        assert_eq!(off("0.1,0\n").as_deref(), Some("0.1,0\n"));
        for strange in [
            "\"0,1\",0\n",
            "\"0\"1\",0\n",
            "0\"1\",0\n",
            "\"0\n",
            "\"0\n\",1\n",
            "\"0\"\"\",1\n",
            "\"0\" ,1\n",
        ] {
            assert_eq!(off(strange), None, "{strange}");
        }
    }
}
