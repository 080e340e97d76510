//! Penalised least squares for many weights of the penalty at the price of one, and the choice among them.

use nalgebra::{Cholesky, DMatrix, DVector, SymmetricEigen};

/// Logarithms of the penalty's weight that are tried: the lowest, the step, how many steps.
const LOWEST: f64 = -16.0;
const STEP: f64 = 0.75;
const STEPS: u32 = 40;
/// Weight, in degrees of freedom, of the belief that the points' own uncertainties are right, beside what their
/// scatter says. Without it a few points on a bent curve look like noise about a straight one.
pub(super) const BELIEF: f64 = 3.0;
/// Difference in −2 log likelihood that is no reason to prefer the rougher curve.
pub(super) const ABOUT_AS_LIKELY: f64 = 1.0;

/// The equations of one fit, taken apart once so that every weight of the penalty costs little.
///
/// With A = G + s·P (G the data's normal matrix, P the penalty, s their scale) = L·Lᵀ and L⁻¹·s·P·L⁻ᵀ = Q·D·Qᵀ, for any
/// weight λ = r·s: G + λ·P = L·Q·(1 + (r − 1)·D)·Qᵀ·Lᵀ (A. Demmler and C. Reinsch, Numer. Math. 24, 375, 1975).
pub(super) struct Problem {
    pub(super) basis: DMatrix<f64>,
    pub(super) weight: DVector<f64>,
    pub(super) y: DVector<f64>,
    penalty: DMatrix<f64>,
    pub(super) order: usize,
    scale: f64,
    /// D: the share of the penalty in each direction, 0 to 1.
    share: DVector<f64>,
    /// L⁻ᵀ·Q.
    pub(super) back: DMatrix<f64>,
    /// Qᵀ·L⁻¹ · target.
    pub(super) seen: DVector<f64>,
    /// Logarithm of the determinant of A.
    log_det: f64,
}

/// What comes out for one weight of the penalty.
pub(super) struct Fit {
    pub(super) coefficients: DVector<f64>,
    /// Weight of the penalty over `scale`.
    pub(super) ratio: f64,
    /// Weighted squares of the residuals plus the penalty.
    pub(super) penalised: f64,
    /// Effective degrees of freedom of the curve.
    pub(super) edf: f64,
    /// −2 × restricted log likelihood, up to a constant that the number of points and columns sets.
    pub(super) unlikely: f64,
}

impl Problem {
    /// Takes the equations apart; `None` where they have no one solution.
    pub(super) fn new(
        basis: DMatrix<f64>,
        weight: DVector<f64>,
        y: DVector<f64>,
        order: usize,
    ) -> Option<Self> {
        let weighted = DMatrix::from_fn(basis.nrows(), basis.ncols(), |i, j| {
            basis[(i, j)] * weight[i]
        });
        let gram = weighted.transpose() * &basis;
        let target = weighted.transpose() * &y;
        let penalty = penalty(basis.ncols(), order);
        // The penalty in units of the data, so that the search covers the same range for every sweep.
        let scale = gram.trace() / penalty.trace();
        let solver = Cholesky::new(gram + &penalty * scale)?;
        let lower = solver.l();
        let half = lower.solve_lower_triangular(&(&penalty * scale))?;
        let inner = lower.solve_lower_triangular(&half.transpose())?;
        let parts = SymmetricEigen::new((&inner + inner.transpose()) * 0.5);
        let back = lower.tr_solve_lower_triangular(&parts.eigenvectors)?;
        let log_det = 2.0 * lower.diagonal().iter().map(|d| d.ln()).sum::<f64>();
        Some(Self {
            seen: back.transpose() * target,
            share: exact(&parts.eigenvalues, order, basis.nrows()),
            basis,
            weight,
            y,
            penalty,
            order,
            scale,
            back,
            log_det,
        })
    }

    /// Diagonal of the matrix of the equations for a weight, in the directions of `share`.
    pub(super) fn diagonal(&self, ratio: f64) -> DVector<f64> {
        self.share.map(|share| 1.0 + (ratio - 1.0) * share)
    }

    fn solve(&self, log_lambda: f64) -> Option<Fit> {
        let ratio = log_lambda.exp();
        let lambda = ratio * self.scale;
        let diagonal = self.diagonal(ratio);
        let coefficients = &self.back * self.seen.component_div(&diagonal);
        let residual = &self.y - &self.basis * &coefficients;
        let squares: f64 = residual
            .iter()
            .zip(self.weight.iter())
            .map(|(r, w)| r * r * w)
            .sum();
        let rough = (coefficients.transpose() * &self.penalty * &coefficients)[(0, 0)];
        let penalised = squares + lambda * rough;
        // The belief as a prior of the noise, inverse chi-squared with as many degrees of freedom (A. Gelman et al.,
        // Bayesian Data Analysis, 2013, 3.3): it adds to the squares and to the freedom.
        let freedom = BELIEF + (self.y.len() - self.order) as f64;
        let log_det = self.log_det + diagonal.iter().map(|d| d.ln()).sum::<f64>();
        let penalised_directions = (self.penalty.ncols() - self.order) as f64;
        let unlikely = freedom * ((BELIEF + penalised) / freedom).ln() + log_det
            - penalised_directions * lambda.ln();
        let shares = self.share.iter().zip(diagonal.iter());
        let edf = shares.map(|(share, d)| (1.0 - share) / d).sum();
        let fit = Fit {
            coefficients,
            ratio,
            penalised,
            edf,
            unlikely,
        };
        let sound = unlikely.is_finite() && fit.edf.is_finite() && penalised.is_finite();
        sound.then_some(fit)
    }

