//! Repeated sweeps of one lens at one focal length under the same conditions, as one result.

pub(super) mod reach;
pub(super) mod together;

use std::ops::RangeInclusive;

use super::{CurvePoint, ShiftCurve};
use crate::units::Measured;

/// Smallest standard uncertainty that a repeat is weighted by, percentage points of shift: no sweep is free of the
/// small things that repeats show, and a weight must stay finite.
const SMALLEST_U_PCT: f64 = 0.0005;

/// Standard uncertainty below which repeats are not held against each other, percentage points: what a sweep can't see
/// of itself (where the focus ring ends, warmth, how the lens sits in its mount) differs from sweep to sweep by a few
/// thousandths of a point, and results are stated to a hundredth at k = 2 (common practice, no source).
const REPEATABLE_U_PCT: f64 = 0.005;

/// Mean over surest repeat between which the curve of the latter has the shape of the mean. Beyond it, or with the other
/// sign, the sweeps saw different things or nothing, and a mean of them is what none has seen (common practice, no source).
const SAME_SHAPE: RangeInclusive<f64> = 0.5..=2.0;

/// Repeats taken together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combined {
    /// The figure that stands for all, per cent: their weighted mean, or where the surest repeat is far from it
    /// (`SAME_SHAPE`), what that one says, its standard uncertainty holding how far it is from the mean.
    pub shown: Measured,
    /// Whether the figure is the mean.
    pub is_mean: bool,
    /// Place of the surest repeat of those whose curve may be shown; the first of several.
    pub surest: usize,
    /// The repeats scatter beyond their uncertainties, `REPEATABLE_U_PCT` at least (probability below 1 % if these were
    /// right).
    pub disagree: bool,
}

impl Combined {
    /// The curve that goes with the figure, from those of the repeats: the surest one's, resized so that its worst point is the
    /// figure, with its uncertainty. What the scatter of the worst shifts adds to that uncertainty is taken for an error of size,
    /// so it falls with the shift: u² = u(curve)² + (extra · shift/worst)². Where the figure is surer than the curve, every point
    /// is as much. Repeats differ in shape too: where their curves are farther from the one shown than that, u is what they are
    /// off by, as the Birge ratio has it: u² = Σ w·off² / ((n−1)·Σ w), the weights those of the worst shifts.
    #[must_use]
    pub fn curve(&self, repeats: &[(Measured, &ShiftCurve)]) -> ShiftCurve {
        let Some(&(_, surest)) = repeats.get(self.surest) else {
            return ShiftCurve::default();
        };
        let Some(worst) = surest.worst().copied() else {
            return ShiftCurve::default();
        };
        let factor = self.shown.value / worst.shift_pct.value;
        let factor = if SAME_SHAPE.contains(&factor) {
            factor
        } else {
            1.0
        };
        let u_worst = worst.shift_pct.std_error * factor;
        let extra = self.shown.std_error.powi(2) - u_worst.powi(2);
        let resized = |point: &CurvePoint| {
            let shift = point.shift_pct.scaled(factor);
            if *point == worst {
                return CurvePoint {
                    shift_pct: Measured::new(shift.value, self.shown.std_error),
                    ..*point
                };
            }
            let share = if worst.shift_pct.value == 0.0 {
                1.0
            } else {
                point.shift_pct.value / worst.shift_pct.value
            };
            let u = if extra >= 0.0 {
                (shift.std_error.powi(2) + extra * share.powi(2)).sqrt()
            } else {
                shift.std_error * self.shown.std_error / u_worst
            };
            CurvePoint {
                shift_pct: Measured::new(shift.value, u.max(off(repeats, point, shift.value))),
                ..*point
            }
        };
        ShiftCurve::new(surest.points().iter().map(resized).collect())
    }
}

/// How far the curves of repeats are from a shift, per cent, at the focus setting of a point: the standard uncertainty that they
/// give their mean by scattering so. Curves that don't reach there don't count, and those without distances where there are some
/// are read along the travel, as they are where there are none.
fn off(repeats: &[(Measured, &ShiftCurve)], point: &CurvePoint, shift_pct: f64) -> f64 {
    let read = |curve: &ShiftCurve| match point.dioptres {
        Some(at) if curve.range_dioptres().is_some() => curve.shift_at(at.value),
        _ => curve.shift_at_travel(point.travel),
    };
    let (mut squares, mut weights, mut count) = (0.0, 0.0, 0.0);
    for (worst, curve) in repeats {
        if let Some(other) = read(curve) {
            let weight = weight(worst, SMALLEST_U_PCT);
            squares += weight * (other.value - shift_pct).powi(2);
            weights += weight;
            count += 1.0;
        }
    }
    if count < 2.0 {
        return 0.0;
    }
    (squares / weights / (count - 1.0)).sqrt()
}

/// How much a repeat counts.
fn weight(repeat: &Measured, least_u: f64) -> f64 {
    1.0 / repeat.std_error.max(least_u).powi(2)
}

