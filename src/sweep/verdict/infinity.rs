//! Is the reference at infinity? By stated distance, by blur, by what the curve still does at its end.

use crate::sweep::distance::blur::LastFrame;
use crate::sweep::evidence::Evidence;
use crate::sweep::facts::Facts;
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

impl Seen {
    /// What evidence and set-up say.
    pub(in crate::sweep) fn of(evidence: &Evidence, facts: &Facts) -> Self {
        let estimate = evidence.estimate.as_ref();
        let course = evidence.course.as_ref();
        Self {
            stated: evidence.distance_source.is_stated(),
            last: estimate.map(|estimate| estimate.last),
            open_dioptres: estimate.map_or(0.0, |estimate| estimate.open_dioptres),
            last_blur_px: course.and_then(|course| Some(-course.signed.last()?.1.value)),
            expected_last_blur_px: facts.expected_last_blur_px(),
            target_m: facts.target_m,
        }
    }
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
    /// What every shift lacks at most, percentage points, by how the curve runs on.
    pub(in crate::sweep) effect_pct: Option<f64>,
}

/// Nearer than 10 m is not infinity for any lens, dioptres.
const NEAR: f64 = 0.1;
/// Farther off, it counts when it costs this much, percentage points.
const COSTLY_PCT: f64 = 0.05;
/// Standard uncertainties by which a curve still has to change at its end before it has not levelled off.
const LEVEL_SIGMA: f64 = 2.0;
/// Change below which it has, percentage points: less is not shown.
const LEVEL_PCT: f64 = 0.01;
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
    let costs = |dioptres: f64| lacking_by_dioptres(&summary.curve, dioptres);
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
        .then(|| lacking_by_travel(&summary.curve, missing))
        .flatten();
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
        let assumed = if stated.is_some() {
            None
        } else if seen.last.is_some() {
            lacking_if_assumed(&summary.curve, seen.open_dioptres).filter(|effect| *effect != 0.0)
        } else {
            a_step_short(frames, summary)
        };
        if let Some(effect) = assumed {
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

/// What every shift would lack, percentage points, if the sweep ended one step of the bracket short of infinity; `None` where the curve
/// has levelled off there, within its expanded uncertainty (k = 2) or a hundredth.
fn a_step_short(frames: &[FrameResult], summary: &Summary) -> Option<f64> {
    let before = frames[..summary.reference].iter().rev();
    let before = before.filter_map(|frame| frame.shift_pct).next()?;
    let step = 1.0 / (frames.len() as f64 - 1.0);
    lacking_by_travel(&summary.curve, step)
        .filter(|effect| effect.abs() > LEVEL_PCT.max(LEVEL_SIGMA * before.std_error))
}

/// Share of the bend by which a curve may bend more, or less, beyond its end than before it: holds what textbook lenses and curves of
/// third order do (our choice).
const BEND_SHARE: f64 = 0.3;

/// What every shift lacks at most, percentage points, with so many dioptres left beyond the curve's end: by its last two quarters.
fn lacking_by_dioptres(curve: &ShiftCurve, left: f64) -> Option<f64> {
    let (far, near) = curve.range_dioptres()?;
    let step = (near - far) / 4.0;
    lacking(&|back| Some(curve.shift_at(far + back)?.value), step, left)
}

/// The same where the last frame's blur was taken for that of infinity, and with it the end of the curve's own axis.
fn lacking_if_assumed(curve: &ShiftCurve, open: f64) -> Option<f64> {
    let (far, near) = curve.range_dioptres()?;
    let at = |back: f64| Some(curve.shift_at(far + back)?.value);
    lacking_on_stretched(&at, near - far, open)
}

/// An axis of blur whose end, taken for infinity, is `open` dioptres short of it stretches what was focused over all of its `length`:
/// quarters of the axis are quarters of the rest.
fn lacking_on_stretched(at: &dyn Fn(f64) -> Option<f64>, length: f64, open: f64) -> Option<f64> {
    let focused = length - open;
    if focused <= 0.0 {
        return None;
    }
    lacking(&|back| at(back * length / focused), focused / 4.0, open)
}

/// The same by the travel left, over the last two fifths of the points.
fn lacking_by_travel(curve: &ShiftCurve, left: f64) -> Option<f64> {
    let points = curve.points();
    let last = points.last()?.travel;
    let back = (points.len() / 5).max(2);
    let before = points.get(points.len().checked_sub(1 + back)?)?;
    let shift = |back: f64| Some(curve.shift_at_travel(last - back)?.value);
    lacking(&shift, last - before.travel, left)
}

/// How much further a curve may go in what is `left` beyond its end, positive where it falls towards it. `at` is its value so far
/// before the end.
///
/// The straight line through the end and one step before it runs on by Δ·t, t = left/step, and the parabola through the end and two
/// steps by Δ·t − Δ²·t·(t + 1)/2, Δ and Δ² being the first and second differences (Newton's formula). A bend may grow, so a share of its
/// own part is added. The larger of both is the bound; for a straight curve they are one.
fn lacking(at: &dyn Fn(f64) -> Option<f64>, step: f64, left: f64) -> Option<f64> {
    if step <= 0.0 {
        return None;
    }
    let (end, one) = (at(0.0)?, at(step)?);
    let t = left / step;
    let straight = (one - end) * t;
    let bend = at(2.0 * step).map_or(0.0, |two| -(two - 2.0 * one + end) * t * (t + 1.0) / 2.0);
    let bent = straight + bend;
    let bent = bent + (BEND_SHARE * bend.abs()).copysign(bent);
    Some(if bent.abs() > straight.abs() {
        bent
    } else {
        straight
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Shift over dioptres of a sweep from 2 dioptres to 0.33: to infinity it lacks what the curve still does there. Straight ones are
    /// told to a thousandth; those that bend, as textbook lenses do, are held, and by no more than half too much.
    #[test]
    fn what_a_curve_still_does_is_held() {
        let (far, near) = (1.0 / 3.0, 2.0);
        for (slope, bend, third) in [
            (1.5, 0.0, 0.0),
            (-2.0, 0.5, 0.0),
            (-2.0, 1.4, 0.0),
            (1.0, -0.6, 0.04),
            (1.5, 0.4, -0.1),
            (-2.5, -0.4, 0.05),
        ] {
            let curve = |d: f64| slope * d + bend * d * d / near + third * d.powi(3);
            let lacks =
                lacking(&|back| Some(curve(far + back)), (near - far) / 4.0, far).expect("a curve");
            let share = lacks / curve(far);
            assert!((0.999..1.5).contains(&share), "{slope} {bend}: {share}");
            if bend == 0.0 && third == 0.0 {
                assert!((share - 1.0).abs() < 1e-3);
            }
        }
        assert_eq!(lacking(&|_| Some(1.0), 0.0, 0.3), None);
    }

    /// A straight curve from 2 dioptres to an end that is 0.2 short of infinity, on an axis that runs from 2 to 0: it lacks what 0.2
    /// dioptres are worth, not what a tenth of the axis is.
    #[test]
    fn an_end_taken_for_infinity_stretches_the_axis() {
        let (near, open) = (2.0, 0.2);
        let on_axis = |d: f64| Some(1.5 * (open + (near - open) * d / near));
        let lacks = lacking_on_stretched(&on_axis, near, open).expect("a curve");
        assert!((lacks - 1.5 * open).abs() < 1e-12, "{lacks}");
        assert_eq!(lacking_on_stretched(&on_axis, near, near), None);
    }

    /// Where there is but one step to go by, the straight line.
    #[test]
    fn a_short_curve_runs_on_straight() {
        let short = |back: f64| (back <= 1.0).then_some(2.0 + back);
        assert_eq!(lacking(&short, 1.0, 0.5), Some(0.5));
    }
}
