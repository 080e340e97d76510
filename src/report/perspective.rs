//! What perspective leaves open along a curve.
//!
//! The entrance pupil may move towards the targets while focusing, which only ever makes a picture look tighter: the true
//! shift at a setting lies between the measured one less a bound and the measured one. The bound is about f·m/D
//! (`optics::perspective_bound_pct`), so from one setting to another it goes as the magnification m of a thin lens. It is
//! known where a sweep is nearest and told for every other setting by that.

use crate::optics::magnification;
use crate::sweep::{CurvePoint, ShiftCurve, ToleranceOutcome};
use crate::units::Measured;

/// How much of a shift perspective may hold, from closest focus to infinity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Perspective {
    /// The bound at closest focus, percentage points.
    bound_pct: f64,
    focal_mm: f64,
    /// Closest focus, m from the sensor plane; where it is not known the bound is taken to be as large everywhere.
    closest_m: Option<f64>,
}

impl Perspective {
    /// From the bound at closest focus, percentage points; `None` where that is not known.
    #[must_use]
    pub fn of(bound_pct: Option<f64>, focal_mm: f64, closest_m: Option<f64>) -> Option<Self> {
        bound_pct.map(|bound_pct| Self {
            bound_pct,
            focal_mm,
            closest_m,
        })
    }

    /// The bound at a focus setting (dioptres), percentage points, against infinity: 0 there.
    #[must_use]
    pub fn at_pct(&self, dioptres: f64) -> f64 {
        let Some(closest_m) = self.closest_m else {
            return self.bound_pct;
        };
        if dioptres < 1e-5 {
            return 0.0;
        }
        // Nearer than 4 f the thin lens ends at life size, as in the bound itself.
        let grows = |m: f64| magnification(self.focal_mm, 1000.0 * m).unwrap_or(1.0);
        self.bound_pct * grows(1.0 / dioptres) / grows(closest_m)
    }

    /// What it may hold of the change when focus is pulled from one setting to another, dioptres, percentage points: the
    /// true change lies between the measured one less this and the measured one. Negative where focus is pulled away.
    #[must_use]
    pub fn of_pull_pct(&self, from_dioptres: f64, to_dioptres: f64) -> f64 {
        match self.closest_m {
            Some(_) => self.at_pct(to_dioptres) - self.at_pct(from_dioptres),
            None => self.bound_pct.copysign(to_dioptres - from_dioptres),
        }
    }

    /// The farthest distance, m, at which a curve may exceed a tolerance (per cent) once all that perspective may hide is
    /// counted; `None` where that is no farther than what was measured says.
    #[must_use]
    pub fn may_reach_m(&self, curve: &ShiftCurve, tolerance_pct: f64) -> Option<f64> {
        let measured = curve.tolerance_outcome(tolerance_pct).distance_m();
        let most = self.at_worst(curve).tolerance_outcome(tolerance_pct);
        let ToleranceOutcome::Exceeded { .. } = most else {
            return None;
        };
        let most = most.distance_m()?.value;
        measured
            .is_none_or(|measured| most > measured.value)
            .then_some(most)
    }

    /// The curve with the largest magnitude that every shift may have. The reference is what shifts are against: there
    /// nothing is open.
    fn at_worst(&self, curve: &ShiftCurve) -> ShiftCurve {
        let last = curve.points().last().and_then(|point| point.dioptres);
        let of_reference = last.map_or(0.0, |at| self.at_pct(at.value));
        let points = curve.points().iter().map(|point| {
            let Some(at) = point.dioptres else {
                return *point;
            };
            let shift = point.shift_pct;
            let least = shift.value - (self.at_pct(at.value) - of_reference).max(0.0);
            CurvePoint {
                shift_pct: match least.abs() > shift.value.abs() {
                    true => Measured::new(least, shift.std_error),
                    false => shift,
                },
                ..*point
            }
        });
        ShiftCurve::new(points.collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 50 mm at 0.5 m with targets at 2 m: 0.3175 points (see `optics`); at 1 m its magnification is 0.0557 instead of
    /// 0.127, so 0.139; at infinity none.
    #[test]
    fn the_bound_falls_with_the_magnification() {
        let bound = Perspective::of(Some(0.3175), 50.0, Some(0.5)).expect("known");
        for (dioptres, pct) in [(2.0, 0.3175), (1.0, 0.1393), (0.0, 0.0)] {
            let got = bound.at_pct(dioptres);
            assert!((got - pct).abs() < 2e-4, "{dioptres}: {got}");
        }
        let (nearer, away) = (bound.of_pull_pct(1.0, 2.0), bound.of_pull_pct(2.0, 1.0));
        assert!((nearer - 0.1782).abs() < 4e-4 && (nearer + away).abs() < 1e-12);
        assert!(bound.of_pull_pct(1.0, 1.0).abs() < 1e-12);
        assert_eq!(Perspective::of(None, 50.0, Some(0.5)), None);
    }

    fn straight(worst_pct: f64) -> ShiftCurve {
        let point = |part: f64| CurvePoint {
            travel: 1.0 - part,
            dioptres: Some(Measured::new(2.0 * part, 0.001)),
            shift_pct: Measured::new(worst_pct * part, 0.001),
        };
        ShiftCurve::new((0..=20).rev().map(|n| point(f64::from(n) / 20.0)).collect())
    }

    /// A lens that gets wider may truly be wider, so its tolerance distance may be farther; one that gets tighter may only
    /// be less tight.
    #[test]
    fn only_what_gets_wider_may_reach_farther() {
        let bound = Perspective::of(Some(0.3175), 50.0, Some(0.5)).expect("known");
        // −4 % at 2 dioptres: 2 % at 1 m as measured. With about 0.139 points more there, a little before 0.94 dioptres.
        let most = bound.may_reach_m(&straight(-4.0), 2.0).expect("farther");
        assert!((most - 1.0 / 0.937).abs() < 0.01, "{most}");
        assert_eq!(bound.may_reach_m(&straight(4.0), 2.0), None);
        // Within as measured, beyond at closest focus with what may be hidden.
        let within = bound.may_reach_m(&straight(-1.9), 2.0).expect("nearest");
        assert!((0.5..0.6).contains(&within), "{within}");
        assert_eq!(bound.may_reach_m(&straight(-1.5), 2.0), None);
    }
}
