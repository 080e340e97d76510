//! A step between two points of an otherwise smooth run, or another known course in it: how large it is, and how surely.
//!
//! It is one more unknown beside the curve of `smooth`, so that all points tell it together: for any weight of the penalty
//! the curve is taken out of the points and out of the course alike (generalised least squares; C. R. Henderson, Biometrics
//! 31, 423, 1975), and the weight is the smoothest that is about as likely as the likeliest.

use nalgebra::{DMatrix, DVector};

use super::penalised::{ABOUT_AS_LIKELY, BELIEF, Fit, Problem};
use super::smooth;
use super::smooth::{of_frames, unlikely};
use crate::units::Measured;

/// A step is sure at this many times its standard uncertainty: in a thousand simulated sweeps without one, of two renderers,
/// the largest is at 7.
pub(in crate::sweep) const SURE: f64 = 12.0;
/// Frames that each side has to have.
pub(in crate::sweep) const LEAST_SIDE: usize = 4;
/// Most of the points' freedom that the curve beside a step may take, as for a curve that points are doubted by.
const TAKES: f64 = 0.5;
/// Share of a course's own weight that what the curve leaves of it is taken for at least.
const ROUNDING: f64 = 1e-10;

/// The step between each point and the one before it, as if it were the only one, in the unit of the points, with the standard
/// uncertainty that their scatter about the curve leaves it. Points are (x, y, standard uncertainty of y) in order of x,
/// `order` is that of the differences that the curve's penalty is of: 1 for what stands still, 3 for what bends. The first
/// entry belongs to the second point; `None` where a side has fewer points than `least_side`.
#[must_use]
pub(in crate::sweep) fn along(
    points: &[(f64, f64, f64)],
    order: usize,
    least_side: usize,
) -> Vec<Option<Measured>> {
    let count = points.len();
    let steps =
        smooth::problem(points, order).map(|problem| (Beside::of(&problem), steps_of(&problem)));
    (1..count)
        .map(|cut| {
            let inside = cut.min(count - cut) >= least_side;
            let (beside, after) = steps.as_ref().filter(|_| inside)?;
            beside.size(&after[cut])
        })
        .collect()
}

/// The step that stands out most: the point after it, and its size.
#[must_use]
pub(in crate::sweep) fn largest(
    points: &[(f64, f64, f64)],
    least_side: usize,
) -> Option<(usize, Measured)> {
    let doubt = |step: &Measured| step.value.abs() / step.std_error;
    along(points, 3, least_side)
        .into_iter()
        .enumerate()
        .filter_map(|(k, step)| Some((k + 1, step?)))
        .max_by(|a, b| doubt(&a.1).total_cmp(&doubt(&b.1)))
}

/// Separations of a sweep's pairs, px, and second moments of their light over the squares of these.
pub(in crate::sweep) type BothSeries = [Vec<Option<(f64, f64)>>; 2];

/// Separations and second moments over their squares without the step that stands out most, if one is sure: the moments are
/// those at the scale of the level separations, where that makes them smoother. A target that moves changes no blur.
#[must_use]
pub(in crate::sweep) fn levelled(
    [separations, moments]: &BothSeries,
    place: &dyn Fn(usize) -> f64,
) -> Option<BothSeries> {
    let known = of_frames(separations, place);
    let points: Vec<(f64, f64, f64)> = known.iter().map(|(_, point)| *point).collect();
    let (at, step) = largest(&points, LEAST_SIDE)?;
    if step.value.abs() < SURE * step.std_error {
        return None;
    }
    let first_after = known[at].0;
    let level = |frame: usize, px: f64| {
        if frame < first_after {
            px
        } else {
            px - step.value
        }
    };
    let frames = || 0..separations.len();
    let levelled = frames().map(|frame| separations[frame].map(|(px, u)| (level(frame, px), u)));
    let rescaled: Vec<Option<(f64, f64)>> = frames()
        .map(|frame| {
            let ((px, _), (moment, u)) = separations[frame].zip(moments[frame])?;
            let scale = (px / level(frame, px)).powi(2);
            Some((moment * scale, u * scale))
        })
        .collect();
    let smoother = unlikely(&rescaled, place)? < unlikely(moments, place)?;
    let moments = if smoother { rescaled } else { moments.clone() };
    Some([levelled.collect(), moments])
}

