//! What `doctor`, the health pages and the metrics ask.

use super::{JobState, Store, StoreError, SweepId};

/// How much there is of what.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::FromRow)]
pub struct Counts {
    /// Lenses, published or not.
    pub lenses: i64,
    /// Sweeps, published or not.
    pub sweeps: i64,
    /// Sweeps with a public version.
    pub published: i64,
    /// Uploads that were not finished.
    pub open_uploads: i64,
    /// Originals kept.
    pub originals: i64,
    /// Bytes of all originals.
    pub original_bytes: i64,
    /// Jobs that wait.
    pub jobs_waiting: i64,
    /// Jobs that a worker holds.
    pub jobs_running: i64,
    /// Jobs that failed too often.
    pub jobs_set_aside: i64,
    /// Accounts.
    pub accounts: i64,
}

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
    /// Asks for one row: whether the database answers.
    pub async fn ping(&self) -> Result<(), StoreError> {
        let _: i64 = sqlx::query_scalar("SELECT 1")
            .fetch_one(&self.readers)
            .await?;
        Ok(())
    }

    /// How much there is of what.
    pub async fn counts(&self) -> Result<Counts, StoreError> {
        Ok(sqlx::query_as(
            "SELECT (SELECT count(*) FROM lenses) AS lenses,
                    (SELECT count(*) FROM sweeps) AS sweeps,
                    (SELECT count(*) FROM sweeps WHERE public_id IS NOT NULL) AS published,
                    (SELECT count(*) FROM uploads WHERE state = 'open') AS open_uploads,
                    (SELECT count(*) FROM originals) AS originals,
                    (SELECT coalesce(sum(bytes), 0) FROM originals) AS original_bytes,
                    (SELECT count(*) FROM jobs WHERE state IN ('waiting', 'running') AND state = 'waiting') AS jobs_waiting,
                    (SELECT count(*) FROM jobs WHERE state IN ('waiting', 'running') AND state = 'running') AS jobs_running,
                    (SELECT count(*) FROM jobs WHERE state = 'set_aside') AS jobs_set_aside,
                    (SELECT count(*) FROM accounts) AS accounts",
        )
        .fetch_one(&self.readers)
        .await?)
    }

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
                    state: JobState::from_stored(&state)?,
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
