//! Repeated sweeps of one lens at one focal length under the same conditions, as one result.

use crate::units::Measured;

/// Smallest standard uncertainty that a repeat is weighted by, percentage points of shift: no sweep is free of the
/// small things that repeats show, and a weight must stay finite.
const SMALLEST_U_PCT: f64 = 0.0005;

/// Repeats taken together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combined {
    /// Weighted mean with its standard uncertainty, per cent.
    pub mean: Measured,
    /// The repeats scatter beyond their stated uncertainties (probability below 1 % if these were right).
    pub disagree: bool,
}

/// The weighted mean of repeats, weights 1/u². Its uncertainty is 1/√Σw, widened by the Birge ratio
/// √(χ²/(n−1)) where the repeats disagree (R. T. Birge, Phys. Rev. 40, 207, 1932). `None` for no repeats.
#[must_use]
pub fn combine_repeats(repeats: &[Measured]) -> Option<Combined> {
    if repeats.is_empty() {
        return None;
    }
    let weight = |repeat: &Measured| 1.0 / repeat.std_error.max(SMALLEST_U_PCT).powi(2);
    let weights: f64 = repeats.iter().map(weight).sum();
    let mean = repeats
        .iter()
        .map(|repeat| weight(repeat) * repeat.value)
        .sum::<f64>()
        / weights;
    let chi_squared: f64 = repeats
        .iter()
        .map(|repeat| weight(repeat) * (repeat.value - mean).powi(2))
        .sum();
    let freedom = repeats.len() - 1;
    let disagree = freedom > 0 && chi_squared > chi_squared_99(freedom);
    let birge = if disagree {
        (chi_squared / freedom as f64).sqrt()
    } else {
        1.0
    };
    Some(Combined {
        mean: Measured::new(mean, birge / weights.sqrt()),
        disagree,
    })
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
