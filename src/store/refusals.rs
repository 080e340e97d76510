//! Files of an upload that were not taken, and why; their bytes are not kept.

use super::{Store, StoreError, UploadId};

#[allow(unused_variables, clippy::unused_async)]
impl Store {
    /// Notes that a file was not taken; a file of this name that is taken later clears the note.
    pub async fn add_refusal(
        &self,
        upload: UploadId,
        name: &str,
        reason: &str,
    ) -> Result<(), StoreError> {
        unimplemented!()
    }
    /// Names and reasons of files that were not taken and have not been replaced by one that was, by name.
    pub async fn refusals(&self, upload: UploadId) -> Result<Vec<(String, String)>, StoreError> {
        unimplemented!()
    }
    /// How many files of an upload are stored.
    pub async fn upload_file_count(&self, upload: UploadId) -> Result<u64, StoreError> {
        unimplemented!()
    }
}
