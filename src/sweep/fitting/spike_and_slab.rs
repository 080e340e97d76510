//! What is to be expected of effects that may not be there at all: Bayes' rule for numbers each of which is either none, or normal about
//! none, with so much of a chance for every set of them that is there (a mixture of spikes and slabs; textbook statistics, from
//! memory). What stands clearly out of its noise stays as it was read, the rest is drawn towards none, and nothing jumps
//! between. Sets that explain the same equally well are averaged, and by how much they differ is in the uncertainty.

use nalgebra::{DMatrix, DVector};

/// Numbers that may be there together, by their places, and how likely that is before anything was seen.
pub(in crate::sweep) type Set<'a> = (f64, &'a [usize]);

/// Expected numbers with their covariance.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::sweep) struct Expected {
    /// The mean of the mixture.
    pub(in crate::sweep) mean: DVector<f64>,
    /// Its covariance.
    pub(in crate::sweep) covariance: DMatrix<f64>,
    /// Logarithm of how likely it was to see what was seen, but for what depends on nothing but the number of rows.
    pub(in crate::sweep) log_evidence: f64,
}

/// What is to be expected of the factors of some courses (columns of `courses`, as `seen` divided by the rows' standard uncertainties);
/// `usual` are their standard deviations where they are there, `sets` which of them may be there together.
#[must_use]
pub(in crate::sweep) fn expected(
    courses: &DMatrix<f64>,
    seen: &DVector<f64>,
    usual: &DVector<f64>,
    sets: &[Set<'_>],
) -> Option<Expected> {
    let count = usual.len();
    // In units of what is usual, so that no matrix is out of shape.
    let scaled = courses * DMatrix::from_diagonal(usual);
    let (told, pull) = (scaled.transpose() * &scaled, scaled.transpose() * seen);
    let mut mixture: Vec<(f64, DVector<f64>, DMatrix<f64>)> = Vec::with_capacity(sets.len());
    for &(chance, set) in sets {
        let size = set.len();
        let precision = DMatrix::from_fn(size, size, |row, column| {
            told[(set[row], set[column])] + f64::from(u8::from(row == column))
        });
        let of = DVector::from_fn(size, |row, _| pull[set[row]]);
        let inverse = precision.clone().try_inverse()?;
        let some = &inverse * &of;
        // Evidence for the set against that for none at all.
        let log = chance.ln() + (of.dot(&some) - precision.determinant().ln()) / 2.0;
        let mut mean = DVector::zeros(count);
        let mut covariance = DMatrix::zeros(count, count);
        for (row, &at) in set.iter().enumerate() {
            mean[at] = some[row];
            for (column, &beside) in set.iter().enumerate() {
                covariance[(at, beside)] = inverse[(row, column)];
            }
        }
        mixture.push((log, mean, covariance));
    }
    let most = mixture.iter().map(|one| one.0).fold(f64::MIN, f64::max);
    let total: f64 = mixture.iter().map(|one| (one.0 - most).exp()).sum();
    let mut mean = DVector::zeros(count);
    let mut square = DMatrix::zeros(count, count);
    for (log, some, covariance) in &mixture {
        let share = (log - most).exp() / total;
        mean += some * share;
        square += (covariance + some * some.transpose()) * share;
    }
    let covariance = square - &mean * mean.transpose();
    let units = DMatrix::from_diagonal(usual);
    let found = Expected {
        mean: mean.component_mul(usual),
        covariance: &units * covariance * &units,
        log_evidence: most + total.ln() - seen.norm_squared() / 2.0,
    };
    let finite = found
        .mean
        .iter()
        .chain(&found.covariance)
        .all(|n| n.is_finite());
    finite.then_some(found)
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
            let found = expected(
                &DMatrix::from_element(1, 1, 1.0 / u),
                &DVector::from_element(1, read / u),
                &DVector::from_element(1, usual),
                &[(0.5, &[]), (0.5, &[0])],
            )
            .expect("one number");
            // The sums are good to 1e-9.
            assert!(
                (found.mean[0] - mean).abs() < 1e-6,
                "{read}: {} {mean}",
                found.mean[0]
            );
            assert!((found.covariance[(0, 0)] - variance).abs() < 1e-6, "{read}");
        }
    }

    /// Two courses that are all but the same explain one number: each gets half of it, and neither is known.
    #[test]
    fn what_two_explain_alike_is_shared_and_doubtful() {
        let courses = DMatrix::from_fn(6, 2, |row, column| {
            let x = row as f64;
            100.0 * if column == 0 { x } else { x + 1e-6 }
        });
        let seen = DVector::from_fn(6, |row, _| 100.0 * row as f64);
        let found = expected(
            &courses,
            &seen,
            &DVector::from_element(2, 3.0),
            &[(0.5, &[]), (0.25, &[0]), (0.25, &[1])],
        )
        .expect("two numbers");
        assert!(
            (&found.mean - DVector::from_element(2, 0.5)).amax() < 0.01,
            "{}",
            found.mean
        );
        assert!(
            (found.covariance[(0, 0)] - 0.25).abs() < 0.01,
            "{}",
            found.covariance
        );
        // Their sum is known well.
        assert!(found.covariance.sum() < 1e-4, "{}", found.covariance);
    }
}
