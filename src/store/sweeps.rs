//! Sweeps and their measured results.

use super::{AccountId, JobView, Lens, LensId, Store, StoreError, UploadId};
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

/// One publishing of a sweep.
#[derive(Debug, Clone)]
pub struct Publication {
    /// 1 for the first.
    pub version: u32,
    /// Result that was published.
    pub result: i64,
    /// When, ms since 1970 UTC.
    pub published_ms: i64,
    /// When it was taken back and why.
    pub withdrawn: Option<(i64, String)>,
}

/// A row of the desk.
#[derive(Debug, Clone)]
pub struct DeskRow {
    /// Key of the sweep.
    pub id: SweepId,
    /// Lens, maker and model.
    pub lens: String,
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
    /// When the sweep was made, ms since 1970 UTC.
    pub created_ms: i64,
}

#[allow(unused_variables, clippy::unused_async)]
impl Store {
    /// The sweep of this key with its newest result.
    pub async fn sweep(&self, id: SweepId) -> Result<Option<Sweep>, StoreError> {
        unimplemented!()
    }
    /// The sweeps of an account (of everybody for `None`), newest first.
    pub async fn desk(
        &self,
        account: Option<AccountId>,
        limit: u32,
    ) -> Result<Vec<DeskRow>, StoreError> {
        unimplemented!()
    }
    /// Changes what the reviewer said of a sweep and queues a new measurement, in one transaction.
    pub async fn change_sweep(
        &self,
        id: SweepId,
        settings: &SweepSettings,
        notes: &str,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        unimplemented!()
    }
    /// Queues a new measurement of a sweep unless one is waiting or running already.
    pub async fn queue_measurement(&self, id: SweepId, now_ms: i64) -> Result<(), StoreError> {
        unimplemented!()
    }
    /// Sweeps whose newest result is of an older algorithm than `version`.
    pub async fn outdated_sweeps(&self, version: u32) -> Result<Vec<SweepId>, StoreError> {
        unimplemented!()
    }
    /// Makes the newest result public as a new version and remakes the read models of the lens, in one transaction.
    /// # Errors: `Conflict` when there is no result, a stop finding stands, or the newest result is public already.
    pub async fn publish(
        &self,
        id: SweepId,
        by: AccountId,
        now_ms: i64,
    ) -> Result<u32, StoreError> {
        unimplemented!()
    }
    /// Takes the public version back with a reason that stays visible. # Errors: `Conflict` when none is public.
    pub async fn withdraw(&self, id: SweepId, reason: &str, now_ms: i64) -> Result<(), StoreError> {
        unimplemented!()
    }
    /// Which lens a sweep belongs to.
    pub async fn lens_of_sweep(&self, id: SweepId) -> Result<Option<LensId>, StoreError> {
        unimplemented!()
    }
}
