//! Uploads: what arrived, file by file, until it is finished and sorted into sweeps.

use sqlx::SqliteConnection;

use super::cameras::{camera_named, note_derived_width};
use super::document::{ConditionsDoc, FrameInfoDoc, SettingsDoc, decode, encode};
use super::jobs::queue;
use super::{AccountId, Conditions, LensId, Store, StoreError, SweepId};
use crate::sweep::{FrameInfo, SweepSettings};
use crate::units::Millimetres;

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
    /// Lens that it is of, where that is not the one that the upload was opened for.
    pub lens: Option<LensId>,
}

#[derive(sqlx::FromRow)]
struct UploadRow {
    id: i64,
    account_id: i64,
    lens_id: i64,
    state: String,
    conditions: String,
    created_ms: i64,
}

impl UploadRow {
    fn read(self) -> Result<Upload, StoreError> {
        Ok(Upload {
            id: self.id,
            account: self.account_id,
            lens: self.lens_id,
            finished: self.state == "finished",
            conditions: decode::<ConditionsDoc>(&self.conditions)?.read()?,
            created_ms: self.created_ms,
        })
    }
}

pub(super) fn no_such_upload() -> StoreError {
    StoreError::Conflict("there is no such upload".to_owned())
}

pub(super) fn upload_is_finished() -> StoreError {
    StoreError::Conflict("this upload is finished; open a new one for more frames".to_owned())
}

impl Store {
    /// Opens an upload. # Errors: `Conflict` when there is no such account or lens.
    pub async fn open_upload(
        &self,
        account: AccountId,
        lens: LensId,
        conditions: &Conditions,
        now_ms: i64,
    ) -> Result<UploadId, StoreError> {
        Ok(sqlx::query_scalar(
            "INSERT INTO uploads (account_id, lens_id, state, conditions, created_ms) VALUES (?1, ?2, 'open', ?3, ?4) RETURNING id",
        )
        .bind(account)
        .bind(lens)
        .bind(encode(&ConditionsDoc::of(conditions))?)
        .bind(now_ms)
        .fetch_one(&self.writer)
        .await?)
    }

    /// The upload of this key.
    pub async fn upload(&self, id: UploadId) -> Result<Option<Upload>, StoreError> {
        sqlx::query_as::<_, UploadRow>(
            "SELECT id, account_id, lens_id, state, conditions, created_ms FROM uploads WHERE id = ?1",
        )
        .bind(id)
        .fetch_optional(&self.readers)
        .await?
        .map(UploadRow::read)
        .transpose()
    }

    /// The uploads of an account that were not finished, newest first.
    pub async fn open_uploads(&self, account: AccountId) -> Result<Vec<Upload>, StoreError> {
        sqlx::query_as::<_, UploadRow>(
            "SELECT id, account_id, lens_id, state, conditions, created_ms FROM uploads
             WHERE account_id = ?1 AND state = 'open' ORDER BY id DESC",
        )
        .bind(account)
        .fetch_all(&self.readers)
        .await?
        .into_iter()
        .map(UploadRow::read)
        .collect()
    }

    /// Adds a file whose original is stored. The same name and hash again changes nothing.
    /// # Errors: `OtherBytes` for other bytes under the same name, `Conflict` for an upload that is finished or not there.
    pub async fn add_upload_file(
        &self,
        id: UploadId,
        file: &UploadFile,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let bytes = stored_size(file)?;
        let mut write = self.write().await?;
        let there: Option<String> = sqlx::query_scalar(
            "SELECT sha256 FROM upload_files WHERE upload_id = ?1 AND name = ?2",
        )
        .bind(id)
        .bind(&file.name)
        .fetch_optional(&mut *write)
        .await?;
        match there {
            Some(sha256) if sha256 == file.sha256 => return Ok(()),
            Some(_) => {
                return Err(StoreError::OtherBytes(file.name.clone()));
            }
            None => {}
        }
        let open: Option<bool> =
            sqlx::query_scalar("SELECT state = 'open' FROM uploads WHERE id = ?1")
                .bind(id)
                .fetch_optional(&mut *write)
                .await?;
        match open {
            Some(true) => {}
            Some(false) => {
                return Err(upload_is_finished());
            }
            None => return Err(no_such_upload()),
        }
        sqlx::query(
            "INSERT INTO originals (sha256, bytes, stored_ms) VALUES (?1, ?2, ?3) ON CONFLICT (sha256) DO NOTHING",
        )
        .bind(&file.sha256)
        .bind(bytes)
        .bind(now_ms)
        .execute(&mut *write)
        .await?;
        sqlx::query(
            "INSERT INTO upload_files (upload_id, name, sha256, info) VALUES (?1, ?2, ?3, ?4)",
        )
        .bind(id)
        .bind(&file.name)
        .bind(&file.sha256)
        .bind(encode(&FrameInfoDoc::of(&file.info))?)
        .execute(&mut *write)
        .await?;
        write.commit().await?;
        Ok(())
    }

