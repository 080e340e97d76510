//! What faint light around the targets does to the shifts: seen where they are sharp, and told for the frames whose windows are
//! wide enough to hold it.
//!
//! The frames in which the targets are sharpest show what lies around them ([`Beside`](crate::measure::Beside)). A window that
//! reaches so far holds it, whatever its blur, and is pulled by its first moment. Light that is fainter than what the windows
//! take for the end of a target does it as well as brighter light.

use crate::measure::Target;
use crate::sweep::FrameResult;
use crate::sweep::distance::blur::BlurCourse;
use crate::sweep::pulls::spread::{mean_variance, reference_px};
use crate::sweep::tracking::pair;
use crate::units::Measured;

/// Second moment over that of the sharpest targets up to which a frame shows what lies around them.
const SHARP: f64 = 1.6;
/// Standard uncertainties by which it must stand out.
const CLEAR: f64 = 4.5;
/// Pull, px, below which nothing is believed: what compression leaves around a sharp target.
const LEAST_PX: f64 = 0.02;

/// Standard uncertainty of each frame's shift, percentage points, by place in the sweep, for the light around the targets; `None`
/// where there is none.
#[must_use]
pub(super) fn u_pct(
    frames: &[FrameResult],
    course: Option<&BlurCourse>,
    reference: usize,
) -> Option<Vec<f64>> {
    let separation = reference_px(frames)?;
    let pulls = pulls(frames, &sharpest(frames, course?));
    if !pulls.iter().flatten().any(is_clear) {
        return None;
    }
    let of = |at: usize| pulls[at].map_or(0.0, |pull| pull.value);
    let u = |at: usize| 100.0 * (of(at) - of(reference)).abs() / separation;
    Some((0..frames.len()).map(u).collect())
}

/// How far what lies around the targets pulls them apart in each frame, px, as the sharpest show it; `None` where its window
/// reaches farther than was seen.
#[must_use]
pub(super) fn pulls(frames: &[FrameResult], sharpest: &[&FrameResult]) -> Vec<Option<Measured>> {
    frames.iter().map(|frame| pull(frame, sharpest)).collect()
}

/// The frames in which the targets are sharp.
#[must_use]
pub(super) fn sharpest<'a>(frames: &'a [FrameResult], course: &BlurCourse) -> Vec<&'a FrameResult> {
    let narrow = |frame: &FrameResult| {
        mean_variance(&frame.targets).is_some_and(|mean| mean.value < SHARP * course.sharp_variance)
    };
    let shows = |frame: &&FrameResult| frame.separation_px.is_some() && narrow(frame);
    frames.iter().filter(shows).collect()
}

/// Whether such a pull stands out.
#[must_use]
pub(super) fn is_clear(pull: &Measured) -> bool {
    pull.value.abs() > (CLEAR * pull.std_error).max(LEAST_PX)
}

/// How far what lies around the sharpest targets pulls a frame's targets apart, px, by the mean of the frames that show it.
fn pull(frame: &FrameResult, sharpest: &[&FrameResult]) -> Option<Measured> {
    let (left, right) = (frame.targets.first()?, frame.targets.last()?);
    let along = pair::along(left, right);
    let of = |shown: &&FrameResult| {
        let left = around(shown.targets.first()?, radius(left))?;
        let right = around(shown.targets.last()?, radius(right))?;
        let part = |left: Measured, right: Measured, share: f64| {
            Measured::new(
                share * (right.value - left.value),
                share * right.std_error.hypot(left.std_error),
            )
        };
        let (x, y) = (
            part(left.0, right.0, along.0),
            part(left.1, right.1, along.1),
        );
        Some((x.value + y.value, x.std_error.hypot(y.std_error)))
    };
    let seen: Vec<(f64, f64)> = sharpest.iter().filter_map(of).collect();
    let count = seen.len() as f64;
    let value = seen.iter().map(|one| one.0).sum::<f64>() / count;
    let u = seen.iter().map(|one| one.1.powi(2)).sum::<f64>().sqrt() / count;
    (!seen.is_empty()).then_some(Measured::new(value, u))
}

/// Radius of a target's window, px.
fn radius(target: &Target) -> f64 {
    f64::from(target.window.bottom - target.window.top) / 2.0
}

/// First moments along x and y of what lies around a sharp target within a radius, px: on the straight line between the two
/// discs that are nearest to it, from nothing in the target's own window; `None` where what was seen ends before.
fn around(target: &Target, radius_px: f64) -> Option<(Measured, Measured)> {
    let none = Measured::new(0.0, 0.0);
    let mut below = (radius(target), none, none);
    if radius_px <= below.0 {
        return Some((none, none));
    }
    for disc in &target.beside {
        if disc.radius_px >= radius_px {
            let share = (radius_px - below.0) / (disc.radius_px - below.0).max(1e-6);
            let mix = |a: Measured, b: Measured| {
                Measured::new(
                    a.value + share * (b.value - a.value),
                    a.std_error.max(b.std_error),
                )
            };
            return Some((mix(below.1, disc.x_px), mix(below.2, disc.y_px)));
        }
        below = (disc.radius_px, disc.x_px, disc.y_px);
    }
    // A little farther than was seen is as good as that.
    (radius_px < 1.3 * below.0 && !target.beside.is_empty()).then_some((below.1, below.2))
}
