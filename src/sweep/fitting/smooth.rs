//! A smooth curve through noisy points, as smooth as the points themselves say, with its uncertainty.
//!
//! Penalised cubic B-splines (P. H. C. Eilers and B. D. Marx, Statistical Science 11, 89, 1996); the weight of the
//! penalty and the noise are found together by restricted maximum likelihood (H. D. Patterson and R. Thompson,
//! Biometrika 58, 545, 1971); the uncertainty of the curve is the Bayesian one (G. Wahba, J. R. Statist. Soc. B 45,
//! 133, 1983), which also holds what smoothing itself may take away.

use nalgebra::{DMatrix, DVector};

use super::penalised::{BELIEF, Problem};

/// Most stretches between knots: enough for any lens's curve, and the cost stays small for long sweeps.
const MOST_STRETCHES: usize = 40;
/// Most of the points' freedom that a curve of results may take: what is left keeps telling whether the noise is as stated.
const RESULT_TAKES: f64 = 0.8;
/// The same for a curve that its points are doubted by: one that follows a bad point closely finds nothing wrong with it,
/// and doubts its neighbours.
const STIFF_TAKES: f64 = 0.5;
/// Points below which the smoothest curve is a straight line instead of a parabola: a parabola through four leaves one
/// point to tell the noise from the bend.
const FEW: usize = 5;

/// The smooth curve through some points.
#[derive(Debug, Clone)]
pub(in crate::sweep) struct Smooth {
    /// Value of the curve at each point.
    pub(in crate::sweep) fitted: Vec<f64>,
    /// Noise over stated uncertainty: 1 where the points scatter as they should.
    pub(in crate::sweep) noise_factor: f64,
    /// −2 × restricted log likelihood, to be compared among curves through equally many points.
    pub(in crate::sweep) unlikely: f64,
    /// Weighted squares of the residuals plus the penalty.
    penalised: f64,
    /// Degrees of freedom of the points about the smoothest curve.
    freedom: f64,
    /// Standard uncertainty of each point as stated.
    stated: Vec<f64>,
    /// Covariance of the curve at the points in units of noise_factor².
    covariance: DMatrix<f64>,
    knots: Knots,
    coefficients: DVector<f64>,
    /// Covariance of the coefficients in units of noise_factor².
    spread: DMatrix<f64>,
    mean: f64,
}

/// Even knots from the first to the last point.
#[derive(Debug, Clone, Copy)]
struct Knots {
    first: f64,
    last: f64,
    stretches: usize,
}

impl Smooth {
    /// Fits a curve through points (x, y, standard uncertainty of y) in order of x. `None` for fewer than three points,
    /// or when x falls or stands still.
    #[must_use]
    pub(in crate::sweep) fn through(points: &[(f64, f64, f64)]) -> Option<Self> {
        Self::fit(points, points.first()?.0, RESULT_TAKES)
    }

    /// The same, stiffer: the curve that points are doubted by.
    #[must_use]
    pub(in crate::sweep) fn stiff(points: &[(f64, f64, f64)]) -> Option<Self> {
        Self::fit(points, points.first()?.0, STIFF_TAKES)
    }

    /// A stiff curve that reaches to a place that may lie beyond the points: the penalty says how it goes on there, and
    /// how much less certain it gets with every step.
    #[must_use]
    pub(in crate::sweep) fn reaching(points: &[(f64, f64, f64)], to: f64) -> Option<Self> {
        Self::fit(points, to, STIFF_TAKES)
    }

    fn fit(points: &[(f64, f64, f64)], to: f64, most_taken: f64) -> Option<Self> {
        let n = points.len();
        let order = order_of(n);
        let (problem, knots, mean) = equations(points, to, order)?;
        let fit = problem.best(most_taken)?;
        let spread = problem.inverse(fit.ratio);
        let freedom = (n - order) as f64;
        // A scatter known from few points is itself uncertain: the standard deviation of Student's t distribution,
        // √(ν/(ν−2)) of it, is what a standard uncertainty has to be (JCGM 101:2008, 6.4.9.4).
        let left = BELIEF + n as f64 - fit.edf;
        let student = left / (left - 2.0).max(1.0);
        let scatter = student * (BELIEF + fit.penalised) / (BELIEF + freedom);
        Some(Self {
            fitted: (&problem.basis * &fit.coefficients)
                .iter()
                .map(|value| value + mean)
                .collect(),
            noise_factor: scatter.sqrt(),
            unlikely: fit.unlikely,
            penalised: fit.penalised,
            freedom,
            stated: points.iter().map(|p| p.2).collect(),
            covariance: &problem.basis * &spread * problem.basis.transpose(),
            knots,
            coefficients: fit.coefficients,
            spread,
            mean,
        })
    }

    /// The curve at a place, with its standard uncertainty; beyond the ends the outermost stretch goes on.
    #[must_use]
    pub(in crate::sweep) fn predict(&self, x: f64) -> (f64, f64) {
        let mut row = DVector::zeros(self.coefficients.len());
        for (column, value) in self.knots.splines(x) {
            row[column] = value;
        }
        let variance = (&self.spread * &row).dot(&row);
        (
            self.mean + row.dot(&self.coefficients),
            self.noise_factor * variance.max(0.0).sqrt(),
        )
    }

