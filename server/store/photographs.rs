//! Photographs: PNG or JPEG, told by their content, of limited size, kept as brought.

use serde::{Deserialize, Serialize};

use super::{Digest, Entry, EntryId, Error, Kind, SessionId, Store};

/// The forms that a photograph may have.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum Picture {
    Png,
    Jpeg,
}

impl Picture {
    /// The kind of picture that `bytes` begin as: PNG by its signature (W3C PNG, section 5.2), JPEG by its
    /// start-of-image and following marker (ITU-T T.81, annex B).
    pub fn sniff(bytes: &[u8]) -> Option<Picture> {
        if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
            Some(Picture::Png)
        } else if bytes.starts_with(&[0xff, 0xd8, 0xff]) {
            Some(Picture::Jpeg)
        } else {
            None
        }
    }

    /// Media type (RFC 2046).
    pub fn content_type(self) -> &'static str {
        match self {
            Picture::Png => "image/png",
            Picture::Jpeg => "image/jpeg",
        }
    }
}

/// A photograph of the bench.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Photograph {
    pub file: String,
    #[schema(value_type = String)]
    pub digest: Digest,
    pub size_bytes: u64,
    pub picture: Picture,
    #[serde(default)]
    pub caption: String,
    #[serde(default)]
    pub condition: Option<EntryId>,
}

impl Photograph {
    /// Most bytes of one photograph: what a phone makes fits, a report with a few stays easy to send.
    pub const LIMIT_BYTES: u64 = 10_000_000;
}

impl Kind for Photograph {
    const KIND: &'static str = "photograph";

    fn digest(&self) -> Option<&Digest> {
        Some(&self.digest)
    }
}

impl Store {
    /// Stores a photograph and adds it to a session.
    ///
    /// # Errors
    /// It is neither PNG nor JPEG, too large, there is no such session, or the disk's own.
    pub fn add_photograph(
        &self,
        session: SessionId,
        name: &str,
        bytes: &[u8],
        caption: &str,
    ) -> Result<Entry<Photograph>, Error> {
        let Some(picture) = Picture::sniff(bytes) else {
            let message = format!("{name} is neither PNG nor JPEG: expected a photograph in one of these");
            return Err(Error::Invalid(message));
        };
        self.session(session)?;
        let stored = self.store_from(name, bytes, Photograph::LIMIT_BYTES)?;
        self.add(
            session,
            &Photograph {
                file: stored.name,
                digest: stored.digest,
                size_bytes: stored.size_bytes,
                picture,
                caption: caption.to_owned(),
                condition: None,
            },
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::test_evening;

    #[test]
    fn pictures_are_told_by_content_and_limited() {
        let (_folder, store, id) = test_evening();
        let mut jpeg = vec![0xff, 0xd8, 0xff, 0xe0];
        let added = store
            .add_photograph(id, "bench.png", &jpeg, "the harness")
            .unwrap();
        assert_eq!(added.value.picture, Picture::Jpeg);
        assert!(store.original_path(&added.value.digest).unwrap().is_file());
        let svg = b"<svg onload=alert(1)>";
        assert!(
            store
                .add_photograph(id, "a.png", svg, "")
                .unwrap_err()
                .to_string()
                .contains("neither")
        );
        jpeg.resize(Photograph::LIMIT_BYTES as usize + 1, 0);
        assert!(matches!(
            store.add_photograph(id, "a.jpg", &jpeg, ""),
            Err(Error::TooLarge { .. })
        ));
        assert_eq!(store.entries::<Photograph>(id).unwrap().len(), 1);
    }
}
