//! Backups: database and originals in one zip file that is checked before it is called good, and the way back.
//!
//! A backup holds `manifest.json`, `breathmark.sqlite` (one state of the database, without its log) and every original
//! of that state under `originals/ab/cd/<sha256>`. Originals name their own hash, the manifest that of the database, so
//! that every byte can be checked.

mod restore;
mod write;

use std::io::{Read, Seek};
use std::path::PathBuf;

use serde::{Deserialize, Serialize};
use zip::ZipArchive;
use zip::result::ZipError;

use crate::intake::{IntakeError, is_sha256};
use crate::store::StoreError;

pub use restore::restore;
pub use write::write;

/// Name of the database inside a backup and a data folder.
const DATABASE: &str = "breathmark.sqlite";
/// Name of the manifest inside a backup.
const MANIFEST: &str = "manifest.json";
/// The manifest is a few hundred bytes; more is none of ours.
const MANIFEST_BYTES: u64 = 64 << 10;
/// Bytes copied at a time.
const CHUNK: usize = 256 << 10;

/// What is in a backup.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Manifest {
    /// Version of the program that made it.
    pub breathmark: String,
    /// When it was made, ms since 1970 UTC.
    pub made_ms: i64,
    /// SHA-256 of the database file, hex.
    pub database_sha256: String,
    /// How many originals.
    pub originals: usize,
}

/// Why there is no backup, or no restored data folder.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// The file to be written is there already.
    #[error("{} is there already; give a new name", .0.display())]
    Exists(PathBuf),
    /// The folder to restore into holds something.
    #[error("{} is not empty and is left alone; restore into a new folder with --data", .0.display())]
    NotEmpty(PathBuf),
    /// The file is no backup, or not all of one.
    #[error("the backup is damaged: {0}; nothing was restored, take another backup")]
    Damaged(String),
    /// The file that is to be restored is nothing that a backup could be read from.
    #[error("{} {why}; nothing was restored, name a file that `breathmark backup` wrote", .path.display())]
    NoBackup {
        /// Which file.
        path: PathBuf,
        /// What is there instead.
        why: &'static str,
    },
    /// What is to be backed up is damaged already.
    #[error("no backup was made: {0}; `breathmark doctor` says what to do")]
    Harm(String),
    /// The database can't be read or written.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// An original can't be read.
    #[error(transparent)]
    Original(#[from] IntakeError),
    /// A file can't be read or written.
    #[error("{}: {cause}", .path.display())]
    File {
        /// Which file or folder.
        path: PathBuf,
        /// What the system says.
        cause: std::io::Error,
    },
}

impl BackupError {
    fn file(path: impl Into<PathBuf>) -> impl FnOnce(std::io::Error) -> Self {
        let path = path.into();
        move |cause| Self::File { path, cause }
    }
}

/// What a zip archive complains of when it is read back.
fn damaged(error: ZipError) -> BackupError {
    BackupError::Damaged(error.to_string())
}

/// Reads the manifest.
fn manifest<R: Read + Seek>(archive: &mut ZipArchive<R>) -> Result<Manifest, BackupError> {
    let mut text = Vec::new();
    archive
        .by_name(MANIFEST)
        .map_err(|_| BackupError::Damaged("it has no manifest, so it is no backup".to_owned()))?
        .take(MANIFEST_BYTES)
        .read_to_end(&mut text)
        .map_err(|error| BackupError::Damaged(error.to_string()))?;
    serde_json::from_slice(&text)
        .map_err(|error| BackupError::Damaged(format!("its manifest can't be read ({error})")))
}

/// The hash that an entry's content must have; `None` for names that have no place in a backup.
fn expected_hash<'a>(name: &'a str, manifest: &'a Manifest) -> Option<&'a str> {
    if name == DATABASE {
        return Some(&manifest.database_sha256);
    }
    let [first, second, hash] = *name
        .strip_prefix("originals/")?
        .split('/')
        .collect::<Vec<_>>()
    else {
        return None;
    };
    (is_sha256(hash) && first == &hash[..2] && second == &hash[2..4]).then_some(hash)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_database_and_originals_have_a_place() {
        let manifest = Manifest {
            breathmark: "0.1.0".to_owned(),
            made_ms: 0,
            database_sha256: "d".repeat(64),
            originals: 1,
        };
        let hash = "ab12".repeat(16);
        let expected = |name: &str| expected_hash(name, &manifest).map(str::to_owned);
        assert_eq!(expected(DATABASE), Some("d".repeat(64)));
        assert_eq!(
            expected(&format!("originals/ab/12/{hash}")),
            Some(hash.clone())
        );
        for stray in [
            "originals/../../etc/passwd".to_owned(),
            format!("originals/ab/13/{hash}"),
            format!("originals/{hash}"),
            format!("/originals/ab/12/{hash}"),
            format!("originals/ab/12/{hash}/x"),
            format!("originals/ab/12/{}", hash.to_uppercase()),
            "originals/é/é/é".to_owned(),
            "breathmark.lock".to_owned(),
            String::new(),
        ] {
            assert_eq!(expected(&stray), None, "{stray}");
        }
    }
}