    /// The files of an upload in natural order.
    pub async fn upload_files(&self, id: UploadId) -> Result<Vec<UploadFile>, StoreError> {
        let rows: Vec<(String, String, i64, String)> = sqlx::query_as(
            "SELECT f.name, f.sha256, o.bytes, f.info
             FROM upload_files f JOIN originals o ON o.sha256 = f.sha256 WHERE f.upload_id = ?1",
        )
        .bind(id)
        .fetch_all(&self.readers)
        .await?;
        let mut files = rows
            .into_iter()
            .map(|(name, sha256, bytes, info)| {
                Ok(UploadFile {
                    name,
                    sha256,
                    bytes: bytes.unsigned_abs(),
                    info: decode::<FrameInfoDoc>(&info)?.read()?,
                })
            })
            .collect::<Result<Vec<_>, StoreError>>()?;
        files.sort_by(|a, b| {
            natord::compare_ignore_case(&a.name, &b.name).then_with(|| a.name.cmp(&b.name))
        });
        Ok(files)
    }

    /// Makes the sweeps with their frames and queues a job for each, all in one transaction; a finished upload gives the sweeps it was
    /// finished with. `sorted` is how many of its files were looked at for that. # Errors: `Conflict` when there is no such
    /// upload, when a sweep names an original that is not stored, or when more files have arrived than were sorted.
    pub async fn finish_upload(
        &self,
        id: UploadId,
        sorted: usize,
        sweeps: &[SweepDraft],
        now_ms: i64,
    ) -> Result<Vec<SweepId>, StoreError> {
        let mut write = self.write().await?;
        let Some((account, lens, state, conditions)) =
            sqlx::query_as::<_, (i64, i64, String, String)>(
                "SELECT account_id, lens_id, state, conditions FROM uploads WHERE id = ?1",
            )
            .bind(id)
            .fetch_optional(&mut *write)
            .await?
        else {
            return Err(no_such_upload());
        };
        if state == "finished" {
            drop(write);
            return self.sweeps_of_upload(id).await;
        }
        let there: i64 =
            sqlx::query_scalar("SELECT count(*) FROM upload_files WHERE upload_id = ?1")
                .bind(id)
                .fetch_one(&mut *write)
                .await?;
        if usize::try_from(there) != Ok(sorted) {
            return Err(StoreError::Conflict(
                "files are still arriving; finish again when all are there".to_owned(),
            ));
        }
        let mut made = Vec::with_capacity(sweeps.len());
        for draft in sweeps {
            let sweep =
                add_sweep(&mut write, (account, lens, id), &conditions, draft, now_ms).await?;
            queue(&mut write, sweep, now_ms).await?;
            made.push(sweep);
        }
        sqlx::query("UPDATE uploads SET state = 'finished', finished_ms = ?2 WHERE id = ?1")
            .bind(id)
            .bind(now_ms)
            .execute(&mut *write)
            .await?;
        write.commit().await?;
        Ok(made)
    }

