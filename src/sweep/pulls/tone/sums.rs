//! Moments of a target's light under a tone curve.

use super::{Curve, sum};
use crate::measure::{Target, Toned};

/// Light and moments about the target's centre: px², px³, and x⁴ − 6·x²·y² + y⁴ in px⁴.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Sums {
    pub(super) flux: f64,
    pub(super) xx: f64,
    pub(super) yy: f64,
    pub(super) xxx: f64,
    pub(super) four_fold: f64,
}

impl Sums {
    /// As the target is.
    pub(super) fn of(target: &Target) -> Self {
        let (xx, yy) = target.second_px2();
        Self {
            flux: target.flux,
            xx,
            yy,
            xxx: target.lean.third_px3.value,
            four_fold: target.four_fold_px4.value + 3.0 * (xx - yy).powi(2),
        }
    }

    /// As the target was before this curve was put to it.
    pub(super) fn before(target: &Target, curve: &Curve) -> Self {
        let (now, toned) = (Self::of(target), &target.toned);
        let light = 1.0 + sum(curve, &toned.light);
        if light <= 0.0 {
            return now;
        }
        let moved = sum(curve, &toned.x) / light;
        let third = now.xxx + 3.0 * moved * now.xx + moved.powi(3);
        Self {
            flux: now.flux / light,
            xx: (now.xx + moved * moved) * light - sum(curve, &toned.xx),
            yy: now.yy * light - sum(curve, &toned.yy),
            xxx: third * light - sum(curve, &toned.xxx),
            four_fold: now.four_fold * light - sum(curve, &toned.four_fold),
        }
    }

    /// What they are under a curve; `None` where no light or no width is left.
    pub(super) fn under(&self, curve: &Curve, toned: &Toned) -> Option<Self> {
        let light = 1.0 + sum(curve, &toned.light);
        if light <= 0.0 {
            return None;
        }
        let moved = sum(curve, &toned.x) / light;
        let xx = (self.xx + sum(curve, &toned.xx)) / light - moved * moved;
        let yy = (self.yy + sum(curve, &toned.yy)) / light;
        let third = (self.xxx + sum(curve, &toned.xxx)) / light;
        // The centre moves so little that it does not count in the four-fold moment.
        (xx > 0.0 && yy > 0.0).then(|| Self {
            flux: self.flux * light,
            xx,
            yy,
            xxx: third - 3.0 * moved * xx - moved.powi(3),
            four_fold: (self.four_fold + sum(curve, &toned.four_fold)) / light,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::POWERS;

    #[test]
    fn a_curve_that_was_put_is_taken_back() {
        let sums =
            |scale: f64| std::array::from_fn::<f64, POWERS, _>(|k| -scale / (k as f64 + 1.0));
        let mut target = Target::plain(100.0, 100.0, 150.0);
        target.elongation = -0.3;
        target.lean.third_px3.value = 40.0;
        target.four_fold_px4.value = 900.0;
        target.toned = Toned {
            light: sums(0.9),
            x: sums(0.2),
            xx: sums(110.0),
            yy: sums(190.0),
            xxx: sums(70.0),
            four_fold: sums(2e4),
        };
        let curve = Curve::new(0.3, 0.1, 0.01);
        let shown = Sums::of(&target);
        let mut under = target.clone();
        super::super::put(&curve, &mut under);
        assert!((under.elongation - target.elongation).abs() > 1e-3);
        let back = Sums::before(&under, &curve);
        for (back, shown) in [
            (back.flux, shown.flux),
            (back.xx, shown.xx),
            (back.yy, shown.yy),
            (back.xxx, shown.xxx),
            (back.four_fold, shown.four_fold),
        ] {
            // The same sums there and back.
            assert!(
                (back - shown).abs() < 1e-9 * shown.abs().max(1.0),
                "{back} {shown}"
            );
        }
    }

    /// Three strips of unlike light, as a curve shows them: the centre of mass is that of the light itself.
    #[test]
    fn a_curve_moves_the_centre_of_what_is_lopsided() {
        let strips = [(-10.0, 0.2_f64), (0.0, 0.6), (10.0, 0.5)];
        let curve = Curve::new(0.3, 0.1, 0.01);
        let centre = |light: &dyn Fn(f64) -> f64| {
            let sum = |of: &dyn Fn(f64, f64) -> f64| -> f64 {
                strips.iter().map(|&(x, shown)| of(x, light(shown))).sum()
            };
            sum(&|x, light| x * light) / sum(&|_, light| light)
        };
        let flux: f64 = strips.iter().map(|strip| strip.1).sum();
        let shown = centre(&|light| light);
        let power = |k: usize, x: &dyn Fn(f64) -> f64| -> f64 {
            let sum = strips.iter();
            sum.map(|&(at, light)| light * light.ln().powi(k as i32 + 1) * x(at))
                .sum::<f64>()
                / flux
        };
        let mut target = Target::plain(shown, 100.0, 150.0);
        target.toned.light = std::array::from_fn(|k| power(k, &|_| 1.0));
        target.toned.x = std::array::from_fn(|k| power(k, &|at| at - shown));
        super::super::put(&curve, &mut target);
        let real = centre(&|light: f64| {
            let log = light.ln();
            light * (1.0 + log * (0.3 + log * (0.1 + log * 0.01)))
        });
        assert!((real - shown).abs() > 0.05, "{real} {shown}");
        assert!(
            (target.x_px.value - real).abs() < 1e-9,
            "{} {real}",
            target.x_px.value
        );
    }
}
