//! Blur that the lens barrel cuts into a cat's eye: detected by its shape, and taken out where the shape tells how far it
//! pulls the centres.
//!
//! Off the axis the pupil is seen through the barrel's rim: what is left is the overlap of two circles, the rim's of
//! radius b in pupil radii, its middle displaced by t. Moments add under convolution, so against the signed blur c
//! (positive nearer than the targets) a cut blur shows in two ways: the blur is flatter along the line of the targets by
//! α·c²/8, and, unless both circles are alike, lopsided by γ·c³, mirrored between left and right and turned over through
//! focus. Both follow from b and t, and so does the pull of the centre, κ·c. Tape that is torn askew doesn't change with
//! focus, an iris with an odd number of blades is alike in both targets; neither is mistaken for it. What leans alike before and
//! beyond the targets, as brightness and a stretch of the picture make it, is fitted beside it.
//!
//! A picture that shrinks towards its sides, as barrel distortion makes it, flattens the blur too, and leaves it an ellipse. The
//! overlap of two circles has corners above and below: a fourth cumulant of four-fold shape, that grows with c⁴.

mod curved;
mod seen;
mod shaded;

use nalgebra::{DMatrix, DVector};

use super::ellipse::{self, Ellipse};
use super::overlap::pull_of_alike;
use super::rims::{self, Rim};
use super::spread::reference_px;
use super::tone::Tone;
use super::warp::Warp;
use crate::sweep::FrameResult;
use crate::sweep::distance::blur::BlurCourse;
use crate::sweep::fitting::least_squares;
use crate::sweep::tracking::balance;
use crate::units::Measured;
#[cfg(test)]
pub(in crate::sweep) use seen::Shrunk;
pub(in crate::sweep) use seen::{Seen, leaning, u_four_fold};

/// Cut blur, as far as it can be told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sweep) struct CutBlur {
    /// Flattening α of the blur along the line of the targets.
    pub(in crate::sweep) flattening: f64,
    /// Pull κ of the left target's centre over the signed blur; its size alone unless `certain`.
    pub(in crate::sweep) pull: f64,
    /// Share of the pull that stays as its standard uncertainty where it was taken out.
    pub(in crate::sweep) left_over: f64,
    /// The shape tells the pull: it was taken out.
    pub(in crate::sweep) certain: bool,
    /// It is no picture that shrinks rather.
    pub(in crate::sweep) named: bool,
    /// What it does to the shift over the whole sweep, percentage points.
    pub(in crate::sweep) effect_pct: f64,
}

impl CutBlur {
    /// Whether the blur is hardly flatter than it is long, as brightness that falls fast makes it too.
    #[must_use]
    pub(super) fn is_slight(&self) -> bool {
        self.flattening < LEAST_FLATTENING
    }

    /// Whether it is worth a word; what is less widens the uncertainty without one.
    #[must_use]
    pub(in crate::sweep) fn is_remarkable(&self) -> bool {
        self.named && self.effect_pct > REMARKABLE_PCT
    }
}

/// What the shape of the blur says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sweep) enum Shape {
    /// It is cut.
    Cut(CutBlur),
    /// It is an ellipse rather, as a picture that shrinks makes it; a cut is possible, and moves the shift by no more than so many
    /// percentage points over the whole sweep.
    Open {
        /// What is to be expected of a cut.
        cut: CutBlur,
        /// The most that is left open.
        unseen_pct: f64,
    },
    /// It is not cut by so much that it could be seen; one that can't be seen moves the shift by no more than so many
    /// percentage points over the whole sweep.
    Whole {
        /// The most that is left open.
        unseen_pct: f64,
    },
}

