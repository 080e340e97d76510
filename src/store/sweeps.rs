//! Sweeps and their measured results.

use sqlx::SqliteConnection;

use super::document::{ConditionsDoc, MeasurementDoc, SettingsDoc, decode, encode};
use super::jobs::{JobRow, queue, queue_anew};
use super::lenses::{LensRow, lens_columns};
use super::publishing::publications_of;
use super::{AccountId, JobView, Lens, LensId, Publication, Store, StoreError, UploadId};
use crate::sweep::{SweepMeasurement, SweepSettings};
use crate::units::Metres;

/// Key of a sweep, also in its address.
pub type SweepId = i64;

/// Something of the camera that can be on or off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Switch {
    /// It was on.
    On,
    /// It was off.
    Off,
    /// Nobody said.
    #[default]
    Unknown,
}

impl Switch {
    /// Every position.
    pub const ALL: [Self; 3] = [Self::On, Self::Off, Self::Unknown];
    /// The word for the position in JSON, forms and storage.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::On => "on",
            Self::Off => "off",
            Self::Unknown => "unknown",
        }
    }
    /// The position that a code stands for.
    #[must_use]
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|switch| switch.code() == code)
    }
}

/// What a reviewer says of a shoot, for all its sweeps.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Conditions {
    /// Distortion correction in the camera.
    pub distortion_correction: Switch,
    /// Breathing compensation in the camera.
    pub breathing_compensation: Switch,
    /// Stabilisation in camera or lens.
    pub stabilisation: Switch,
    /// Distance from sensor plane to targets, m.
    pub target_distance: Option<Metres>,
    /// Closest focus of this shoot, m.
    pub closest_focus: Option<Metres>,
}

/// The conditions that must be equal for two results to be ranked together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct ConditionsKey {
    /// Distortion correction in the camera.
    pub distortion_correction: Switch,
    /// Breathing compensation in the camera.
    pub breathing_compensation: Switch,
}

impl ConditionsKey {
    /// The word for the pair in queries and storage, e.g. "correction-on.compensation-off".
    #[must_use]
    pub fn code(self) -> String {
        format!(
            "correction-{}.compensation-{}",
            self.distortion_correction.code(),
            self.breathing_compensation.code()
        )
    }
    /// The pair that a code stands for.
    #[must_use]
    pub fn from_code(code: &str) -> Option<Self> {
        let (correction, compensation) = code.split_once('.')?;
        Some(Self {
            distortion_correction: Switch::from_code(correction.strip_prefix("correction-")?)?,
            breathing_compensation: Switch::from_code(compensation.strip_prefix("compensation-")?)?,
        })
    }
}

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

/// A result as it was stored.
#[derive(Debug, Clone)]
pub struct StoredResult {
    /// Key.
    pub id: i64,
    /// Algorithm that made it.
    pub algorithm_version: u32,
    /// When it was made, ms since 1970 UTC.
    pub measured_ms: i64,
    /// The measurement.
    pub measurement: SweepMeasurement,
}

