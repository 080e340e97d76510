//! The rows of the desk: sweeps with job, newest result and whether they are public.

use super::jobs::{JobRow, job_columns};
use super::{AccountId, JobView, LensId, Store, StoreError, SweepId, UploadId};

/// A row of the desk.
#[derive(Debug, Clone)]
pub struct DeskRow {
    /// Key of the sweep.
    pub id: SweepId,
    /// Key of the lens.
    pub lens_id: LensId,
    /// Lens, maker and model.
    pub lens: String,
    /// Slug of the lens.
    pub lens_slug: String,
    /// Name of the sweep.
    pub name: String,
    /// Focal length, mm: of the newest result, before that as given or as the files say.
    pub focal_length_mm: Option<f64>,
    /// Newest job.
    pub job: Option<JobView>,
    /// Frames measured, of the newest result.
    pub measured: Option<u32>,
    /// Frames in all.
    pub frames: u32,
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
    /// Whether it was public and was taken back.
    pub withdrawn: bool,
    /// When the sweep was made, ms since 1970 UTC.
    pub created_ms: i64,
}

/// The columns of a row of the desk.
#[derive(sqlx::FromRow)]
struct DeskRowColumns {
    id: i64,
    lens_id: i64,
    lens: String,
    slug: String,
    sweep_name: String,
    focal_length_mm: Option<f64>,
    measured_count: Option<u32>,
    frame_count: u32,
    stopped: Option<bool>,
    warnings: Option<u32>,
    worst_shift_pct: Option<f64>,
    worst_shift_u_pct: Option<f64>,
    published: bool,
    published_is_newest: bool,
    withdrawn: bool,
    created_ms: i64,
    #[sqlx(flatten)]
    job: JobRow,
}

impl DeskRowColumns {
    fn read(self) -> Result<DeskRow, StoreError> {
        Ok(DeskRow {
            id: self.id,
            lens_id: self.lens_id,
            lens: self.lens,
            lens_slug: self.slug,
            name: self.sweep_name,
            focal_length_mm: self.focal_length_mm,
            job: self.job.read()?,
            measured: self.measured_count,
            frames: self.frame_count,
            stopped: self.stopped.unwrap_or(false),
            warnings: self.warnings.unwrap_or(0),
            worst_shift_pct: self.worst_shift_pct.zip(self.worst_shift_u_pct),
            published: self.published,
            published_is_newest: self.published_is_newest,
            withdrawn: self.withdrawn,
            created_ms: self.created_ms,
        })
    }
}

macro_rules! desk {
    ($where:literal) => {
        concat!(
            "SELECT s.id, s.lens_id, l.maker || ' ' || l.model AS lens, l.slug, s.name AS sweep_name, s.focal_length_mm, r.measured_count,
                    coalesce(r.frame_count, (SELECT count(*) FROM frames WHERE sweep_id = s.id)) AS frame_count, r.stopped, r.warnings, r.worst_shift_pct, r.worst_shift_u_pct,
                    s.public_id IS NOT NULL AS published, p.result_id IS s.current_result_id AND p.id IS NOT NULL AS published_is_newest,
                    s.public_id IS NULL AND EXISTS (SELECT 1 FROM publications WHERE sweep_id = s.id) AS withdrawn,
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
pub(super) const DESK_OF_UPLOAD: &str = desk!("WHERE s.upload_id = ?1");

impl Store {
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
        self.desk_rows(sql, account, limit).await
    }

    /// The sweeps of an upload, in the order they were made.
    pub async fn desk_of_upload(&self, upload: UploadId) -> Result<Vec<DeskRow>, StoreError> {
        let mut rows = self
            .desk_rows(DESK_OF_UPLOAD, Some(upload), u32::MAX)
            .await?;
        rows.reverse();
        Ok(rows)
    }

    async fn desk_rows(
        &self,
        sql: &'static str,
        of: Option<i64>,
        limit: u32,
    ) -> Result<Vec<DeskRow>, StoreError> {
        sqlx::query_as::<_, DeskRowColumns>(sql)
            .bind(of)
            .bind(limit)
            .fetch_all(&self.readers)
            .await?
            .into_iter()
            .map(DeskRowColumns::read)
            .collect()
    }
}
