//! The name of a file in the store: the BLAKE3 digest of its bytes.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::Error;

/// 64 lower-case hexadecimal digits, always: safe to make a file name of.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Digest(String);

impl Digest {
    /// # Errors
    /// Unless `text` is 64 lower-case hexadecimal digits.
    pub fn parse(text: &str) -> Result<Digest, Error> {
        let is_digest = text.len() == 64 && text.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'));
        if is_digest {
            Ok(Digest(text.to_owned()))
        } else {
            Err(Error::Invalid(
                "expected a digest: 64 lower-case hexadecimal digits".to_owned(),
            ))
        }
    }

    /// The digest of `bytes`.
    pub fn of(bytes: &[u8]) -> Digest {
        Digest::from(blake3::hash(bytes))
    }

    /// 64 hexadecimal digits in lower case.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl From<blake3::Hash> for Digest {
    fn from(hash: blake3::Hash) -> Digest {
        Digest(hash.to_hex().to_string())
    }
}

impl TryFrom<String> for Digest {
    type Error = Error;
    fn try_from(text: String) -> Result<Digest, Error> {
        Digest::parse(&text)
    }
}

impl From<Digest> for String {
    fn from(digest: Digest) -> String {
        digest.0
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_digest_is_a_digest() {
        // BLAKE3's published value for the empty input, from the algorithm's own test vectors.
        let empty = "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262";
        assert_eq!(Digest::of(b"").as_str(), empty);
        assert!(Digest::parse(empty).is_ok());
        for wrong in ["", "../../etc/passwd", &empty[1..], &empty.to_uppercase()] {
            assert!(Digest::parse(wrong).is_err(), "{wrong}");
        }
    }
}