/// Known courses beside the curve, each as if it were the only one: how many times it is in the points, and how surely. A
/// course has a value for each point; what of it is as smooth as the curve may be is left to the curve, and tells nothing.
#[must_use]
pub(in crate::sweep) fn courses<'a>(
    points: &[(f64, f64, f64)],
    courses: impl Iterator<Item = &'a [f64]>,
) -> Vec<Option<Measured>> {
    let Some(problem) = smooth::problem(points, 3) else {
        return courses.map(|_| None).collect();
    };
    let beside = Beside::of(&problem);
    let directions: DMatrix<f64> = &problem.basis * &problem.back;
    let size = |course: &[f64]| {
        let weighted = problem
            .weight
            .iter()
            .zip(course)
            .map(|(weight, value)| weight * value);
        let weighted = DVector::from_iterator(course.len(), weighted);
        beside.size(&Column {
            weight: weighted
                .iter()
                .zip(course)
                .map(|(weighted, value)| weighted * value)
                .sum(),
            values: weighted.dot(&problem.y),
            directions: directions.tr_mul(&weighted),
        })
    };
    courses.map(size).collect()
}

/// A course that is to be told from the curve, as the equations see it.
#[derive(Debug, Clone)]
struct Column {
    /// Weighted sum of its squares.
    weight: f64,
    /// Weighted sum of its products with the values.
    values: f64,
    /// The same with the directions in which the equations are diagonal.
    directions: DVector<f64>,
}

/// The columns of steps before each point: 1 from there on.
fn steps_of(problem: &Problem) -> Vec<Column> {
    let directions: DMatrix<f64> = &problem.basis * &problem.back;
    let count = problem.y.len();
    let mut sums = Column {
        weight: 0.0,
        values: 0.0,
        directions: DVector::zeros(directions.ncols()),
    };
    let mut after = vec![sums.clone(); count];
    for k in (0..count).rev() {
        let weight = problem.weight[k];
        sums.weight += weight;
        sums.values += weight * problem.y[k];
        sums.directions += directions.row(k).transpose() * weight;
        after[k] = sums.clone();
    }
    after
}

/// What all courses beside one run share: fits without any, from the roughest to the smoothest, each with the diagonal of its
/// equations.
struct Beside {
    fits: Vec<(Fit, DVector<f64>)>,
    /// Weighted sum of all values in the directions in which the equations are diagonal.
    seen: DVector<f64>,
    count: usize,
    order: usize,
}

impl Beside {
    fn of(problem: &Problem) -> Self {
        let fits = problem.fits().into_iter();
        Self {
            fits: fits
                .map(|fit| {
                    let diagonal = problem.diagonal(fit.ratio);
                    (fit, diagonal)
                })
                .collect(),
            seen: problem.seen.clone(),
            count: problem.y.len(),
            order: problem.order,
        }
    }

    /// How many times a course is in the points.
    fn size(&self, course: &Column) -> Option<Measured> {
        let freedom = BELIEF + (self.count - self.order) as f64;
        let most = self.order as f64 + (self.count - self.order) as f64 * TAKES;
        // −2 × restricted log likelihood of each weight of the penalty, and the size with it.
        let tried: Vec<(f64, Measured)> = self
            .fits
            .iter()
            .filter(|(fit, _)| fit.edf <= most)
            .filter_map(|(fit, diagonal)| {
                let own = course.directions.component_div(diagonal);
                // What the curve takes up whole leaves rounding errors.
                let information = course.weight - own.dot(&course.directions);
                let information = information.max(ROUNDING * course.weight);
                let size = (course.values - own.dot(&self.seen)) / information;
                let left = fit.penalised - size * size * information;
                let one_less = freedom - 1.0;
                let unlikely = fit.unlikely - freedom * ((BELIEF + fit.penalised) / freedom).ln()
                    + one_less * ((BELIEF + left) / one_less).ln()
                    + information.ln();
                let points_left = BELIEF + self.count as f64 - fit.edf - 1.0;
                let student = points_left / (points_left - 2.0).max(1.0);
                let scatter = student * (BELIEF + left) / one_less;
                let u = (scatter / information).sqrt();
                (information > 0.0 && unlikely.is_finite() && u.is_finite())
                    .then(|| (unlikely, Measured::new(size, u)))
            })
            .collect();
        let likeliest = tried
            .iter()
            .map(|tried| tried.0)
            .fold(f64::INFINITY, f64::min);
        let chosen = tried
            .iter()
            .rev()
            .find(|tried| tried.0 <= likeliest + ABOUT_AS_LIKELY)?;
        Some(chosen.1)
    }
}
