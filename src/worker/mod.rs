//! The worker: claims a job, runs intake → measure → sweep off the async threads, saves. Doing a job twice changes nothing.
//!
//! It waits to be rung and looks by itself every few seconds all the same. A panic ends one job only, as does an original that
//! can't be read; a fault of the whole disk or of the database makes it pause and try again, longer each time, and counts
//! against no job; nothing makes it stop but `stop`.

mod held;
mod measuring;
mod timing;

use std::sync::Arc;

use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

use crate::intake::{Limits, Originals};
use crate::store::{ClaimedJob, Store, StoreError, now_ms};
use held::{Ended, Held};
use timing::Pause;

pub use timing::Timing;

/// How often a job is tried before it is set aside.
pub const MAX_ATTEMPTS: u32 = 3;

/// All that the worker works with.
#[derive(Debug, Clone)]
pub struct Worker {
    /// Where jobs come from and results go.
    pub store: Store,
    /// Where frames come from.
    pub originals: Originals,
    /// Limits on decoding.
    pub limits: Limits,
    /// Rung when there is new work; the worker looks by itself every few seconds all the same.
    pub wake: Arc<Notify>,
    /// Threads that measure frames; 0 is one a processor.
    pub threads: usize,
    /// How long a lease lasts and how often things are looked after.
    pub timing: Timing,
}

impl Worker {
    /// Works until `stop` is cancelled, then gives back what it holds and returns.
    pub async fn run(self, stop: CancellationToken) {
        let mut pause = Pause::new(self.timing.shortest_pause, self.timing.longest_pause);
        let Some(threads) = self.thread_pool(&mut pause, &stop).await else {
            return;
        };
        while !stop.is_cancelled() {
            match self.one_job(&threads, &stop).await {
                Ok(Some(Ended::Over)) => pause.reset(),
                // More may be waiting after a fault of the disk, but not the next moment.
                Ok(Some(Ended::Faulted)) => pause.rest(&stop).await,
                Ok(None) => {
                    pause.reset();
                    tokio::select! {
                        () = self.wake.notified() => {}
                        () = tokio::time::sleep(self.timing.poll) => {}
                        () = stop.cancelled() => {}
                    }
                }
                Err(error) => {
                    tracing::error!(%error, "the worker could not ask for work; it will try again");
                    pause.rest(&stop).await;
                }
            }
        }
    }

    /// Claims a job and sees it to its end; `None` when there is none.
    async fn one_job(
        &self,
        threads: &Arc<rayon::ThreadPool>,
        stop: &CancellationToken,
    ) -> Result<Option<Ended>, StoreError> {
        let Some(job) = self.claim().await? else {
            return Ok(None);
        };
        let held = Held::new(self, job);
        let input = match self.store.sweep_input(held.sweep()).await {
            Ok(Some(input)) => Arc::new(input),
            Ok(None) => return Ok(Some(held.fail("the sweep is not there any more").await)),
            Err(error @ StoreError::Damaged(_)) => {
                return Ok(Some(held.fail(&error.to_string()).await));
            }
            Err(error) => {
                held.give_back().await;
                return Err(error);
            }
        };
        let measuring =
            measuring::with_originals(self.originals.clone(), self.limits, threads.clone());
        Ok(Some(held.carry_out(input, measuring, stop).await))
    }

    async fn claim(&self) -> Result<Option<ClaimedJob>, StoreError> {
        self.store
            .claim_job(self.timing.lease_ms(), MAX_ATTEMPTS, now_ms())
            .await
    }

    /// The threads that measure frames; `None` when told to stop before the system gave any.
    async fn thread_pool(
        &self,
        pause: &mut Pause,
        stop: &CancellationToken,
    ) -> Option<Arc<rayon::ThreadPool>> {
        while !stop.is_cancelled() {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(self.threads)
                .thread_name(|number| format!("measure-{number}"))
                .build();
            match pool {
                Ok(pool) => return Some(Arc::new(pool)),
                Err(error) => {
                    tracing::error!(%error, "no threads to measure with; the worker will try again");
                    pause.rest(stop).await;
                }
            }
        }
        None
    }
}
