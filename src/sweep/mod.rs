//! One sweep: from the targets of its frames to the shift curve, the worst shift, the tolerance distance and the findings.
//!
//! Pure like `measure`: frames come in through a closure, values go out, the same bytes give the same numbers. `run` walks a
//! sweep through the rooms: `sorting`, `tracking`, `sequence`, `distance`, `surroundings`, `pulls`, `verdict`, `findings`.

mod curve;
mod difference;
mod distance;
mod evidence;
mod facts;
mod finding;
mod findings;
mod fitting;
mod frame;
mod hanging;
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

pub use curve::left_open::{LeftOpen, Perspective, Unseen, is_farther};
pub use curve::outlines::{Outlines, TolerancePlace};
pub use curve::told::{NearEnd, farthest_m, is_not_reached, is_untold, nearest_m};
pub use curve::{CurvePoint, SAME_SETTING, ShiftCurve, ToleranceOutcome};
pub use difference::{Difference, FrameChange};
pub use finding::{Asked, Code, Finding, Severity};
pub use frame::{CaptureTime, FrameInfo, FrameResult, FrameState};
pub use measurement::{Budget, BudgetLine, Direction, DistanceSource, Summary, SweepMeasurement};
pub use part::Part;
pub use repeats::reach::{Counts, Reach, how_each_counts};
pub use repeats::together::{
    Repeat, RepeatGroup, SAME_FOCAL_SHARE, Together, repeat_groups, together,
};
pub use repeats::{Combined, combine_repeats};
pub use run::{measure, measure_runs};
pub use settings::{FrameOrder, SweepSettings};
pub use sorting::split::{split, split_looking};

/// Version of the whole algorithm in `measure` and `sweep`; raised whenever the same bytes may give other numbers.
pub const ALGORITHM_VERSION: u32 = 14;

/// The tolerance that holds unless somebody sets another, per cent of shift (common practice, no source).
pub const DEFAULT_TOLERANCE_PCT: f64 = 2.0;

/// Frames that belong to one sweep, as indices into what was sorted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SweepGroup {
    /// Name: folder or source, with the focal length where several sweeps share it.
    pub name: String,
    /// Indices of its frames, in file order.
    pub frames: Vec<usize>,
}
