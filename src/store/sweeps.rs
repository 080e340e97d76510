//! Sweeps: what is known of one, and the changes that queue it anew.

use sqlx::SqliteConnection;

use super::cameras::camera_named;
use super::document::{ConditionsDoc, SettingsDoc, decode, encode};
use super::jobs::{JobRow, job_columns, queue, queue_anew};
use super::lenses::{LensRow, lens_columns};
use super::published::publications_of;
use super::results::load_result;
use super::{
    AccountId, Conditions, JobView, Lens, LensId, Publication, Store, StoreError, StoredResult,
    UploadId,
};
use crate::sweep::SweepSettings;

/// Key of a sweep, also in its address.
pub type SweepId = i64;

/// A sweep with what is known of it, for its own page.
#[derive(Debug, Clone)]
pub struct Sweep {
    /// Key.
    pub id: SweepId,
    /// Whose it is.
    pub account: AccountId,
    /// Name of the reviewer.
    pub reviewer: String,
    /// Which lens it is of.
    pub lens: Lens,
    /// Upload that it came with.
    pub upload: UploadId,
    /// Name of the sweep.
    pub name: String,
    /// What the reviewer said of the shoot.
    pub conditions: Conditions,
    /// What the reviewer said of this sweep.
    pub settings: SweepSettings,
    /// Notes of the reviewer.
    pub notes: String,
    /// Files of its frames with the hash of each, in file order.
    pub files: Vec<(String, String)>,
    /// Newest job.
    pub job: Option<JobView>,
    /// Newest result.
    pub result: Option<StoredResult>,
    /// Publications, newest first.
    pub publications: Vec<Publication>,
}

/// Who may see a sweep.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::FromRow)]
pub struct Whose {
    /// Whose it is.
    #[sqlx(rename = "account_id")]
    pub account: AccountId,
    /// Version that is public now.
    #[sqlx(rename = "version")]
    pub public_version: Option<u32>,
}

/// What a reviewer says of a sweep.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Said {
    /// Of the shoot.
    pub conditions: Conditions,
    /// Of this sweep, overriding its files.
    pub settings: SweepSettings,
    /// Notes of the reviewer.
    pub notes: String,
}

/// The columns of a sweep.
#[derive(sqlx::FromRow)]
struct SweepRow {
    id: i64,
    account_id: i64,
    reviewer: String,
    upload_id: i64,
    sweep_name: String,
    conditions: String,
    settings: String,
    notes: String,
    current_result_id: Option<i64>,
    #[sqlx(flatten)]
    lens: LensRow,
    #[sqlx(flatten)]
    job: JobRow,
}

impl Store {
    /// The sweep of this key with its newest result.
    pub async fn sweep(&self, id: SweepId) -> Result<Option<Sweep>, StoreError> {
        let mut read = self.read().await?;
        load_sweep(&mut read, id, None).await
    }

    /// Changes what the reviewer says of a sweep and queues a new measurement, in one transaction; a measurement that runs is dropped.
    /// `change` gets what is said at that moment, so that of two changes at a time neither takes the other back.
    /// What is public keeps what it was published with. # Errors: `Conflict` when there is no such sweep.
    pub async fn change_sweep(
        &self,
        id: SweepId,
        change: impl FnOnce(&mut Said) + Send,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let mut write = self.write().await?;
        change_said(&mut write, id, change).await?;
        queue_anew(&mut write, id, now_ms).await?;
        write.commit().await?;
        Ok(())
    }

    /// Queues a new measurement of a sweep unless one is waiting or running already. # Errors: `Conflict` when there is no such sweep.
    pub async fn queue_measurement(&self, id: SweepId, now_ms: i64) -> Result<(), StoreError> {
        let mut write = self.write().await?;
        queue(&mut write, id, now_ms).await?;
        write.commit().await?;
        Ok(())
    }

    /// Sweeps whose newest result is of an older algorithm than `version`.
    pub async fn outdated_sweeps(&self, version: u32) -> Result<Vec<SweepId>, StoreError> {
        Ok(sqlx::query_scalar(
            "SELECT s.id FROM sweeps s JOIN results r ON r.id = s.current_result_id
             WHERE r.algorithm_version < ?1 ORDER BY s.id",
        )
        .bind(version)
        .fetch_all(&self.readers)
        .await?)
    }

    /// Which lens a sweep belongs to.
    pub async fn lens_of_sweep(&self, id: SweepId) -> Result<Option<LensId>, StoreError> {
        Ok(
            sqlx::query_scalar("SELECT lens_id FROM sweeps WHERE id = ?1")
                .bind(id)
                .fetch_optional(&self.readers)
                .await?,
        )
    }