/// Length of the tape over its width from which an ellipse is not told from a cut: of tape 3.2 times as long, cuts passed for
/// ellipses in every second rendered sweep, of tape 2.7 times as long in none.
const LONG_TAPE: f64 = 2.8;
/// Fewest frames that a share of the blur is read from.
const FEWEST: usize = 5;
/// A coefficient must stand out of its noise by this factor.
const SIGNIFICANCE: f64 = 6.0;
/// Effect on the shift, percentage points, below which cut blur is not remarkable.
const REMARKABLE_PCT: f64 = 0.02;
/// Flattening below which nothing is believed that the two targets don't show alike, whatever its significance.
const LEAST_FLATTENING: f64 = 0.01;
/// Flattening below which nothing is believed that is not lopsided too: a tone curve other than the one that was assumed
/// flattens blur before a sloping background by 0.002 (simulated sweeps).
const LEAST_ALIKE: f64 = 0.003;
/// The same where the tone curve is not sRGB's: what the sweep does not tell of it flattens blur by 0.01 in simulated sweeps with
/// an S-shaped curve and tall tape.
const LEAST_TONED: f64 = 0.015;
/// The same where a ceiling lets tape make blurs flatter or longer, and twice that between left and right.
const LEAST_BURNT: f64 = 0.03;
/// Share of the pull that stays where some frames are burnt out: a ceiling changes how far rims pull. Sweeps of another renderer left
/// up to 0.8 and mostly 0.3.
const LEFT_OVER_BURNT: f64 = 0.3;
/// Probability of falling light from which no cut is weighed beside it.
const SHADED: f64 = 0.9;
/// Flattening below 0 down to which an unread tone curve may hide a cut: tape that is taller than wide is read as so much longer.
const MOST_HIDDEN: f64 = 0.1;
/// Largest flattening that a barrel is thought to make: two circles of one size of whose light 0.4 is left.
const MOST_FLATTENING: f64 = 0.5;
/// Share of the larger flattening that the smaller one has where both targets show it alike; they don't lie quite as far
/// from the axis.
const ALIKE: f64 = 1.0 / 3.0;
/// Standard uncertainties of the flattening that may hide unseen.
pub(super) const UNSEEN_SIGMA: f64 = 2.0;
/// Probability of an ellipse from which it is believed.
const WHOLE: f64 = 0.95;
/// Share of the most that a cut as flat would pull, which is left open beside an ellipse: a cut of a fifth of the flattening beside
/// distortion shows next to nothing before small blur (sweeps of another renderer).
const LEFT_OPEN: f64 = 0.2;
/// Standard uncertainties by which the flattening on both sides of focus has to differ before it is told apart.
const SIDES_DIFFER: f64 = 4.0;
/// Blur, px, from which the noise of second and third moments grows with the blur.
const NOISY_FROM_PX: f64 = 20.0;