    /// The fits for all weights that are tried, from interpolation to a straight line or parabola; the likelihood is flat on
    /// this scale.
    pub(super) fn fits(&self) -> Vec<Fit> {
        (0..=STEPS)
            .filter_map(|step| self.solve(LOWEST + STEP * f64::from(step)))
            .collect()
    }

    /// Inverse of the matrix of the equations for a weight.
    pub(super) fn inverse(&self, ratio: f64) -> DMatrix<f64> {
        let mut scaled = self.back.clone();
        for (mut column, d) in scaled.column_iter_mut().zip(self.diagonal(ratio).iter()) {
            column /= *d;
        }
        scaled * self.back.transpose()
    }

    /// The smoothest fit that is about as likely as the likeliest, and takes no more than a share of the points' freedom:
    /// no invented wiggles.
    pub(super) fn best(&self, most_taken: f64) -> Option<Fit> {
        let n = self.y.len() as f64;
        let order = self.order as f64;
        let most_edf = order + (n - order) * most_taken;
        let fits = self.fits();
        let allowed = |fit: &&Fit| fit.edf <= most_edf;
        let likeliest = fits
            .iter()
            .filter(allowed)
            .map(|fit| fit.unlikely)
            .fold(f64::INFINITY, f64::min);
        let chosen = fits
            .iter()
            .rposition(|fit| fit.edf <= most_edf && fit.unlikely <= likeliest + ABOUT_AS_LIKELY)
            .unwrap_or(fits.len().checked_sub(1)?);
        fits.into_iter().nth(chosen)
    }
}

/// The shares with those that are known put right: as many directions as the penalty's order are free of it, and as many
/// as there are fewer points than columns are seen by no point. Rounding must not weigh there, where the penalty's weight
/// is very large or very small.
fn exact(shares: &DVector<f64>, order: usize, points: usize) -> DVector<f64> {
    let mut exact = shares.map(|share| share.clamp(0.0, 1.0));
    let mut rising: Vec<usize> = (0..shares.len()).collect();
    rising.sort_by(|&a, &b| shares[a].total_cmp(&shares[b]));
    for &free in rising.iter().take(order) {
        exact[free] = 0.0;
    }
    for &unseen in rising.iter().skip(points) {
        exact[unseen] = 1.0;
    }
    exact
}

/// DᵀD of the differences of the given order: 0 for polynomials of lower degree.
fn penalty(count: usize, order: usize) -> DMatrix<f64> {
    let mut difference = DMatrix::<f64>::identity(count, count);
    for _ in 0..order {
        let rows = difference.nrows() - 1;
        difference = DMatrix::from_fn(rows, count, |i, j| {
            difference[(i + 1, j)] - difference[(i, j)]
        });
    }
    difference.transpose() * difference
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the same equations solved one by one, from the roughest to the smoothest.
    #[test]
    fn one_decomposition_solves_for_every_weight() {
        for n in [6, 15, 40] {
            let basis = DMatrix::from_fn(n, n + 2, |i, j| {
                let t = (i as f64 + 0.5 - (j as f64 - 1.0)).abs();
                // Hats are enough: any basis will do.
                (2.0 - t).max(0.0)
            });
            let weight = DVector::from_fn(n, |i, _| 1.0 + (i % 3) as f64);
            let y = DVector::from_fn(n, |i, _| (i as f64 / 4.0).sin());
            let problem =
                Problem::new(basis.clone(), weight.clone(), y.clone(), 2).expect("can be solved");
            let weighted = DMatrix::from_diagonal(&weight) * &basis;
            let gram = weighted.transpose() * &basis;
            for log_lambda in [-8.0, 0.0, 5.0, 12.0_f64] {
                let fit = problem.solve(log_lambda).expect("sound");
                let lambda = log_lambda.exp() * problem.scale;
                let whole = (&gram + &problem.penalty * lambda)
                    .try_inverse()
                    .expect("regular");
                let coefficients = &whole * (weighted.transpose() * &y);
                // 1e-6 of values of about 1: the plain inverse is good to 1e-9 at the smoothest.
                assert!((&basis * (&fit.coefficients - coefficients)).amax() < 1e-6);
                assert!(
                    (fit.edf - (&whole * &gram).trace()).abs() < 1e-5,
                    "{n} {log_lambda}"
                );
                let seen = &basis * (problem.inverse(fit.ratio) - whole) * basis.transpose();
                assert!(seen.amax() < 1e-6, "{n} {log_lambda}");
            }
        }
    }
}