/// A row of the desk.
#[derive(Debug, Clone)]
pub struct DeskRow {
    /// Key of the sweep.
    pub id: SweepId,
    /// Lens, maker and model.
    pub lens: String,
    /// Slug of the lens.
    pub lens_slug: String,
    /// Name of the sweep.
    pub name: String,
    /// Focal length, mm.
    pub focal_length_mm: Option<f64>,
    /// Newest job.
    pub job: Option<JobView>,
    /// Frames measured and frames in all, of the newest result.
    pub measured: Option<(u32, u32)>,
    /// A stop finding stands.
    pub stopped: bool,
    /// How many warnings the newest result has.
    pub warnings: u32,
    /// Worst shift of the newest result with its standard uncertainty, per cent.
    pub worst_shift_pct: Option<(f64, f64)>,
    /// Whether a version is public now.
    pub published: bool,
    /// Whether the public version is of the newest result.
    pub published_is_newest: bool,
    /// When the sweep was made, ms since 1970 UTC.
    pub created_ms: i64,
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

/// The columns of a row of the desk.
#[derive(sqlx::FromRow)]
struct DeskRowColumns {
    id: i64,
    lens: String,
    slug: String,
    sweep_name: String,
    focal_length_mm: Option<f64>,
    measured_count: Option<u32>,
    frame_count: Option<u32>,
    stopped: Option<bool>,
    warnings: Option<u32>,
    worst_shift_pct: Option<f64>,
    worst_shift_u_pct: Option<f64>,
    published: bool,
    published_is_newest: bool,
    created_ms: i64,
    #[sqlx(flatten)]
    job: JobRow,
}

impl DeskRowColumns {
    fn read(self) -> Result<DeskRow, StoreError> {
        Ok(DeskRow {
            id: self.id,
            lens: self.lens,
            lens_slug: self.slug,
            name: self.sweep_name,
            focal_length_mm: self.focal_length_mm,
            job: self.job.read()?,
            measured: self.measured_count.zip(self.frame_count),
            stopped: self.stopped.unwrap_or(false),
            warnings: self.warnings.unwrap_or(0),
            worst_shift_pct: self.worst_shift_pct.zip(self.worst_shift_u_pct),
            published: self.published,
            published_is_newest: self.published_is_newest,
            created_ms: self.created_ms,
        })
    }
}

macro_rules! job_columns {
    () => {
        "j.state AS job_state, j.attempts AS job_attempts, j.frames_done AS job_frames_done, \
         j.frames_total AS job_frames_total, j.error AS job_error"
    };
}

macro_rules! desk {
    ($where:literal) => {
        concat!(
            "SELECT s.id, l.maker || ' ' || l.model AS lens, l.slug, s.name AS sweep_name, s.focal_length_mm, r.measured_count,
                    r.frame_count, r.stopped, r.warnings, r.worst_shift_pct, r.worst_shift_u_pct,
                    s.public_id IS NOT NULL AS published, p.result_id IS s.current_result_id AND p.id IS NOT NULL AS published_is_newest,
                    s.created_ms, ",
            job_columns!(),
            " FROM sweeps s JOIN lenses l ON l.id = s.lens_id
              LEFT JOIN results r ON r.id = s.current_result_id
              LEFT JOIN publications p ON p.id = s.public_id
              LEFT JOIN jobs j ON j.id = (SELECT max(id) FROM jobs WHERE sweep_id = s.id) ",
            $where,
            " ORDER BY s.id DESC LIMIT ?2"
        )
    };
}

pub(super) const DESK_OF_ONE: &str = desk!("WHERE s.account_id = ?1");
/// Walks the table backwards by its key, and the limit ends the walk.
const DESK_OF_ALL: &str = desk!("WHERE ?1 IS NULL");

impl Store {
    /// The sweep of this key with its newest result.
    pub async fn sweep(&self, id: SweepId) -> Result<Option<Sweep>, StoreError> {
        let mut read = self.read().await?;
        load_sweep(&mut read, id, None).await
    }

    /// The sweeps of an account (of everybody for `None`), newest first.
    pub async fn desk(
        &self,
        account: Option<AccountId>,
        limit: u32,
    ) -> Result<Vec<DeskRow>, StoreError> {
        let sql = if account.is_some() {
            DESK_OF_ONE
        } else {
            DESK_OF_ALL
        };
        sqlx::query_as::<_, DeskRowColumns>(sql)
            .bind(account)
            .bind(limit)
            .fetch_all(&self.readers)
            .await?
            .into_iter()
            .map(DeskRowColumns::read)
            .collect()
    }