/// Repeats as one result: their weighted mean, weights 1/u². Its uncertainty is 1/√Σw, widened by the Birge ratio
/// √(χ²/(n−1)) where the repeats scatter by more than they state (R. T. Birge, Phys. Rev. 40, 207, 1932). `None` for no
/// repeats.
#[must_use]
pub fn combine_repeats(repeats: &[Measured]) -> Option<Combined> {
    combine_showing(repeats, &|_| true)
}

/// The same where the curve of some of them only, by their places, may be shown; `None` where none may.
#[must_use]
pub(super) fn combine_showing(
    repeats: &[Measured],
    may_be_shown: &dyn Fn(usize) -> bool,
) -> Option<Combined> {
    if repeats.is_empty() {
        return None;
    }
    let freedom = repeats.len() - 1;
    let (mean, u, chi_squared) = weighted_mean(repeats, SMALLEST_U_PCT);
    let birge = (chi_squared / freedom.max(1) as f64).sqrt().max(1.0);
    let (.., beyond) = weighted_mean(repeats, REPEATABLE_U_PCT);
    let (surest, best) = repeats
        .iter()
        .enumerate()
        .filter(|(at, _)| may_be_shown(*at))
        .min_by(|a, b| a.1.std_error.total_cmp(&b.1.std_error))?;
    let is_mean = SAME_SHAPE.contains(&(mean / best.value));
    Some(Combined {
        shown: if is_mean {
            Measured::new(mean, birge * u)
        } else {
            Measured::new(best.value, (birge * u).hypot(best.value - mean))
        },
        is_mean,
        surest,
        disagree: freedom > 0 && beyond > chi_squared_99(freedom),
    })
}