    /// `unlikely` where the stated uncertainties are believed by so many degrees of freedom instead of the few that usually are;
    /// the weight of the penalty stays what those few chose.
    #[must_use]
    pub(in crate::sweep) fn unlikely_where_noise_is_believed(&self, belief: f64) -> f64 {
        let of_squares = |belief: f64| {
            let freedom = belief + self.freedom;
            freedom * ((belief + self.penalised) / freedom).ln()
        };
        self.unlikely - of_squares(BELIEF) + of_squares(belief)
    }

    /// Standard deviation of a point's own noise, as the scatter says.
    #[must_use]
    pub(in crate::sweep) fn noise(&self, point: usize) -> f64 {
        self.noise_factor * self.stated[point]
    }

    /// Standard uncertainty of the curve at a point.
    #[must_use]
    pub(in crate::sweep) fn u(&self, point: usize) -> f64 {
        self.noise_factor * self.covariance[(point, point)].max(0.0).sqrt()
    }

    /// Standard uncertainty of (curve at `point`) − `factor` × (curve at `other`).
    #[must_use]
    pub(in crate::sweep) fn u_of_difference(&self, point: usize, factor: f64, other: usize) -> f64 {
        let c = &self.covariance;
        let variance = c[(point, point)] + factor * factor * c[(other, other)]
            - 2.0 * factor * c[(point, other)];
        self.noise_factor * variance.max(0.0).sqrt()
    }

    /// Standard uncertainty of (the measured value of `point`) − `factor` × (curve at `other`).
    #[must_use]
    pub(in crate::sweep) fn u_of_raw_difference(
        &self,
        point: usize,
        factor: f64,
        other: usize,
    ) -> f64 {
        let c = &self.covariance;
        let own = self.stated[point] * self.stated[point];
        let variance = own + factor * factor * c[(other, other)] - 2.0 * factor * c[(point, other)];
        self.noise_factor * variance.max(0.0).sqrt()
    }

    /// How far a measured value lies off the curve that the other points alone would make, in standard deviations of
    /// that distance.
    #[must_use]
    pub(in crate::sweep) fn standardised(&self, point: usize, value: f64) -> f64 {
        let own = self.stated[point] * self.stated[point];
        let left = (own - self.covariance[(point, point)]).max(1e-3 * own);
        (value - self.fitted[point]) / (self.noise_factor * left.sqrt())
    }
}

/// Order of the differences that are penalised where there are so many points.
fn order_of(points: usize) -> usize {
    if points < FEW { 2 } else { 3 }
}

/// The equations of the curves through some points, with a penalty on differences of the given order.
#[must_use]
pub(super) fn problem(points: &[(f64, f64, f64)], order: usize) -> Option<Problem> {
    Some(equations(points, points.first()?.0, order)?.0)
}

/// The same with their knots, which reach to a place, and the mean that was taken out of the values.
fn equations(points: &[(f64, f64, f64)], to: f64, order: usize) -> Option<(Problem, Knots, f64)> {
    let n = points.len();
    let falls = |pair: &[(f64, f64, f64)]| pair[1].0 < pair[0].0;
    if n < 3 || points.windows(2).any(falls) || points[n - 1].0 <= points[0].0 {
        return None;
    }
    let inside = points[n - 1].0 - points[0].0;
    let (first, last) = (points[0].0.min(to), points[n - 1].0.max(to));
    let stretches = ((n - 1) as f64 * (last - first) / inside).round() as usize;
    let knots = Knots {
        first,
        last,
        stretches: stretches.clamp(2, MOST_STRETCHES),
    };
    let mut basis = DMatrix::zeros(n, knots.stretches + 3);
    for (row, point) in points.iter().enumerate() {
        for (column, value) in knots.splines(point.0) {
            basis[(row, column)] = value;
        }
    }
    let weight = DVector::from_iterator(n, points.iter().map(|p| 1.0 / (p.2 * p.2)));
    let total = weight.sum();
    let mean = points
        .iter()
        .zip(weight.iter())
        .map(|(p, w)| p.1 * w)
        .sum::<f64>()
        / total;
    let y = DVector::from_iterator(n, points.iter().map(|p| p.1 - mean));
    let problem = Problem::new(basis, weight, y, order)?;
    Some((problem, knots, mean))
}

impl Knots {
    /// The four cubic B-splines that are not 0 at a place: column and value.
    fn splines(self, x: f64) -> [(usize, f64); 4] {
        let place = (x - self.first) / (self.last - self.first) * self.stretches as f64;
        let cell = (place.floor().max(0.0) as usize).min(self.stretches - 1);
        let t = place - cell as f64;
        let (t2, t3) = (t * t, t * t * t);
        [
            (cell, (1.0 - t).powi(3) / 6.0),
            (cell + 1, (3.0 * t3 - 6.0 * t2 + 4.0) / 6.0),
            (cell + 2, (-3.0 * t3 + 3.0 * t2 + 3.0 * t + 1.0) / 6.0),
            (cell + 3, t3 / 6.0),
        ]
    }
}

