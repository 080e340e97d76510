//! The sweep document: names that stay put, units in the names, raw numbers, `null` for unknown.

use serde::Serialize;
use utoipa::ToSchema;

use super::RepeatsDocument;
use crate::sweep::{
    ALGORITHM_VERSION, BudgetLine, CaptureTime, Code, Finding, FrameResult, RepeatGroup,
    SweepMeasurement, ToleranceOutcome,
};
use crate::units::noiseless_m;

/// What `breathmark measure --format json` prints.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ReportDocument {
    /// Version of the program.
    pub breathmark: &'static str,
    /// Version of the algorithm that made the numbers.
    pub algorithm: u32,
    /// The sweeps, in the order they were found.
    pub sweeps: Vec<SweepDocument>,
    /// Sweeps among them that repeat each other, taken together.
    pub repeats: Vec<RepeatsDocument>,
    /// Files that are no frames, and why.
    pub skipped: Vec<SkippedDocument>,
}

/// A file that was passed over.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SkippedDocument {
    /// Path of the file.
    pub file: String,
    /// Why, and how to mend it.
    pub reason: String,
}

/// One sweep. `u` fields are standard uncertainties (k = 1).
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SweepDocument {
    /// Name of the sweep.
    pub name: String,
    /// Marked focal length, mm.
    pub focal_length_mm: Option<f64>,
    /// f-number.
    pub f_number: Option<f64>,
    /// Camera that the files state.
    pub camera: Option<String>,
    /// Lens that the files state.
    pub lens: Option<String>,
    /// When the first frame was taken, by the camera's clock.
    pub captured_at: Option<String>,
    /// Offset of the camera's clock from UTC, e.g. `+02:00`.
    pub captured_at_offset: Option<String>,
    /// Columns of the upright frames.
    pub picture_width_px: Option<u32>,
    /// Rows of the upright frames.
    pub picture_height_px: Option<u32>,
    /// Frames in all.
    pub frame_count: usize,
    /// Frames that were measured.
    pub measured_count: usize,
    /// The frame that the others are compared with.
    pub reference_file: Option<String>,
    /// `infinity`, or `farthest_frame` where the last frame is not known to be at infinity.
    pub relative_to: &'static str,
    /// Shift of largest magnitude, per cent; positive is tighter.
    pub worst_shift_pct: Option<f64>,
    /// Its standard uncertainty, percentage points.
    pub worst_shift_u_pct: Option<f64>,
    /// The frame it was measured in.
    pub worst_shift_file: Option<String>,
    /// `tighter`, `wider`, or `none`.
    pub direction: Option<&'static str>,
    /// The focal length that the lens frames like at its worst, mm.
    pub equivalent_focal_length_mm: Option<f64>,
    /// Its standard uncertainty, mm: that of the shift.
    pub equivalent_focal_length_u_mm: Option<f64>,
    /// Closest focus, m.
    pub closest_focus_m: Option<f64>,
    /// Tolerance that the next fields hold for, per cent.
    pub tolerance_pct: f64,
    /// `within`, `exceeded` or `unknown`.
    pub tolerance_outcome: Option<&'static str>,
    /// Farthest focus distance at which the magnitude of shift exceeds the tolerance, m.
    pub tolerance_distance_m: Option<f64>,
    /// Its standard uncertainty, m.
    pub tolerance_distance_u_m: Option<f64>,
    /// Where in the sweep the tolerance is exceeded last, 0 at closest focus, 1 at the last frame.
    pub tolerance_travel: Option<f64>,
    /// `exif`, `entered`, `blur` or `none`.
    pub distance_source: &'static str,
    /// The frames in sweep order.
    pub frames: Vec<FrameDocument>,
    /// What was noticed, heaviest first.
    pub findings: Vec<FindingDocument>,
    /// Uncertainty budget of the worst shift.
    pub budget: Option<BudgetDocument>,
}

