//! Blur that the lens barrel cuts into a cat's eye: detected by its shape, and taken out where the shape tells how far it
//! pulls the centres.
//!
//! Off the axis the pupil is seen through the barrel's rim: what is left is the overlap of two circles, the rim's of
//! radius b in pupil radii, its middle displaced by t. Moments add under convolution, so against the signed blur c
//! (positive nearer than the targets) a cut blur shows in two ways: the blur is flatter along the line of the targets by
//! α·c²/8, and, unless both circles are alike, lopsided by γ·c³, mirrored between left and right and turned over through
//! focus. Both follow from b and t, and so does the pull of the centre, κ·c. Tape that is torn askew doesn't change with
//! focus, an iris with an odd number of blades is alike in both targets; neither is mistaken for it.

use super::distance::blur::BlurCourse;
use super::pulls::telling_pair;
use super::spread::reference_px;
use super::{FrameResult, balance};
use crate::measure::Target;
use crate::units::Measured;

/// Cut blur, as far as it can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct CutBlur {
    /// Flattening α of the blur along the line of the targets.
    pub(super) flattening: f64,
    /// Pull κ of the left target's centre over the signed blur; its size alone unless `certain`.
    pub(super) pull: f64,
    /// The shape tells the pull: it was taken out.
    pub(super) certain: bool,
    /// What it does to the shift over the whole sweep, percentage points.
    pub(super) effect_pct: f64,
}

impl CutBlur {
    /// Whether the blur is hardly flatter than it is long, as brightness that falls fast makes it too.
    #[must_use]
    pub(super) fn is_slight(&self) -> bool {
        self.flattening < LEAST_FLATTENING
    }

    /// Whether it is worth a word; what is less widens the uncertainty without one.
    #[must_use]
    pub(super) fn is_remarkable(&self) -> bool {
        self.effect_pct > REMARKABLE_PCT
    }
}

/// What the shape of the blur says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Shape {
    /// It is cut.
    Cut(CutBlur),
    /// It is not cut by so much that it could be seen; one that can't be seen moves the shift by no more than so many
    /// percentage points over the whole sweep.
    Whole {
        /// The most that is left open.
        unseen_pct: f64,
    },
}

/// A coefficient must stand out of its noise by this factor.
const SIGNIFICANCE: f64 = 6.0;
/// Effect on the shift, percentage points, below which cut blur is not remarkable.
const REMARKABLE_PCT: f64 = 0.02;
/// Flattening below which nothing is believed that the two targets don't show alike, whatever its significance.
const LEAST_FLATTENING: f64 = 0.01;
/// Flattening below which nothing is believed that is not lopsided too: a tone curve other than the one that was assumed
/// flattens blur before a sloping background by 0.002 (simulated sweeps).
const LEAST_ALIKE: f64 = 0.003;
/// Share of the larger flattening that the smaller one has where both targets show it alike; they don't lie quite as far
/// from the axis.
const ALIKE: f64 = 1.0 / 3.0;
/// Standard uncertainties of the flattening that may hide unseen.
const UNSEEN_SIGMA: f64 = 2.0;
/// Share of the correction that stays as its standard uncertainty. One rim, or two on the same side, leave 0.03 of the pull
/// (150 random overlaps of circles, own calculation); a second rim on the other side takes back a part of it that the two
/// moments don't tell.
const LEFT_OVER: f64 = 0.18;
/// Blur, px, from which the noise of second and third moments grows with the blur.
const NOISY_FROM_PX: f64 = 20.0;

/// What one frame shows of its two targets at the reference's scale.
struct Seen {
    blur: f64,
    /// Second moment across less along the line, left and right.
    flat: [f64; 2],
    /// Third moment along the line, left less right, halved.
    lopsided: f64,
}

