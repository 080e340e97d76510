//! Two measurements of the same frames side by side: what a repair, or a newer algorithm, changed.

use std::collections::HashMap;

use super::{
    Code, DEFAULT_TOLERANCE_PCT, FrameResult, FrameState, SweepMeasurement, ToleranceOutcome,
};
use crate::units::Measured;

/// Shifts that differ by more than this many standard uncertainties have changed.
const COVERAGE: f64 = 2.0;

/// What changed from one measurement of a sweep to the next.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// Worst shift before and after, per cent; `None` where there was no result.
    pub worst_shift_pct: (Option<Measured>, Option<Measured>),
    /// What becomes of it at the usual tolerance, before and after.
    pub tolerance: (Option<ToleranceOutcome>, Option<ToleranceOutcome>),
    /// Frames measured, before and after.
    pub measured: (usize, usize),
    /// Frames that changed, in the order of the later measurement.
    pub frames: Vec<FrameChange>,
    /// Findings of before that are gone.
    pub gone: Vec<Code>,
    /// Findings that are new.
    pub new: Vec<Code>,
}

/// A frame that changed.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameChange {
    /// File name.
    pub file: String,
    /// Shift before and after, per cent.
    pub shift_pct: (Option<Measured>, Option<Measured>),
}

impl Difference {
    /// What changed from `before` to `after`. A frame has changed when its shift moved by more than its expanded
    /// uncertainty (k = 2, the larger of both), or when it has a shift in one of them only. Both measurements see the same
    /// pixels, so their uncertainties are not added.
    #[must_use]
    pub fn between(before: &SweepMeasurement, after: &SweepMeasurement) -> Self {
        let earlier: HashMap<&str, &FrameResult> = before
            .frames
            .iter()
            .map(|frame| (frame.info.file.as_str(), frame))
            .collect();
        let frames = after
            .frames
            .iter()
            .filter_map(|frame| {
                let was = earlier.get(frame.info.file.as_str())?;
                let shift_pct = (usable_shift(was), usable_shift(frame));
                has_changed(shift_pct).then(|| FrameChange {
                    file: frame.info.file.clone(),
                    shift_pct,
                })
            })
            .collect();
        let codes = |sweep: &SweepMeasurement| -> Vec<Code> {
            sweep.findings.iter().map(|finding| finding.code).collect()
        };
        let (were, are) = (codes(before), codes(after));
        Self {
            worst_shift_pct: (worst(before), worst(after)),
            tolerance: (outcome(before), outcome(after)),
            measured: (before.measured_count(), after.measured_count()),
            frames,
            gone: without(&were, &are),
            new: without(&are, &were),
        }
    }

    /// Whether the measurements say the same: not a frame, not a finding, not a figure of the verdict is another.
    #[must_use]
    pub fn is_none(&self) -> bool {
        self.frames.is_empty()
            && self.gone.is_empty()
            && self.new.is_empty()
            && self.measured.0 == self.measured.1
            && self.worst_shift_pct.0 == self.worst_shift_pct.1
            && self.tolerance.0 == self.tolerance.1
    }
}

fn usable_shift(frame: &FrameResult) -> Option<Measured> {
    frame
        .shift_pct
        .filter(|_| frame.state == FrameState::Measured)
}

fn has_changed(shift_pct: (Option<Measured>, Option<Measured>)) -> bool {
    match shift_pct {
        (Some(before), Some(after)) => {
            let u = before.std_error.max(after.std_error);
            (after.value - before.value).abs() > COVERAGE * u
        }
        (before, after) => before.is_some() != after.is_some(),
    }
}

fn worst(sweep: &SweepMeasurement) -> Option<Measured> {
    Some(sweep.summary.as_ref()?.worst_shift_pct)
}

fn outcome(sweep: &SweepMeasurement) -> Option<ToleranceOutcome> {
    let summary = sweep.summary.as_ref()?;
    Some(summary.curve.tolerance_outcome(DEFAULT_TOLERANCE_PCT))
}

fn without(these: &[Code], those: &[Code]) -> Vec<Code> {
    these
        .iter()
        .copied()
        .filter(|code| !those.contains(code))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::{DistanceSource, Finding, FrameInfo, Severity};

    /// A sweep without curve whose frames have these shifts, each ± 0.01 (k = 1).
    fn sweep(shifts: &[Option<f64>], codes: &[Code]) -> SweepMeasurement {
        let frames = shifts
            .iter()
            .enumerate()
            .map(|(index, shift)| FrameResult {
                info: FrameInfo {
                    file: format!("{index}.jpg"),
                    ..FrameInfo::default()
                },
                state: match shift {
                    Some(_) => FrameState::Measured,
                    None => FrameState::LeftOut("bumped".to_owned()),
                },
                travel: 0.0,
                focus_dioptres: None,
                targets: Vec::new(),
                separation_px: None,
                shift_pct: shift.map(|value| Measured::new(value, 0.01)),
                blur_px: Vec::new(),
            })
            .collect();
        SweepMeasurement {
            name: "card".to_owned(),
            focal_length: None,
            f_number: None,
            camera: None,
            lens: None,
            captured_at: None,
            picture_size_px: None,
            frames,
            summary: None,
            distance_source: DistanceSource::None,
            closest_focus: None,
            findings: codes
                .iter()
                .map(|&code| Finding {
                    code,
                    severity: Severity::Warning,
                    message: String::new(),
                    files: Vec::new(),
                })
                .collect(),
        }
    }

    #[test]
    fn a_frame_has_changed_beyond_its_expanded_uncertainty_only() {
        let before = sweep(&[Some(2.0), Some(1.0), Some(0.5)], &[]);
        let after = sweep(&[Some(2.019), Some(1.021), None], &[]);
        let difference = Difference::between(&before, &after);
        let files: Vec<_> = difference.frames.iter().map(|f| f.file.as_str()).collect();
        assert_eq!(files, ["1.jpg", "2.jpg"]);
        assert_eq!(difference.measured, (3, 2));
        assert!(!difference.is_none());
    }

    #[test]
    fn findings_come_and_go() {
        let before = sweep(&[Some(1.0)], &[Code::CameraMoved, Code::TooFewFrames]);
        let after = sweep(&[Some(1.0)], &[Code::TooFewFrames, Code::FrameMissing]);
        let difference = Difference::between(&before, &after);
        assert_eq!(difference.gone, [Code::CameraMoved]);
        assert_eq!(difference.new, [Code::FrameMissing]);
    }

    #[test]
    fn the_same_again_is_no_difference() {
        let sweep = sweep(&[Some(1.0), None], &[Code::CameraMoved]);
        assert!(Difference::between(&sweep, &sweep).is_none());
    }
}
