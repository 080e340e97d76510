//! A sweep that turns out to be several when it is measured for the first time.

use super::document::encode;
use super::jobs::queue;
use super::{ClaimedJob, Store, StoreError, SweepId};

impl Store {
    /// Parts a sweep that nobody has seen a result of: the frames of each run but the first, given as places in the sweep's
    /// order of files, become a sweep of their own, set up alike and named by number. All of them wait to be measured then.
    /// Nothing changes, and `false` comes back, where the lease was lost, where the sweep has a result, and where the runs are not
    /// all of its frames.
    pub async fn part_sweep(
        &self,
        job: &ClaimedJob,
        runs: &[Vec<usize>],
        now_ms: i64,
    ) -> Result<bool, StoreError> {
        let mut write = self.write().await?;
        let given_back = sqlx::query(
            "UPDATE jobs SET state = 'waiting', attempts = 0, lease_token = NULL, lease_until_ms = NULL, frames_done = 0,
               frames_total = ?3, error = NULL
             WHERE id = ?1 AND lease_token = ?2
               AND NOT EXISTS (SELECT 1 FROM results WHERE sweep_id = jobs.sweep_id)",
        )
        .bind(job.id)
        .bind(&job.lease_token)
        .bind(runs.first().map_or(0, Vec::len) as i64)
        .execute(&mut *write)
        .await?
        .rows_affected();
        let positions: Vec<i64> =
            sqlx::query_scalar("SELECT position FROM frames WHERE sweep_id = ?1 ORDER BY position")
                .bind(job.sweep)
                .fetch_all(&mut *write)
                .await?;
        let mut places: Vec<usize> = runs.concat();
        places.sort_unstable();
        if given_back == 0 || !places.into_iter().eq(0..positions.len()) {
            return Ok(false);
        }
        for (number, run) in (2_i64..).zip(runs.iter().skip(1)) {
            let moved: Vec<i64> = run.iter().map(|&place| positions[place]).collect();
            let sweep: SweepId = sqlx::query_scalar(
                "INSERT INTO sweeps (account_id, lens_id, camera_id, upload_id, name, focal_length_mm, conditions, settings, notes,
                                     created_ms)
                 SELECT account_id, lens_id, camera_id, upload_id, name || ' (' || ?2 || ')', focal_length_mm, conditions, settings,
                        notes, ?3
                 FROM sweeps WHERE id = ?1 RETURNING id",
            )
            .bind(job.sweep)
            .bind(number)
            .bind(now_ms)
            .fetch_one(&mut *write)
            .await?;
            sqlx::query(
                "UPDATE frames SET sweep_id = ?2
                 WHERE sweep_id = ?1 AND position IN (SELECT value FROM json_each(?3))",
            )
            .bind(job.sweep)
            .bind(sweep)
            .bind(encode(&moved)?)
            .execute(&mut *write)
            .await?;
            queue(&mut write, sweep, now_ms).await?;
        }
        write.commit().await?;
        Ok(true)
    }
}
