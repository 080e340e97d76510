//! Light that falls off towards the sides of the picture, or is evened out by the camera: it tilts the blur of the targets
//! and moves their centres.
//!
//! Where the picture's brightness rises by a part g a pixel towards its side, the outer half of a blurred target is brighter
//! than its inner half. Its centre of mass moves outwards by g·k₂ and its third moment grows by g·k₄, k₂ and k₄ being the
//! second and fourth cumulants of its light (exponential tilting to first order in g; textbook statistics, from memory). k₂ grows with the square of the
//! blur, so near focus settings are pulled more than the reference: a camera that takes out the cos⁴ falloff of a 35 mm lens
//! moves a shift by 0.08 percentage points at 120 px of blur.
//!
//! g belongs to the place in the picture and is alike in all frames, mirrored between left and right. So it is read from
//! the third moments of all of them at once, beside what else leans: tape that is torn askew, by the cube of the picture's
//! scale, and a blur that the barrel cuts, by the cube of the signed blur.

use nalgebra::{DMatrix, DVector};

use super::FrameResult;
use super::distance::blur::BlurCourse;
use super::pulls::telling_pair;
use super::spread::reference_px;
use super::warp::Warp;
use crate::measure::Target;
use crate::units::Measured;

/// Fewest frames that g is read from.
const FEWEST: usize = 6;
/// Improvement of χ² from which cut blur is counted among what leans: its 4 standard deviations.
const CUT_CHI2: f64 = 16.0;
/// A frame this many standard deviations off is something else and left out.
const OUTLIER: f64 = 5.0;
/// Least standard uncertainty of a third moment that is believed, as a part of the second to the power of 1.5.
const LEAST_SKEWNESS: f64 = 2e-4;
/// Standard uncertainties by which a rise has to differ from none to be taken out: what is less would add more noise to good
/// sweeps than it mends in others, and is stated as a bound.
const SIGNIFICANCE: f64 = 4.0;
/// The same where a slight flattening of the blur might be a cut as well.
const PLAIN: f64 = 10.0;
/// Standard uncertainties of the rise that may hide unseen.
const UNSEEN_SIGMA: f64 = 2.0;
/// Largest rise over half a picture's width that is thought of where none was seen: the cos⁴ falloff of a 35 mm lens on 36 mm,
/// taken out by the camera. Coma leans by more and pulls all frames alike.
const UNSEEN_OVER_HALF: f64 = 0.7;
/// Largest rise over half a picture's width that light does: cos⁴ at the side of a 20 mm lens on 36 mm grows by 1.6 (computed).
const MOST_OVER_HALF: f64 = 2.0;
/// Share of the correction that stays as its standard uncertainty: brightness does not change by the same part everywhere
/// in the blur, and not alike on both sides. From simulation.
const LEFT_OVER: f64 = 0.05;

/// How the picture's brightness changes towards its sides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shading {
    /// Part by which it grows outwards where the targets are, 1/px.
    rise: Measured,
    /// Between the targets, px.
    separation_px: f64,
}

/// What one frame shows.
struct Seen {
    /// Mirrored third moment, px³.
    third: f64,
    u: f64,
    /// What it grows by: for a rise, by tape askew, by a cut of the blur.
    terms: [f64; 3],
}

/// Reads how brightness changes from how the blur leans, beyond what a stretch makes it lean; `None` where too few frames
/// tell.
#[must_use]
pub(super) fn detect(
    frames: &[FrameResult],
    course: Option<&BlurCourse>,
    warp: Option<&Warp>,
) -> Option<Shading> {
    let separation = reference_px(frames)?;
    let seen: Vec<Seen> = frames
        .iter()
        .enumerate()
        .filter_map(|(place, frame)| {
            let scale = frame.separation_px?.value / separation;
            let blur = course.and_then(|course| {
                let mut signed = course.signed.iter();
                signed.find(|(at, _)| *at == place).map(|(_, blur)| blur)
            });
            let blur = blur.map_or(0.0, |blur| blur.value * scale);
            seen(&frame.targets, scale, blur, warp)
        })
        .collect();
    let plain = fit(&seen, 2)?;
    let with_cut = fit(&seen, 3).filter(|cut| plain.chi2 - cut.chi2 > CUT_CHI2);
    let rise = with_cut.map_or(plain.rise, |cut| cut.rise);
    let over_half = rise.value.abs() * separation / 2.0;
    (over_half < MOST_OVER_HALF).then_some(Shading {
        rise,
        separation_px: separation,
    })
}

fn seen(targets: &[Target], scale: f64, blur: f64, warp: Option<&Warp>) -> Option<Seen> {
    let [left, right] = telling_pair(targets)?;
    let u = |t: &Target| {
        let least = LEAST_SKEWNESS * t.variance_px2.value.max(0.0).powf(1.5);
        t.lean.third_px3.std_error.max(least)
    };
    let stretched = |t: &Target| warp.map_or(0.0, |warp| warp.third_px3(t));
    let outwards = (
        -left.lean.third_px3.value - stretched(left),
        right.lean.third_px3.value - stretched(right),
    );
    Some(Seen {
        third: (outwards.0 + outwards.1) / 2.0,
        u: u(left).hypot(u(right)) / 2.0,
        terms: [
            (left.lean.fourth_px4 + right.lean.fourth_px4) / 2.0,
            scale.powi(3),
            blur.powi(3),
        ],
    })
}

