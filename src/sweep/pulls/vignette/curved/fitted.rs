//! Tone curve and shape of the blur, fitted together.

use nalgebra::{DMatrix, DVector, SMatrix, SVector, Vector3};

use crate::measure::{POWERS, Target};
use crate::sweep::distance::blur::BlurCourse;
use crate::sweep::fitting::least_squares;
use crate::sweep::pulls::spread::{mean_variance, reference_px};
use crate::sweep::pulls::telling_pair;
use crate::sweep::pulls::tone::{Curve, PRIOR, Tone, put_instead};
use crate::sweep::pulls::vignette::seen::{self, Seen};
use crate::sweep::pulls::vignette::{u_four_fold, weight};
use crate::sweep::pulls::warp::Warp;
use crate::sweep::{FrameInfo, FrameResult};

/// Rounds of linearised least squares, each with the scatter that the one before left.
const ROUNDS: usize = 6;
/// Least scatter of the logarithm of the light.
const SCATTER: f64 = 0.003;
/// Second moment of tape one way over that the other way from which it is long.
const LONG: f64 = 2.0;
/// Bend of the logarithm of the light over the sweep, standard deviation.
const BEND: f64 = 0.05;
/// Step of a curve's numbers by which the change of the shape is taken, over what is thought of them before.
const STEP: f64 = 0.02;
/// Farthest that a round may move a number, over the same.
const FARTHEST: f64 = 0.7;

/// Mean second moments of the outermost targets along and across their line, px².
fn both_ways(targets: &[Target]) -> Option<(f64, f64)> {
    let (first, last) = (targets.first()?.second_px2(), targets.last()?.second_px2());
    Some(((first.0 + last.0) / 2.0, (first.1 + last.1) / 2.0))
}

fn flattened(s: &Seen) -> f64 {
    (s.flat[0] + s.flat[1]) / 2.0
}

fn of_flat(s: &Seen) -> [f64; 3] {
    [1.0, s.blur * s.blur / 8.0, flattened(s) * s.blur]
}

pub(super) struct Sweep<'a> {
    /// With nothing that is no shape.
    frames: Vec<FrameResult>,
    course: &'a BlurCourse,
    warp: Option<&'a Warp>,
    /// The curve that was put to the targets.
    before: Curve,
    separation: f64,
    /// Row of the sharpest frame among those of the course.
    sharpest: usize,
    /// Tape that is much longer one way.
    long: Option<Long>,
}

/// Which way tape is long.
#[derive(Clone, Copy)]
enum Long {
    Along,
    Across,
}

/// What a fit of the curve is made from: flattening, second moment, four-fold cumulant, fourth power of the blur, light; by frame.
pub(super) struct Shown {
    pub(super) seen: Vec<Seen>,
    light: Vec<f64>,
    /// Blur of all frames.
    pub(super) blurs: Vec<f64>,
}

type Square = SMatrix<f64, POWERS, POWERS>;

impl<'a> Sweep<'a> {
    pub(super) fn new(
        frames: &[FrameResult],
        course: &'a BlurCourse,
        warp: Option<&'a Warp>,
        tone: Tone,
    ) -> Option<Self> {
        let by_blur = |k: &usize| course.signed[*k].1.value.abs();
        let sharpest = (0..course.signed.len()).min_by(|a, b| by_blur(a).total_cmp(&by_blur(b)))?;
        let targets = &frames[course.signed[sharpest].0].targets;
        let (along, across) = both_ways(targets)?;
        let long = if along > LONG * across {
            Some(Long::Along)
        } else if across > LONG * along {
            Some(Long::Across)
        } else {
            None
        };
        let mut bare = frames.to_vec();
        for frame in &mut bare {
            frame.info = FrameInfo::default();
            for target in &mut frame.targets {
                target.spots.clear();
                target.beside.clear();
            }
        }
        Some(Self {
            frames: bare,
            course,
            warp,
            before: match tone {
                Tone::Other(curve) => curve,
                _ => Curve::zeros(),
            },
            separation: reference_px(frames)?,
            sharpest,
            long,
        })
    }

    /// Second moment that tells the blur, px².
    fn width(&self, targets: &[Target]) -> Option<f64> {
        let (along, across) = both_ways(targets)?;
        Some(match self.long {
            None => (along + across) / 2.0,
            Some(Long::Along) => across,
            Some(Long::Across) => along,
        })
    }