/// Looks for cut blur, beside the stretch that `warp` found, if any; `None` where there is too little blur to tell, or where something
/// else makes the shape. Where the camera's tone curve could not be read, it hides how flat blur is: then what is lopsided tells.
#[must_use]
pub(in crate::sweep) fn look(
    frames: &[FrameResult],
    course: &BlurCourse,
    warp: Option<&Warp>,
    tone: Tone,
) -> Option<Shape> {
    if tone != Tone::Srgb
        && let Some(shape) = curved::look(frames, course, warp, tone)
    {
        return Some(shape);
    }
    let separation = reference_px(frames)?;
    let all = seen::of(frames, course, warp)?;
    let told = seen::flat(&all)?;
    let burnt = told.burnt;
    let seen: Vec<Seen> = all.iter().filter(|s| burnt || !s.burnt).copied().collect();
    let (flat, sides) = (told.both, told.sides);
    let leaning = seen::lopsided(&seen, 0.0, separation)?;
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
    // What else is in the window of a target makes it as long as it likes.
    if flattening > MOST_FLATTENING {
        return None;
    }
    let four_fold = seen::four_fold(&seen);
    let rim = || Rim::of(flattening, leaning, four_fold?, tone);
    let shown = || alike && significant(flat) && rim().is_some_and(|rim| rim.fits());
    let (by_other, differ) = if burnt {
        (seen::BY_CEILING, LEAST_BURNT)
    } else {
        (rims::BY_CURVE, LEAST_TONED)
    };
    let hides = (tone == Tone::Unknown || burnt)
        && flattening > -MOST_HIDDEN
        && (sides[0] - sides[1]).abs() < differ;
    if hides
        && significant(leaning)
        && seen::lean_alike(&seen, if burnt { 0.0 } else { ALIKE })
        && (burnt || !shown())
        && let Some((flattening, pull)) = rims::hidden(flattening, leaning, by_other)
    {
        let shaded = shaded::shaded(&all, flat, by_other, separation).unwrap_or(0.5);
        if shaded < SHADED {
            // Both are weighed: of a cut that may be none, as much is taken out as is to be expected.
            let expected = (1.0 - shaded) * pull.value;
            let square = (1.0 - shaded) * (pull.value.powi(2) + pull.std_error.powi(2));
            let left = (square - expected * expected).max(0.0).sqrt();
            return Some(Shape::Cut(CutBlur {
                flattening,
                pull: expected,
                left_over: left / expected.abs(),
                certain: true,
                named: true,
                effect_pct: effect_pct(pull.value),
            }));
        }
    }
    // Circles of one size are not lopsided at all: then the size of the pull is known, but not which way it goes.
    let lopsided_alike = alike && significant(leaning);
    let least = match alike {
        _ if lopsided_alike => 0.0,
        true if tone == Tone::Srgb => LEAST_ALIKE,
        true => LEAST_TONED,
        false => LEAST_FLATTENING,
    };
    if flattening < least || !significant(flat) {
        let most = flattening.max(0.0) + UNSEEN_SIGMA * flat.std_error;
        // Flattening too slight for any rim to lean it is left as it is.
        let slight = if burnt { 0.0 } else { rims::SLIGHT };
        let mut pull = pull_of_alike(most);
        if most > slight {
            let kept = if burnt { 0.0 } else { pull_of_alike(slight) };
            pull = pull.min(kept + rims::unseen(flat, leaning));
        }
        return Some(Shape::Whole {
            unseen_pct: effect_pct(pull),
        });
    }
    let as_shrunk = || seen::lopsided(&seen, flattening, separation);
    let fits = if alike {
        Ellipse::of(flattening, leaning, as_shrunk()?, four_fold).filter(|e| e.fits())
    } else {
        None
    };
    if let Some(ellipse) = fits
        && ellipse.is_nearer()
    {
        return Some(Shape::Whole {
            unseen_pct: effect_pct(pull_of_alike(ellipse.most_cut(flattening))),
        });
    }
    // What either explains is no proof of one.
    let certain = lopsided_alike && fits.is_none();
    // A barrel takes the same share of the light at every focus setting; a label in one target's window does not.
    if !alike && balance::changes(frames) {
        return None;
    }
    let most = pull_of_alike(flattening);
    let cut = |pull: f64, left_over: f64| CutBlur {
        flattening,
        pull,
        left_over,
        certain,
        named: true,
        effect_pct: effect_pct(pull),
    };
    if certain {
        let rim = rim()?;
        if let Some(pull) = rim.open {
            return Some(Shape::Cut(CutBlur {
                certain: false,
                ..cut(pull, 1.0)
            }));
        }
        let burnt = if all.len() > seen.len() {
            LEFT_OVER_BURNT
        } else {
            0.0
        };
        let left_over = rim.left_over(tone).hypot(uneven(&seen)).hypot(burnt);
        return Some(Shape::Cut(cut(rim.pull.copysign(leaning.value), left_over)));
    }
    let weighed = if alike && tone == Tone::Srgb && !is_of_long_tape(&seen) {
        ellipse::weigh(&seen, flattening, separation)
    } else {
        None
    };
    Some(match weighed.filter(|weighed| weighed.whole > WHOLE) {
        Some(weighed) => Shape::Open {
            cut: CutBlur {
                named: false,
                ..cut(weighed.pull.hypot(LEFT_OPEN * most), 1.0)
            },
            unseen_pct: effect_pct(most),
        },
        None => Shape::Cut(cut(most, 1.0)),
    })
}

