//! Eight ASCII digits at once, in one machine word.

/// Eight bytes from `at` on, the first in the lowest place.
///
/// # Panics
/// If there are fewer.
#[inline]
pub fn word_at(bytes: &[u8], at: usize) -> u64 {
    let mut word = [0u8; 8];
    word.copy_from_slice(&bytes[at..at + 8]);
    u64::from_le_bytes(word)
}

/// Whether all eight bytes are digits.
#[inline]
pub fn is_eight_digits(word: u64) -> bool {
    const HIGH: u64 = 0xf0f0_f0f0_f0f0_f0f0;
    const THREES: u64 = 0x3030_3030_3030_3030;
    const SIXES: u64 = 0x0606_0606_0606_0606;
    (word & HIGH) == THREES && (word.wrapping_add(SIXES) & HIGH) == THREES
}

/// Eight ASCII digits, the first in the lowest byte, pairwise.
#[inline]
pub fn eight_digits(word: u64) -> i64 {
    let word = word & 0x0f0f_0f0f_0f0f_0f0f;
    let word = (word.wrapping_mul(10) + (word >> 8)) & 0x00ff_00ff_00ff_00ff;
    let word = (word.wrapping_mul(100) + (word >> 16)) & 0x0000_ffff_0000_ffff;
    (word.wrapping_mul(10_000) + (word >> 32)) as u32 as i64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_agree_with_text() {
        for text in ["00000000", "12345678", "99999999", "00000001", "10000000"] {
            let word = word_at(text.as_bytes(), 0);
            assert!(is_eight_digits(word));
            assert_eq!(eight_digits(word), text.parse::<i64>().unwrap());
        }
        for place in 0..8 {
            for byte in (0u8..=255).filter(|b| !b.is_ascii_digit()) {
                let mut text = *b"12345678";
                text[place] = byte;
                assert!(!is_eight_digits(word_at(&text, 0)), "{text:?}");
            }
        }
    }
}
