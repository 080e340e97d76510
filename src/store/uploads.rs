//! Uploads: what arrived, file by file, until it is finished and sorted into sweeps.

use super::{AccountId, Conditions, LensId, Store, StoreError, SweepId};
use crate::sweep::{FrameInfo, SweepSettings};

/// Key of an upload.
pub type UploadId = i64;

/// An upload.
#[derive(Debug, Clone)]
pub struct Upload {
    /// Key.
    pub id: UploadId,
    /// Whose it is.
    pub account: AccountId,
    /// Which lens it is of.
    pub lens: LensId,
    /// Whether it was finished.
    pub finished: bool,
    /// What the reviewer said of the shoot.
    pub conditions: Conditions,
    /// When it was opened, ms since 1970 UTC.
    pub created_ms: i64,
}

/// A file of an upload; its bytes are stored already.
#[derive(Debug, Clone)]
pub struct UploadFile {
    /// Path inside the card or zip with `/`, at most 255 characters.
    pub name: String,
    /// Hash of the bytes, 64 hex digits.
    pub sha256: String,
    /// How many bytes.
    pub bytes: u64,
    /// Why it is no frame; `None` for a frame.
    pub refused: Option<String>,
    /// What the file says of itself.
    pub info: FrameInfo,
}

/// A sweep that an upload was sorted into.
#[derive(Debug, Clone)]
pub struct SweepDraft {
    /// Name of the sweep.
    pub name: String,
    /// What the reviewer said, per sweep.
    pub settings: SweepSettings,
    /// Its frames, in file order.
    pub files: Vec<UploadFile>,
}

#[allow(unused_variables, clippy::unused_async)]
impl Store {
    /// Opens an upload.
    pub async fn open_upload(
        &self,
        account: AccountId,
        lens: LensId,
        conditions: &Conditions,
        now_ms: i64,
    ) -> Result<UploadId, StoreError> {
        unimplemented!()
    }
    /// The upload of this key.
    pub async fn upload(&self, id: UploadId) -> Result<Option<Upload>, StoreError> {
        unimplemented!()
    }
    /// Adds a file whose original is stored. The same name and hash again changes nothing. # Errors: `Conflict` for other bytes under the same name.
    pub async fn add_upload_file(
        &self,
        id: UploadId,
        file: &UploadFile,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        unimplemented!()
    }
    /// The files of an upload in natural order.
    pub async fn upload_files(&self, id: UploadId) -> Result<Vec<UploadFile>, StoreError> {
        unimplemented!()
    }
    /// Makes the sweeps with their frames and queues a job for each, all in one transaction; a finished upload gives the sweeps it was finished with.
    pub async fn finish_upload(
        &self,
        id: UploadId,
        sweeps: &[SweepDraft],
        now_ms: i64,
    ) -> Result<Vec<SweepId>, StoreError> {
        unimplemented!()
    }
    /// Hashes of all originals with their sizes, for `doctor`.
    pub async fn originals(&self) -> Result<Vec<(String, u64)>, StoreError> {
        unimplemented!()
    }
}
