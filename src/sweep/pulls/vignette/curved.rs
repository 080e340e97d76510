//! The shape of the blur where the camera's tone curve is not sRGB's, and what the sweep tells of the curve by that shape.
//!
//! Second moments add under convolution, in light: what tape has beside its blur is the same in every frame. Under a wrong curve it
//! is not, because sharp tape is bright and blurred tape dim, and passes for a blur that is flat or long. So the curve is fitted
//! together with the shape: flattening that goes with the second moment of the blur, four-fold cumulants with its fourth power, and, as
//! far as it doesn't jump, light that is the same at any blur. What this leaves open of the curve is in the covariance of what is told.

mod judged;

use nalgebra::{DMatrix, DVector, Matrix3, SMatrix, SVector, Vector3};

use super::super::spread::{mean_variance, reference_px};
use super::super::tone::{Curve, PRIOR, Tone, put_instead};
use super::super::warp::Warp;
use super::seen::{self, Seen};
use super::{CutBlur, Shape, share_of_blur, u_four_fold, weight};
use crate::measure::POWERS;
use crate::sweep::FrameResult;
use crate::sweep::distance::blur::BlurCourse;
use crate::sweep::fitting::least_squares;

/// Rounds of linearised least squares, each with the scatter that the one before left.
const ROUNDS: usize = 8;
/// Least scatter of the logarithm of the light.
const SCATTER: f64 = 0.003;
/// Bend of the logarithm of the light over the sweep, standard deviation.
const BEND: f64 = 0.05;
/// Step of a curve's numbers by which the change of the shape is taken, over what is thought of them before.
const STEP: f64 = 0.02;
/// Farthest that a round may move a number, over the same.
const FARTHEST: f64 = 0.7;
/// Probability of a cut from which it is believed.
const SURE: f64 = 0.99;
/// Share of the pull that stays as its standard uncertainty beside what is told.
const LEFT_OVER: f64 = 0.1;
/// Least standard uncertainties of flattening, lopsidedness and four-fold cumulant that are believed.
const LEAST: [f64; 3] = [0.003, 2e-5, 3e-5];

