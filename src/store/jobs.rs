//! Jobs: claimed by one statement with a lease, kept alive by a heartbeat, set aside after three tries.

use super::{Store, StoreError, SweepId};
use crate::sweep::{FrameInfo, SweepMeasurement, SweepSettings};

/// What became of a job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum JobState {
    /// Nobody has claimed it.
    Waiting,
    /// A worker holds its lease.
    Running,
    /// Its result is stored.
    Done,
    /// It failed too often.
    SetAside,
}

impl JobState {
    /// The word for the state in JSON and storage.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Waiting => "waiting",
            Self::Running => "running",
            Self::Done => "done",
            Self::SetAside => "set_aside",
        }
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

/// All that a measurement needs.
#[derive(Debug, Clone)]
pub struct SweepInput {
    /// Name of the sweep.
    pub name: String,
    /// What the reviewer said.
    pub settings: SweepSettings,
    /// The frames in file order.
    pub frames: Vec<FrameInput>,
}

/// One frame to measure.
#[derive(Debug, Clone)]
pub struct FrameInput {
    /// What the file says.
    pub info: FrameInfo,
    /// Hash of its original, 64 hex digits.
    pub sha256: String,
}

#[allow(unused_variables, clippy::unused_async)]
impl Store {
    /// Claims the oldest job that waits or whose lease ran out; `max_attempts` reached sets it aside instead.
    pub async fn claim_job(
        &self,
        lease_ms: i64,
        max_attempts: u32,
        now_ms: i64,
    ) -> Result<Option<ClaimedJob>, StoreError> {
        unimplemented!()
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
        unimplemented!()
    }
    /// What a job has to measure.
    pub async fn sweep_input(&self, sweep: SweepId) -> Result<Option<SweepInput>, StoreError> {
        unimplemented!()
    }
    /// Stores the result and ends the job, in one transaction; false when the lease was lost. The same input again changes nothing.
    pub async fn finish_job(
        &self,
        job: &ClaimedJob,
        input: &SweepInput,
        algorithm_version: u32,
        measurement: &SweepMeasurement,
        now_ms: i64,
    ) -> Result<bool, StoreError> {
        unimplemented!()
    }
    /// Gives a job back after a failure: it waits again, or is set aside after `max_attempts`.
    pub async fn fail_job(
        &self,
        job: &ClaimedJob,
        error: &str,
        max_attempts: u32,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        unimplemented!()
    }
    /// Puts a job that was set aside back in line with no tries counted.
    pub async fn retry_job(&self, sweep: SweepId, now_ms: i64) -> Result<(), StoreError> {
        unimplemented!()
    }
    /// How many jobs wait or run, and how many were set aside.
    pub async fn job_counts(&self) -> Result<(u64, u64), StoreError> {
        unimplemented!()
    }
}
