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

/// The eight ASCII digits of a word, the first in the lowest byte, as a number, pairwise; `None` where one is no digit.
#[inline(always)]
pub fn eight_digits(word: u64) -> Option<i64> {
    const ZEROS: u64 = 0x3030_3030_3030_3030;
    // Of digits' values only, the sum with this has no top bit; a byte that carries over has its own set.
    const BEYOND_NINE: u64 = 0x7676_7676_7676_7676;
    const TOPS: u64 = 0x8080_8080_8080_8080;
    let word = word ^ ZEROS;
    if (word | word.wrapping_add(BEYOND_NINE)) & TOPS != 0 {
        return None;
    }
    let word = (word.wrapping_mul(10) + (word >> 8)) & 0x00ff_00ff_00ff_00ff;
    let word = (word.wrapping_mul(100) + (word >> 16)) & 0x0000_ffff_0000_ffff;
    Some(i64::from((word.wrapping_mul(10_000) + (word >> 32)) as u32))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn eight_digits_of_a_word_are_those_of_its_text() {
        for text in ["00000000", "12345678", "99999999", "00000001", "10000000"] {
            let word = word_at(text.as_bytes(), 0);
            assert_eq!(eight_digits(word), text.parse::<i64>().ok());
        }
        for place in 0..8 {
            for byte in (0u8..=255).filter(|b| !b.is_ascii_digit()) {
                let mut text = *b"12345678";
                text[place] = byte;
                assert_eq!(eight_digits(word_at(&text, 0)), None, "{text:?}");
            }
        }
    }
}
