//! Originals: the files as they came, kept under the hash of their bytes and never changed.

use std::io::Read;
use std::path::{Path, PathBuf};

use super::IntakeError;

/// The folder of originals inside a data folder.
#[derive(Debug, Clone)]
pub struct Originals {
    folder: PathBuf,
    tmp: PathBuf,
}

/// An original that is safely on disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredOriginal {
    /// SHA-256 of the bytes, 64 lower-case hex digits.
    pub sha256: String,
    /// How many bytes.
    pub bytes: u64,
}

#[allow(unused_variables)]
impl Originals {
    /// Opens `originals/` and `tmp/` in a data folder, making them and sweeping left-overs out of `tmp/`.
    pub fn open(data: &Path) -> Result<Self, IntakeError> {
        unimplemented!()
    }
    /// Keeps the bytes: written to `tmp/`, hashed, fsynced, renamed to `originals/ab/cd/<sha256>`, the folders fsynced. The same bytes again change nothing. Refuses more than `max_bytes`, and none.
    pub fn keep(
        &self,
        bytes: &mut dyn Read,
        max_bytes: u64,
    ) -> Result<StoredOriginal, IntakeError> {
        unimplemented!()
    }
    /// The bytes of an original, checked against its hash.
    pub fn read(&self, sha256: &str) -> Result<Vec<u8>, IntakeError> {
        unimplemented!()
    }
    /// Where an original lies.
    pub fn path(&self, sha256: &str) -> PathBuf {
        unimplemented!()
    }
    /// Where unfinished files lie.
    pub fn tmp(&self) -> &Path {
        &self.tmp
    }
}
