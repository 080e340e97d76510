//! Curves prepared to be judged at many tolerances: what a ranking of thousands of lenses looks at.
//!
//! [`Outlines::place`] says of a curve what [`ShiftCurve::tolerance_outcome`] says of it, without uncertainty, and looks at a
//! few of its points instead of most: a curve that stays within the tolerance is known by its worst shift, and in another one
//! the largest shifts so far, which only grow from the far end on, tell how many points come before the first that is clearly
//! beyond. They stand close together and are counted, not searched by halving: with thousands of curves each look at another
//! place in memory costs more than all the counting.

use super::between::piece;
use super::{ShiftCurve, clear_size};

/// What becomes of a curve at a tolerance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TolerancePlace {
    /// It stays within.
    Within,
    /// It is beyond at focus settings nearer than this, dioptres.
    Beyond(f64),
    /// It is beyond, and nobody knows where.
    Unknown,
}

/// The curves of one lens, side by side in memory.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Outlines {
    curves: Box<[Curve]>,
    /// [`Step::clear_pct`] of all steps, rounded.
    clear_pct: Box<[f32]>,
    steps: Box<[Step]>,
}

/// Where the steps of a curve are, and how far it goes.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Curve {
    begin: usize,
    end: usize,
    /// Magnitude of its worst shift, per cent.
    largest_pct: f64,
    /// The farthest step of that magnitude, counted from `begin`.
    largest_at: usize,
}

/// A point of a curve; those of one curve stand in a row, from its far end.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Step {
    /// Largest tolerance that this point or a farther one is clearly beyond, per cent.
    clear_pct: f64,
    /// Shift, per cent.
    shift_pct: f64,
    /// Focus setting, dioptres; NaN where it is unknown, so that what is made of it is known to be unknown.
    dioptres: f64,
}

