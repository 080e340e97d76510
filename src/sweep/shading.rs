//! Light that falls off towards the sides of the picture, or is evened out by the camera: it tilts the blur of the targets
//! and moves their centres.
//!
//! Where the picture's brightness rises by a part g a pixel towards its side, the outer half of a blurred target is brighter
//! than its inner half. Its centre of mass moves outwards by g·k₂ and its third moment grows by g·k₄, k₂ and k₄ being the
//! second and fourth cumulants of its light (exponential tilting to first order in g; textbook statistics, from memory). k₂ grows with the square of the
//! blur, so near focus settings are pulled more than the reference: a camera that takes out the cos⁴ falloff of a 35 mm lens
//! moves a shift by 0.08 percentage points at 120 px of blur.
//!
//! g belongs to the place in the picture, mirrored between left and right, and is alike in all frames, or changes evenly with
//! focus, as the pupil moves. So it is read from the third moments of all of them at once, beside what else leans: tape that is
//! torn askew, by the cube of the picture's scale, and a blur that the barrel cuts, by the cube of the signed blur.

use nalgebra::{DMatrix, DVector, Matrix2, Vector2};

use super::FrameResult;
use super::distance::blur::BlurCourse;
use super::pulls::telling_pair;
use super::spread::reference_px;
use super::warp::Warp;
use crate::measure::Target;

/// Fewest frames that g is read from.
const FEWEST: usize = 6;
/// Improvement of χ² over its scatter from which cut blur, or a change with focus, is counted among what leans: 4 standard
/// deviations.
const WORTH_A_TERM: f64 = 16.0;
/// χ² over its degrees of freedom from which it is not brightness that third moments come from: a fifth of the light in the
/// corners changing with focus makes 7 where it is taken for the same in all frames, coma and dust 30 and more (simulated sweeps).
const MOST_SPREAD: f64 = 5.0;
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
    /// Part by which it grows outwards where the targets are, 1/px: at the first frame, and what it has more at the last one.
    rise: Vector2<f64>,
    /// Their covariance; 0 in what was not looked for.
    covariance: Matrix2<f64>,
    /// Whether third moments are what it makes of them.
    fits: bool,
    /// Between the targets, px.
    separation_px: f64,
}

/// What third moments grow by.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Term {
    /// Brightness that rises.
    Rise,
    /// The same, by the place in the sweep.
    Change,
    /// Tape askew.
    Tape,
    /// A cut of the blur.
    Cut,
}

/// What one frame shows.
struct Seen {
    /// Mirrored third moment, px³.
    third: f64,
    u: f64,
    /// Mean fourth cumulant, px⁴.
    fourth: f64,
    /// Place in the sweep, 0 to 1.
    travel: f64,
    scale: f64,
    /// Signed blur, px.
    blur: f64,
}

impl Seen {
    const fn grows_by(&self, term: Term) -> f64 {
        match term {
            Term::Rise => self.fourth,
            Term::Change => self.fourth * self.travel,
            Term::Tape => self.scale * self.scale * self.scale,
            Term::Cut => self.blur * self.blur * self.blur,
        }
    }
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
            seen(frame, scale, blur, warp)
        })
        .collect();
    let mut best = fit(&seen, &[Term::Rise, Term::Tape])?;
    // Cut blur and change with focus lean much alike: what explains more comes first.
    for _ in 0..2 {
        let more = [Term::Cut, Term::Change]
            .into_iter()
            .filter(|term| best.place(*term).is_none())
            .filter_map(|term| fit(&seen, &[best.terms.as_slice(), &[term]].concat()))
            .min_by(|a, b| a.chi2.total_cmp(&b.chi2));
        match more {
            Some(more)
                if more.spread < MOST_SPREAD
                    && best.chi2 - more.chi2 > WORTH_A_TERM * more.spread =>
            {
                best = more;
            }
            _ => break,
        }
    }
    let shading = Shading {
        rise: best.of([Term::Rise, Term::Change]),
        covariance: best.covariance_of([Term::Rise, Term::Change]),
        fits: best.spread < MOST_SPREAD,
        separation_px: separation,
    };
    let over_half = |travel: f64| shading.rise_at(travel).abs() * separation / 2.0;
    (over_half(0.0).max(over_half(1.0)) < MOST_OVER_HALF).then_some(shading)
}

