//! What an uneven background does to the shifts: folds of cloth, a dim edge.
//!
//! Each frame's targets carry what the same window on empty places above and below shows
//! ([`Uneven`](crate::measure::Uneven)), beyond noise: a few places each, so frames with windows of about one size are
//! heard together, and believed where they stand out of the noise.
//!
//! Empty places stand for what can't be seen behind and around a blurred target. Where the targets are sharp it can be seen
//! ([`beside`]), all but what the tape itself hides: where that shows less, a label or a glint stands in the
//! empty places and not in the targets' windows.
//!
//! The error of a shift is that of its frame less that of the reference. The background stands still while the window grows
//! with the blur, so the two go together as far as the windows are alike: between unlike ones of radii a < b by (a/b)⁴ (our
//! choice: it is (a/b)² for unevenness much finer than the window, and 1 for much coarser).

use super::beside;
use crate::measure::Target;
use crate::sweep::FrameResult;
use crate::sweep::distance::blur::BlurCourse;
use crate::sweep::tracking::pair;
use crate::units::Measured;

/// Logarithm of the ratio of two windows' radii at which one frame's word counts for another's by 1/e.
const LIKE_SIZE: f64 = 0.1;
/// Standard uncertainties by which unevenness has to stand out of noise.
const CLEAR: f64 = 4.0;
/// How the error of a window grows with its radius, where it is told by windows of another size: between the second power for
/// fine unevenness and the fourth for coarse.
const GROWTH: i32 = 3;
/// How far two windows that differ in radius lose their common error: see above.
const ALIKE: i32 = 4;

/// How many times what is seen around the targets the background may do, with what the tape hides (our choice).
const HIDDEN: f64 = 2.0;
/// Fewest frames in which the targets have to be sharp: one or two show little more than their noise.
const FEWEST_SHARP: usize = 3;
/// Fewest frames that can deny what the empty places say.
const FEWEST_DENIALS: usize = 3;

/// What an uneven background does to the shifts.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::sweep) struct Backdrop {
    /// Standard uncertainty of each frame's shift, percentage points, by place in the sweep; 0 where not measured.
    pub(in crate::sweep) u_pct: Vec<f64>,
    /// The largest that the empty places alone would make of it, percentage points.
    pub(in crate::sweep) elsewhere_pct: f64,
}

/// What one frame shows.
struct Seen {
    place: usize,
    separation: f64,
    /// Radius of the wider window, px.
    radius: f64,
    /// Variance of the separation beyond noise, px²; `None` where there was no empty place.
    variance: Option<Measured>,
}

/// Looks at the background of all frames; `None` where it is even.
#[must_use]
pub(in crate::sweep) fn detect(
    frames: &[FrameResult],
    course: Option<&BlurCourse>,
    reference: usize,
) -> Option<Backdrop> {
    let seen: Vec<Seen> = frames.iter().enumerate().filter_map(seen).collect();
    let pooled: Vec<Measured> = (0..seen.len()).map(|at| pooled(&seen, at)).collect();
    let clear = |variance: &Measured| variance.value > CLEAR * variance.std_error;
    if !pooled.iter().any(clear) {
        return None;
    }
    let told = |variance: &Measured| {
        if clear(variance) {
            variance.value.sqrt()
        } else {
            0.0
        }
    };
    let elsewhere: Vec<f64> = pooled.iter().map(told).collect();
    let around = course
        .map(|course| beside::sharpest(frames, course))
        .filter(|sharpest| sharpest.len() >= FEWEST_SHARP)
        .map(|sharpest| beside::pulls(frames, &sharpest));
    let around = |frame: &Seen| around.as_ref()?[frame.place];
    // Where the empty places were contradicted at every turn, they are no witness of what lies farther out either.
    let heard: Vec<bool> = elsewhere
        .iter()
        .zip(&seen)
        .filter(|(u, _)| **u > 0.0)
        .filter_map(|(_, frame)| around(frame).as_ref().map(beside::is_clear))
        .collect();
    let is_denied = heard.len() >= FEWEST_DENIALS && !heard.contains(&true);
    let u: Vec<f64> = elsewhere
        .iter()
        .zip(&seen)
        .map(|(&u, frame)| match around(frame) {
            Some(around) => u.min(most(&around)),
            None if is_denied => 0.0,
            None => u,
        })
        .collect();
    let last = seen.iter().position(|frame| frame.place == reference)?;
    let of_shifts = |u: &[f64]| {
        let mut u_pct = vec![0.0; frames.len()];
        for (at, frame) in seen.iter().enumerate() {
            let (own, other) = (u[at] / frame.separation, u[last] / seen[last].separation);
            let ratio = frame.radius / seen[last].radius;
            let alike = ratio.min(1.0 / ratio).powi(ALIKE);
            let variance = own * own + other * other - 2.0 * alike * own * other;
            u_pct[frame.place] = 100.0 * variance.max(0.0).sqrt();
        }
        u_pct
    };
    Some(Backdrop {
        u_pct: of_shifts(&u),
        elsewhere_pct: of_shifts(&elsewhere).into_iter().fold(0.0, f64::max),
    })
}

