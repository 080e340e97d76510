//! A job that is held: kept alive while it is measured, then finished, failed or given back.

use std::sync::Arc;
use std::time::Duration;

use tokio::task::{JoinError, JoinHandle};
use tokio_util::sync::CancellationToken;

use super::measuring::{Course, Fault, Outcome};
use super::timing::{Pause, Timing};
use super::{MAX_ATTEMPTS, Worker};
use crate::store::{ClaimedJob, Store, StoreError, SweepId, SweepInput, now_ms};
use crate::sweep::{ALGORITHM_VERSION, SweepMeasurement};

/// How long a dropped measurement is waited for: a frame that is being decoded has to come to its end.
const DROPPED_WORK_ENDS_WITHIN: Duration = Duration::from_secs(10);

/// How a job left this worker's hands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ended {
    /// Its result is stored, or it failed by itself, or it is somebody else's now.
    Over,
    /// The disk or the database failed; the next job would fare no better right now.
    Faulted,
}

/// One claimed job.
pub(super) struct Held {
    store: Store,
    timing: Timing,
    job: ClaimedJob,
}

/// Why a measurement came to nothing.
enum Loss {
    /// The program stops.
    Stopped,
    /// The lease is somebody else's.
    LeaseLost,
    /// A panic; the text is its message.
    Panicked(String),
    /// The disk.
    Disk(Fault),
}

impl Held {
    pub(super) fn new(worker: &Worker, job: ClaimedJob) -> Self {
        Self {
            store: worker.store.clone(),
            timing: worker.timing,
            job,
        }
    }

    pub(super) const fn sweep(&self) -> SweepId {
        self.job.sweep
    }

    /// Measures off the async threads with a heartbeat beside it, and stores what comes out.
    pub(super) async fn carry_out(
        self,
        input: Arc<SweepInput>,
        measuring: impl FnOnce(&SweepInput, &Course) -> Outcome + Send + 'static,
        stop: &CancellationToken,
    ) -> Ended {
        let started = std::time::Instant::now();
        let course = Arc::new(Course::default());
        let work = tokio::task::spawn_blocking({
            let (input, course) = (input.clone(), course.clone());
            move || measuring(&input, &course)
        });
        let sweep = self.job.sweep;
        match self.watch(work, &course, input.frames.len(), stop).await {
            Ok((measurement, runs)) => {
                let seconds = started.elapsed().as_secs_f64();
                let ended = if self.is_parted(&runs).await {
                    Ended::Over
                } else {
                    self.finish(&input, measurement, stop).await
                };
                tracing::info!(
                    sweep,
                    frames = input.frames.len(),
                    seconds,
                    "a sweep was measured"
                );
                ended
            }
            Err(Loss::Stopped) => {
                self.give_back().await;
                Ended::Over
            }
            Err(Loss::LeaseLost) => {
                tracing::info!(
                    sweep,
                    "a measurement was dropped: the sweep was changed or another worker has it"
                );
                Ended::Over
            }
            Err(Loss::Panicked(words)) => self.fail(&words).await,
            // No fault of this sweep, which would be set aside after an hour without a disk.
            Err(Loss::Disk(fault)) if fault.is_of_all => {
                tracing::error!(
                    sweep,
                    reason = fault.words,
                    "the originals are away; it will be tried again"
                );
                self.give_back().await;
                Ended::Faulted
            }
            Err(Loss::Disk(fault)) => {
                self.fail(&fault.words).await;
                Ended::Faulted
            }
        }
    }

    /// Waits for the work and shows that it is alive; drops it when the program stops or the lease is lost.
    async fn watch(
        &self,
        mut work: JoinHandle<Outcome>,
        course: &Course,
        frames: usize,
        stop: &CancellationToken,
    ) -> Result<Outcome, Loss> {
        let mut beat = tokio::time::interval(self.timing.heartbeat);
        beat.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
        let loss = loop {
            tokio::select! {
                outcome = &mut work => return read_outcome(outcome, course),
                _ = beat.tick() => match self.beat(course.done(), frames).await {
                    Ok(true) => {}
                    Ok(false) => break Loss::LeaseLost,
                    // The lease may well outlast the fault.
                    Err(error) => tracing::warn!(%error, sweep = self.job.sweep, "a heartbeat failed"),
                },
                () = stop.cancelled() => break Loss::Stopped,
            }
        };
        course.drop_work();
        if tokio::time::timeout(DROPPED_WORK_ENDS_WITHIN, work)
            .await
            .is_err()
        {
            tracing::warn!(
                sweep = self.job.sweep,
                "a dropped measurement takes long to end"
            );
        }
        Err(loss)
    }

