//! One sweep: from the targets of its frames to the shift curve, the worst shift, the tolerance distance and the findings.
//!
//! Pure like `measure`: frames come in through a closure, values go out, the same bytes give the same numbers. `run` walks a
//! sweep through the rooms: `sorting`, `tracking`, `sequence`, `distance`, `surroundings`, `pulls`, `verdict`, `findings`.

mod curve;
mod difference;
mod distance;
mod facts;
mod finding;
mod findings;
mod fitting;
mod frame;
mod measurement;
mod part;
mod pulls;
mod repeats;
mod run;
mod search;
mod sequence;
mod settings;
mod sorting;
mod surroundings;
mod tracking;
mod verdict;

pub use curve::left_open::{LeftOpen, Perspective, is_farther};
pub use curve::outlines::{Outlines, TolerancePlace};
pub use curve::told::{NearEnd, farthest_m, is_not_reached, is_untold, nearest_m};
pub use curve::{CurvePoint, SAME_SETTING, ShiftCurve, ToleranceOutcome};
pub use difference::{Difference, FrameChange};
pub use finding::{Code, Finding, Severity};
pub use frame::{CaptureTime, FrameInfo, FrameResult, FrameState};
pub use measurement::{Budget, BudgetLine, Direction, DistanceSource, Summary, SweepMeasurement};
pub use part::Part;
pub use repeats::reach::{Counts, Reach, how_each_counts};
pub use repeats::together::{
    Repeat, RepeatGroup, SAME_FOCAL_SHARE, Together, repeat_groups, together,
};
pub use repeats::{Combined, combine_repeats};
pub use settings::{FrameOrder, SweepSettings};

/// Version of the whole algorithm in `measure` and `sweep`; raised whenever the same bytes may give other numbers.
pub const ALGORITHM_VERSION: u32 = 10;

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
    sorting::split::split(frames, source_name)
}

/// The same, where pictures tell what files leave open: frames behind a pause that carry on where those before it ended are of
/// one sweep. `load` gives the picture of a frame by its index; only a few beside such pauses are asked for.
#[must_use]
pub fn split_looking(
    frames: &[FrameInfo],
    source_name: &str,
    load: &(dyn Fn(usize) -> Result<Plane, Unmeasurable> + Sync),
) -> Vec<SweepGroup> {
    sorting::split::split_looking(frames, source_name, load)
}

/// The runs through the focus that the measurement of these frames found, as their indices: more than one where several
/// brackets were shot one after the other without a pause (`Code::SeveralRuns`), which can be measured each by itself then.
#[must_use]
pub fn runs_apart(
    frames: &[FrameInfo],
    settings: &SweepSettings,
    measured: &SweepMeasurement,
) -> Vec<Vec<usize>> {
    sequence::runs::apart(frames, settings, measured)
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