/// Looks for cut blur; `None` where there is too little blur to tell, or where something else makes the shape.
#[must_use]
pub(super) fn look(frames: &[FrameResult], course: &BlurCourse) -> Option<Shape> {
    let separation = reference_px(frames)?;
    let seen: Vec<Seen> = course
        .signed
        .iter()
        .filter_map(|&(place, blur)| {
            let [left, right] = telling_pair(&frames[place].targets)?;
            // At the reference's scale, so that the tape's own shape is the same in every frame, as the blur's is.
            let scale = frames[place].separation_px?.value / separation;
            let variance = |t: &Target| t.variance_px2.value.max(0.0) / (scale * scale);
            let flat = |t: &Target| -2.0 * t.elongation * variance(t);
            let third = |t: &Target| t.skewness() * variance(t).powf(1.5);
            Some(Seen {
                blur: blur.value,
                flat: [flat(left), flat(right)],
                lopsided: (third(left) - third(right)) / 2.0,
            })
        })
        .collect();
    let against_square =
        |of: &dyn Fn(&Seen) -> f64| share_of_blur(seen.iter().map(|s| (s.blur, of(s))));
    let flat = against_square(&|s| (s.flat[0] + s.flat[1]) / 2.0)?;
    let sides = [
        against_square(&|s| s.flat[0])?.value,
        against_square(&|s| s.flat[1])?.value,
    ];
    let points = seen
        .iter()
        .map(|s| (s.blur.powi(3), s.lopsided, weight(s.blur, 2)));
    let lopsided = slope(points)?;
    let widest = course
        .signed
        .iter()
        .map(|(_, blur)| blur.value)
        .fold((0.0_f64, 0.0_f64), |(low, high), c| {
            (low.min(c), high.max(c))
        });
    let effect_pct = |pull: f64| 100.0 * 2.0 * pull.abs() * (widest.1 - widest.0) / separation;
    let flattening = flat.value;
    let alike = sides[0].min(sides[1]) > ALIKE * sides[0].max(sides[1]);
    let significant = |m: Measured| m.value.abs() > SIGNIFICANCE * m.std_error;
    // Circles of one size are not lopsided at all: then the size of the pull is known, but not which way it goes.
    let certain = alike && significant(lopsided);
    let least = match alike {
        _ if certain => 0.0,
        true => LEAST_ALIKE,
        false => LEAST_FLATTENING,
    };
    if flattening < least || !significant(flat) {
        let most = flattening.max(0.0) + UNSEEN_SIGMA * flat.std_error;
        return Some(Shape::Whole {
            unseen_pct: effect_pct(pull_of_alike(most)),
        });
    }
    // A barrel takes the same share of the light at every focus setting; a label in one target's window does not.
    if !alike && balance::changes(frames) {
        return None;
    }
    let pull = if certain {
        pull_of(flattening, lopsided.value.abs()).copysign(lopsided.value)
    } else {
        pull_of_alike(flattening)
    };
    Some(Shape::Cut(CutBlur {
        flattening,
        pull,
        certain,
        effect_pct: effect_pct(pull),
    }))
}

/// Takes the pull out of the separations, where it is certain: the left centre was pulled by κ·c, the right one by −κ·c.
pub(super) fn correct(frames: &mut [FrameResult], course: &BlurCourse, cut: &CutBlur) {
    if !cut.certain {
        return;
    }
    let Some(reference) = reference_px(frames) else {
        return;
    };
    for (place, blur) in &course.signed {
        if let Some(separation) = &mut frames[*place].separation_px {
            // The blur is stated at the reference's scale.
            let scale = separation.value / reference;
            separation.value += 2.0 * cut.pull * blur.value * scale;
        }
    }
}

/// Standard uncertainty that cut blur leaves in each frame's shift, percentage points, by place in the sweep.
#[must_use]
pub(super) fn u_pct(
    course: &BlurCourse,
    cut: &CutBlur,
    separation_px: f64,
    frames: usize,
) -> Vec<f64> {
    let mut u = vec![0.0; frames];
    let Some((_, last)) = course.signed.last() else {
        return u;
    };
    // A pull of known size that may go either way has that size as its standard deviation.
    let share = if cut.certain { LEFT_OVER } else { 1.0 };
    for (place, blur) in &course.signed {
        let moved = 2.0 * cut.pull.abs() * (blur.value - last.value).abs();
        u[*place] = 100.0 * share * moved / separation_px;
    }
    u
}

/// Weight of a frame in a fit of moments: their noise grows with the window, and that with the blur.
fn weight(blur: f64, power: i32) -> f64 {
    1.0 / (1.0 + (blur / NOISY_FROM_PX).powi(2)).powi(power)
}

/// Share of the blur by which its second moments along and across differ, from (blur, difference), px and px²: a disc of
/// diameter c has c²/16 along each axis, so that a share e makes them differ by e·c²/8.
#[must_use]
pub(super) fn share_of_blur(points: impl Iterator<Item = (f64, f64)>) -> Option<Measured> {
    slope(points.map(|(blur, moment)| (blur * blur, moment, weight(blur, 1))))
        .map(|slope| slope.scaled(8.0))
}

/// Slope of a weighted straight line through (x, y, weight) with its standard uncertainty from the scatter.
fn slope(points: impl Iterator<Item = (f64, f64, f64)>) -> Option<Measured> {
    let points: Vec<(f64, f64, f64)> = points.collect();
    if points.len() < 5 {
        return None;
    }
    let sum = |of: &dyn Fn(f64, f64) -> f64| points.iter().map(|p| p.2 * of(p.0, p.1)).sum::<f64>();
    let total = sum(&|_, _| 1.0);
    let (mx, my) = (sum(&|x, _| x) / total, sum(&|_, y| y) / total);
    let spread = sum(&|x, _| (x - mx).powi(2));
    if spread <= 0.0 {
        return None;
    }
    let value = sum(&|x, y| (x - mx) * (y - my)) / spread;
    let rest = sum(&|x, y| (y - my - value * (x - mx)).powi(2)) / (points.len() as f64 - 2.0);
    Some(Measured::new(value, (rest / spread).sqrt()))
}

