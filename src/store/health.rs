//! What `doctor` asks.

use super::document::known;
use super::{JobState, Store, StoreError, SweepId};

/// A job that does not go on by itself, or should have by now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StuckJob {
    /// Sweep that is not measured.
    pub sweep: SweepId,
    /// Set aside, or running with a lease that ran out.
    pub state: JobState,
    /// How often it was tried.
    pub attempts: u32,
    /// What went wrong last.
    pub error: Option<String>,
}

impl Store {
    /// Jobs that were set aside, and jobs whose lease ran out before `now_ms`.
    pub async fn stuck_jobs(&self, now_ms: i64) -> Result<Vec<StuckJob>, StoreError> {
        let rows: Vec<(i64, String, u32, Option<String>)> = sqlx::query_as(
            "SELECT sweep_id, state, attempts, error FROM jobs WHERE state = 'set_aside'
             UNION ALL
             SELECT sweep_id, state, attempts, error FROM jobs
             WHERE state IN ('waiting', 'running') AND state = 'running' AND lease_until_ms < ?1
             ORDER BY 1",
        )
        .bind(now_ms)
        .fetch_all(&self.readers)
        .await?;
        rows.into_iter()
            .map(|(sweep, state, attempts, error)| {
                Ok(StuckJob {
                    sweep,
                    state: known("job state", &state, JobState::from_code)?,
                    attempts,
                    error,
                })
            })
            .collect()
    }

    /// What SQLite finds wrong with the file and with references between rows; empty when all is well.
    pub async fn integrity_check(&self) -> Result<Vec<String>, StoreError> {
        let mut harm: Vec<String> = sqlx::query_scalar("PRAGMA integrity_check")
            .fetch_all(&self.readers)
            .await?;
        harm.retain(|line| line != "ok");
        let orphans: Vec<(String, Option<i64>, String, i64)> =
            sqlx::query_as("PRAGMA foreign_key_check")
                .fetch_all(&self.readers)
                .await?;
        harm.extend(orphans.into_iter().map(|(table, row, parent, _)| {
            let row = row.map_or_else(String::new, |row| format!(" {row}"));
            format!("{table}{row} refers to a row of {parent} that is not there")
        }));
        Ok(harm)
    }
}