/// Whether the tape is so much longer one way than the other that its own fourth moments hide those of the blur.
fn is_of_long_tape(seen: &[Seen]) -> bool {
    let sharpest = seen
        .iter()
        .min_by(|a, b| a.blur.abs().total_cmp(&b.blur.abs()));
    sharpest.is_some_and(|s| {
        let elongation = (s.flat[0] + s.flat[1]).abs() / (4.0 * s.square.sqrt());
        (1.0 + elongation) / (1.0 - elongation).max(f64::MIN_POSITIVE) > LONG_TAPE * LONG_TAPE
    })
}

/// By what part of its flattening the blur is flatter on one side of focus than on both, where that is clear: rims that cut little cut
/// more or less with every change of the picture's scale.
fn uneven(seen: &[Seen]) -> f64 {
    let courses = DMatrix::from_fn(seen.len(), 3, |row, term| {
        let s = &seen[row];
        let square = s.blur * s.blur / 8.0;
        let course = [
            1.0,
            if s.blur > 0.0 { square } else { 0.0 },
            if s.blur > 0.0 { 0.0 } else { square },
        ][term];
        weight(s.blur, 1).sqrt() * course
    });
    let flat = DVector::from_fn(seen.len(), |row, _| {
        let s = &seen[row];
        weight(s.blur, 1).sqrt() * (s.flat[0] + s.flat[1]) / 2.0
    });
    let Some(fit) = least_squares::fit(&courses, &flat) else {
        return 0.0;
    };
    let (near, far) = (fit.factors[1].max(0.0), fit.factors[2].max(0.0));
    let spread = fit.covariance[(1, 1)] + fit.covariance[(2, 2)] - 2.0 * fit.covariance[(1, 2)];
    let u = (fit.scatter * spread).max(0.0).sqrt();
    let differ = (near - far).abs();
    if differ > SIDES_DIFFER * u {
        differ / (near + far)
    } else {
        0.0
    }
}

/// Takes the pull out of the separations, where it is certain: the left centre was pulled by κ·c, the right one by −κ·c.
pub(in crate::sweep) fn correct(frames: &mut [FrameResult], course: &BlurCourse, cut: &CutBlur) {
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
pub(in crate::sweep) fn u_pct(
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
    let share = if cut.certain { cut.left_over } else { 1.0 };
    for (place, blur) in &course.signed {
        let moved = 2.0 * cut.pull.abs() * (blur.value - last.value).abs();
        u[*place] = 100.0 * share * moved / separation_px;
    }
    u
}

/// Weight of a frame in a fit of moments: their noise grows with the window, and that with the blur.
#[must_use]
pub(in crate::sweep) fn weight(blur: f64, power: i32) -> f64 {
    1.0 / (1.0 + (blur / NOISY_FROM_PX).powi(2)).powi(power)
}

/// Share of the blur by which its second moments along and across differ, from (blur, difference), px and px²: a disc of
/// diameter c has c²/16 along each axis, so that a share e makes them differ by e·c²/8.
#[must_use]
pub(super) fn share_of_blur(points: impl Iterator<Item = (f64, f64)>) -> Option<Measured> {
    let points: Vec<(f64, f64)> = points.collect();
    if points.len() < FEWEST {
        return None;
    }
    let root = |row: usize| weight(points[row].0, 1).sqrt();
    let courses = DMatrix::from_fn(points.len(), 2, |row, term| {
        root(row) * [1.0, points[row].0.powi(2) / 8.0][term]
    });
    let moments = DVector::from_fn(points.len(), |row, _| root(row) * points[row].1);
    let fit = least_squares::fit(&courses, &moments)?;
    Some(fit.factor(1, fit.scatter))
}
