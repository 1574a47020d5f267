//! Buses in tables: `NAME[7:0]` in a heading, several bits packed in a cell.

/// `NAME[7:0]`: most and least significant bit.
pub fn bus_range(name: &str) -> Option<(i64, i64)> {
    let inner = name.trim().strip_suffix(']')?;
    let (msb, lsb) = inner[inner.rfind('[')? + 1..].split_once(':')?;
    let index = |t: &str| t.trim().parse::<i64>().ok().filter(|n| (0..1024).contains(n));
    Some((index(msb)?, index(lsb)?))
}

/// Splits a heading into its name and the base that it says its cells are in: `DATA [hex]`, `DATA(binary)`, `DATA_hex`. Only
/// unmistakable words count without brackets: `MILL_DEC` is a name.
pub fn split_base(heading: &str) -> (&str, Option<u32>) {
    let base_of = |word: &str| match word.trim().to_ascii_lowercase().as_str() {
        "hex" | "hexadecimal" | "0x" | "base 16" => Some(16),
        "bin" | "binary" | "0b" | "base 2" => Some(2),
        "oct" | "octal" | "base 8" => Some(8),
        "dec" | "decimal" | "base 10" => Some(10),
        _ => None,
    };
    let heading = heading.trim();
    for (open, close) in [('(', ')'), ('[', ']'), ('{', '}')] {
        if let Some(inner) = heading.strip_suffix(close)
            && let Some(at) = inner.rfind(open).filter(|&at| at > 0)
            && let Some(base) = base_of(&inner[at + 1..])
        {
            return (heading[..at].trim_end(), Some(base));
        }
    }
    let loose = heading.rfind(['_', ' ']).filter(|&at| at > 0).and_then(|at| {
        let word = heading[at + 1..].to_ascii_lowercase();
        let is_plain = matches!(word.as_str(), "hex" | "hexadecimal" | "binary");
        Some((heading[..at].trim_end(), base_of(&word).filter(|_| is_plain)?))
    });
    loose.map_or((heading, None), |(name, base)| (name, Some(base)))
}

/// Digits of a packed cell, without what says its base.
pub fn digits_in(cell: &[u8]) -> usize {
    let text = String::from_utf8_lossy(cell).to_ascii_lowercase();
    let digits = match text.split_once('\'') {
        Some((_, digits)) => digits.get(1..).unwrap_or(""),
        None => ["0x", "$", "0b", "0o"]
            .iter()
            .find_map(|start| text.strip_prefix(start))
            .or_else(|| text.strip_suffix('h'))
            .unwrap_or(&text),
    };
    digits.bytes().filter(|&byte| byte != b'_').count()
}

/// Value and base of a packed cell that says its base: `0x1F`, `$1F`, `0b101`, `1Fh`, `8'h1F`.
pub fn packed(cell: &[u8]) -> Option<(u128, u32)> {
    let text = std::str::from_utf8(cell).ok()?;
    let lower = text.to_ascii_lowercase();
    if let Some((bits, digits)) = lower.split_once('\'') {
        let (base, digits) = match digits.split_at_checked(1)? {
            ("h", digits) => (16, digits),
            ("b", digits) => (2, digits),
            ("o", digits) => (8, digits),
            ("d", digits) => (10, digits),
            _ => return None,
        };
        if !bits.bytes().all(|b| b.is_ascii_digit()) || digits.starts_with(['+', '-']) {
            return None;
        }
        return u128::from_str_radix(digits, base).ok().map(|v| (v, base));
    }
    for (start, base) in [("0x", 16), ("$", 16), ("0b", 2), ("0o", 8)] {
        if let Some(digits) = lower.strip_prefix(start)
            && !digits.starts_with(['+', '-'])
        {
            return u128::from_str_radix(digits, base).ok().map(|v| (v, base));
        }
    }
    let digits = lower
        .strip_suffix('h')
        .filter(|d| !d.is_empty() && !d.starts_with(['+', '-']))?;
    u128::from_str_radix(digits, 16).ok().map(|v| (v, 16))
}

/// Whether a cell may hold bits without saying its base: hexadecimal digits, x and z.
pub fn may_be_packed(cell: &[u8]) -> bool {
    const MOST_DIGITS: usize = 128;
    (1..=MOST_DIGITS).contains(&cell.len())
        && cell
            .iter()
            .all(|b| b.is_ascii_hexdigit() || matches!(b, b'x' | b'X' | b'z' | b'Z' | b'_'))
}

/// Ones of a packed cell, and which places are unknown and floating.
pub fn bus_value(cell: &[u8], base: u32) -> Option<(u128, (u128, u128))> {
    // A hexadecimal cell may begin with 0b by chance.
    let by_chance = base == 16 && matches!(cell, [b'0', b'b' | b'B', ..]);
    if !by_chance && let Some((value, _)) = packed(cell) {
        return Some((value, (0, 0)));
    }
    let text = std::str::from_utf8(cell).ok()?;
    let text = text.strip_prefix("0x").unwrap_or(text);
    let text = match by_chance {
        true => text,
        false => text.strip_prefix("0b").unwrap_or(text),
    };
    if base == 10 {
        return text.parse::<u128>().ok().map(|v| (v, (0, 0)));
    }
    let (mut ones, mut unknown, mut floating) = (0u128, 0u128, 0u128);
    let width = base.ilog2();
    for c in text.chars() {
        if c == '_' {
            continue;
        }
        let mask = (1u128 << width) - 1;
        ones <<= width;
        unknown <<= width;
        floating <<= width;
        match c {
            'x' | 'X' => unknown |= mask,
            'z' | 'Z' => floating |= mask,
            c => ones |= u128::from(c.to_digit(base)?),
        }
    }
    Some((ones, (unknown, floating)))
}