    /// Takes an upload away that no frame arrived in. # Errors: `Conflict` when it is finished, or a frame arrived.
    pub async fn discard_upload(&self, id: UploadId) -> Result<(), StoreError> {
        let discarded = sqlx::query(
            "DELETE FROM uploads WHERE id = ?1 AND state = 'open'
             AND NOT EXISTS (SELECT 1 FROM upload_files WHERE upload_id = ?1)",
        )
        .bind(id)
        .execute(&self.writer)
        .await?
        .rows_affected();
        if discarded == 0 {
            return Err(StoreError::Conflict(
                "frames have arrived in this upload, and frames are kept; have them measured instead"
                    .to_owned(),
            ));
        }
        Ok(())
    }

    /// The sweeps that an upload was sorted into, in order; none before it is finished.
    pub async fn sweeps_of_upload(&self, id: UploadId) -> Result<Vec<SweepId>, StoreError> {
        Ok(
            sqlx::query_scalar("SELECT id FROM sweeps WHERE upload_id = ?1 ORDER BY id")
                .bind(id)
                .fetch_all(&self.readers)
                .await?,
        )
    }

    /// Hashes of all originals with their sizes, for `doctor`.
    pub async fn originals(&self) -> Result<Vec<(String, u64)>, StoreError> {
        let rows: Vec<(String, i64)> =
            sqlx::query_as("SELECT sha256, bytes FROM originals ORDER BY sha256")
                .fetch_all(&self.readers)
                .await?;
        Ok(rows
            .into_iter()
            .map(|(sha256, bytes)| (sha256, bytes.unsigned_abs()))
            .collect())
    }
}

/// Width of the picture area from both focal lengths that a file states, mm. 35 mm focal lengths are stated for 36 mm picture
/// width (CIPA DC-008 means the diagonal; within 4 % for 3:2).
fn derived_width_mm(info: &FrameInfo) -> Option<f64> {
    Some(36.0 * info.focal_length?.mm() / info.focal_length_35mm?.mm())
}

fn stored_size(file: &UploadFile) -> Result<i64, StoreError> {
    i64::try_from(file.bytes)
        .map_err(|_| StoreError::Conflict(format!("{} bytes can't be a file", file.bytes)))
}

/// A sweep with its frames, in the transaction that finishes the upload (account, lens, upload).
async fn add_sweep(
    write: &mut SqliteConnection,
    (account, lens, upload): (AccountId, LensId, UploadId),
    conditions: &str,
    draft: &SweepDraft,
    now_ms: i64,
) -> Result<SweepId, StoreError> {
    let infos = || draft.files.iter().map(|file| &file.info);
    let camera = match infos().find_map(|info| info.camera.as_deref()) {
        Some(name) => {
            let sensor_width = draft.settings.sensor_width.map(Millimetres::mm);
            let camera = camera_named(write, name, sensor_width).await?;
            if let Some(width_mm) = infos().find_map(derived_width_mm) {
                note_derived_width(write, camera, width_mm).await?;
            }
            Some(camera)
        }
        None => None,
    };
    let focal_length = draft
        .settings
        .focal_length
        .or_else(|| infos().find_map(|info| info.focal_length));
    let sweep = sqlx::query_scalar(
        "INSERT INTO sweeps (account_id, lens_id, camera_id, upload_id, name, focal_length_mm, conditions, settings, created_ms)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9) RETURNING id",
    )
    .bind(account)
    .bind(draft.lens.unwrap_or(lens))
    .bind(camera)
    .bind(upload)
    .bind(&draft.name)
    .bind(focal_length.map(Millimetres::mm))
    .bind(conditions)
    .bind(encode(&SettingsDoc::of(&draft.settings))?)
    .bind(now_ms)
    .fetch_one(&mut *write)
    .await?;
    // One statement for all frames: many times cheaper than one for each.
    let frames = draft
        .files
        .iter()
        .map(|file| {
            Ok((
                &file.info.file,
                &file.sha256,
                encode(&FrameInfoDoc::of(&file.info))?,
            ))
        })
        .collect::<Result<Vec<_>, StoreError>>()?;
    sqlx::query(
        "INSERT INTO frames (sweep_id, position, file, sha256, info)
         SELECT ?1, key, value ->> 0, value ->> 1, value ->> 2 FROM json_each(?2)",
    )
    .bind(sweep)
    .bind(encode(&frames)?)
    .execute(&mut *write)
    .await?;
    Ok(sweep)
}