/// Value and standard uncertainty for each frame, where there is one.
pub(in crate::sweep) type Series = [Option<(f64, f64)>];

/// A series as points of a curve, with the frames that they are of.
#[must_use]
pub(in crate::sweep) fn of_frames(
    series: &Series,
    place: &dyn Fn(usize) -> f64,
) -> Vec<(usize, (f64, f64, f64))> {
    let frames = series.iter().enumerate();
    frames
        .filter_map(|(frame, seen)| seen.map(|(value, u)| (frame, (place(frame), value, u))))
        .collect()
}

/// −2 log likelihood of the stiff curve through a series, as `Smooth::unlikely`.
#[must_use]
pub(in crate::sweep) fn unlikely(series: &Series, place: &dyn Fn(usize) -> f64) -> Option<f64> {
    let frames = of_frames(series, place).into_iter();
    let points: Vec<(f64, f64, f64)> = frames.map(|(_, point)| point).collect();
    let order = order_of(points.len());
    let fit = problem(&points, order)?.best(STIFF_TAKES)?;
    Some(fit.unlikely)
}

#[cfg(test)]
pub(in crate::sweep) mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};

    /// A number drawn from the standard normal distribution (Box and Muller).
    pub(in crate::sweep) fn normal(random: &mut rand_chacha::ChaCha8Rng) -> f64 {
        let (a, b): (f64, f64) = (random.random(), random.random());
        (-2.0 * (1.0 - a).ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }

    fn curve(x: f64) -> f64 {
        1500.0 + 30.0 * (-x / 8.0).exp() - 4.0 * (x / 10.0).sin()
    }

    #[test]
    fn parabolas_come_back_exactly() {
        let points: Vec<(f64, f64, f64)> = (0..20)
            .map(|i| {
                let x = f64::from(i);
                (x, 3.0 + 0.5 * x - 0.02 * x * x, 0.01)
            })
            .collect();
        let smooth = Smooth::through(&points).expect("20 points");
        for (point, fitted) in points.iter().zip(&smooth.fitted) {
            assert!((point.1 - fitted).abs() < 1e-6);
        }
    }

    /// Over 60 noisy curves the noise comes out to 10 %, the curve is surer than its points, and its 95 % interval at
    /// the last point holds the truth about as often as it should: 57 of 60 expected, binomial spread 1.7.
    #[test]
    fn noise_and_uncertainty_are_honest() {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(7);
        let (mut factor, mut held) = (0.0, 0);
        for _ in 0..60 {
            // Stated four times too small: the scatter has to find that out.
            let points: Vec<(f64, f64, f64)> = (0..36)
                .map(|i| {
                    let x = f64::from(i);
                    (x, curve(x) + 0.04 * normal(&mut random), 0.01)
                })
                .collect();
            let smooth = Smooth::through(&points).expect("36 points");
            factor += smooth.noise_factor / 60.0;
            let off = smooth.fitted[35] - curve(35.0);
            held += i32::from(off.abs() < 1.96 * smooth.u(35));
            assert!(smooth.u(18) < 0.7 * smooth.noise(18));
        }
        assert!((factor - 4.0).abs() < 0.4, "{factor}");
        assert!((51..=60).contains(&held), "{held}");
    }

    #[test]
    fn a_point_off_the_curve_stands_out() {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(3);
        let mut points: Vec<(f64, f64, f64)> = (0..24)
            .map(|i| {
                let x = f64::from(i);
                (x, curve(x) + 0.01 * normal(&mut random), 0.01)
            })
            .collect();
        points[10].1 += 3.0;
        let smooth = Smooth::through(&points).expect("24 points");
        let far = |i: usize| smooth.standardised(i, points[i].1).abs();
        assert!((0..24).all(|i| i == 10 || far(i) < far(10)));
        assert!(far(10) > 3.0);
    }

    /// Nothing but a parabola and noise: the penalty may grow as heavy as it likes, every number stays one.
    #[test]
    fn the_smoothest_curve_keeps_its_uncertainty() {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(11);
        for n in [3, 5, 8, 13, 24, 90] {
            let points: Vec<(f64, f64, f64)> = (0..n)
                .map(|i| {
                    let x = f64::from(i);
                    (x, 1600.0 - 0.02 * x * x + 0.01 * normal(&mut random), 0.003)
                })
                .collect();
            let smooth = Smooth::through(&points).expect("three points or more");
            for (k, point) in points.iter().enumerate() {
                assert!(
                    smooth.u(k) > 0.0 && smooth.u(k) < 0.1,
                    "{n}: {}",
                    smooth.u(k)
                );
                assert!(smooth.predict(point.0).1.is_finite());
            }
        }
    }

    #[test]
    fn too_little_gives_nothing() {
        assert!(Smooth::through(&[(0.0, 1.0, 0.1), (1.0, 1.0, 0.1)]).is_none());
        assert!(Smooth::through(&[(0.0, 1.0, 0.1), (0.0, 1.0, 0.1), (0.0, 1.0, 0.1)]).is_none());
    }
}