    /// Whose sweep it is and whether it is public, without anything of its measurement.
    pub async fn whose_sweep(&self, id: SweepId) -> Result<Option<Whose>, StoreError> {
        Ok(sqlx::query_as(WHOSE)
            .bind(id)
            .fetch_optional(&self.readers)
            .await?)
    }

    /// File name and hash of the original of a frame, by its number in file order, from 1.
    pub async fn frame_original(
        &self,
        id: SweepId,
        number: u32,
    ) -> Result<Option<(String, String)>, StoreError> {
        Ok(sqlx::query_as(FRAME)
            .bind(id)
            .bind(number)
            .fetch_optional(&self.readers)
            .await?)
    }
}

/// Changes what is said of a sweep, in the transaction of `write`. # Errors: `Conflict` when there is no such sweep.
pub(super) async fn change_said(
    write: &mut SqliteConnection,
    id: SweepId,
    change: impl FnOnce(&mut Said) + Send,
) -> Result<(), StoreError> {
    let held: Option<(String, String, String)> =
        sqlx::query_as("SELECT conditions, settings, notes FROM sweeps WHERE id = ?1")
            .bind(id)
            .fetch_optional(&mut *write)
            .await?;
    let Some((conditions, settings, notes)) = held else {
        return Err(StoreError::Conflict("there is no such sweep".to_owned()));
    };
    let mut said = Said {
        conditions: decode::<ConditionsDoc>(&conditions)?.read()?,
        settings: decode::<SettingsDoc>(&settings)?.read()?,
        notes,
    };
    change(&mut said);
    let camera = match said.settings.camera.as_deref() {
        Some(name) => Some(camera_named(&mut *write, name, None).await?),
        None => None,
    };
    sqlx::query(
        "UPDATE sweeps SET conditions = ?2, settings = ?3, notes = ?4, camera_id = coalesce(?5, camera_id) WHERE id = ?1",
    )
    .bind(id)
    .bind(encode(&ConditionsDoc::of(&said.conditions))?)
    .bind(encode(&SettingsDoc::of(&said.settings))?)
    .bind(&said.notes)
    .bind(camera)
    .execute(write)
    .await?;
    Ok(())
}

/// A sweep, with its newest job.
pub(super) const SWEEP: &str = concat!(
        "SELECT s.id, s.account_id, a.name AS reviewer, s.upload_id, s.name AS sweep_name, s.conditions, s.settings, s.notes,
                s.current_result_id, ",
        lens_columns!(),
        ", ",
        job_columns!(),
        " FROM sweeps s JOIN accounts a ON a.id = s.account_id JOIN lenses l ON l.id = s.lens_id
          LEFT JOIN jobs j ON j.id = (SELECT max(id) FROM jobs WHERE sweep_id = s.id)
          WHERE s.id = ?1"
    );

/// The owner of a sweep and its public version.
pub(super) const WHOSE: &str = "SELECT s.account_id, p.version
    FROM sweeps s LEFT JOIN publications p ON p.id = s.public_id WHERE s.id = ?1";

/// One frame of a sweep.
pub(super) const FRAME: &str =
    "SELECT file, sha256 FROM frames WHERE sweep_id = ?1 AND position = ?2 - 1";

/// The frames of a sweep.
pub(super) const FRAMES: &str =
    "SELECT file, sha256 FROM frames WHERE sweep_id = ?1 ORDER BY position";

/// A sweep with the result of this key, or with its newest one.
pub(super) async fn load_sweep(
    read: &mut SqliteConnection,
    id: SweepId,
    result: Option<i64>,
) -> Result<Option<Sweep>, StoreError> {
    let Some(row) = sqlx::query_as::<_, SweepRow>(SWEEP)
        .bind(id)
        .fetch_optional(&mut *read)
        .await?
    else {
        return Ok(None);
    };
    let files = sqlx::query_as(FRAMES)
        .bind(id)
        .fetch_all(&mut *read)
        .await?;
    let result = match result.or(row.current_result_id) {
        Some(result) => load_result(&mut *read, result).await?,
        None => None,
    };
    Ok(Some(Sweep {
        id: row.id,
        account: row.account_id,
        reviewer: row.reviewer,
        lens: row.lens.read()?,
        upload: row.upload_id,
        name: row.sweep_name,
        conditions: decode::<ConditionsDoc>(&row.conditions)?.read()?,
        settings: decode::<SettingsDoc>(&row.settings)?.read()?,
        notes: row.notes,
        files,
        job: row.job.read()?,
        result,
        publications: publications_of(&mut *read, id).await?,
    }))
}
