//! Buses in tables: `NAME[7:0]` in a heading, several bits packed in a cell.

/// `NAME[7:0]`: most and least significant bit.
pub fn bus_range(name: &str) -> Option<(i64, i64)> {
    let inner = name.trim().strip_suffix(']')?;
    let (msb, lsb) = inner[inner.rfind('[')? + 1..].split_once(':')?;
    let index = |t: &str| t.trim().parse::<i64>().ok().filter(|n| (0..1024).contains(n));
    Some((index(msb)?, index(lsb)?))
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
    let text = std::str::from_utf8(cell)
        .ok()?
        .trim_start_matches("0x")
        .trim_start_matches("0b");
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
