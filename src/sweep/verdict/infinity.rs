//! Is the reference at infinity? By stated distance, by blur, by what the curve still does at its end.

use crate::sweep::distance::blur::LastFrame;
use crate::sweep::{BudgetLine, FrameResult, Part, ShiftCurve, Summary, SweepSettings};

/// What is known of the reference's distance, beside the frames.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sweep) struct Seen {
    /// Distances were stated.
    pub(in crate::sweep) stated: bool,
    /// What blur says with closest focus and target distance.
    pub(in crate::sweep) last: Option<LastFrame>,
    /// How far short it would be with the pupil where it is as a rule, dioptres; see `FromBlur::open_dioptres`.
    pub(in crate::sweep) open_dioptres: f64,
    /// Blur of the last frame, px.
    pub(in crate::sweep) last_blur_px: Option<f64>,
    /// Blur that the nominal pupil makes at infinity, px.
    pub(in crate::sweep) expected_last_blur_px: Option<f64>,
    /// Distance to the targets, m.
    pub(in crate::sweep) target_m: Option<f64>,
}

/// How it is known that the reference is short of infinity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::sweep) enum Witness {
    /// Somebody said so.
    Told,
    /// The stated distance.
    Distance,
    /// The blur of the targets.
    Blur,
    /// The frames after it could not be used, and the curve still changes there.
    Slope,
}

/// The reference is short of infinity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sweep) struct Shortfall {
    /// How that is known.
    pub(in crate::sweep) witness: Witness,
    /// Where it is focused, dioptres, as far as known.
    pub(in crate::sweep) dioptres: Option<f64>,
    /// About what every shift lacks, percentage points: slope of the curve × dioptres left.
    pub(in crate::sweep) effect_pct: Option<f64>,
}

/// Nearer than 10 m is not infinity for any lens, dioptres.
const NEAR: f64 = 0.1;
/// Farther off, it counts when it costs this much, percentage points.
const COSTLY_PCT: f64 = 0.05;
/// Last blur over the nominal pupil's at infinity below which the last frame is clearly short: f-numbers and vignetting
/// explain a fifth, an iris of few blades an eighth.
const SHORT_BLUR: f64 = 0.55;

/// Decides; marks the summary and puts what is left into its budget.
pub(in crate::sweep) fn assess(
    frames: &[FrameResult],
    summary: &mut Summary,
    settings: &SweepSettings,
    seen: &Seen,
) -> Option<Shortfall> {
    let reference = &frames[summary.reference];
    let stated = reference
        .focus_dioptres
        .filter(|_| seen.stated)
        .map(|d| d.value);
    let costs = |dioptres: f64| slope_at_end(&summary.curve).map(|slope| slope * dioptres);
    let found = |witness, dioptres: Option<f64>| Shortfall {
        witness,
        dioptres,
        effect_pct: dioptres.and_then(costs),
    };
    let told = settings
        .last_not_at_infinity
        .then(|| found(Witness::Told, stated.filter(|d| *d > 0.0)));
    let by_distance = stated
        .filter(|d| *d > 0.0)
        .map(|d| found(Witness::Distance, Some(d)));
    let by_blur = || {
        if stated.is_some() {
            return None;
        }
        if let Some(LastFrame::Short(left)) = seen.last {
            return Some(found(Witness::Blur, Some(left)));
        }
        let share = seen.last_blur_px? / seen.expected_last_blur_px?;
        let target = seen.target_m?;
        (share < SHORT_BLUR && seen.last.is_none())
            .then(|| found(Witness::Blur, Some((1.0 - share) / target)))
    };
    // Frames after the reference that could not be used, in a sweep without distances.
    let missing = 1.0 - reference.travel;
    let lost = (stated.is_none() && missing > 0.0)
        .then(|| slope_per_travel(&summary.curve))
        .flatten()
        .map(|slope| slope * missing);
    let by_slope = || {
        lost.filter(|effect| effect.abs() > COSTLY_PCT)
            .map(|effect| Shortfall {
                witness: Witness::Slope,
                dioptres: None,
                effect_pct: Some(effect),
            })
    };
    let shortfall = told.or(by_distance).or_else(by_blur).or_else(by_slope);
    let Some(shortfall) = shortfall else {
        if let Some(effect) = lost {
            summary.budget.systematic.push(BudgetLine {
                part: Part::ReferenceNotAtInfinity,
                pct: effect,
            });
        }
        if stated.is_none()
            && let Some(effect) = costs(seen.open_dioptres).filter(|effect| *effect != 0.0)
        {
            summary.budget.systematic.push(BudgetLine {
                part: Part::AssumedInfinity,
                pct: effect,
            });
        }
        return None;
    };
    if let Some(effect) = shortfall.effect_pct {
        summary.budget.systematic.push(BudgetLine {
            part: Part::ReferenceNotAtInfinity,
            pct: effect,
        });
    }
    let matters = match shortfall.witness {
        Witness::Distance => {
            shortfall.dioptres.is_some_and(|d| d > NEAR)
                || shortfall.effect_pct.is_some_and(|e| e.abs() > COSTLY_PCT)
        }
        _ => true,
    };
    summary.relative_to_farthest = matters;
    matters.then_some(shortfall)
}

/// Slope of the curve at its far end, per cent of shift a dioptre, over the last quarter of its range.
fn slope_at_end(curve: &ShiftCurve) -> Option<f64> {
    let (far, near) = curve.range_dioptres()?;
    let step = (near - far) / 4.0;
    let rise = curve.shift_at(far + step)?.value - curve.shift_at(far)?.value;
    (step > 0.0).then(|| rise / step)
}

/// Slope of the curve at its end, per cent of shift a whole travel, over the last fifth of the points; positive where
/// the shift is larger nearer.
fn slope_per_travel(curve: &ShiftCurve) -> Option<f64> {
    let points = curve.points();
    let last = points.last()?;
    let back = (points.len() / 5).max(2);
    let before = points.get(points.len().checked_sub(1 + back)?)?;
    Some((before.shift_pct.value - last.shift_pct.value) / (last.travel - before.travel))
}
