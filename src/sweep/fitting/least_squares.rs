//! Sums of known courses, fitted to what frames show: linear least squares.

use nalgebra::{DMatrix, DVector};

use crate::units::Measured;

/// What was found.
#[derive(Debug, Clone)]
pub(in crate::sweep) struct Fit {
    /// How much of each course there is.
    pub(in crate::sweep) factors: DVector<f64>,
    /// Their covariance where each row has a standard uncertainty of 1.
    pub(in crate::sweep) covariance: DMatrix<f64>,
    /// Sum of the squares that are left.
    pub(in crate::sweep) chi2: f64,
    /// The same over the degrees of freedom: 1 where the rows scatter as their uncertainties say.
    pub(in crate::sweep) scatter: f64,
}

impl Fit {
    /// One factor with its standard uncertainty where the rows scatter by so much.
    #[must_use]
    pub(in crate::sweep) fn factor(&self, course: usize, scatter: f64) -> Measured {
        let variance = scatter * self.covariance[(course, course)];
        Measured::new(self.factors[course], variance.max(0.0).sqrt())
    }
}

/// Fits `seen`, a value for each row, by the courses that are the columns of `courses`: both divided by the row's standard
/// uncertainty. `None` where there are no more rows than courses, or where these can't be told apart.
#[must_use]
pub(in crate::sweep) fn fit(courses: &DMatrix<f64>, seen: &DVector<f64>) -> Option<Fit> {
    if courses.nrows() <= courses.ncols() {
        return None;
    }
    // Columns of like size, so that the normal matrix is sound.
    let sizes: Vec<f64> = courses
        .column_iter()
        .map(|column| column.norm().max(f64::MIN_POSITIVE))
        .collect();
    let design = DMatrix::from_fn(courses.nrows(), courses.ncols(), |row, column| {
        courses[(row, column)] / sizes[column]
    });
    let inverse = (design.transpose() * &design).try_inverse()?;
    let scaled = &inverse * design.transpose() * seen;
    let chi2 = (seen - &design * &scaled).norm_squared();
    let factors = DVector::from_fn(sizes.len(), |k, _| scaled[k] / sizes[k]);
    let covariance = DMatrix::from_fn(sizes.len(), sizes.len(), |row, column| {
        inverse[(row, column)] / sizes[row] / sizes[column]
    });
    let finite = factors.iter().chain(&covariance).all(|n| n.is_finite());
    (finite && chi2.is_finite()).then_some(Fit {
        factors,
        covariance,
        chi2,
        scatter: chi2 / (courses.nrows() - courses.ncols()) as f64,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two courses of very unlike size, and one row that is off by 2: by hand, 2²·(1 − its leverage of 1/4 + 9/20) is left.
    #[test]
    fn courses_are_told_apart_and_the_rest_is_left() {
        let courses = DMatrix::from_fn(4, 2, |row, column| [1.0, 1e9 * row as f64][column]);
        let truth = DVector::from_vec(vec![3.0, 2e-9]);
        let mut seen = &courses * &truth;
        let exact = fit(&courses, &seen).expect("can be told apart");
        assert!((&exact.factors - &truth).component_div(&truth).amax() < 1e-9);
        assert!(exact.chi2 < 1e-18, "{}", exact.chi2);
        seen[0] += 2.0;
        let off = fit(&courses, &seen).expect("can be told apart");
        assert!(
            (off.chi2 - 4.0 * (1.0 - 0.25 - 9.0 / 20.0)).abs() < 1e-9,
            "{}",
            off.chi2
        );
        // A slope's variance is 1 over the sum of the squares about the mean.
        assert!((off.covariance[(1, 1)] * 1e18 - 1.0 / 5.0).abs() < 1e-9);
    }

    #[test]
    fn what_can_not_be_told_apart_is_not_fitted() {
        let same = DMatrix::from_element(4, 2, 1.0);
        assert!(fit(&same, &DVector::from_element(4, 1.0)).is_none());
        let few = DMatrix::identity(2, 2);
        assert!(fit(&few, &DVector::from_element(2, 1.0)).is_none());
    }
}
