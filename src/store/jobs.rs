//! Jobs: claimed by one statement with a lease, kept alive by a heartbeat, set aside after three tries.

use sqlx::SqliteConnection;

use super::document::known;
use super::{Store, StoreError, SweepId};
use crate::units::choice;

choice! {
    /// What became of a job.
    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    pub enum JobState {
        /// Nobody has claimed it.
        Waiting = "waiting",
        /// A worker holds its lease.
        Running = "running",
        /// Its result is stored.
        Done = "done",
        /// It failed too often.
        SetAside = "set_aside",
    }
}

/// A job as pages see it.
#[derive(Debug, Clone)]
pub struct JobView {
    /// What became of it.
    pub state: JobState,
    /// How often it was claimed.
    pub attempts: u32,
    /// Frames measured so far.
    pub frames_done: u32,
    /// Frames in all.
    pub frames_total: u32,
    /// What went wrong last.
    pub error: Option<String>,
}

/// A job that this worker holds.
#[derive(Debug, Clone)]
pub struct ClaimedJob {
    /// Key.
    pub id: i64,
    /// Sweep to measure.
    pub sweep: SweepId,
    /// Proof of the lease; every write checks it.
    pub lease_token: String,
    /// Which try this is, from 1.
    pub attempt: u32,
}

/// The columns of [`JobRow`] for a query that names the jobs `j`.
macro_rules! job_columns {
    () => {
        "j.state AS job_state, j.attempts AS job_attempts, j.frames_done AS job_frames_done, \
         j.frames_total AS job_frames_total, j.error AS job_error"
    };
}
pub(super) use job_columns;

/// Claims the oldest job that is free. `jobs_open` holds only jobs that are not over, so the walk is short.
pub(super) const CLAIM: &str = "
    UPDATE jobs SET state = 'running', attempts = attempts + 1, lease_token = ?1, lease_until_ms = ?2, frames_done = 0
    WHERE id = (
      SELECT id FROM jobs INDEXED BY jobs_open
      WHERE state IN ('waiting', 'running') AND (state = 'waiting' OR lease_until_ms <= ?3)
      ORDER BY id LIMIT 1)
    RETURNING id, sweep_id, attempts";

/// Sets aside the jobs whose worker vanished on their last try.
pub(super) const SET_ASIDE_VANISHED: &str = "
    UPDATE jobs SET state = 'set_aside', lease_token = NULL, lease_until_ms = NULL, ended_ms = ?2,
      error = coalesce(error, 'the program ended every time while it measured this sweep')
    WHERE id IN (
      SELECT id FROM jobs INDEXED BY jobs_open
      WHERE state IN ('waiting', 'running') AND state = 'running' AND lease_until_ms <= ?2 AND attempts >= ?1)";

/// The newest job of a sweep.
pub(super) const NEWEST: &str = concat!(
    "SELECT ",
    job_columns!(),
    " FROM jobs j WHERE j.sweep_id = ?1 ORDER BY j.id DESC LIMIT 1"
);

/// How many jobs are open, and how many were set aside.
pub(super) const COUNTS: &str =
    "SELECT (SELECT count(*) FROM jobs WHERE state IN ('waiting', 'running')),
    (SELECT count(*) FROM jobs WHERE state = 'set_aside')";

impl Store {
    /// Claims the oldest job that waits or whose lease ran out; `max_attempts` reached sets it aside instead.
    pub async fn claim_job(
        &self,
        lease_ms: i64,
        max_attempts: u32,
        now_ms: i64,
    ) -> Result<Option<ClaimedJob>, StoreError> {
        sqlx::query(SET_ASIDE_VANISHED)
            .bind(max_attempts)
            .bind(now_ms)
            .execute(&self.writer)
            .await?;
        let lease_token = uuid::Uuid::new_v4().to_string();
        let claimed: Option<(i64, i64, u32)> = sqlx::query_as(CLAIM)
            .bind(&lease_token)
            .bind(now_ms.saturating_add(lease_ms))
            .bind(now_ms)
            .fetch_optional(&self.writer)
            .await?;
        Ok(claimed.map(|(id, sweep, attempt)| ClaimedJob {
            id,
            sweep,
            lease_token,
            attempt,
        }))
    }

    /// Prolongs the lease and notes progress; false when the lease was lost.
    pub async fn heartbeat(
        &self,
        job: &ClaimedJob,
        frames_done: u32,
        frames_total: u32,
        lease_ms: i64,
        now_ms: i64,
    ) -> Result<bool, StoreError> {
        let held = sqlx::query(
            "UPDATE jobs SET lease_until_ms = ?3, frames_done = ?4, frames_total = ?5
             WHERE id = ?1 AND lease_token = ?2",
        )
        .bind(job.id)
        .bind(&job.lease_token)
        .bind(now_ms.saturating_add(lease_ms))
        .bind(frames_done)
        .bind(frames_total)
        .execute(&self.writer)
        .await?
        .rows_affected();
        Ok(held == 1)
    }

