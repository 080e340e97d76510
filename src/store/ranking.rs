//! Read models of the public pages: the ranking, the page of a lens, a published sweep.

use super::{ConditionsKey, Kind, Lens, Store, StoreError, Sweep, SweepId};
use crate::sweep::{DistanceSource, Finding, ShiftCurve, ToleranceOutcome};
use crate::units::Measured;

/// What the ranking is sorted by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum RankingSort {
    /// Smallest worst shift first.
    #[default]
    WorstShift,
    /// Nearest tolerance distance first; "never" before all, unknown last.
    ToleranceDistance,
    /// By maker and model.
    Name,
    /// Newest publication first.
    Newest,
}

/// A question to the ranking.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RankingQuery {
    /// Words that must all occur in maker, model, mount or focal length.
    pub words: Vec<String>,
    /// Mount.
    pub mount: Option<String>,
    /// Kind.
    pub kind: Option<Kind>,
    /// Focal length that the lens must cover, mm.
    pub focal_mm: Option<f64>,
    /// Conditions that all results were shot under.
    pub conditions: ConditionsKey,
    /// What to sort by.
    pub sort: RankingSort,
    /// The other way round; "not measured" and unknown stay last.
    pub descending: bool,
    /// At most this many rows.
    pub limit: u32,
    /// Rows to pass over.
    pub offset: u32,
}

/// A row of the ranking.
#[derive(Debug, Clone)]
pub struct RankedLens {
    /// The lens.
    pub lens: Lens,
    /// Results by focal length, shortest first; empty where nothing is published.
    pub results: Vec<FocalResult>,
    /// When something of it was published last, ms since 1970 UTC.
    pub published_ms: Option<i64>,
}

/// The published result of one lens at one focal length under one set of conditions, repeats combined.
#[derive(Debug, Clone)]
pub struct FocalResult {
    /// Conditions it was shot under.
    pub conditions: ConditionsKey,
    /// Marked focal length, mm.
    pub focal_length_mm: f64,
    /// Sweeps it was made of.
    pub sweeps: Vec<SweepId>,
    /// Shift of largest magnitude, per cent.
    pub worst_shift_pct: Measured,
    /// At the default tolerance.
    pub tolerance: ToleranceOutcome,
    /// Shift against focus, for any tolerance and any focus pull.
    pub curve: ShiftCurve,
    /// Where the distances come from.
    pub distance_source: DistanceSource,
    /// Closest focus that was measured, m.
    pub closest_focus_m: Option<f64>,
    /// Shifts are relative to the farthest frame.
    pub relative_to_farthest: bool,
    /// f-number.
    pub f_number: Option<f64>,
    /// Camera.
    pub camera: Option<String>,
    /// Picture width, px.
    pub picture_width_px: Option<u32>,
    /// Distance to the targets, m.
    pub target_distance_m: Option<f64>,
    /// Reviewers.
    pub reviewers: Vec<String>,
    /// When the sweeps were taken, as the cameras say, newest last.
    pub captured_at: Vec<String>,
    /// Algorithm version of the oldest result in it.
    pub algorithm_version: u32,
    /// What was noticed on its sweeps.
    pub findings: Vec<Finding>,
}

/// All that the page of a lens says.
#[derive(Debug, Clone)]
pub struct LensPage {
    /// The lens.
    pub lens: Lens,
    /// Results by conditions, then focal length.
    pub results: Vec<FocalResult>,
    /// Publications and withdrawals of its sweeps, newest first: when (ms), sweep, what in words.
    pub history: Vec<(i64, SweepId, String)>,
}

/// A sweep as the public may see it: the published result, not a newer draft.
#[derive(Debug, Clone)]
pub struct PublishedSweep {
    /// The sweep, with `result` set to the published one.
    pub sweep: Sweep,
    /// Version that is public.
    pub version: u32,
}

#[allow(unused_variables, clippy::unused_async)]
impl Store {
    /// The ranking, and how many lenses match in all. Lenses with nothing published under the conditions come last both ways.
    pub async fn ranking(
        &self,
        query: &RankingQuery,
    ) -> Result<(Vec<RankedLens>, u64), StoreError> {
        unimplemented!()
    }
    /// How many lenses are published under each set of conditions, most first.
    pub async fn conditions_in_use(&self) -> Result<Vec<(ConditionsKey, u64)>, StoreError> {
        unimplemented!()
    }
    /// The page of a lens.
    pub async fn lens_page(&self, slug: &str) -> Result<Option<LensPage>, StoreError> {
        unimplemented!()
    }
    /// The public version of a sweep.
    pub async fn published_sweep(&self, id: SweepId) -> Result<Option<PublishedSweep>, StoreError> {
        unimplemented!()
    }
}