    /// What flattening is fitted by: what tape has, what goes with the square of the blur, and, for tape that is long, the scale, which
    /// is stated by a separation that may be pulled.
    fn flat(&self, seen: &[Seen]) -> Option<least_squares::Fit> {
        let terms = if self.long.is_some() { 3 } else { 2 };
        let root = |s: &Seen| weight(s.blur, 1).sqrt();
        let design = DMatrix::from_fn(seen.len(), terms, |row, term| {
            root(&seen[row]) * of_flat(&seen[row])[term]
        });
        let values = DVector::from_fn(seen.len(), |row, _| {
            root(&seen[row]) * flattened(&seen[row])
        });
        least_squares::fit(&design, &values)
    }

    /// What is shown under a curve.
    fn under(&self, curve: &Curve) -> Option<Shown> {
        let mut frames = self.frames.clone();
        let mut variances = Vec::new();
        let mut light = Vec::new();
        for &(place, _) in &self.course.signed {
            let frame = &mut frames[place];
            let log_scale = (frame.separation_px?.value / self.separation).ln();
            for target in &mut frame.targets {
                put_instead(&self.before, curve, target);
            }
            variances.push(self.width(&frame.targets)? * (-2.0 * log_scale).exp());
            if telling_pair(&frame.targets).is_some() {
                let log = |flux: f64| flux.max(f64::MIN_POSITIVE).ln() - 2.0 * log_scale;
                let (first, last) = (frame.targets.first()?, frame.targets.last()?);
                light.push((log(first.flux) + log(last.flux)) / 2.0);
            }
        }
        let by_width = |a: &usize, b: &usize| variances[*a].total_cmp(&variances[*b]);
        let least = (0..variances.len()).min_by(by_width)?;
        let (place, _) = self.course.signed[self.sharpest];
        let own = self.frames[place].separation_px?.value / self.separation;
        let was = mean_variance(&self.frames[place].targets)?.value / (own * own);
        let sharp = self.course.sharp_variance * variances[self.sharpest] / was;
        let mut course = self.course.clone();
        for (k, (_, blur)) in course.signed.iter_mut().enumerate() {
            // Of tape that is long one way, the blur is read from the other; and so is where it is sharpest.
            let (sharp, sign) = match self.long {
                None => (sharp, blur.value),
                Some(_) => (variances[least], least as f64 - k as f64),
            };
            blur.value = (4.0 * (variances[k] - sharp).max(0.0).sqrt()).copysign(sign);
        }
        let mut seen = seen::of(&frames, &course, self.warp)?;
        // What is cut off at the ceiling tells nothing of the curve below it.
        seen.retain(|s| !s.burnt);
        let blurs = course.signed.iter().map(|(_, blur)| blur.value).collect();
        Some(Shown { seen, light, blurs })
    }

    /// The curve that fits best, and a root of its covariance.
    pub(super) fn curve(&self) -> Option<(Curve, Square)> {
        let (mut curve, mut fitted) = (self.before, None);
        let mut scatter = None;
        for _ in 0..ROUNDS {
            let (step, covariance) = self.round(&curve, &mut scatter)?;
            curve +=
                Curve::from_fn(|k, _| step[k].clamp(-FARTHEST * PRIOR[k], FARTHEST * PRIOR[k]));
            fitted = Some(covariance);
        }
        Some((curve, fitted?.cholesky()?.l()))
    }

