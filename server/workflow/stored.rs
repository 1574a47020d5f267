//! Captures of a store: read once, then mapped from the columns that were kept.

use crate::ingest::{self, Progress, ReadOptions};
use crate::model::Capture;
use crate::store::{self, Digest, Store};

/// Why a stored capture could not be had.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error(transparent)]
    Store(#[from] store::Error),
    #[error(transparent)]
    File(#[from] ingest::Error),
    /// The stored original is not as long as what was brought.
    #[error(
        "{file} was {brought} bytes long when it was brought, and what is stored of it now is {found}: something else changed \
         it. Bring the same file again, under any name, and it takes its place; edgewitness doctor tells what else is wrong"
    )]
    Changed { file: String, brought: u64, found: u64 },
}

/// The capture in the original `digest`, called `file`, as read with `options`: from the columns kept when it was read
/// so before, else from the original, and then its columns are kept. Where they can't be kept (the disk is full, say) it
/// is read again the next time.
///
/// # Errors
/// There is no such original, or it can't be read.
pub fn read_stored(
    store: &Store,
    digest: &Digest,
    file: &str,
    options: &ReadOptions,
    progress: &dyn Progress,
) -> Result<Capture, Error> {
    let key = read_key(options);
    let changed = changed(store, digest, file)?;
    if let Some(mut capture) = store.kept_capture(digest, &key, file) {
        if let Some(changed) = changed {
            capture.warn(format!("{changed}. What is shown here was read before that"));
        }
        return Ok(capture);
    }
    let path = store.original_path(digest)?;
    if let Some(changed) = changed {
        return Err(changed);
    }
    let capture = ingest::read_file_as(&path, file, options, progress)?;
    match store.keep_capture(digest, &key, &capture) {
        Ok(Some(kept)) => Ok(kept),
        Ok(None) => Ok(capture),
        Err(error) => {
            tracing::warn!("the edge columns of {file} were not kept: {error}");
            Ok(capture)
        }
    }
}

/// Whether the original has another length than what was brought: its digest is for the doctor, but a length costs nothing.
fn changed(store: &Store, digest: &Digest, file: &str) -> Result<Option<Error>, Error> {
    // One that is not there at all is told when it is needed.
    let Ok(data) = store.original_path(digest).map(std::fs::metadata) else {
        return Ok(None);
    };
    let found = data.map_or(0, |data| data.len());
    let brought = store.original_size(digest)?.filter(|brought| *brought != found);
    Ok(brought.map(|brought| Error::Changed {
        file: file.to_owned(),
        brought,
        found,
    }))
}

/// Names the reader and all that it was told: the options as JSON, every field by name. What it was told otherwise has
/// another key; the same has the same one in every build of a version.
fn read_key(options: &ReadOptions) -> String {
    let told = serde_json::to_string(options).expect("options have text keys");
    format!("{} {} {told}", env!("CARGO_PKG_VERSION"), ingest::VERSION)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{ColumnKind, Family, TableForm, Thresholds};

    /// Written out by hand from the fields' names: what is kept under a key is lost where this changes.
    #[test]
    fn the_key_is_the_versions_and_the_options_as_json() {
        let family = Family {
            name: "ttl-5v".to_owned(),
            thresholds: Thresholds {
                low_v: 0.8,
                high_v: 2.0,
            },
        };
        let options = ReadOptions {
            timescale_s: Some(1e-9),
            families: [("SENSE".to_owned(), family.clone())].into(),
            family: Some(family),
            columns: [
                ("2".to_owned(), ColumnKind::Bus { bits: 8, base: 16 }),
                ("NOTE".to_owned(), ColumnKind::Analog),
            ]
            .into(),
            time_unit_s: Some(0.1),
            sample_period_s: None,
            delimiter: Some(b';'),
            decimal: Some(b','),
            form: Some(TableForm::Changes),
            ..ReadOptions::default()
        };
        let family = r#"{"name":"ttl-5v","thresholds":{"low_v":0.8,"high_v":2.0}}"#;
        let limits = concat!(
            r#"{"lines":100000,"columns":20000,"token_bytes":4194304,"stretches":3000000,"runts":1000000,"#,
            r#""buffered_edges":4194304,"real_changes":2000000,"streamed_bytes":8589934592,"#,
            r#""unpacked_bytes":274877906944,"gzip_ratio":900,"gzip_ratio_from":268435456,"#,
            r#""gap_samples":16777216,"scopes":4096}"#
        );
        let told = format!(
            concat!(
                r#"{{"timescale_s":1e-9,"families":{{"SENSE":{family}}},"family":{family},"#,
                r#""columns":{{"2":{{"Bus":{{"bits":8,"base":16}}}},"NOTE":"Analog"}},"time_unit_s":0.1,"#,
                r#""sample_period_s":null,"delimiter":59,"decimal":44,"form":"Changes","plain":false,"#,
                r#""limits":{limits}}}"#
            ),
            family = family,
            limits = limits
        );
        let versions = format!("{} {}", env!("CARGO_PKG_VERSION"), ingest::VERSION);
        assert_eq!(read_key(&options), format!("{versions} {told}"));
    }

    #[test]
    fn whatever_the_reader_was_told_makes_a_key_of_its_own() {
        let usual = ReadOptions::default();
        let told = |tell: fn(&mut ReadOptions)| {
            let mut options = usual.clone();
            tell(&mut options);
            read_key(&options)
        };
        let keys = [
            read_key(&usual),
            told(|o| o.timescale_s = Some(1e-9)),
            told(|o| o.time_unit_s = Some(1e-9)),
            told(|o| o.sample_period_s = Some(1e-9)),
            // Two neighbouring doubles are two periods.
            told(|o| o.sample_period_s = Some(1e-9f64.next_up())),
            told(|o| o.delimiter = Some(b',')),
            told(|o| o.decimal = Some(b',')),
            told(|o| o.form = Some(TableForm::Samples)),
            told(|o| o.columns = [("NOTE".to_owned(), ColumnKind::Ignore)].into()),
            told(|o| o.columns = [("BEAT".to_owned(), ColumnKind::Ignore)].into()),
            told(|o| o.plain = true),
            told(|o| o.limits.lines = 7),
        ];
        let distinct: std::collections::BTreeSet<&String> = keys.iter().collect();
        assert_eq!(distinct.len(), keys.len());
        assert_eq!(told(|_| {}), read_key(&usual));
    }
}
