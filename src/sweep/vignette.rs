//! Blur that the lens barrel cuts into a cat's eye: detected by its asymmetry.
//!
//! Third central moments add under convolution, so what the blur adds to a target's is κ·c³, c the signed blur (positive
//! nearer than the targets). A cut blur is mirrored between the left and the right target and turned over through focus:
//! half the difference between the two targets then runs with c³. Tape that is torn askew doesn't change with focus, an iris with an
//! odd number of blades is alike in both targets; neither is mistaken for it.

use super::FrameResult;
use super::distance::blur::BlurCourse;

/// Cut blur, as far as it can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct CutBlur {
    /// Mirrored third moment over the cube of the blur.
    pub(super) asymmetry: f64,
}

/// Asymmetry above which it matters: cuts of two overlapping circles that move the centre by more than 1 % of the blur
/// have 3e-4 or more, unless both circles are of one size.
const REMARKABLE: f64 = 1.5e-4;
/// It must stand out of the noise by this factor.
const SIGNIFICANCE: f64 = 6.0;
/// Move of a target's centre over the blur that a remarkable cut brings: two overlapping circles with such an asymmetry
/// move it by 0.02 to 0.2; one such figure can't say which.
const MOVE_PER_BLUR: f64 = 0.1;

/// Looks for cut blur; `None` where the blur is sound or there is too little of it to tell.
#[must_use]
pub(super) fn detect(frames: &[FrameResult], course: &BlurCourse) -> Option<CutBlur> {
    let points: Vec<(f64, f64)> = course
        .signed
        .iter()
        .filter_map(|&(place, blur)| {
            let targets = &frames[place].targets;
            let (left, right) = (targets.first()?, targets.last()?);
            let third =
                |t: &crate::measure::Target| t.skewness * t.variance_px2.value.max(0.0).powf(1.5);
            Some((blur.value.powi(3), (third(left) - third(right)) / 2.0))
        })
        .collect();
    if points.len() < 5 {
        return None;
    }
    // A straight line through (c³, K): the intercept is the tape's own asymmetry. Noise grows with the blur, so points
    // are weighted down with it.
    let weight = |c3: f64| 1.0 / (1.0 + (c3.abs() / 8000.0).powi(2));
    let sum = |of: &dyn Fn(f64, f64) -> f64| {
        points
            .iter()
            .map(|p| weight(p.0) * of(p.0, p.1))
            .sum::<f64>()
    };
    let total = sum(&|_, _| 1.0);
    let (mx, my) = (sum(&|x, _| x) / total, sum(&|_, y| y) / total);
    let spread = sum(&|x, _| (x - mx).powi(2));
    let slope = sum(&|x, y| (x - mx) * (y - my)) / spread;
    let rest = sum(&|x, y| (y - my - slope * (x - mx)).powi(2)) / (points.len() as f64 - 2.0);
    let u = (rest / spread).sqrt();
    let found = slope.abs() > REMARKABLE && slope.abs() > SIGNIFICANCE * u;
    found.then_some(CutBlur { asymmetry: slope })
}

/// Standard uncertainty that cut blur brings into each frame's shift, percentage points, by place in the sweep.
#[must_use]
pub(super) fn u_pct(course: &BlurCourse, separation_px: f64, frames: usize) -> Vec<f64> {
    let mut u = vec![0.0; frames];
    let Some((_, last)) = course.signed.last() else {
        return u;
    };
    for (place, blur) in &course.signed {
        u[*place] = 100.0 * 2.0 * MOVE_PER_BLUR * (blur.value - last.value).abs() / separation_px;
    }
    u
}
