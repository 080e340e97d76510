//! What the results of a lens can't tell: nearer than the nearest frame, and where the number is lost in its uncertainty.

use crate::sweep::{Direction, ShiftCurve};
use crate::units::Measured;

/// Largest ratio between the nearest measured distance and the closest focus marked on the lens that still stands for it. Marks
/// and what cameras state of distances may each be off by 5 % (common practice, no source).
const CLOSEST_RATIO: f64 = 1.1;

/// Whether a worst shift is too uncertain to say whether the lens holds a tolerance, per cent: it is not told apart from zero,
/// and its expanded uncertainty (k = 2) is larger than the tolerance.
#[must_use]
pub fn is_untold(worst_shift_pct: Measured, tolerance_pct: f64) -> bool {
    Direction::of(worst_shift_pct) == Direction::None
        && 2.0 * worst_shift_pct.std_error > tolerance_pct
}

/// The nearest distance that a curve holds, m; `None` where its distances are not known, or it is at infinity.
#[must_use]
pub fn nearest_m(curve: &ShiftCurve) -> Option<f64> {
    let (_, near) = curve.range_dioptres()?;
    (near > 1e-5).then(|| 1.0 / near)
}

/// The farthest distance that a curve holds, m; `None` where that is infinity, or its distances are not known.
#[must_use]
pub fn farthest_m(curve: &ShiftCurve) -> Option<f64> {
    let (far, _) = curve.range_dioptres()?;
    (far > 1e-5).then(|| 1.0 / far)
}

/// How the near ends of the curves measured of a lens stand to the closest focus that is marked on it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct NearEnd {
    /// Closest focus that is marked, m; `None` where it is not known.
    marked_m: Option<f64>,
    /// Whether one of the curves comes near it.
    is_reached: bool,
}

impl NearEnd {
    /// Of a lens with this mark, m, and these curves.
    #[must_use]
    pub fn of<'a>(marked_m: Option<f64>, curves: impl IntoIterator<Item = &'a ShiftCurve>) -> Self {
        let mut nearest = curves.into_iter().filter_map(nearest_m).peekable();
        // What knows no distances is not known to fall short.
        let none_known = nearest.peek().is_none();
        Self {
            marked_m,
            is_reached: none_known || nearest.any(|nearest| !is_not_reached(marked_m, nearest)),
        }
    }

    /// The closest focus that is marked, m, where none of the curves comes near.
    #[must_use]
    pub fn unreached_m(&self) -> Option<f64> {
        self.marked_m.filter(|_| !self.is_reached)
    }

    /// The closest focus that is marked, m, where another curve comes near it and this one does not. Zooms often focus nearer at
    /// one end than at the other, and one mark holds for all: whether this is all that there is, nobody knows.
    #[must_use]
    pub fn reached_elsewhere_m(&self, curve: &ShiftCurve) -> Option<f64> {
        let falls_short = |nearest| is_not_reached(self.marked_m, nearest);
        self.marked_m
            .filter(|_| self.is_reached && nearest_m(curve).is_some_and(falls_short))
    }
}

/// Whether a curve that begins at this distance, m, begins clearly farther off than the closest focus that is marked on its lens,
/// m. Another focal length of it may focus nearer, so that it may be all that there is; whether it is, nobody knows.
#[must_use]
pub fn is_not_reached(marked_m: Option<f64>, nearest_m: f64) -> bool {
    marked_m.is_some_and(|marked| nearest_m > marked * CLOSEST_RATIO)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::CurvePoint;

    fn from(nearest_m: Option<f64>) -> ShiftCurve {
        let point = |travel: f64| CurvePoint {
            travel,
            dioptres: nearest_m.map(|m| Measured::new((1.0 - travel) / m, 0.01)),
            shift_pct: Measured::new(1.0 - travel, 0.01),
        };
        ShiftCurve::new(vec![point(0.0), point(0.5), point(1.0)])
    }

    #[test]
    fn a_marked_closest_focus_that_no_curve_comes_near_is_told() {
        for (marked, nearest, unreached) in [
            (Some(0.8), &[Some(2.0)][..], Some(0.8)),
            // Off by what marks are off by.
            (Some(0.45), &[Some(0.48)], None),
            (Some(0.45), &[Some(0.4)], None),
            // One focal length reaches it, so the other begins at its own closest focus.
            (Some(0.38), &[Some(0.38), Some(0.7)], None),
            (Some(0.38), &[Some(1.0), Some(0.7)], Some(0.38)),
            (None, &[Some(2.0)], None),
            (Some(0.8), &[None], None),
            (Some(0.8), &[], None),
        ] {
            let curves: Vec<ShiftCurve> = nearest.iter().map(|m| from(*m)).collect();
            let near = NearEnd::of(marked, &curves);
            assert_eq!(near.unreached_m(), unreached, "{nearest:?}");
        }
    }

    #[test]
    fn a_focal_length_that_begins_farther_off_than_another_is_told() {
        let curves = [from(Some(0.45)), from(Some(0.6)), from(None)];
        let near = NearEnd::of(Some(0.45), &curves);
        let elsewhere = curves
            .each_ref()
            .map(|curve| near.reached_elsewhere_m(curve));
        assert_eq!(elsewhere, [None, Some(0.45), None]);
        // Where none reaches it, that is another thing to say.
        let near = NearEnd::of(Some(0.3), &curves);
        assert_eq!(near.unreached_m(), Some(0.3));
        assert_eq!(near.reached_elsewhere_m(&curves[1]), None);
    }

    #[test]
    fn what_is_lost_in_its_uncertainty_is_not_told() {
        assert!(is_untold(Measured::new(-0.7, 1.06), 2.0));
        // Larger than the tolerance, but told apart from zero; not told apart, but sure to be within.
        assert!(!is_untold(Measured::new(-4.0, 1.06), 2.0));
        assert!(!is_untold(Measured::new(0.005, 0.004), 2.0));
    }
}
