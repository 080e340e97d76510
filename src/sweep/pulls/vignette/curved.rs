//! The shape of the blur where the camera's tone curve is not sRGB's, and what the sweep tells of the curve by that shape.
//!
//! Second moments add under convolution, in light: what tape has beside its blur is the same in every frame. Under a wrong curve it
//! is not, because sharp tape is bright and blurred tape dim, and passes for a blur that is flat or long. So the curve is fitted
//! together with the shape: flattening that goes with the second moment of the blur, four-fold cumulants with its fourth power, and, as
//! far as it doesn't jump, light that is the same at any blur. What this leaves open of the curve is in the covariance of what is told.

mod fitted;
mod judged;
#[cfg(test)]
mod tests;

use nalgebra::{Matrix3, Vector3};

use self::fitted::Sweep;
use super::super::spread::reference_px;
use super::super::tone::Tone;
use super::super::warp::Warp;
use super::{CutBlur, Shape, uneven};
use crate::measure::POWERS;
use crate::sweep::FrameResult;
use crate::sweep::distance::blur::BlurCourse;

/// Probability of a cut below which its pull is no part of the uncertainty, but a bound: half of what it was before anything was seen.
const UNLIKELY: f64 = 0.2;
/// Probability of a cut from which it is believed.
const SURE: f64 = 0.99;
/// Share of the pull that stays as its standard uncertainty beside what is told.
const LEFT_OVER: f64 = 0.2;
/// Standard uncertainties by which flattening or lopsidedness have to stand out of their noise before a cut is named.
const SHOWS: [f64; 2] = [3.0, 6.0];
/// Least standard uncertainties of flattening, lopsidedness and four-fold cumulant that are believed: what clipped blacks, which no curve
/// puts right, left in rendered sweeps without a cut.
const LEAST: [f64; 3] = [0.003, 3e-5, 2.5e-4];

/// What the shape says, whatever the curve.
struct Curved {
    /// Flattening, lopsidedness and four-fold cumulant of the blur.
    shape: Vector3<f64>,
    /// Their covariance.
    covariance: Matrix3<f64>,
    /// Blur under the curve that fits best over that of the course.
    scale: f64,
    /// Part of the flattening by which the two sides of focus differ.
    uneven: f64,
}

/// Looks for cut blur as `vignette` does; `None` where curve and shape can't be fitted together.
pub(super) fn look(
    frames: &[FrameResult],
    course: &BlurCourse,
    warp: Option<&Warp>,
    tone: Tone,
) -> Option<Shape> {
    let curved = fit(frames, course, warp, tone)?;
    let judged = judged::judge(&curved.shape, &curved.covariance)?;
    let separation = reference_px(frames)?;
    let blurs = course.signed.iter().map(|(_, blur)| blur.value);
    let (far, near) = blurs.fold((0.0_f64, 0.0_f64), |(low, high), c| {
        (low.min(c), high.max(c))
    });
    let effect_pct = |pull: f64| 100.0 * 2.0 * pull.abs() * (near - far) / separation;
    let (pull, size) = (curved.scale * judged.pull, curved.scale * judged.size);
    let scatter = (size * size - pull * pull).max(0.0).sqrt();
    let certain = scatter < pull.abs();
    let cut = |pull: f64, certain: bool, named: bool| CutBlur {
        flattening: judged.flattening,
        pull,
        left_over: if certain {
            (scatter / pull.abs()).hypot(LEFT_OVER).hypot(curved.uneven)
        } else {
            1.0
        },
        certain,
        named,
        effect_pct: effect_pct(pull),
    };
    let shows = (0..2).any(|k| {
        let value = if k == 0 {
            curved.shape[0]
        } else {
            curved.shape[1].abs()
        };
        value > SHOWS[k] * curved.covariance[(k, k)].sqrt()
    });
    let unseen_pct = effect_pct(curved.scale * judged.most);
    Some(if judged.cut < UNLIKELY {
        Shape::Whole { unseen_pct }
    } else if judged.cut > SURE && shows {
        Shape::Cut(cut(if certain { pull } else { size }, certain, true))
    } else {
        Shape::Open {
            cut: cut(judged.cut.sqrt() * size, false, false),
            unseen_pct,
        }
    })
}

/// Fits the curve and the shape.
fn fit(
    frames: &[FrameResult],
    course: &BlurCourse,
    warp: Option<&Warp>,
    tone: Tone,
) -> Option<Curved> {
    let of = Sweep::new(frames, course, warp, tone)?;
    let (curve, root) = of.curve()?;
    let (shape, own, shown) = of.shape(&curve)?;
    let mut covariance =
        Matrix3::from_diagonal(&Vector3::from_fn(|k, _| own[k].hypot(LEAST[k]).powi(2)));
    for k in 0..POWERS {
        let change = of.shape(&(curve + root.column(k)))?.0 - shape;
        covariance += change * change.transpose();
    }
    let (mut both, mut square) = (0.0, 0.0);
    for ((_, was), now) in course.signed.iter().zip(&shown.blurs) {
        both += was.value * now;
        square += was.value * was.value;
    }
    Some(Curved {
        shape,
        covariance,
        scale: both / square,
        uneven: uneven(&shown.seen),
    })
}