    /// One round: how far the curve is from the best one, and its covariance.
    fn round(&self, curve: &Curve, scatter: &mut Option<[f64; 3]>) -> Option<(Curve, Square)> {
        const FLAT: usize = POWERS;
        const FOUR: usize = FLAT + 3;
        const LIGHT: usize = FOUR + 2;
        let here = self.under(curve)?;
        let steps: [Shown; POWERS] = {
            let mut all = Vec::new();
            for k in 0..POWERS {
                let mut beside = *curve;
                beside[k] += STEP * PRIOR[k];
                all.push(self.under(&beside)?);
            }
            all.try_into().ok()?
        };
        let seen = &here.seen;
        let count = seen.len();
        if count < 5 {
            return None;
        }
        let u_flat = |s: &Seen| 1.0 / weight(s.blur, 1).sqrt();
        let fourth = |s: &Seen| s.blur.powi(4);
        let of_four = {
            let design = DMatrix::from_fn(count, 2, |row, term| {
                [1.0, fourth(&seen[row])][term] / u_four_fold(&seen[row])
            });
            let value = |s: &Seen| s.four_fold.value / u_four_fold(s);
            least_squares::fit(
                &design,
                &DVector::from_fn(count, |row, _| value(&seen[row])),
            )?
        };
        let of_the_flat = self.flat(seen)?;
        let (alpha, phi) = (of_the_flat.factors[1], of_four.factors[1]);
        let drift = |logs: &[f64]| {
            let design = DMatrix::from_fn(count, 2, |row, term| [1.0, seen[row].travel][term]);
            let fit = least_squares::fit(&design, &DVector::from_row_slice(logs))?;
            Some(fit.scatter.sqrt().max(SCATTER))
        };
        let [s_flat, s_four, s_light] = match *scatter {
            Some(scatter) => scatter,
            None => [
                of_the_flat.scatter.sqrt(),
                of_four.scatter.sqrt().max(1.0),
                drift(&here.light)?,
            ],
        };
        let rows = 3 * count + 2 + POWERS;
        let mut design = DMatrix::zeros(rows, LIGHT + 3);
        let mut values = DVector::zeros(rows);
        for row in 0..count {
            let s = &seen[row];
            let u = s_flat * u_flat(s);
            values[row] = flattened(s) / u;
            let terms = if self.long.is_some() { 3 } else { 2 };
            for (term, course) in of_flat(s).into_iter().take(terms).enumerate() {
                design[(row, FLAT + term)] = course / u;
            }
            let at = count + row;
            let u_four = s_four * u_four_fold(s);
            values[at] = s.four_fold.value / u_four;
            design[(at, FOUR)] = 1.0 / u_four;
            design[(at, FOUR + 1)] = fourth(s) / u_four;
            for (k, step) in steps.iter().enumerate() {
                let (b, size) = (&step.seen[row], STEP * PRIOR[k]);
                let by_blur = of_flat(b)[1] - of_flat(s)[1];
                design[(row, k)] = -(flattened(b) - flattened(s) - alpha * by_blur) / size / u;
                let four = b.four_fold.value - s.four_fold.value - phi * (fourth(b) - fourth(s));
                design[(at, k)] = -four / size / u_four;
            }
        }
        for (row, s) in seen.iter().enumerate() {
            let at = 2 * count + row;
            let travel = s.travel;
            values[at] = here.light[row] / s_light;
            for (term, course) in [1.0, travel, travel * travel].into_iter().enumerate() {
                design[(at, LIGHT + term)] = course / s_light;
            }
            for (k, step) in steps.iter().enumerate() {
                design[(at, k)] =
                    -(step.light[row] - here.light[row]) / (STEP * PRIOR[k]) / s_light;
            }
        }
        design[(3 * count, LIGHT + 2)] = 1.0 / BEND;
        // Where tape is not long there is no such course.
        design[(3 * count + 1, FLAT + 2)] = if self.long.is_some() { 0.0 } else { 1.0 };
        for k in 0..POWERS {
            let at = rows - POWERS + k;
            design[(at, k)] = 1.0 / PRIOR[k];
            values[at] = -curve[k] / PRIOR[k];
        }
        let fit = least_squares::fit(&design, &values)?;
        let left = &values - &design * &fit.factors;
        // Each of the three kinds bears a part of the curve's numbers.
        let of = |kind: usize, u: f64, terms: f64| {
            let freedom = (count as f64 - terms - 1.0).max(1.0);
            u * (left.rows(kind * count, count).norm_squared() / freedom).sqrt()
        };
        *scatter = Some([
            of(0, s_flat, 2.0),
            of(1, s_four, 2.0).max(1.0),
            of(2, s_light, 3.0).max(SCATTER),
        ]);
        let covariance = Square::from_fn(|a, b| fit.covariance[(a, b)]);
        Some((SVector::from_fn(|k, _| fit.factors[k]), covariance))
    }

    /// Flattening, lopsidedness and four-fold cumulant under a curve, their own standard uncertainties, and what is shown.
    pub(super) fn shape(&self, curve: &Curve) -> Option<(Vector3<f64>, Vector3<f64>, Shown)> {
        let shown = self.under(curve)?;
        let seen = &shown.seen;
        let flat = self.flat(seen)?;
        let flat = flat.factor(1, flat.scatter);
        let mut leaning = seen::lopsided(seen, 0.0, self.separation)?;
        // Before blur on one side of focus mostly, what leans alike on both takes a part of it.
        let differs = leaning.value - seen::lopsided_alone(seen)?;
        leaning.std_error = leaning.std_error.hypot(differs / 2.0);
        let four_fold = seen::four_fold(seen)?;
        let parts = [flat, leaning, four_fold];
        Some((
            Vector3::from_fn(|k, _| parts[k].value),
            Vector3::from_fn(|k, _| parts[k].std_error),
            shown,
        ))
    }
}