fn seen(frame: &FrameResult, scale: f64, blur: f64, warp: Option<&Warp>) -> Option<Seen> {
    let [left, right] = telling_pair(&frame.targets)?;
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
        fourth: (left.lean.fourth_px4 + right.lean.fourth_px4) / 2.0,
        travel: frame.travel,
        scale,
        blur,
    })
}

/// A fit of some terms.
struct Fit {
    terms: Vec<Term>,
    /// Their factors.
    found: DVector<f64>,
    /// Covariance of these, grown with the scatter where that is larger than noise.
    covariance: DMatrix<f64>,
    chi2: f64,
    /// χ² over its degrees of freedom, 1 at least.
    spread: f64,
}

impl Fit {
    fn place(&self, term: Term) -> Option<usize> {
        self.terms.iter().position(|known| *known == term)
    }

    /// The factors of two terms, 0 where one was not fitted.
    fn of(&self, terms: [Term; 2]) -> Vector2<f64> {
        Vector2::from(terms.map(|term| self.place(term).map_or(0.0, |at| self.found[at])))
    }

    /// Their covariance.
    fn covariance_of(&self, terms: [Term; 2]) -> Matrix2<f64> {
        let at = terms.map(|term| self.place(term));
        Matrix2::from_fn(|row, column| {
            at[row]
                .zip(at[column])
                .map_or(0.0, |(row, column)| self.covariance[(row, column)])
        })
    }
}

/// Weighted least squares, again without outliers.
fn fit(seen: &[Seen], terms: &[Term]) -> Option<Fit> {
    let mut kept: Vec<&Seen> = seen.iter().collect();
    for _ in 0..3 {
        let (found, covariance) = solve(&kept, terms)?;
        let off = |s: &Seen| {
            let expected = terms
                .iter()
                .zip(&found)
                .map(|(term, f)| f * s.grows_by(*term));
            (s.third - expected.sum::<f64>()) / s.u
        };
        let chi2: f64 = kept.iter().map(|s| off(s).powi(2)).sum();
        let spread = (chi2 / (kept.len() - terms.len()) as f64).max(1.0);
        let within = |s: &&Seen| off(s).powi(2) < OUTLIER * OUTLIER * spread;
        let before = kept.len();
        let next: Vec<&Seen> = kept.iter().copied().filter(within).collect();
        if next.len() == before || next.len() < FEWEST {
            return Some(Fit {
                terms: terms.to_vec(),
                found,
                covariance: covariance * spread,
                chi2,
                spread,
            });
        }
        kept = next;
    }
    None
}

/// The terms' factors, and their covariance.
fn solve(seen: &[&Seen], terms: &[Term]) -> Option<(DVector<f64>, DMatrix<f64>)> {
    if seen.len() < FEWEST || seen.len() <= terms.len() {
        return None;
    }
    // Columns of like size, so that the normal matrix is sound.
    let size = |term: &Term| {
        let squares = seen.iter().map(|s| (s.grows_by(*term) / s.u).powi(2));
        squares.sum::<f64>().sqrt().max(f64::MIN_POSITIVE)
    };
    let sizes: Vec<f64> = terms.iter().map(size).collect();
    let design = DMatrix::from_fn(seen.len(), terms.len(), |row, k| {
        seen[row].grows_by(terms[k]) / seen[row].u / sizes[k]
    });
    let right = DVector::from_iterator(seen.len(), seen.iter().map(|s| s.third / s.u));
    let inverse = (design.transpose() * &design).try_inverse()?;
    let scaled = &inverse * design.transpose() * right;
    let found = DVector::from_fn(terms.len(), |k, _| scaled[k] / sizes[k]);
    let covariance = DMatrix::from_fn(terms.len(), terms.len(), |row, column| {
        inverse[(row, column)] / sizes[row] / sizes[column]
    });
    let finite = found.iter().chain(&covariance).all(|n| n.is_finite());
    finite.then_some((found, covariance))
}