/// The most that the background does to a separation, px, where what lies around the sharp targets pulls them apart by so much: 0
/// where that does not stand out.
fn most(around: &Measured) -> f64 {
    if beside::is_clear(around) {
        HIDDEN * around.value.abs()
    } else {
        0.0
    }
}

fn seen((place, frame): (usize, &FrameResult)) -> Option<Seen> {
    let (left, right) = (frame.targets.first()?, frame.targets.last()?);
    let separation = frame.separation_px?.value;
    let along = pair::along(left, right);
    let (along_x, along_y) = (along.0.powi(2), along.1.powi(2));
    let of = |target: &Target| {
        let uneven = target.uneven?;
        let (x, y) = (uneven.x_px2, uneven.y_px2);
        Some(Measured::new(
            along_x * x.value + along_y * y.value,
            along_x * x.std_error + along_y * y.std_error,
        ))
    };
    // Where one target has no empty place, the other's background stands for both.
    let variance = match (of(left), of(right)) {
        (Some(a), Some(b)) => Some(Measured::new(
            a.value + b.value,
            a.std_error.hypot(b.std_error),
        )),
        (one, other) => one.or(other).map(|one| one.scaled(2.0)),
    };
    let radius = |target: &Target| f64::from(target.window.bottom - target.window.top) / 2.0;
    Some(Seen {
        place,
        separation,
        radius: radius(left).max(radius(right)).max(1.0),
        variance,
    })
}

/// Variance of a frame's separation beyond noise, px², by all frames at the size of its window.
fn pooled(seen: &[Seen], at: usize) -> Measured {
    let (mut sum, mut noise, mut weights) = (0.0, 0.0, 0.0);
    for frame in seen {
        let Some(variance) = frame.variance else {
            continue;
        };
        let ratio = seen[at].radius / frame.radius;
        let weight = (-ratio.ln().abs() / LIKE_SIZE).exp();
        let scaled = variance.scaled(ratio.powi(2 * GROWTH));
        sum += weight * scaled.value;
        noise += (weight * scaled.std_error).powi(2);
        weights += weight;
    }
    if weights > 0.0 {
        Measured::new(sum / weights, noise.sqrt() / weights)
    } else {
        Measured::new(0.0, 0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{Uneven, Window};
    use crate::sweep::{FrameInfo, FrameState};

    /// A sweep of frames with windows of these radii, px, whose background moves each centre by so much, px.
    fn frames(radii: &[u32], pull: impl Fn(u32) -> Option<f64>) -> Vec<FrameResult> {
        let target = |x: f64, radius: u32| Target {
            uneven: pull(radius).map(|pull| Uneven {
                x_px2: Measured::new(pull * pull, 1e-4),
                y_px2: Measured::new(0.0, 1e-4),
            }),
            window: Window {
                left: 300 - radius,
                top: 600 - radius,
                right: 300 + radius,
                bottom: 600 + radius,
            },
            ..Target::plain(x, 600.0, 400.0)
        };
        let frame = |&radius: &u32| FrameResult {
            info: FrameInfo::default(),
            state: FrameState::Measured,
            travel: 0.0,
            focus_dioptres: None,
            targets: vec![target(500.0, radius), target(1500.0, radius)],
            separation_px: Some(Measured::new(1000.0, 0.006)),
            shift_pct: None,
            blur_px: vec![None; 2],
        };
        radii.iter().map(frame).collect()
    }

    #[test]
    fn an_even_background_adds_nothing() {
        let even = frames(&[120, 80, 40, 60], |_| Some(0.005));
        assert_eq!(detect(&even, None, 3), None);
        assert_eq!(detect(&frames(&[120, 40], |_| None), None, 1), None);
    }

    /// 0.2 px in either target at 1000 px are 0.028 %; the reference adds nothing to itself, and little to what is much wider.
    #[test]
    fn what_two_windows_share_cancels() {
        let radii = [120, 120, 30, 60, 60];
        let pull = |radius: u32| Some(0.2 * (f64::from(radius) / 120.0).powi(GROWTH));
        let u = detect(&frames(&radii, pull), None, 4)
            .expect("uneven")
            .u_pct;
        assert!((u[0] - 0.0283).abs() < 0.001, "{u:?}");
        assert!(u[3] < 1e-9 && u[4] < 1e-9, "{u:?}");
        // Where there was no empty place, windows of another size tell.
        let half = detect(
            &frames(&radii, |radius| pull(radius).filter(|_| radius < 100)),
            None,
            4,
        );
        let told = half.expect("uneven").u_pct;
        assert!((told[0] - u[0]).abs() < 1e-9, "{told:?}");
    }
}
