//! The published result of a lens at one focal length.

use super::{ConditionsKey, SweepId};
use crate::sweep::{
    BudgetLine, DistanceSource, Finding, Part, Reach, ShiftCurve, ToleranceOutcome,
};
use crate::units::Measured;

/// The published result of one lens at one focal length under one set of conditions, repeats combined.
#[derive(Debug, Clone, PartialEq)]
pub struct FocalResult {
    /// Conditions it was shot under.
    pub conditions: ConditionsKey,
    /// Marked focal length, mm.
    pub focal_length_mm: f64,
    /// Sweeps it was made of.
    pub sweeps: Vec<SweepId>,
    /// Sweeps that hold pictures of one of these, byte for byte, and so don't count as repeats.
    pub same_pictures: Vec<SweepId>,
    /// Sweeps that cover less of the focus range than these: they begin farther off, or end before infinity, and so are not averaged.
    pub partial: Vec<SweepId>,
    /// Shift of largest magnitude, per cent.
    pub worst_shift_pct: Measured,
    /// Bounds of the worst shift that no scatter shows, percentage points, in the order of `Part::ALL`; the largest of each
    /// part over the repeats. A part that is not here is not known or does not apply.
    pub systematic: Vec<BudgetLine>,
    /// The repeats scatter beyond their stated uncertainties; the uncertainties of worst shift, curve and tolerance
    /// distance are widened by it, and a finding says so.
    pub repeats_disagree: bool,
    /// At the default tolerance.
    pub tolerance: ToleranceOutcome,
    /// Shift against focus, for any tolerance and any focus pull.
    pub curve: ShiftCurve,
    /// Where the distances come from.
    pub distance_source: DistanceSource,
    /// Closest focus that was measured, m.
    pub closest_focus_m: Option<f64>,
    /// Shifts are relative to the farthest frame, not infinity: the reviewer said so, or it was noticed.
    pub relative_to_farthest: bool,
    /// f-number of the sweep whose curve is shown.
    pub f_number: Option<f64>,
    /// Camera of the sweep whose curve is shown.
    pub camera: Option<String>,
    /// f-numbers of all sweeps, each once, rising.
    pub f_numbers: Vec<f64>,
    /// Cameras of all sweeps, each once.
    pub cameras: Vec<String>,
    /// Picture width, px.
    pub picture_width_px: Option<u32>,
    /// Width of the camera's picture, mm: as somebody said, else as the frames state it by their 35 mm focal length.
    pub sensor_width_mm: Option<f64>,
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

impl FocalResult {
    /// The size of a systematic bound, percentage points; `None` where it is not known or does not apply.
    #[must_use]
    pub fn bound_pct(&self, part: Part) -> Option<f64> {
        let line = self.systematic.iter().find(|line| line.part == part)?;
        Some(line.pct)
    }

    /// From where to where it goes.
    #[must_use]
    pub fn reach(&self) -> Reach {
        Reach::of(&self.curve, self.relative_to_farthest)
    }
}