    /// Gives a job back after a failure: it waits again, or is set aside after `max_attempts`.
    pub async fn fail_job(
        &self,
        job: &ClaimedJob,
        error: &str,
        max_attempts: u32,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        sqlx::query(
            "UPDATE jobs SET state = iif(attempts >= ?4, 'set_aside', 'waiting'), ended_ms = iif(attempts >= ?4, ?5, NULL),
               lease_token = NULL, lease_until_ms = NULL, error = ?3
             WHERE id = ?1 AND lease_token = ?2",
        )
        .bind(job.id)
        .bind(&job.lease_token)
        .bind(error)
        .bind(max_attempts)
        .bind(now_ms)
        .execute(&self.writer)
        .await?;
        Ok(())
    }

    /// Gives a job back that was not tried to its end, as at a shutdown: it waits again and this try does not count.
    pub async fn give_back_job(&self, job: &ClaimedJob) -> Result<(), StoreError> {
        sqlx::query(
            "UPDATE jobs SET state = 'waiting', attempts = max(attempts - 1, 0), lease_token = NULL, lease_until_ms = NULL,
               frames_done = 0
             WHERE id = ?1 AND lease_token = ?2",
        )
        .bind(job.id)
        .bind(&job.lease_token)
        .execute(&self.writer)
        .await?;
        Ok(())
    }

    /// Ends every lease, for whoever has just become the only owner of the data folder: who held them is gone. Tries stay
    /// counted, so a sweep that takes the whole program down is set aside in the end.
    pub async fn end_leases(&self) -> Result<(), StoreError> {
        sqlx::query("UPDATE jobs SET lease_until_ms = 0 WHERE state = 'running'")
            .execute(&self.writer)
            .await?;
        Ok(())
    }

    /// Puts a job that was set aside back in line with no tries counted.
    /// # Errors: `Conflict` when the newest job of the sweep was not set aside.
    pub async fn retry_job(&self, sweep: SweepId, now_ms: i64) -> Result<(), StoreError> {
        let retried = sqlx::query(
            "UPDATE jobs SET state = 'waiting', attempts = 0, error = NULL, ended_ms = NULL, frames_done = 0, created_ms = ?2
             WHERE id = (SELECT max(id) FROM jobs WHERE sweep_id = ?1) AND state = 'set_aside'",
        )
        .bind(sweep)
        .bind(now_ms)
        .execute(&self.writer)
        .await?
        .rows_affected();
        if retried == 0 {
            return Err(StoreError::Conflict(
                "this sweep is not set aside; there is nothing to try again".to_owned(),
            ));
        }
        Ok(())
    }

    /// How many jobs wait or run, and how many were set aside.
    pub async fn job_counts(&self) -> Result<(u64, u64), StoreError> {
        let (open, set_aside): (i64, i64) = sqlx::query_as(COUNTS).fetch_one(&self.readers).await?;
        Ok((open.unsigned_abs(), set_aside.unsigned_abs()))
    }

    /// The newest job of a sweep.
    pub async fn job_view(&self, sweep: SweepId) -> Result<Option<JobView>, StoreError> {
        sqlx::query_as::<_, JobRow>(NEWEST)
            .bind(sweep)
            .fetch_optional(&self.readers)
            .await?
            .map_or(Ok(None), JobRow::read)
    }
}

/// The columns of a job as pages see it; all of them NULL where a sweep has none.
#[derive(sqlx::FromRow)]
pub(super) struct JobRow {
    job_state: Option<String>,
    job_attempts: Option<u32>,
    job_frames_done: Option<u32>,
    job_frames_total: Option<u32>,
    job_error: Option<String>,
}

impl JobRow {
    pub(super) fn read(self) -> Result<Option<JobView>, StoreError> {
        let Some(state) = self.job_state else {
            return Ok(None);
        };
        Ok(Some(JobView {
            state: known("job state", &state, JobState::from_code)?,
            attempts: self.job_attempts.unwrap_or(0),
            frames_done: self.job_frames_done.unwrap_or(0),
            frames_total: self.job_frames_total.unwrap_or(0),
            error: self.job_error,
        }))
    }
}

/// Queues a measurement of a sweep unless one is waiting or running already.
pub(super) async fn queue(
    write: &mut SqliteConnection,
    sweep: SweepId,
    now_ms: i64,
) -> Result<(), StoreError> {
    sqlx::query(
        "INSERT INTO jobs (sweep_id, state, created_ms, frames_total)
         SELECT ?1, 'waiting', ?2, (SELECT count(*) FROM frames WHERE sweep_id = ?1)
         WHERE NOT EXISTS (SELECT 1 FROM jobs WHERE sweep_id = ?1 AND state IN ('waiting', 'running'))",
    )
    .bind(sweep)
    .bind(now_ms)
    .execute(write)
    .await?;
    Ok(())
}

/// Queues a measurement of a sweep whose input has changed: a job that runs already loses its lease and starts anew.
pub(super) async fn queue_anew(
    write: &mut SqliteConnection,
    sweep: SweepId,
    now_ms: i64,
) -> Result<(), StoreError> {
    sqlx::query(
        "UPDATE jobs SET state = 'waiting', attempts = 0, lease_token = NULL, lease_until_ms = NULL, frames_done = 0, error = NULL
         WHERE sweep_id = ?1 AND state IN ('waiting', 'running')",
    )
    .bind(sweep)
    .execute(&mut *write)
    .await?;
    queue(write, sweep, now_ms).await
}
