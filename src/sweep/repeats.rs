//! Repeated sweeps of one lens at one focal length under the same conditions, as one result.

use crate::units::Measured;

/// Smallest standard uncertainty that a repeat is weighted by, percentage points of shift: no sweep is free of the
/// small things that repeats show, and a weight must stay finite.
const SMALLEST_U_PCT: f64 = 0.0005;

/// Standard uncertainty below which repeats are not held against each other, percentage points: what a sweep can't see
/// of itself (where the focus ring ends, warmth, how the lens sits in its mount) differs from sweep to sweep by a few
/// thousandths of a point, and results are stated to a hundredth at k = 2 (common practice, no source).
const REPEATABLE_U_PCT: f64 = 0.005;

/// Repeats taken together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combined {
    /// Weighted mean with its standard uncertainty, per cent.
    pub mean: Measured,
    /// The repeats scatter beyond their uncertainties, `REPEATABLE_U_PCT` at least (probability below 1 % if these were
    /// right).
    pub disagree: bool,
}

/// The weighted mean of repeats, weights 1/u². Its uncertainty is 1/√Σw, widened by the Birge ratio
/// √(χ²/(n−1)) where the repeats scatter by more than they state (R. T. Birge, Phys. Rev. 40, 207, 1932). `None` for no
/// repeats.
#[must_use]
pub fn combine_repeats(repeats: &[Measured]) -> Option<Combined> {
    if repeats.is_empty() {
        return None;
    }
    let freedom = repeats.len() - 1;
    let (mean, u, chi_squared) = weighted_mean(repeats, SMALLEST_U_PCT);
    let birge = (chi_squared / freedom.max(1) as f64).sqrt().max(1.0);
    let (.., beyond) = weighted_mean(repeats, REPEATABLE_U_PCT);
    Some(Combined {
        mean: Measured::new(mean, birge * u),
        disagree: freedom > 0 && beyond > chi_squared_99(freedom),
    })
}

/// Mean, its standard uncertainty and χ², no repeat being surer than `least_u`.
fn weighted_mean(repeats: &[Measured], least_u: f64) -> (f64, f64, f64) {
    let weight = |repeat: &Measured| 1.0 / repeat.std_error.max(least_u).powi(2);
    let weights: f64 = repeats.iter().map(weight).sum();
    let weighted = repeats.iter().map(|repeat| weight(repeat) * repeat.value);
    let mean = weighted.sum::<f64>() / weights;
    let off = repeats
        .iter()
        .map(|repeat| weight(repeat) * (repeat.value - mean).powi(2));
    (mean, 1.0 / weights.sqrt(), off.sum())
}

/// The 99 % point of χ² by the approximation of E. B. Wilson and M. M. Hilferty (PNAS 17, 684, 1931), good to 2 % from
/// 1 degree of freedom on.
fn chi_squared_99(freedom: usize) -> f64 {
    /// 99 % point of the normal distribution.
    const Z: f64 = 2.326;
    let n = freedom as f64;
    let term = 2.0 / (9.0 * n);
    n * (1.0 - term + Z * term.sqrt()).powi(3)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn agreeing_repeats_tighten_the_mean() {
        let combined = combine_repeats(&[Measured::new(2.00, 0.01), Measured::new(2.01, 0.01)])
            .expect("two repeats");
        assert!((combined.mean.value - 2.005).abs() < 1e-12);
        assert!((combined.mean.std_error - 0.01 / 2_f64.sqrt()).abs() < 1e-12);
        assert!(!combined.disagree);
    }

    #[test]
    fn the_surer_repeat_weighs_more() {
        let combined = combine_repeats(&[Measured::new(1.0, 0.01), Measured::new(1.03, 0.02)])
            .expect("two repeats");
        assert!((combined.mean.value - 1.006).abs() < 1e-12);
    }

    #[test]
    fn disagreeing_repeats_are_named_and_widened() {
        let combined = combine_repeats(&[Measured::new(2.0, 0.01), Measured::new(2.2, 0.01)])
            .expect("two repeats");
        assert!(combined.disagree);
        assert!(combined.mean.std_error > 0.09);
    }

    /// Three sweeps of one lens that differ by thousandths of a point, each surer of itself than that: all would be printed
    /// as +2.05 ± 0.01. No disagreement, and the mean's uncertainty holds the scatter: 0.003/√3.
    #[test]
    fn repeats_that_print_alike_agree() {
        let repeats = [2.050, 2.053, 2.047].map(|value| Measured::new(value, 0.0006));
        let combined = combine_repeats(&repeats).expect("three repeats");
        assert!(!combined.disagree);
        assert!((combined.mean.value - 2.05).abs() < 1e-12);
        assert!((combined.mean.std_error - 0.003 / 3_f64.sqrt()).abs() < 1e-9);
        let apart = [2.05, 2.08].map(|value| Measured::new(value, 0.0006));
        assert!(combine_repeats(&apart).expect("two repeats").disagree);
    }

    #[test]
    fn nothing_gives_nothing_and_one_gives_itself() {
        assert_eq!(combine_repeats(&[]), None);
        let one = combine_repeats(&[Measured::new(1.5, 0.02)]).expect("one repeat");
        assert!((one.mean.value - 1.5).abs() < 1e-12 && (one.mean.std_error - 0.02).abs() < 1e-12);
    }

    /// Tables of χ²: 6.635, 9.210 and 23.209 for 1, 2 and 10 degrees of freedom at 99 % (standard tables, from memory).
    #[test]
    fn chi_squared_points() {
        for (freedom, table) in [(1, 6.635), (2, 9.210), (10, 23.209)] {
            assert!(
                (chi_squared_99(freedom) / table - 1.0).abs() < 0.02,
                "{freedom}"
            );
        }
    }
}