/// Mean tilt of a frame's outermost targets, px²: how far each moves outwards for a rise of one part a pixel.
fn tilt(frame: &FrameResult) -> Option<f64> {
    let (left, right) = (frame.targets.first()?, frame.targets.last()?);
    Some((left.lean.tilt_px2 + right.lean.tilt_px2) / 2.0)
}

impl Shading {
    /// The rise at a place in the sweep, 1/px.
    fn rise_at(&self, travel: f64) -> f64 {
        self.rise.x + travel * self.rise.y
    }

    /// Whether it is there for certain, so that it is taken out.
    #[must_use]
    pub(super) fn is_certain(&self) -> bool {
        self.stands_out_by(SIGNIFICANCE)
    }

    /// Whether there is no doubt of it, even where something else shows too.
    #[must_use]
    pub(super) fn is_plain(&self) -> bool {
        self.stands_out_by(PLAIN)
    }

    /// At one end of the sweep at least.
    fn stands_out_by(&self, sigmas: f64) -> bool {
        self.fits
            && [0.0, 1.0].into_iter().any(|travel| {
                let u = self.u_of(Vector2::new(1.0, travel));
                u > 0.0 && self.rise_at(travel).abs() > sigmas * u
            })
    }

    /// Standard uncertainty of a sum of the rise's two numbers, each times a factor.
    fn u_of(&self, factors: Vector2<f64>) -> f64 {
        (factors.transpose() * self.covariance * factors)
            .x
            .max(0.0)
            .sqrt()
    }

    /// Takes the pull out of the separations.
    pub(super) fn correct(&self, frames: &mut [FrameResult]) {
        for frame in frames {
            let tilt = tilt(frame);
            if let (Some(separation), Some(tilt)) = (&mut frame.separation_px, tilt) {
                separation.value -= 2.0 * self.rise_at(frame.travel) * tilt;
            }
        }
    }

    /// Standard uncertainty that its correction leaves in each frame's shift, percentage points, by place in the sweep.
    #[must_use]
    pub(super) fn u_pct(&self, frames: &[FrameResult], reference: usize) -> Vec<f64> {
        let pulls = pulls(frames, reference);
        pulls
            .map(|pull| (LEFT_OVER * self.rise.dot(&pull)).hypot(self.u_of(pull)))
            .collect()
    }

    /// How far it moves the shift that it moves most, percentage points.
    #[must_use]
    pub(super) fn most_pct(&self, frames: &[FrameResult]) -> f64 {
        let reference = frames
            .iter()
            .rposition(|frame| frame.separation_px.is_some());
        pulls(frames, reference.unwrap_or(0))
            .map(|pull| self.rise.dot(&pull).abs())
            .fold(0.0, f64::max)
    }

    /// What it may do at most to a shift where it was too little to be taken out, percentage points.
    #[must_use]
    pub(super) fn unseen_pct(&self, frames: &[FrameResult]) -> f64 {
        let reference = frames
            .iter()
            .rposition(|frame| frame.separation_px.is_some());
        let most = |pull: Vector2<f64>| {
            let rise = self.rise.dot(&pull).abs() + UNSEEN_SIGMA * self.u_of(pull);
            rise.min(2.0 * UNSEEN_OVER_HALF / self.separation_px * pull.x.abs())
        };
        pulls(frames, reference.unwrap_or(0))
            .map(most)
            .fold(0.0, f64::max)
    }
}

/// How far each frame's shift moves for a rise of one part a pixel, and for one that comes with the travel, percentage points.
fn pulls(frames: &[FrameResult], reference: usize) -> impl Iterator<Item = Vector2<f64>> {
    let pulled = |frame: &FrameResult| Some(Vector2::new(1.0, frame.travel) * tilt(frame)?);
    let last = frames.get(reference).and_then(pulled).unwrap_or_default();
    frames.iter().map(move |frame| {
        let pull = |separation: f64, pulled: Vector2<f64>| (pulled - last) * (200.0 / separation);
        frame
            .separation_px
            .zip(pulled(frame))
            .map_or(Vector2::zeros(), |(separation, pulled)| {
                pull(separation.value, pulled)
            })
    })
}
