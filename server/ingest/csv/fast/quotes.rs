//! Cells in quotes: `"0.000000042","0","1"`. Where the quotes enclose whole plain cells they are taken off, and the rows
//! are read like any others.

use crate::ingest::blocks::PADDING;

/// Puts `bytes` without their quotes into `room`, [`PADDING`] bytes more at its end; `None` where a quote does not
/// enclose a whole cell, or encloses a delimiter, a line end or another quote.
pub fn unquoted<'r>(bytes: &[u8], delimiter: u8, room: &'r mut Vec<u8>) -> Option<&'r [u8]> {
    let begins = |byte: Option<&u8>| byte.is_none_or(|&b| b == delimiter || b == b'\n');
    let ends = |byte: Option<&u8>| byte.is_none_or(|&b| b == delimiter || matches!(b, b'\r' | b'\n'));
    room.clear();
    room.reserve(bytes.len() + PADDING);
    let (mut inside, mut strange) = (false, false);
    for (at, &byte) in bytes.iter().enumerate() {
        if byte == b'"' {
            strange |= if inside {
                !ends(bytes.get(at + 1))
            } else {
                !begins(bytes[..at].last())
            };
            inside = !inside;
        } else {
            strange |= inside & ((byte == delimiter) | (byte < b' '));
            room.push(byte);
        }
    }
    if inside || strange {
        return None;
    }
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
