//! One sweep: from the targets of its frames to the shift curve, the worst shift, the tolerance distance and the findings.
//!
//! Pure like `measure`: frames come in through a closure, values go out, the same bytes give the same numbers.

mod backdrop;
mod balance;
mod beside;
mod between;
mod budget;
mod carries_on;
mod covered;
mod curve;
mod difference;
mod distance;
mod dust;
mod ellipse;
mod extra;
mod facts;
mod finding;
mod findings;
mod frame;
mod hunting;
mod infinity;
mod least_squares;
mod left_open;
mod look;
mod measurement;
mod naming;
mod order;
mod other_light;
mod outlines;
mod overlap;
mod pace;
mod pair;
mod part;
mod penalised;
mod pick;
mod pieces;
mod places;
mod pulls;
mod reach;
mod repeats;
mod restore;
mod rims;
mod run;
mod run_together;
mod runs;
mod search;
mod settings;
mod shading;
mod slip;
mod smooth;
mod spike_and_slab;
mod split;
mod spread;
mod steps;
mod together;
mod told;
mod tone;
mod track;
mod unseen;
mod verdict;
mod vignette;
mod warp;

pub use curve::{CurvePoint, SAME_SETTING, ShiftCurve, ToleranceOutcome};
pub use difference::{Difference, FrameChange};
pub use finding::{Code, Finding, Severity};
pub use frame::{CaptureTime, FrameInfo, FrameResult, FrameState};
pub use left_open::{LeftOpen, Perspective, is_farther};
pub use measurement::{Budget, BudgetLine, Direction, DistanceSource, Summary, SweepMeasurement};
pub use outlines::{Outlines, TolerancePlace};
pub use part::Part;
pub use reach::{Counts, Reach, how_each_counts};
pub use repeats::{Combined, combine_repeats};
pub use settings::{FrameOrder, SweepSettings};
pub use together::{Repeat, RepeatGroup, SAME_FOCAL_SHARE, Together, repeat_groups, together};
pub use told::{NearEnd, farthest_m, is_not_reached, is_untold, nearest_m};

/// Version of the whole algorithm in `measure` and `sweep`; raised whenever the same bytes may give other numbers.
pub const ALGORITHM_VERSION: u32 = 9;

/// The tolerance that holds unless somebody sets another, per cent of shift (common practice, no source).
pub const DEFAULT_TOLERANCE_PCT: f64 = 2.0;

use crate::measure::{Plane, Unmeasurable};

/// Frames that belong to one sweep, as indices into what was sorted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SweepGroup {
    /// Name: folder or source, with the focal length where several sweeps share it.
    pub name: String,
    /// Indices of its frames, in file order.
    pub frames: Vec<usize>,
}

/// Sorts the frames of a folder, card or archive into sweeps by folder, lens, focal length and gaps in time and file number.
#[must_use]
pub fn split(frames: &[FrameInfo], source_name: &str) -> Vec<SweepGroup> {
    split::split(frames, source_name)
}

/// The same, where pictures tell what files leave open: frames behind a pause that carry on where those before it ended are of
/// one sweep. `load` gives the picture of a frame by its index; only a few beside such pauses are asked for.
#[must_use]
pub fn split_looking(
    frames: &[FrameInfo],
    source_name: &str,
    load: &(dyn Fn(usize) -> Result<Plane, Unmeasurable> + Sync),
) -> Vec<SweepGroup> {
    split::split_looking(frames, source_name, load)
}

/// The runs through the focus that the measurement of these frames found, as their indices: more than one where several
/// brackets were shot one after the other without a pause (`Code::SeveralRuns`), which can be measured each by itself then.
#[must_use]
pub fn runs_apart(
    frames: &[FrameInfo],
    settings: &SweepSettings,
    measured: &SweepMeasurement,
) -> Vec<Vec<usize>> {
    runs::apart(frames, settings, measured)
}

/// Measures one sweep. `load` gives the picture of the frame with this index in `frames`; it may be asked more than once
/// and from several threads. `progress` hears how many frames are done and how many there are.
#[must_use]
pub fn measure(
    name: &str,
    frames: &[FrameInfo],
    load: &(dyn Fn(usize) -> Result<Plane, Unmeasurable> + Sync),
    settings: &SweepSettings,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> SweepMeasurement {
    run::measure(name, frames, load, settings, progress)
}