/// A fit of the first few terms.
struct Fit {
    rise: Measured,
    chi2: f64,
}

/// Weighted least squares, again without outliers; the uncertainty grows with the scatter where that is larger than noise.
fn fit(seen: &[Seen], terms: usize) -> Option<Fit> {
    let mut kept: Vec<&Seen> = seen.iter().collect();
    for _ in 0..3 {
        let (found, covariance) = solve(&kept, terms)?;
        let off = |s: &Seen| {
            let expected: f64 = (0..terms).map(|k| found[k] * s.terms[k]).sum();
            (s.third - expected) / s.u
        };
        let chi2: f64 = kept.iter().map(|s| off(s).powi(2)).sum();
        let spread = (chi2 / (kept.len() - terms) as f64).max(1.0);
        let within = |s: &&Seen| off(s).powi(2) < OUTLIER * OUTLIER * spread;
        let before = kept.len();
        let next: Vec<&Seen> = kept.iter().copied().filter(within).collect();
        if next.len() == before || next.len() < FEWEST {
            return Some(Fit {
                rise: Measured::new(found[0], (covariance * spread).sqrt()),
                chi2,
            });
        }
        kept = next;
    }
    None
}

/// The terms' factors, and the variance of the first.
fn solve(seen: &[&Seen], terms: usize) -> Option<(DVector<f64>, f64)> {
    if seen.len() < FEWEST {
        return None;
    }
    // Columns of like size, so that the normal matrix is sound.
    let size = |k: usize| {
        let squares = seen.iter().map(|s| (s.terms[k] / s.u).powi(2));
        squares.sum::<f64>().sqrt().max(f64::MIN_POSITIVE)
    };
    let sizes: Vec<f64> = (0..terms).map(size).collect();
    let design = DMatrix::from_fn(seen.len(), terms, |row, k| {
        seen[row].terms[k] / seen[row].u / sizes[k]
    });
    let right = DVector::from_iterator(seen.len(), seen.iter().map(|s| s.third / s.u));
    let inverse = (design.transpose() * &design).try_inverse()?;
    let scaled = &inverse * design.transpose() * right;
    let found = DVector::from_fn(terms, |k, _| scaled[k] / sizes[k]);
    let variance = inverse[(0, 0)] / sizes[0].powi(2);
    (found.iter().all(|n| n.is_finite()) && variance.is_finite()).then_some((found, variance))
}

/// Mean tilt of a frame's outermost targets, px²: how far each moves outwards for a rise of one part a pixel.
fn tilt(frame: &FrameResult) -> Option<f64> {
    let (left, right) = (frame.targets.first()?, frame.targets.last()?);
    Some((left.lean.tilt_px2 + right.lean.tilt_px2) / 2.0)
}

impl Shading {
    /// Whether it is there for certain, so that it is taken out.
    #[must_use]
    pub(super) fn is_certain(&self) -> bool {
        self.rise.value.abs() > SIGNIFICANCE * self.rise.std_error
    }

    /// Whether there is no doubt of it, even where something else shows too.
    #[must_use]
    pub(super) fn is_plain(&self) -> bool {
        self.rise.value.abs() > PLAIN * self.rise.std_error
    }

    /// Takes the pull out of the separations.
    pub(super) fn correct(&self, frames: &mut [FrameResult]) {
        for frame in frames {
            let tilt = tilt(frame);
            if let (Some(separation), Some(tilt)) = (&mut frame.separation_px, tilt) {
                separation.value -= 2.0 * self.rise.value * tilt;
            }
        }
    }

    /// Standard uncertainty that its correction leaves in each frame's shift, percentage points, by place in the sweep.
    #[must_use]
    pub(super) fn u_pct(&self, frames: &[FrameResult], reference: usize) -> Vec<f64> {
        let left = (LEFT_OVER * self.rise.value).hypot(self.rise.std_error);
        pulls(frames, reference).map(|pull| left * pull).collect()
    }

    /// What it may do at most to a shift where it was too little to be taken out, percentage points.
    #[must_use]
    pub(super) fn unseen_pct(&self, frames: &[FrameResult]) -> f64 {
        let reference = frames
            .iter()
            .rposition(|frame| frame.separation_px.is_some());
        let most = pulls(frames, reference.unwrap_or(0)).fold(0.0, f64::max);
        let rise = self.rise.value.abs() + UNSEEN_SIGMA * self.rise.std_error;
        rise.min(2.0 * UNSEEN_OVER_HALF / self.separation_px) * most
    }
}

/// How far each frame's shift moves for a rise of one part a pixel, percentage points, without its sign.
fn pulls(frames: &[FrameResult], reference: usize) -> impl Iterator<Item = f64> {
    let last = frames.get(reference).and_then(tilt).unwrap_or(0.0);
    frames.iter().map(move |frame| {
        let pull = |separation: f64, tilt: f64| 200.0 * (tilt - last).abs() / separation;
        frame
            .separation_px
            .zip(tilt(frame))
            .map_or(0.0, |(separation, tilt)| pull(separation.value, tilt))
    })
}