/// Mean, its standard uncertainty and χ², no repeat being surer than `least_u`.
fn weighted_mean(repeats: &[Measured], least_u: f64) -> (f64, f64, f64) {
    let weight = |repeat: &Measured| weight(repeat, least_u);
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
        assert!((combined.shown.value - 2.005).abs() < 1e-12);
        assert!((combined.shown.std_error - 0.01 / 2_f64.sqrt()).abs() < 1e-12);
        assert!(!combined.disagree);
    }

    #[test]
    fn the_surer_repeat_weighs_more() {
        let combined = combine_repeats(&[Measured::new(1.0, 0.01), Measured::new(1.03, 0.02)])
            .expect("two repeats");
        assert!((combined.shown.value - 1.006).abs() < 1e-12);
    }

    #[test]
    fn disagreeing_repeats_are_named_and_widened() {
        let combined = combine_repeats(&[Measured::new(2.0, 0.01), Measured::new(2.2, 0.01)])
            .expect("two repeats");
        assert!(combined.disagree);
        assert!(combined.shown.std_error > 0.09);
    }

    /// Three sweeps of one lens that differ by thousandths of a point, each surer of itself than that: all would be printed
    /// as +2.05 ± 0.01. No disagreement, and the mean's uncertainty holds the scatter: 0.003/√3.
    #[test]
    fn repeats_that_print_alike_agree() {
        let repeats = [2.050, 2.053, 2.047].map(|value| Measured::new(value, 0.0006));
        let combined = combine_repeats(&repeats).expect("three repeats");
        assert!(!combined.disagree);
        assert!((combined.shown.value - 2.05).abs() < 1e-12);
        assert!((combined.shown.std_error - 0.003 / 3_f64.sqrt()).abs() < 1e-9);
        let apart = [2.05, 2.08].map(|value| Measured::new(value, 0.0006));
        assert!(combine_repeats(&apart).expect("two repeats").disagree);
    }

    fn curve(points: &[(f64, f64)]) -> ShiftCurve {
        let at = |(travel, (value, u)): (usize, &(f64, f64))| CurvePoint {
            travel: travel as f64,
            dioptres: None,
            shift_pct: Measured::new(*value, *u),
        };
        ShiftCurve::new(points.iter().enumerate().map(at).collect())
    }

    /// The curve shown where the other repeats' are not known.
    fn shown_from(combined: &Combined, surest: &ShiftCurve) -> ShiftCurve {
        let none = ShiftCurve::default();
        let mut repeats = vec![(combined.shown, &none); combined.surest];
        repeats.push((combined.shown, surest));
        combined.curve(&repeats)
    }

    fn sizes(curve: &ShiftCurve) -> Vec<(f64, f64)> {
        let shifts = curve.points().iter().map(|point| point.shift_pct);
        shifts.map(|shift| (shift.value, shift.std_error)).collect()
    }

    /// By hand: the mean of 2.00 and 2.02 is 2.01 ± 0.01, so the curve grows by 1.005 and its 0.003 by what is missing to
    /// 0.01, half of it where half the shift is.
    #[test]
    fn the_curve_holds_the_scatter_in_step_with_the_shift() {
        let repeats = [2.00, 2.02].map(|value| Measured::new(value, 0.003));
        let combined = combine_repeats(&repeats).expect("two repeats");
        assert!(combined.is_mean && combined.surest == 0);
        assert!((combined.shown.std_error - 0.01).abs() < 1e-12);
        let curve = shown_from(
            &combined,
            &curve(&[(2.0, 0.003), (-1.0, 0.003), (0.0, 0.0)]),
        );
        let own: f64 = 0.003 * 1.005;
        let half = (own.powi(2) + 0.25 * (0.01_f64.powi(2) - own.powi(2))).sqrt();
        for (got, wanted) in
            sizes(&curve)
                .into_iter()
                .zip([(2.01, 0.01), (-1.005, half), (0.0, 0.0)])
        {
            assert!((got.0 - wanted.0).abs() < 1e-12 && (got.1 - wanted.1).abs() < 1e-12);
        }
    }

    /// By hand: both are +2.00 ± 0.01 at their worst, and half way one says 1.2, the other 0.8. The first is shown, and half way
    /// weights of one half each make its uncertainty √(0.5·0.4²) = 0.283: twice that holds both.
    #[test]
    fn the_curve_holds_what_repeats_differ_by_in_shape() {
        let repeats = [Measured::new(2.0, 0.01); 2];
        let combined = combine_repeats(&repeats).expect("two repeats");
        let (one, other) = (
            curve(&[(2.0, 0.01), (1.2, 0.01), (0.0, 0.0)]),
            curve(&[(2.0, 0.01), (0.8, 0.01), (0.0, 0.0)]),
        );
        let shown = sizes(&combined.curve(&[(repeats[0], &one), (repeats[1], &other)]));
        assert!((shown[0].1 - 0.01 / 2_f64.sqrt()).abs() < 1e-12);
        assert!((shown[1].0 - 1.2).abs() < 1e-12);
        assert!((shown[1].1 - 0.08_f64.sqrt()).abs() < 1e-12, "{shown:?}");
        assert!(shown[2].1.abs() < 1e-12);
    }

    /// Two alike are surer than one by √2, at every point.
    #[test]
    fn the_curve_of_agreeing_repeats_is_as_sure_as_their_mean() {
        let combined = combine_repeats(&[Measured::new(2.0, 0.01); 2]).expect("two repeats");
        let curve = shown_from(&combined, &curve(&[(2.0, 0.01), (0.0, 0.004)]));
        for ((_, got), wanted) in sizes(&curve).into_iter().zip([0.01, 0.004]) {
            assert!((got - wanted / 2_f64.sqrt()).abs() < 1e-12);
        }
    }

    /// +5.40 and −3.10: no mean is shown, as no sweep has seen it; the surest one is, as far from the mean as it is.
    #[test]
    fn what_contradicts_itself_is_not_averaged() {
        let repeats = [Measured::new(-3.1, 0.006), Measured::new(5.4, 0.005)];
        let combined = combine_repeats(&repeats).expect("two repeats");
        assert!(combined.disagree && !combined.is_mean && combined.surest == 1);
        assert!((combined.shown.value - 5.4).abs() < 1e-12);
        // Weights 25 : 36 give a mean of 1.916 ± 4.18.
        assert!((combined.shown.std_error - 4.18_f64.hypot(3.484)).abs() < 0.01);
        let curve = shown_from(&combined, &curve(&[(5.4, 0.005), (0.0, 0.0)]));
        assert!((sizes(&curve)[0].0 - 5.4).abs() < 1e-12);
        assert!((sizes(&curve)[0].1 - combined.shown.std_error).abs() < 1e-12);
    }

    /// Nothing but noise to both sides of zero, or nothing at all: figure and curve stay one.
    #[test]
    fn shifts_about_zero_make_no_wild_curve() {
        for values in [[0.004, -0.003], [0.0, 0.0], [0.0, 0.01]] {
            let combined = combine_repeats(&values.map(|value| Measured::new(value, 0.01)));
            let combined = combined.expect("two repeats");
            assert!(!combined.disagree);
            let curve = shown_from(&combined, &curve(&[(values[0], 0.01), (0.0, 0.0)]));
            let worst = curve.worst().expect("points").shift_pct;
            assert!(
                (worst.value - combined.shown.value).abs() < 1e-12,
                "{values:?}"
            );
            assert!(
                (worst.std_error - combined.shown.std_error).abs() < 1e-12,
                "{values:?}"
            );
        }
        let none = combine_repeats(&[Measured::new(1.0, 0.1)]).expect("one");
        assert!(none.curve(&[]).points().is_empty());
    }

    #[test]
    fn nothing_gives_nothing_and_one_gives_itself() {
        assert_eq!(combine_repeats(&[]), None);
        let one = combine_repeats(&[Measured::new(1.5, 0.02)]).expect("one repeat");
        assert!(
            (one.shown.value - 1.5).abs() < 1e-12 && (one.shown.std_error - 0.02).abs() < 1e-12
        );
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
