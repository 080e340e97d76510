//! All that is known of a sweep once it is measured.

use super::{CaptureTime, Finding, FrameResult, Part, Severity, ShiftCurve};
use crate::optics;
use crate::units::{FNumber, Measured, Metres, Millimetres};

/// Which way the picture goes when focusing from infinity to the frame of worst shift.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Direction {
    /// The picture gets tighter: positive shift.
    Tighter,
    /// The picture gets wider: negative shift.
    Wider,
    /// Not told apart from zero at k = 2.
    None,
}

impl Direction {
    /// The direction of a worst shift: none where it is within twice its standard uncertainty of zero.
    #[must_use]
    pub fn of(worst_shift_pct: Measured) -> Self {
        if worst_shift_pct.value.abs() <= 2.0 * worst_shift_pct.std_error {
            Self::None
        } else if worst_shift_pct.value > 0.0 {
            Self::Tighter
        } else {
            Self::Wider
        }
    }

    /// The word for the direction in JSON and storage.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Tighter => "tighter",
            Self::Wider => "wider",
            Self::None => "none",
        }
    }
}

/// Where the focus distances of a sweep come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DistanceSource {
    /// The files.
    Exif,
    /// The reviewer.
    Entered,
    /// The blur of the targets: an estimate.
    Blur,
    /// Nowhere: unknown.
    None,
}

impl DistanceSource {
    /// Every source.
    pub const ALL: [Self; 4] = [Self::Exif, Self::Entered, Self::Blur, Self::None];

    /// Whether distances were stated, by the reviewer or the files, and not estimated.
    #[must_use]
    pub const fn is_stated(self) -> bool {
        matches!(self, Self::Exif | Self::Entered)
    }

    /// How far the distances can be trusted against those of another source: more is better.
    #[must_use]
    pub(super) const fn trust(self) -> u8 {
        match self {
            Self::Exif | Self::Entered => 2,
            Self::Blur => 1,
            Self::None => 0,
        }
    }

    /// The word for the source in JSON and storage.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Exif => "exif",
            Self::Entered => "entered",
            Self::Blur => "blur",
            Self::None => "none",
        }
    }
}

/// One line of an uncertainty budget.
#[derive(Debug, Clone, PartialEq)]
pub struct BudgetLine {
    /// What it is about.
    pub part: Part,
    /// Its share, percentage points of shift: a standard uncertainty if random, a bound if systematic.
    pub pct: f64,
}

/// The uncertainty budget of the worst shift (JCGM 100:2008): random parts make up its standard uncertainty,
/// systematic bounds stand apart.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Budget {
    /// Standard uncertainties (k = 1), combined in quadrature into the shift's uncertainty.
    pub random: Vec<BudgetLine>,
    /// One-sided or two-sided bounds, never mixed into the random part.
    pub systematic: Vec<BudgetLine>,
}

impl Budget {
    /// The size of a systematic bound, percentage points; `None` where it is not known or does not apply.
    #[must_use]
    pub fn bound_pct(&self, part: Part) -> Option<f64> {
        let line = self.systematic.iter().find(|line| line.part == part)?;
        Some(line.pct)
    }
}

/// The verdict on a sweep.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Index of the reference frame in `frames`.
    pub reference: usize,
    /// Index of the frame with the worst shift in `frames`.
    pub worst: usize,
    /// Shift of largest magnitude on the curve, per cent, signed. The frame's own shift differs from it by its noise.
    pub worst_shift_pct: Measured,
    /// The reference is not known to be at infinity: shifts are relative to the farthest frame.
    pub relative_to_farthest: bool,
    /// Shift against focus.
    pub curve: ShiftCurve,
    /// Uncertainty budget of the worst shift.
    pub budget: Budget,
}

impl Summary {
    /// Which way the picture goes.
    #[must_use]
    pub fn direction(&self) -> Direction {
        Direction::of(self.worst_shift_pct)
    }
}

/// One sweep, measured. `summary` is `None` where a stop finding stands.
#[derive(Debug, Clone, PartialEq)]
pub struct SweepMeasurement {
    /// Name of the sweep: its folder or zip, and its focal length where several come from one.
    pub name: String,
    /// Marked focal length, given or from the files.
    pub focal_length: Option<Millimetres>,
    /// f-number, given or from the files.
    pub f_number: Option<FNumber>,
    /// Camera that the files state.
    pub camera: Option<String>,
    /// Lens that the files state.
    pub lens: Option<String>,
    /// When the first frame was taken.
    pub captured_at: Option<CaptureTime>,
    /// Columns and rows of the frames, after orientation; `None` where none could be read.
    pub picture_size_px: Option<(u32, u32)>,
    /// Frames in sweep order.
    pub frames: Vec<FrameResult>,
    /// The verdict.
    pub summary: Option<Summary>,
    /// Where the distances come from.
    pub distance_source: DistanceSource,
    /// Closest focus of the sweep, m, where known.
    pub closest_focus: Option<Metres>,
    /// What was noticed, heaviest first.
    pub findings: Vec<Finding>,
}

impl SweepMeasurement {
    /// Whether a stop finding stands.
    #[must_use]
    pub fn is_stopped(&self) -> bool {
        self.findings
            .iter()
            .any(|finding| finding.severity == Severity::Stop)
    }

    /// How many frames were measured.
    #[must_use]
    pub fn measured_count(&self) -> usize {
        self.frames
            .iter()
            .filter(|frame| frame.state == super::FrameState::Measured)
            .count()
    }

    /// The focal length that the lens frames like at its worst, mm, as [`optics::equivalent_focal_length_mm`] has it.
    #[must_use]
    pub fn equivalent_focal_length_mm(&self) -> Option<Measured> {
        self.frames_like_mm(self.summary.as_ref()?.worst_shift_pct)
    }

    /// The same for another shift, per cent.
    #[must_use]
    pub fn frames_like_mm(&self, shift_pct: Measured) -> Option<Measured> {
        let nominal = self.focal_length?.mm();
        Some(optics::equivalent_focal_length_mm(nominal, shift_pct))
    }
}
