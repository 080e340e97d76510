//! What is remarkable about a measured sweep.

use super::{Code, DistanceSource, Finding, FrameState, Severity, SweepMeasurement, SweepSettings};
use crate::measure::Unmeasurable;

/// Fewer measured frames than this give no result.
const FEWEST_FRAMES: usize = 5;
/// Fewer measured frames than this leave gaps in the curve.
const FEW_FRAMES: usize = 12;

/// Everything noticed, heaviest first, then in the order of the codes.
pub(super) fn of(sweep: &SweepMeasurement, settings: &SweepSettings) -> Vec<Finding> {
    let mut findings: Vec<Finding> = [
        frame_count(sweep),
        clipped(sweep),
        not_at_infinity(sweep, settings),
        focal_length_changed(sweep),
        distance_unknown(sweep),
    ]
    .into_iter()
    .flatten()
    .collect();
    findings.sort_by(|a, b| b.severity.cmp(&a.severity).then(a.code.cmp(&b.code)));
    findings
}

fn frame_count(sweep: &SweepMeasurement) -> Option<Finding> {
    let measured = sweep.measured_count();
    let total = sweep.frames.len();
    let finding = |code, severity, message| {
        Some(Finding {
            code,
            severity,
            message,
            files: Vec::new(),
        })
    };
    if measured < 2 || (measured < FEWEST_FRAMES && total >= FEWEST_FRAMES) {
        let files = failed_files(sweep, |_| true);
        return Some(Finding {
            code: Code::TargetsNotFound,
            severity: Severity::Stop,
            message: format!(
                "Two targets were found in {measured} of {total} frames; at least {FEWEST_FRAMES} are needed. \
                 There is no result. Check that two bright targets stand on black, or point at them by hand."
            ),
            files,
        });
    }
    if measured < FEWEST_FRAMES {
        return finding(
            Code::TooFewFrames,
            Severity::Stop,
            format!(
                "The sweep has {total} frames; at least {FEWEST_FRAMES} are needed. There is no result. \
                 Shoot at least {FEW_FRAMES}, better 24, from closest focus to infinity."
            ),
        );
    }
    if measured < FEW_FRAMES {
        return finding(
            Code::TooFewFrames,
            Severity::Warning,
            format!(
                "Only {measured} frames were measured. The worst shift and the tolerance distance may fall between \
                 them. Shoot at least {FEW_FRAMES}, better 24."
            ),
        );
    }
    None
}

/// Files of failed frames whose reason `wanted` accepts.
fn failed_files(sweep: &SweepMeasurement, wanted: impl Fn(&Unmeasurable) -> bool) -> Vec<String> {
    sweep
        .frames
        .iter()
        .filter(|frame| matches!(&frame.state, FrameState::Failed(why) if wanted(why)))
        .map(|frame| frame.info.file.clone())
        .collect()
}

fn clipped(sweep: &SweepMeasurement) -> Option<Finding> {
    let files = failed_files(sweep, |why| *why == Unmeasurable::Clipped);
    (!files.is_empty()).then(|| Finding {
        code: Code::TargetClipped,
        severity: Severity::Warning,
        message: format!(
            "In {} of {} frames a target or its blur crosses the frame edge; these frames are not used. Move the \
             targets inwards, or stop down to make the blur smaller.",
            files.len(),
            sweep.frames.len()
        ),
        files,
    })
}

fn not_at_infinity(sweep: &SweepMeasurement, settings: &SweepSettings) -> Option<Finding> {
    let summary = sweep.summary.as_ref()?;
    let frame = &sweep.frames[summary.reference];
    let nearest = frame.focus_dioptres.filter(|d| d.value > 0.01);
    if !settings.last_not_at_infinity && nearest.is_none() {
        return None;
    }
    let where_to = nearest.map_or_else(
        || "was said not to be at infinity".to_owned(),
        |d| format!("is focused at {:.2} m", 1.0 / d.value),
    );
    Some(Finding {
        code: Code::ReferenceNotAtInfinity,
        severity: Severity::Warning,
        message: format!(
            "The last measured frame {where_to}. Every shift is relative to that frame, not to infinity. Shoot again \
             with the last frame at true infinity."
        ),
        files: vec![frame.info.file.clone()],
    })
}

fn focal_length_changed(sweep: &SweepMeasurement) -> Option<Finding> {
    let stated: Vec<f64> = sweep
        .frames
        .iter()
        .filter_map(|frame| frame.info.focal_length.map(|f| f.mm()))
        .collect();
    let low = stated.iter().copied().reduce(f64::min)?;
    let high = stated.iter().copied().reduce(f64::max)?;
    (high > low * 1.005).then(|| Finding {
        code: Code::FocalLengthChanged,
        severity: Severity::Warning,
        message: format!(
            "The files state focal lengths from {low} to {high} mm within the sweep. The zoom ring may have slipped, \
             and the shift would then hold the change. Fix the ring with tape and shoot again."
        ),
        files: Vec::new(),
    })
}

fn distance_unknown(sweep: &SweepMeasurement) -> Option<Finding> {
    (sweep.distance_source == DistanceSource::None).then(|| Finding {
        code: Code::DistanceUnknown,
        severity: Severity::Note,
        message: "No focus distances are known, so there is no tolerance distance; the shift itself is not affected. \
                  Give distances for some frames, or closest focus and target distance."
            .to_owned(),
        files: Vec::new(),
    })
}
