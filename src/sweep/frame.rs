//! One frame of a sweep: what its file says of it, and what was measured in it.

use std::fmt;

use crate::measure::{Flag, Target, Unmeasurable};
use crate::units::{FNumber, FocusDistance, Measured, Metres, Millimetres};

/// When a frame was taken, by the camera's clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct CaptureTime {
    /// Date and time of the camera's clock, with sub-seconds where the file has them.
    pub local: time::PrimitiveDateTime,
    /// Offset from UTC, where the file says it.
    pub offset: Option<time::UtcOffset>,
}

/// The camera's clock to the second, `2026-04-03T10:00:00`.
impl fmt::Display for CaptureTime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (date, clock) = (self.local.date(), self.local.time());
        write!(
            f,
            "{:04}-{:02}-{:02}T{:02}:{:02}:{:02}",
            date.year(),
            u8::from(date.month()),
            date.day(),
            clock.hour(),
            clock.minute(),
            clock.second()
        )
    }
}

/// What is known of a frame before a pixel is looked at; unknown is `None`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FrameInfo {
    /// Display name of the file, without folders; unique within a sweep.
    pub file: String,
    /// Folder inside the card or zip, with `/`; empty where there is none.
    pub folder: String,
    /// When it was taken.
    pub captured_at: Option<CaptureTime>,
    /// Focal length that the file states.
    pub focal_length: Option<Millimetres>,
    /// Focal length in 35 mm terms that the file states.
    pub focal_length_35mm: Option<Millimetres>,
    /// f-number that the file states.
    pub f_number: Option<FNumber>,
    /// Lens that the file states.
    pub lens: Option<String>,
    /// Camera that the file states.
    pub camera: Option<String>,
    /// Focus distance that the file states.
    pub focus_distance: Option<FocusDistance>,
}

/// What became of a frame.
#[derive(Debug, Clone, PartialEq)]
pub enum FrameState {
    /// Two or more targets were measured in it.
    Measured,
    /// The reviewer left it out, with this reason.
    LeftOut(String),
    /// It could not be measured, and why.
    Failed(Unmeasurable),
}

impl FrameState {
    /// The word for the state in JSON and storage.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::LeftOut(_) => "left_out",
            Self::Failed(_) => "failed",
        }
    }

    /// The reason in words, for frames that were left out or failed.
    #[must_use]
    pub fn reason(&self) -> Option<String> {
        match self {
            Self::Measured => None,
            Self::LeftOut(reason) => Some(reason.clone()),
            Self::Failed(why) => Some(why.to_string()),
        }
    }
}

/// One frame of a measured sweep, in sweep order (closest focus first).
#[derive(Debug, Clone, PartialEq)]
pub struct FrameResult {
    /// What the file says.
    pub info: FrameInfo,
    /// What became of it.
    pub state: FrameState,
    /// Place in the sweep by frame order, 0 at the first frame, 1 at the last.
    pub travel: f64,
    /// Focus setting, dioptres, with its standard uncertainty; `None` where unknown.
    pub focus_dioptres: Option<Measured>,
    /// Targets, left to right; empty unless measured.
    pub targets: Vec<Target>,
    /// Distance between the outermost target centres, px.
    pub separation_px: Option<Measured>,
    /// Shift against the reference, per cent; positive is tighter.
    pub shift_pct: Option<Measured>,
    /// Diameter of the blur disc of each target, px, left to right; `None` where it can't be told.
    pub blur_px: Vec<Option<f64>>,
}

impl FrameResult {
    /// Whether something is remarkable about one of its targets.
    #[must_use]
    pub fn is_flagged(&self, flag: Flag) -> bool {
        self.targets
            .iter()
            .any(|target| target.flags.contains(&flag))
    }

    /// Focus distance, m; `None` where unknown or at infinity.
    #[must_use]
    pub fn focus_distance(&self) -> Option<Metres> {
        self.focus_dioptres
            .and_then(|d| Metres::new(1.0 / d.value).ok())
    }
}

/// Place of the reference, against which shifts are stated: the last frame whose separation is known.
#[must_use]
pub(super) fn reference(frames: &[FrameResult]) -> Option<usize> {
    frames
        .iter()
        .rposition(|frame| frame.separation_px.is_some())
}