/// Moments of the overlap of a unit circle and one of radius b at t, over its blur c = 4·√(mean second moment).
struct Overlap {
    flattening: f64,
    asymmetry: f64,
    pull: f64,
}

impl Overlap {
    fn of(b: f64, t: f64) -> Option<Self> {
        const STEPS: usize = 200;
        let (low, high) = ((t - b).max(-1.0), (t + b).min(1.0));
        if high - low < 0.1 {
            return None;
        }
        let step = (high - low) / STEPS as f64;
        let (mut area, mut x1, mut x2, mut x3, mut y2) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for k in 0..STEPS {
            let x = low + (k as f64 + 0.5) * step;
            let half = (1.0 - x * x).min(b * b - (x - t) * (x - t)).max(0.0).sqrt();
            area += half;
            x1 += half * x;
            x2 += half * x * x;
            x3 += half * x * x * x;
            y2 += half.powi(3) / 3.0;
        }
        let mean = x1 / area;
        let xx = x2 / area - mean * mean;
        let yy = y2 / area;
        let third = x3 / area - 3.0 * mean * x2 / area + 2.0 * mean.powi(3);
        let blur = 4.0 * ((xx + yy) / 2.0).sqrt();
        Some(Self {
            flattening: (yy - xx) / (yy + xx),
            asymmetry: third / blur.powi(3),
            pull: mean / blur,
        })
    }
}

/// Pull over blur of the overlap whose flattening and asymmetry come nearest.
fn pull_of(flattening: f64, asymmetry: f64) -> f64 {
    let mut best = (f64::INFINITY, 0.0);
    for i in 0..=24 {
        // Rims from the pupil's own size to three stops larger, closer together where the shape changes fast.
        let b = 1.0 + 1.8 * (f64::from(i) / 24.0).powi(2);
        for k in 1..=60 {
            let t = (b - 1.0) + f64::from(k) / 60.0 * 1.2;
            let Some(shape) = Overlap::of(b, t) else {
                continue;
            };
            // Relative in the flattening, which is known best; the asymmetry on its own scale of about 1e-3.
            let off = (shape.flattening / flattening - 1.0).powi(2)
                + ((shape.asymmetry - asymmetry) / 1e-3).powi(2);
            if off < best.0 {
                best = (off, shape.pull);
            }
        }
    }
    best.1
}

/// Size of the pull over blur of the overlap of two circles of one size that is as flat: the most there can be.
fn pull_of_alike(flattening: f64) -> f64 {
    const STEPS: u32 = 180;
    // Both start at 0 and rise together; between two shapes on a straight line.
    let mut before = (0.0, 0.0);
    for k in 1..=STEPS {
        let Some(shape) = Overlap::of(1.0, 1.8 * f64::from(k) / f64::from(STEPS)) else {
            break;
        };
        let here = (shape.flattening, shape.pull.abs());
        if here.0 >= flattening {
            let share = (flattening - before.0) / (here.0 - before.0);
            return before.1 + share * (here.1 - before.1);
        }
        before = here;
    }
    before.1
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Counted on a grid of 241 × 241 points over the unit circle (own calculation): radius of the rim, displacement;
    /// flattening, asymmetry, pull.
    #[test]
    fn overlaps_of_two_circles() {
        for (b, t, flattening, asymmetry, pull) in [
            (1.0, 0.5, 0.2230, 0.0, 0.1490),
            (1.1, 0.3, 0.1070, 4.19e-4, 0.0474),
            (1.2, 0.5, 0.1641, 6.61e-4, 0.0717),
            (1.4, 0.8, 0.2237, 9.32e-4, 0.0950),
            (1.7, 1.0, 0.1678, 1.06e-3, 0.0599),
        ] {
            let shape = Overlap::of(b, t).expect("they overlap");
            assert!((shape.flattening - flattening).abs() < 0.003, "{b} {t}");
            assert!((shape.asymmetry - asymmetry).abs() < 2e-5, "{b} {t}");
            assert!((shape.pull - pull).abs() < 0.002, "{b} {t}");
            // The way back: a tenth is as good as the grid of shapes and the flat part of the map allow.
            let found = pull_of(shape.flattening, shape.asymmetry.max(0.0));
            assert!((found / shape.pull - 1.0).abs() < 0.1, "{b} {t}: {found}");
            let most = pull_of_alike(shape.flattening);
            assert!(most > 0.99 * shape.pull, "{b} {t}: {most}");
            assert!(b > 1.0 || (most / shape.pull - 1.0).abs() < 0.02);
        }
    }
}
