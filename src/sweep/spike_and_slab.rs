//! What is to be expected of an effect that may not be there at all: Bayes' rule for numbers that are either none, or normal about
//! none, each as likely before anything was seen (a mixture of spike and slab; textbook statistics, from memory). What stands
//! clearly out of its noise stays as it was read, the rest is drawn towards none, and nothing jumps between.

use nalgebra::{Matrix2, Vector2};

/// Two numbers and their covariance as they are to be expected, from how they were read; `usual` are their standard deviations
/// where the effect is there, 0 for one that was not looked for.
#[must_use]
pub(super) fn expected(
    read: Vector2<f64>,
    covariance: Matrix2<f64>,
    usual: Vector2<f64>,
) -> (Vector2<f64>, Matrix2<f64>) {
    let prior = Matrix2::from_diagonal(&usual.component_mul(&usual));
    // A number that was not looked for has no spread; 1 in its place changes no product with it.
    let solid = |m: Matrix2<f64>| {
        let gap = |usual: f64| if usual > 0.0 { 0.0 } else { 1.0 };
        m + Matrix2::new(gap(usual.x), 0.0, 0.0, gap(usual.y))
    };
    let (noise, wide) = (solid(covariance), solid(covariance + prior));
    let (Some(of_noise), Some(of_wide)) = (noise.try_inverse(), wide.try_inverse()) else {
        return (Vector2::zeros(), covariance);
    };
    let square = |m: Matrix2<f64>| (read.transpose() * m * read).x;
    let odds =
        (square(of_noise) - square(of_wide) - (wide.determinant() / noise.determinant()).ln())
            / 2.0;
    let there = 1.0 / (1.0 + (-odds).exp());
    let kept = prior * of_wide;
    let (some, left) = (kept * read, prior - kept * prior);
    let either = some * some.transpose() * (there * (1.0 - there));
    (some * there, left * there + either)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against sums over 20,001 values of the effect, with the spike as one more.
    #[test]
    fn the_mean_and_variance_of_the_mixture() {
        let (u, usual) = (0.5_f64, 4.0_f64);
        let bell = |x: f64, s: f64| (-0.5 * (x / s).powi(2)).exp() / s;
        for read in [0.0, 0.4, 1.0, 1.6, 3.0, -9.0] {
            let step = 0.004;
            let values = (-10_000..=10_000).map(|k| f64::from(k) * step);
            let root = std::f64::consts::TAU.sqrt();
            let weighed = values.map(|x| (x, bell(x, usual) * bell(read - x, u) * step / root));
            let (mut all, mut first, mut second) = (bell(read, u), 0.0, 0.0);
            for (x, weight) in weighed {
                all += weight;
                first += weight * x;
                second += weight * x * x;
            }
            let (mean, variance) = (first / all, second / all - (first / all).powi(2));
            let (found, covariance) = expected(
                Vector2::new(read, 0.0),
                Matrix2::new(u * u, 0.0, 0.0, 0.0),
                Vector2::new(usual, 0.0),
            );
            // The sums are good to 1e-9.
            assert!((found.x - mean).abs() < 1e-6, "{read}: {found} {mean}");
            assert!((covariance.m11 - variance).abs() < 1e-6, "{read}");
            assert_eq!((found.y, covariance.m22), (0.0, 0.0));
        }
    }

    #[test]
    fn two_numbers_that_are_clear_stay() {
        let read = Vector2::new(1.0, -2.0);
        let covariance = Matrix2::new(1e-6, 2e-7, 2e-7, 1e-6);
        let (found, left) = expected(read, covariance, Vector2::new(3.0, 3.0));
        // Drawn in by their variance over the usual one.
        assert!((found - read).amax() < 1e-6, "{found}");
        assert!((left - covariance).amax() < 1e-11, "{left}");
    }
}