/// One frame.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct FrameDocument {
    /// File name.
    pub file: String,
    /// `measured`, `left_out` or `failed`.
    pub state: &'static str,
    /// Why it was left out or failed.
    pub reason: Option<String>,
    /// Place in the sweep, 0 at closest focus, 1 at the last frame.
    pub travel: f64,
    /// Focus distance, m; `null` at infinity and where unknown.
    pub focus_distance_m: Option<f64>,
    /// Focus setting, dioptres; 0 at infinity, `null` where unknown.
    pub focus_dioptres: Option<f64>,
    /// Its standard uncertainty, dioptres.
    pub focus_u_dioptres: Option<f64>,
    /// Distance between the outermost target centres, px.
    pub separation_px: Option<f64>,
    /// Its standard uncertainty, px.
    pub separation_u_px: Option<f64>,
    /// Shift, per cent.
    pub shift_pct: Option<f64>,
    /// Its standard uncertainty, percentage points.
    pub shift_u_pct: Option<f64>,
    /// The targets, left to right.
    pub targets: Vec<TargetDocument>,
}

/// One target of a frame. Origin top left, y down, an integer is a pixel's centre.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct TargetDocument {
    /// Centre, px from the left.
    pub x_px: f64,
    /// Its standard uncertainty, px.
    pub x_u_px: f64,
    /// Centre, px from the top.
    pub y_px: f64,
    /// Its standard uncertainty, px.
    pub y_u_px: f64,
    /// Diameter of the blur disc, px; `null` where it can't be told.
    pub blur_px: Option<f64>,
    /// What is remarkable about it.
    pub flags: Vec<&'static str>,
}

/// Something noticed.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct FindingDocument {
    /// Stable code.
    pub code: &'static str,
    /// `note`, `warning` or `stop`.
    pub severity: &'static str,
    /// What was seen, what it does to the number, what to do about it.
    pub message: String,
    /// The frames it is about.
    pub files: Vec<String>,
}

/// Uncertainty budget of the worst shift.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct BudgetDocument {
    /// Standard uncertainties (k = 1), percentage points; in quadrature they make the uncertainty of the worst shift.
    pub random: Vec<BudgetLineDocument>,
    /// Bounds, percentage points; never mixed into the random part.
    pub systematic: Vec<BudgetLineDocument>,
}

/// One part of a budget.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct BudgetLineDocument {
    /// Stable word for the part.
    pub part: &'static str,
    /// What it is.
    pub description: &'static str,
    /// Its size, percentage points of shift.
    pub pct: f64,
}

impl SweepDocument {
    /// The document of a measured sweep, with its tolerance distance at `tolerance_pct`.
    #[must_use]
    pub fn new(sweep: &SweepMeasurement, tolerance_pct: f64) -> Self {
        let summary = sweep.summary.as_ref();
        let outcome = summary.map(|summary| summary.curve.tolerance_outcome(tolerance_pct));
        let distance = outcome.and_then(|outcome| outcome.distance_m());
        let like = sweep.equivalent_focal_length_mm();
        let file = |index: usize| sweep.frames.get(index).map(|frame| frame.info.file.clone());
        Self {
            name: sweep.name.clone(),
            focal_length_mm: sweep.focal_length.map(|focal| focal.mm()),
            f_number: sweep.f_number.map(|stop| stop.n()),
            camera: sweep.camera.clone(),
            lens: sweep.lens.clone(),
            captured_at: sweep.captured_at.map(|taken| taken.to_string()),
            captured_at_offset: sweep.captured_at.as_ref().and_then(offset),
            picture_width_px: sweep.picture_size_px.map(|(width, _)| width),
            picture_height_px: sweep.picture_size_px.map(|(_, height)| height),
            frame_count: sweep.frames.len(),
            measured_count: sweep.measured_count(),
            reference_file: summary.and_then(|summary| file(summary.reference)),
            relative_to: match summary {
                Some(summary) if summary.relative_to_farthest => "farthest_frame",
                _ => "infinity",
            },
            worst_shift_pct: summary.map(|summary| summary.worst_shift_pct.value),
            worst_shift_u_pct: summary.map(|summary| summary.worst_shift_pct.std_error),
            worst_shift_file: summary.and_then(|summary| file(summary.worst)),
            direction: summary.map(|summary| summary.direction().code()),
            equivalent_focal_length_mm: like.map(|like| like.value),
            equivalent_focal_length_u_mm: like.map(|like| like.std_error),
            closest_focus_m: sweep
                .closest_focus
                .map(|distance| noiseless_m(distance.m())),
            tolerance_pct,
            tolerance_outcome: outcome.map(|outcome| outcome.code()),
            tolerance_distance_m: distance.map(|distance| distance.value),
            tolerance_distance_u_m: distance.map(|distance| distance.std_error),
            tolerance_travel: outcome.and_then(|outcome| match outcome {
                ToleranceOutcome::Within => None,
                ToleranceOutcome::Exceeded { travel, .. }
                | ToleranceOutcome::Unknown { travel } => Some(travel),
            }),
            distance_source: sweep.distance_source.code(),
            frames: sweep.frames.iter().map(FrameDocument::new).collect(),
            findings: sweep.findings.iter().map(FindingDocument::new).collect(),
            budget: summary.map(|summary| BudgetDocument {
                random: summary
                    .budget
                    .random
                    .iter()
                    .map(BudgetLineDocument::new)
                    .collect(),
                systematic: summary
                    .budget
                    .systematic
                    .iter()
                    .map(BudgetLineDocument::new)
                    .collect(),
            }),
        }
    }
}