/// What the shape says, whatever the curve.
struct Curved {
    /// Flattening, lopsidedness and four-fold cumulant of the blur.
    shape: Vector3<f64>,
    /// Their covariance.
    covariance: Matrix3<f64>,
    /// Blur under the curve that fits best over that of the course.
    scale: f64,
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
    if std::env::var("CUTDBG").is_ok() {
        eprintln!("{tone:?} shape {:?} sd {:?} scale {:.3} {judged:?}", curved.shape.as_slice(), [curved.covariance[(0,0)].sqrt(), curved.covariance[(1,1)].sqrt(), curved.covariance[(2,2)].sqrt()], curved.scale);
    }
    let separation = reference_px(frames)?;
    let blurs = course.signed.iter().map(|(_, blur)| blur.value);
    let (far, near) = blurs.fold((0.0_f64, 0.0_f64), |(low, high), c| (low.min(c), high.max(c)));
    let effect_pct = |pull: f64| 100.0 * 2.0 * pull.abs() * (near - far) / separation;
    let (pull, size) = (curved.scale * judged.pull, curved.scale * judged.size);
    let scatter = (size * size - pull * pull).max(0.0).sqrt();
    let certain = scatter < pull.abs();
    let cut = |pull: f64, certain: bool, named: bool| CutBlur {
        flattening: judged.flattening,
        pull,
        left_over: if certain { (scatter / pull.abs()).hypot(LEFT_OVER) } else { 1.0 },
        certain,
        named,
        effect_pct: effect_pct(pull),
    };
    Some(if judged.cut > SURE {
        Shape::Cut(cut(if certain { pull } else { size }, certain, true))
    } else {
        Shape::Open {
            cut: cut(judged.cut.sqrt() * size, false, false),
            unseen_pct: effect_pct(curved.scale * judged.most),
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
    let (shape, own, blurs) = of.shape(&curve)?;
    let mut covariance = Matrix3::from_diagonal(&Vector3::from_fn(|k, _| own[k].hypot(LEAST[k]).powi(2)));
    for k in 0..POWERS {
        let change = of.shape(&(curve + root.column(k)))?.0 - shape;
        covariance += change * change.transpose();
    }
    let (mut both, mut square) = (0.0, 0.0);
    for ((_, was), now) in course.signed.iter().zip(blurs) {
        both += was.value * now;
        square += was.value * was.value;
    }
    Some(Curved {
        shape,
        covariance,
        scale: both / square,
    })
}

struct Sweep<'a> {
    frames: &'a [FrameResult],
    course: &'a BlurCourse,
    warp: Option<&'a Warp>,
    /// The curve that was put to the targets.
    before: Curve,
    separation: f64,
    /// Row of the sharpest frame among those of the course.
    sharpest: usize,
}

/// What a fit of the curve is made from: flattening, second moment, four-fold cumulant, fourth power of the blur, light; by frame.
struct Shown {
    seen: Vec<Seen>,
    light: Vec<f64>,
    /// Blur of all frames.
    blurs: Vec<f64>,
}

type Square = SMatrix<f64, POWERS, POWERS>;

impl<'a> Sweep<'a> {
    fn new(
        frames: &'a [FrameResult],
        course: &'a BlurCourse,
        warp: Option<&'a Warp>,
        tone: Tone,
    ) -> Option<Self> {
        let by_blur = |k: &usize| course.signed[*k].1.value.abs();
        Some(Self {
            frames,
            course,
            warp,
            before: match tone {
                Tone::Other(curve) => curve,
                _ => Curve::zeros(),
            },
            separation: reference_px(frames)?,
            sharpest: (0..course.signed.len()).min_by(|a, b| by_blur(a).total_cmp(&by_blur(b)))?,
        })
    }

    /// What is shown under a curve.
    fn under(&self, curve: &Curve) -> Option<Shown> {
        let mut frames = self.frames.to_vec();
        let mut variances = Vec::new();
        let mut light = Vec::new();
        for &(place, _) in &self.course.signed {
            let frame = &mut frames[place];
            let log_scale = (frame.separation_px?.value / self.separation).ln();
            for target in &mut frame.targets {
                put_instead(&self.before, curve, target);
            }
            variances.push(mean_variance(&frame.targets)?.value * (-2.0 * log_scale).exp());
            if super::super::telling_pair(&frame.targets).is_some() {
                let log = |flux: f64| flux.max(f64::MIN_POSITIVE).ln() - 2.0 * log_scale;
                let (first, last) = (frame.targets.first()?, frame.targets.last()?);
                light.push((log(first.flux) + log(last.flux)) / 2.0);
            }
        }
        let (place, _) = self.course.signed[self.sharpest];
        let own = self.frames[place].separation_px?.value / self.separation;
        let was = mean_variance(&self.frames[place].targets)?.value / (own * own);
        let sharp = self.course.sharp_variance * variances[self.sharpest] / was;
        let mut course = self.course.clone();
        for ((_, blur), variance) in course.signed.iter_mut().zip(&variances) {
            blur.value = (4.0 * (variance - sharp).max(0.0).sqrt()).copysign(blur.value);
        }
        let seen = seen::of(&frames, &course, self.warp)?;
        let blurs = course.signed.iter().map(|(_, blur)| blur.value).collect();
        Some(Shown { seen, light, blurs })
    }

    /// The curve that fits best, and a root of its covariance.
    fn curve(&self) -> Option<(Curve, Square)> {
        let (mut curve, mut fitted) = (self.before, None);
        let mut scatter = None;
        for _ in 0..ROUNDS {
            let (step, covariance) = self.round(&curve, &mut scatter)?;
            curve += Curve::from_fn(|k, _| step[k].clamp(-FARTHEST * PRIOR[k], FARTHEST * PRIOR[k]));
            fitted = Some(covariance);
        }
        if std::env::var("CUTDBG").is_ok() {
            eprintln!("curve {:?} scatter {scatter:?} sd {:?}", curve.as_slice(), fitted.map(|f: Square| f.diagonal().map(f64::sqrt)));
        }
        Some((curve, fitted?.cholesky()?.l()))
    }

    /// One round: how far the curve is from the best one, and its covariance.
    fn round(
        &self,
        curve: &Curve,
        scatter: &mut Option<[f64; 3]>,
    ) -> Option<(Curve, Square)> {
        const FLAT: usize = POWERS;
        const FOUR: usize = FLAT + 2;
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
        let flat = |s: &Seen| (s.flat[0] + s.flat[1]) / 2.0;
        let double = |s: &Seen| 2.0 * s.square.sqrt();
        let u_flat = |s: &Seen| 1.0 / weight(s.blur, 1).sqrt();
        // What goes with the blur under the curve so far: where the curve changes, the blur does.
        let own = |of: &dyn Fn(&Seen) -> f64, course: &dyn Fn(&Seen) -> f64, u: &dyn Fn(&Seen) -> f64| {
            let design = DMatrix::from_fn(count, 2, |row, term| [1.0, course(&seen[row])][term] / u(&seen[row]));
            let values = DVector::from_fn(count, |row, _| of(&seen[row]) / u(&seen[row]));
            least_squares::fit(&design, &values)
        };
        let fourth = |s: &Seen| s.blur.powi(4);
        let of_flat = own(&flat, &double, &u_flat)?;
        let of_four = own(&|s| s.four_fold.value, &fourth, &u_four_fold)?;
        let (alpha, phi) = (of_flat.factors[1], of_four.factors[1]);
        let drift = |logs: &[f64]| {
            let design = DMatrix::from_fn(count, 2, |row, term| [1.0, seen[row].travel][term]);
            let fit = least_squares::fit(&design, &DVector::from_row_slice(logs))?;
            Some(fit.scatter.sqrt().max(SCATTER))
        };
        let [s_flat, s_four, s_light] = match *scatter {
            Some(scatter) => scatter,
            None => [
                of_flat.scatter.sqrt(),
                of_four.scatter.sqrt().max(1.0),
                drift(&here.light)?,
            ],
        };
        let rows = 3 * count + 1 + POWERS;
        let mut design = DMatrix::zeros(rows, LIGHT + 3);
        let mut values = DVector::zeros(rows);
        for row in 0..count {
            let s = &seen[row];
            let u = s_flat * u_flat(s);
            values[row] = flat(s) / u;
            design[(row, FLAT)] = 1.0 / u;
            design[(row, FLAT + 1)] = double(s) / u;
            let at = count + row;
            let u_four = s_four * u_four_fold(s);
            values[at] = s.four_fold.value / u_four;
            design[(at, FOUR)] = 1.0 / u_four;
            design[(at, FOUR + 1)] = fourth(s) / u_four;
            for (k, step) in steps.iter().enumerate() {
                let (b, size) = (&step.seen[row], STEP * PRIOR[k]);
                design[(row, k)] = -(flat(b) - flat(s) - alpha * (double(b) - double(s))) / size / u;
                let four = b.four_fold.value - s.four_fold.value - phi * (fourth(b) - fourth(s));
                design[(at, k)] = -four / size / u_four;
            }
        }
        for row in 0..count {
            let at = 2 * count + row;
            let travel = seen[row].travel;
            values[at] = here.light[row] / s_light;
            for (term, course) in [1.0, travel, travel * travel].into_iter().enumerate() {
                design[(at, LIGHT + term)] = course / s_light;
            }
            for (k, step) in steps.iter().enumerate() {
                design[(at, k)] = -(step.light[row] - here.light[row]) / (STEP * PRIOR[k]) / s_light;
            }
        }
        design[(3 * count, LIGHT + 2)] = 1.0 / BEND;
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

    /// Flattening, lopsidedness and four-fold cumulant under a curve, their own standard uncertainties, and the blurs of all frames.
    fn shape(&self, curve: &Curve) -> Option<(Vector3<f64>, Vector3<f64>, Vec<f64>)> {
        let Shown { seen, blurs, .. } = self.under(curve)?;
        let flat = share_of_blur(seen.iter().map(|s| (s.blur, (s.flat[0] + s.flat[1]) / 2.0)))?;
        let leaning = seen::lopsided(&seen, 0.0, self.separation)?;
        let four_fold = seen::four_fold(&seen)?;
        let parts = [flat, leaning, four_fold];
        Some((
            Vector3::from_fn(|k, _| parts[k].value),
            Vector3::from_fn(|k, _| parts[k].std_error),
            blurs,
        ))
    }
}