impl Outlines {
    /// Prepares these curves.
    pub fn new<'a>(curves: impl IntoIterator<Item = &'a ShiftCurve>) -> Self {
        let mut steps: Vec<Step> = Vec::new();
        let mut heads = Vec::new();
        for curve in curves {
            let begin = steps.len();
            let (mut clear_pct, mut largest_pct, mut largest_at) = (f64::NEG_INFINITY, 0.0, 0);
            for (at, point) in curve.points().iter().rev().enumerate() {
                let size = point.shift_pct.value.abs();
                if size > largest_pct {
                    (largest_pct, largest_at) = (size, at);
                }
                clear_pct = clear_size(point).max(clear_pct);
                steps.push(Step {
                    clear_pct,
                    shift_pct: point.shift_pct.value,
                    dioptres: point.dioptres.map_or(f64::NAN, |at| at.value),
                });
            }
            heads.push(Curve {
                begin,
                end: steps.len(),
                largest_pct,
                largest_at,
            });
        }
        Self {
            curves: heads.into(),
            clear_pct: steps.iter().map(|step| step.clear_pct as f32).collect(),
            steps: steps.into(),
        }
    }

    /// How many curves there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.curves.len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.curves.is_empty()
    }

    /// What becomes of a curve at a tolerance, per cent; a curve that is not there stays within.
    #[must_use]
    pub fn place(&self, curve: usize, tolerance_pct: f64) -> TolerancePlace {
        let Some(curve) = self.curves.get(curve) else {
            return TolerancePlace::Within;
        };
        if curve.largest_pct <= tolerance_pct {
            return TolerancePlace::Within;
        }
        let steps = &self.steps[curve.begin..curve.end];
        let clear = self.first_clear(curve, tolerance_pct);
        // Where nothing is clearly beyond, the stretch that holds the worst shift counts.
        let mut at = if clear < steps.len() {
            clear
        } else {
            curve.largest_at
        };
        // To the far end of the stretch.
        while at > 0 && steps[at - 1].shift_pct.abs() > tolerance_pct {
            at -= 1;
        }
        let near = steps[at];
        let dioptres = match at.checked_sub(1) {
            None => near.dioptres,
            Some(next) => {
                let far = steps[next];
                let point = |step: &Step| (step.dioptres, step.shift_pct);
                let known = |at: Option<usize>| {
                    let step = steps.get(at?)?;
                    (!step.dioptres.is_nan()).then(|| point(step))
                };
                let piece = piece(
                    steps.len(),
                    known(next.checked_sub(1)),
                    point(&far),
                    point(&near),
                    known(Some(at + 1)),
                );
                let share = piece.share(tolerance_pct.copysign(near.shift_pct));
                far.dioptres + share * (near.dioptres - far.dioptres)
            }
        };
        if dioptres.is_nan() {
            TolerancePlace::Unknown
        } else {
            TolerancePlace::Beyond(dioptres)
        }
    }

    /// The farthest step of a curve that is clearly beyond the tolerance, per cent; their number where none is.
    fn first_clear(&self, curve: &Curve, tolerance_pct: f64) -> usize {
        let steps = &self.steps[curve.begin..curve.end];
        let about_pct = tolerance_pct as f32;
        let rounded = self.clear_pct[curve.begin..curve.end].iter();
        let before: u32 = rounded.map(|&pct| u32::from(pct <= about_pct)).sum();
        let mut at = before as usize;
        // Rounding keeps their order, so that the place is off by the steps that are rounded to the tolerance at most.
        while at > 0 && steps[at - 1].clear_pct > tolerance_pct {
            at -= 1;
        }
        while at < steps.len() && steps[at].clear_pct <= tolerance_pct {
            at += 1;
        }
        at
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::{CurvePoint, ToleranceOutcome};
    use crate::units::Measured;
    use proptest::prelude::*;

    /// The plain way.
    fn plain(curve: &ShiftCurve, tolerance_pct: f64) -> TolerancePlace {
        match curve.tolerance_outcome(tolerance_pct) {
            ToleranceOutcome::Within => TolerancePlace::Within,
            ToleranceOutcome::Exceeded { dioptres, .. } => TolerancePlace::Beyond(dioptres.value),
            ToleranceOutcome::Unknown { .. } => TolerancePlace::Unknown,
        }
    }

    prop_compose! {
        /// Shifts in steps of a hundredth, so that many are equal to each other and to the tolerance.
        fn any_curve()(
            points in proptest::collection::vec(
                (-300_i32..300, 0_i32..60, prop::bool::weighted(0.95)),
                0..40,
            ),
            flat in prop::bool::ANY,
        ) -> ShiftCurve {
            let last = points.len().max(2) - 1;
            let points = points.iter().enumerate().map(|(at, &(shift, noise, known))| CurvePoint {
                travel: at as f64 / last as f64,
                dioptres: known.then(|| Measured::new((last - at.min(last)) as f64 * 0.07, 0.01)),
                // Some curves lie within the noise around a tolerance.
                shift_pct: Measured::new(
                    f64::from(if flat { 100 + shift / 60 } else { shift }) / 100.0,
                    f64::from(noise) / 1000.0,
                ),
            });
            ShiftCurve::new(points.collect())
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]
        #[test]
        fn an_outline_says_what_its_curve_says(
            curves in proptest::collection::vec(any_curve(), 1..4),
            hundredths in 10_i32..320,
            between in prop::bool::ANY,
        ) {
            let outlines = Outlines::new(&curves);
            prop_assert_eq!(outlines.len(), curves.len());
            let tolerance_pct = f64::from(hundredths) / 100.0 + if between { 0.0037 } else { 0.0 };
            for tolerance_pct in [tolerance_pct, 1.0, 0.95, 1.05] {
                for (at, curve) in curves.iter().enumerate() {
                    let (found, expected) = (outlines.place(at, tolerance_pct), plain(curve, tolerance_pct));
                    prop_assert_eq!(found, expected, "at {}: {:?}", tolerance_pct, curve);
                }
            }
        }
    }

    #[test]
    fn nothing_stays_within_everything() {
        let none = Outlines::default();
        assert!(none.is_empty());
        assert_eq!(none.place(0, 2.0), TolerancePlace::Within);
        let empty = Outlines::new(&[ShiftCurve::default()]);
        assert_eq!(empty.place(0, 2.0), TolerancePlace::Within);
    }
}
