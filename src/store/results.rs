//! Measured results: stored once for the same input, never changed.

use sqlx::SqliteConnection;

use super::document::{MeasurementDoc, decode, encode};
use super::{ClaimedJob, Store, StoreError, SweepId, SweepInput};
use crate::sweep::{Severity, SweepMeasurement};
use crate::units::Millimetres;

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

/// A result.
pub(super) const RESULT: &str =
    "SELECT algorithm_version, measured_ms, document FROM results WHERE id = ?1";

impl Store {
    /// Stores the result and ends the job, in one transaction; false when the lease was lost. The same input again changes nothing.
    pub async fn finish_job(
        &self,
        job: &ClaimedJob,
        input: &SweepInput,
        algorithm_version: u32,
        measurement: &SweepMeasurement,
        now_ms: i64,
    ) -> Result<bool, StoreError> {
        let document = encode(&MeasurementDoc::of(measurement))?;
        let input_sha256 = input.sha256()?;
        let worst = measurement
            .summary
            .as_ref()
            .map(|summary| summary.worst_shift_pct);
        let warnings = measurement
            .findings
            .iter()
            .filter(|finding| finding.severity == Severity::Warning)
            .count();
        let frames = count(measurement.frames.len());

        let mut write = self.write().await?;
        let held = sqlx::query(
            "UPDATE jobs SET state = 'done', lease_token = NULL, lease_until_ms = NULL, frames_done = ?3, frames_total = ?3,
               error = NULL, ended_ms = ?4
             WHERE id = ?1 AND lease_token = ?2",
        )
        .bind(job.id)
        .bind(&job.lease_token)
        .bind(frames)
        .bind(now_ms)
        .execute(&mut *write)
        .await?
        .rows_affected();
        if held == 0 {
            return Ok(false);
        }
        sqlx::query(
            "INSERT INTO results (sweep_id, algorithm_version, input_sha256, measured_ms, frame_count, measured_count, stopped,
                                  warnings, worst_shift_pct, worst_shift_u_pct, document)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)
             ON CONFLICT (sweep_id, algorithm_version, input_sha256) DO NOTHING",
        )
        .bind(job.sweep)
        .bind(algorithm_version)
        .bind(&input_sha256)
        .bind(now_ms)
        .bind(frames)
        .bind(count(measurement.measured_count()))
        .bind(measurement.is_stopped())
        .bind(count(warnings))
        .bind(worst.map(|shift| shift.value))
        .bind(worst.map(|shift| shift.std_error))
        .bind(document)
        .execute(&mut *write)
        .await?;
        sqlx::query(
            "UPDATE sweeps SET
               previous_result_id = iif(current_result_id IS r.id, previous_result_id, current_result_id),
               current_result_id = r.id,
               focal_length_mm = ?4
             FROM (SELECT id FROM results WHERE sweep_id = ?1 AND algorithm_version = ?2 AND input_sha256 = ?3) AS r
             WHERE sweeps.id = ?1",
        )
        .bind(job.sweep)
        .bind(algorithm_version)
        .bind(&input_sha256)
        .bind(measurement.focal_length.map(Millimetres::mm))
        .execute(&mut *write)
        .await?;
        write.commit().await?;
        Ok(true)
    }

    /// The result that was current before the present one; `None` for a sweep that was measured once.
    pub async fn previous_result(
        &self,
        sweep: SweepId,
    ) -> Result<Option<StoredResult>, StoreError> {
        let mut read = self.read().await?;
        let previous: Option<i64> =
            sqlx::query_scalar("SELECT previous_result_id FROM sweeps WHERE id = ?1")
                .bind(sweep)
                .fetch_optional(&mut *read)
                .await?
                .flatten();
        match previous {
            Some(previous) => load_result(&mut read, previous).await,
            None => Ok(None),
        }
    }
}

/// The result of this key.
pub(super) async fn load_result(
    read: &mut SqliteConnection,
    id: i64,
) -> Result<Option<StoredResult>, StoreError> {
    let row: Option<(u32, i64, String)> =
        sqlx::query_as(RESULT).bind(id).fetch_optional(read).await?;
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

fn count(items: usize) -> i64 {
    i64::try_from(items).unwrap_or(i64::MAX)
}
