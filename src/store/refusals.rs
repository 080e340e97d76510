//! Files of an upload that were not taken, and why; their bytes are not kept.

use super::uploads::{no_such_upload, upload_is_finished};
use super::{Store, StoreError, UploadId};

/// Most characters of a name, as the table allows.
const NAME_CHARACTERS: usize = 255;

impl Store {
    /// Notes that a file was not taken; the newest reason for a name counts.
    pub async fn add_refusal(
        &self,
        upload: UploadId,
        name: &str,
        reason: &str,
    ) -> Result<(), StoreError> {
        let name: String = match name {
            "" => "(no name)".to_owned(),
            name => name.chars().take(NAME_CHARACTERS).collect(),
        };
        sqlx::query(
            "INSERT INTO upload_refusals (upload_id, name, reason) VALUES (?1, ?2, ?3)
             ON CONFLICT (upload_id, name) DO UPDATE SET reason = excluded.reason",
        )
        .bind(upload)
        .bind(name)
        .bind(reason)
        .execute(&self.writer)
        .await?;
        Ok(())
    }

    /// Takes a note back: a file of this name was taken after all.
    pub async fn clear_refusal(&self, upload: UploadId, name: &str) -> Result<(), StoreError> {
        sqlx::query("DELETE FROM upload_refusals WHERE upload_id = ?1 AND name = ?2")
            .bind(upload)
            .bind(name)
            .execute(&self.writer)
            .await?;
        Ok(())
    }

    /// Names and reasons of files that were not taken, in natural order of the names.
    pub async fn refusals(&self, upload: UploadId) -> Result<Vec<(String, String)>, StoreError> {
        let mut refusals: Vec<(String, String)> =
            sqlx::query_as("SELECT name, reason FROM upload_refusals WHERE upload_id = ?1")
                .bind(upload)
                .fetch_all(&self.readers)
                .await?;
        refusals.sort_by(|a, b| natord::compare_ignore_case(&a.0, &b.0).then_with(|| a.cmp(b)));
        Ok(refusals)
    }

    /// Whether a file of this name may be sent: one of that name is there, or the upload is open and has fewer than `most`.
    /// # Errors: `Conflict` that says why it may not.
    pub async fn may_take(
        &self,
        upload: UploadId,
        name: &str,
        most: u32,
    ) -> Result<(), StoreError> {
        let found: Option<(bool, bool, i64)> = sqlx::query_as(
            "SELECT state = 'open', EXISTS (SELECT 1 FROM upload_files WHERE upload_id = ?1 AND name = ?2),
                    (SELECT count(*) FROM upload_files WHERE upload_id = ?1)
             FROM uploads WHERE id = ?1",
        )
        .bind(upload)
        .bind(name)
        .fetch_optional(&self.readers)
        .await?;
        match found {
            Some((_, true, _)) => Ok(()),
            Some((true, false, files)) if files < i64::from(most) => Ok(()),
            Some((true, false, files)) => Err(StoreError::Conflict(format!(
                "this upload has {files} files, which is the most that one may have; finish it and open another one"
            ))),
            Some((false, false, _)) => Err(upload_is_finished()),
            None => Err(no_such_upload()),
        }
    }

    /// How many files of an upload are stored.
    pub async fn upload_file_count(&self, upload: UploadId) -> Result<u64, StoreError> {
        let count: i64 =
            sqlx::query_scalar("SELECT count(*) FROM upload_files WHERE upload_id = ?1")
                .bind(upload)
                .fetch_one(&self.readers)
                .await?;
        Ok(count.unsigned_abs())
    }
}