impl FrameDocument {
    fn new(frame: &FrameResult) -> Self {
        Self {
            file: frame.info.file.clone(),
            state: frame.state.code(),
            reason: frame.state.reason(),
            travel: frame.travel,
            focus_distance_m: frame
                .focus_distance()
                .map(|distance| noiseless_m(distance.m())),
            focus_dioptres: frame.focus_dioptres.map(|setting| setting.value),
            focus_u_dioptres: frame.focus_dioptres.map(|setting| setting.std_error),
            separation_px: frame.separation_px.map(|separation| separation.value),
            separation_u_px: frame.separation_px.map(|separation| separation.std_error),
            shift_pct: frame.shift_pct.map(|shift| shift.value),
            shift_u_pct: frame.shift_pct.map(|shift| shift.std_error),
            targets: frame
                .targets
                .iter()
                .enumerate()
                .map(|(index, target)| TargetDocument {
                    x_px: target.x_px.value,
                    x_u_px: target.x_px.std_error,
                    y_px: target.y_px.value,
                    y_u_px: target.y_px.std_error,
                    blur_px: frame.blur_px.get(index).copied().flatten(),
                    flags: target.flags.iter().map(|flag| flag.code()).collect(),
                })
                .collect(),
        }
    }
}

impl FindingDocument {
    /// What it is, in a few plain words.
    #[must_use]
    pub fn title(&self) -> &'static str {
        Code::from_code(self.code).map_or(self.code, Code::title)
    }

    /// The document of a finding.
    #[must_use]
    pub fn new(finding: &Finding) -> Self {
        Self {
            code: finding.code.code(),
            severity: finding.severity.code(),
            message: finding.message.clone(),
            files: finding.files.clone(),
        }
    }
}

impl BudgetLineDocument {
    /// The document of a part.
    #[must_use]
    pub fn new(line: &BudgetLine) -> Self {
        Self {
            part: line.part.code(),
            description: line.part.description(),
            pct: line.pct,
        }
    }
}

impl ReportDocument {
    /// The report of several sweeps, with those that repeat each other.
    #[must_use]
    pub fn new(
        sweeps: &[SweepMeasurement],
        repeats: &[RepeatGroup],
        skipped: Vec<SkippedDocument>,
        tolerance_pct: f64,
    ) -> Self {
        Self {
            breathmark: env!("CARGO_PKG_VERSION"),
            algorithm: ALGORITHM_VERSION,
            sweeps: sweeps
                .iter()
                .map(|sweep| SweepDocument::new(sweep, tolerance_pct))
                .collect(),
            repeats: repeats
                .iter()
                .filter_map(|group| RepeatsDocument::new(sweeps, group, tolerance_pct))
                .collect(),
            skipped,
        }
    }
}

fn offset(taken: &CaptureTime) -> Option<String> {
    let (hours, minutes, _) = taken.offset?.as_hms();
    let sign = if hours < 0 || minutes < 0 { '-' } else { '+' };
    Some(format!("{sign}{:02}:{:02}", hours.abs(), minutes.abs()))
}