    /// Parts a sweep that is several, if this is its first result; they wait to be measured then. Where that can't be done, the
    /// result stands, and says that they are several.
    async fn is_parted(&self, runs: &[Vec<usize>]) -> bool {
        if runs.len() < 2 {
            return false;
        }
        let parted = self.store.part_sweep(&self.job, runs, now_ms()).await;
        parted.unwrap_or_else(|error| {
            tracing::warn!(%error, sweep = self.job.sweep, "a sweep could not be parted");
            false
        })
    }

    async fn beat(&self, done: usize, frames: usize) -> Result<bool, StoreError> {
        let count = |number: usize| u32::try_from(number).unwrap_or(u32::MAX);
        self.store
            .heartbeat(
                &self.job,
                count(done),
                count(frames),
                self.timing.lease_ms(),
                now_ms(),
            )
            .await
    }

    /// Stores the result, trying again while the disk is full or the database busy: the measuring is not done twice for that.
    async fn finish(
        self,
        input: &SweepInput,
        measurement: SweepMeasurement,
        stop: &CancellationToken,
    ) -> Ended {
        let mut pause = Pause::new(self.timing.shortest_pause, self.timing.longest_pause);
        loop {
            let stored = self
                .store
                .finish_job(&self.job, input, ALGORITHM_VERSION, &measurement, now_ms())
                .await;
            match stored {
                // False: the lease was lost in the last moment, and the result is somebody else's to give.
                Ok(_) => return Ended::Over,
                Err(error @ StoreError::Damaged(_)) => return self.fail(&error.to_string()).await,
                Err(error) => {
                    tracing::error!(%error, sweep = self.job.sweep, "a result could not be stored; it will be tried again");
                }
            }
            pause.rest(stop).await;
            if stop.is_cancelled() {
                self.give_back().await;
                return Ended::Faulted;
            }
        }
    }

    /// Counts this try as failed; the job waits again or is set aside.
    pub(super) async fn fail(self, words: &str) -> Ended {
        tracing::error!(
            sweep = self.job.sweep,
            attempt = self.job.attempt,
            reason = words,
            "a measurement failed"
        );
        let noted = self
            .store
            .fail_job(&self.job, words, MAX_ATTEMPTS, now_ms())
            .await;
        match noted {
            Ok(()) => Ended::Over,
            Err(error) => {
                tracing::error!(%error, sweep = self.job.sweep, "a failed job could not be noted; its lease will run out");
                Ended::Faulted
            }
        }
    }

    /// Gives the job back as if it had not been claimed.
    pub(super) async fn give_back(self) {
        if let Err(error) = self.store.give_back_job(&self.job).await {
            tracing::warn!(%error, sweep = self.job.sweep, "a job could not be given back; its lease will run out");
        }
    }
}

/// What came of the work: a panic, a failed disk, or a measurement.
fn read_outcome(outcome: Result<Outcome, JoinError>, course: &Course) -> Result<Outcome, Loss> {
    if let Some(fault) = course.fault() {
        return Err(Loss::Disk(fault.clone()));
    }
    outcome.map_err(|error| {
        Loss::Panicked(match error.try_into_panic() {
            Ok(panic) => format!(
                "measuring failed inside the program: {}",
                panic_words(panic.as_ref())
            ),
            Err(cancelled) => format!("measuring was broken off: {cancelled}"),
        })
    })
}

fn panic_words(panic: &(dyn std::any::Any + Send)) -> &str {
    panic
        .downcast_ref::<&str>()
        .copied()
        .or_else(|| panic.downcast_ref::<String>().map(String::as_str))
        .unwrap_or("no message")
}

#[cfg(test)]
mod tests;