    /// Changes what the reviewer said of a sweep and queues a new measurement, in one transaction; a measurement that runs is dropped.
    /// # Errors: `Conflict` when there is no such sweep.
    pub async fn change_sweep(
        &self,
        id: SweepId,
        settings: &SweepSettings,
        notes: &str,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let mut write = self.write().await?;
        let changed = sqlx::query("UPDATE sweeps SET settings = ?2, notes = ?3 WHERE id = ?1")
            .bind(id)
            .bind(encode(&SettingsDoc::of(settings))?)
            .bind(notes)
            .execute(&mut *write)
            .await?
            .rows_affected();
        if changed == 0 {
            return Err(no_such_sweep());
        }
        queue_anew(&mut write, id, now_ms).await?;
        write.commit().await?;
        Ok(())
    }

    /// Changes what the reviewer said of the shoot for one of its sweeps and queues a new measurement, in one transaction.
    /// What is public keeps the conditions it was published with. # Errors: `Conflict` when there is no such sweep.
    pub async fn change_conditions(
        &self,
        id: SweepId,
        conditions: &Conditions,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let mut write = self.write().await?;
        let changed = sqlx::query("UPDATE sweeps SET conditions = ?2 WHERE id = ?1")
            .bind(id)
            .bind(encode(&ConditionsDoc::of(conditions))?)
            .execute(&mut *write)
            .await?
            .rows_affected();
        if changed == 0 {
            return Err(no_such_sweep());
        }
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

    /// Whose sweep it is.
    pub async fn owner_of_sweep(&self, id: SweepId) -> Result<Option<AccountId>, StoreError> {
        Ok(
            sqlx::query_scalar("SELECT account_id FROM sweeps WHERE id = ?1")
                .bind(id)
                .fetch_optional(&self.readers)
                .await?,
        )
    }

    /// The hash of the original of a frame, by its file name.
    pub async fn frame_original(
        &self,
        id: SweepId,
        file: &str,
    ) -> Result<Option<String>, StoreError> {
        Ok(
            sqlx::query_scalar("SELECT sha256 FROM frames WHERE sweep_id = ?1 AND file = ?2")
                .bind(id)
                .bind(file)
                .fetch_optional(&self.readers)
                .await?,
        )
    }
}

fn no_such_sweep() -> StoreError {
    StoreError::Conflict("there is no such sweep".to_owned())
}

/// A sweep with the result of this key, or with its newest one.
pub(super) async fn load_sweep(
    read: &mut SqliteConnection,
    id: SweepId,
    result: Option<i64>,
) -> Result<Option<Sweep>, StoreError> {
    let Some(row) = sqlx::query_as::<_, SweepRow>(concat!(
        "SELECT s.id, s.account_id, a.name AS reviewer, s.upload_id, s.name AS sweep_name, s.conditions, s.settings, s.notes,
                s.current_result_id, ",
        lens_columns!(),
        ", ",
        job_columns!(),
        " FROM sweeps s JOIN accounts a ON a.id = s.account_id JOIN lenses l ON l.id = s.lens_id
          LEFT JOIN jobs j ON j.id = (SELECT max(id) FROM jobs WHERE sweep_id = s.id)
          WHERE s.id = ?1"
    ))
    .bind(id)
    .fetch_optional(&mut *read)
    .await?
    else {
        return Ok(None);
    };
    let files =
        sqlx::query_as("SELECT file, sha256 FROM frames WHERE sweep_id = ?1 ORDER BY position")
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

/// The result of this key.
pub(super) async fn load_result(
    read: &mut SqliteConnection,
    id: i64,
) -> Result<Option<StoredResult>, StoreError> {
    let row: Option<(u32, i64, String)> = sqlx::query_as(
        "SELECT algorithm_version, measured_ms, document FROM results WHERE id = ?1",
    )
    .bind(id)
    .fetch_optional(read)
    .await?;
    row.map(|(algorithm_version, measured_ms, document)| {
        Ok(StoredResult {
            id,
            algorithm_version,
            measured_ms,
            measurement: decode::<MeasurementDoc>(&document)?.read()?,
        })
    })
    .transpose()
}
