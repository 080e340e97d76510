//! Third moments, four-fold cumulants and second moments of a sweep, and how likely they are for a blur of some shape.

use nalgebra::{DMatrix, DVector};

use super::super::vignette::{Seen, leaning, u_four_fold, weight};
use crate::sweep::fitting::least_squares;

/// Least standard uncertainties of third moment and four-fold cumulant that are believed, over the blur's third and fourth power.
const LEAST: [f64; 2] = [2e-5, 1e-5];
/// Standard deviation of the rise of brightness that lenses have, times the distance between the targets: half a part over half a
/// picture's width, as in `shading`. As likely as none.
const USUAL_SHADING: f64 = 0.8;
/// Third moments and four-fold cumulants of a sweep, which no course of what else there is explains.
pub(super) struct Shapes {
    /// Third moments without shading and with some, the latter with how likely its prior makes it.
    thirds: [(Beyond, f64); 2],
    fourths: Beyond,
    /// Degrees of freedom of third moments.
    freedom: f64,
}

impl Shapes {
    pub(super) fn of(seen: &[Seen], separation_px: f64) -> Option<Self> {
        let plain = leaning(seen, &|_| 0.0)?;
        let shrunk = leaning(seen, &|s| s.shrunk.unwrap_or_default().lopsided)?;
        let best = if shrunk.chi2 < plain.chi2 {
            shrunk
        } else {
            plain
        };
        let terms = best.factors.len();
        let root = |s: &Seen| (weight(s.blur, 2) / best.scatter.max(f64::MIN_POSITIVE)).sqrt();
        let shading = USUAL_SHADING / separation_px;
        let lopsided = |courses: &[Course<'_>]| {
            Beyond::of(
                seen,
                &root,
                courses,
                [&|s| s.lopsided, &|s| s.blur.powi(3), &|s| {
                    s.shrunk.unwrap_or_default().lopsided
                }],
            )
        };
        let tape: Course<'_> = (&|_| 1.0, 0.0);
        let cube: Course<'_> = (&|s| s.blur.powi(3), 1.0 / LEAST[0]);
        let rise: Course<'_> = (&|s| s.fourth, 1.0 / shading);
        // What leans alike on both sides of focus and shows is left free.
        let without = if terms > 2 {
            lopsided(&[
                tape,
                cube,
                (&|s| s.fourth, 0.0),
                (&|s| s.square + s.fourth, 0.0),
            ])?
        } else {
            lopsided(&[tape, cube])?
        };
        let (with, narrower) = if terms > 2 {
            (without.clone(), 0.0)
        } else {
            let told = Beyond::of(seen, &root, &[tape, cube], [rise.0; 3])?;
            let narrower = (1.0 + shading * shading * told.residuals[0].norm_squared()).ln() / 2.0;
            (lopsided(&[tape, cube, rise])?, narrower)
        };
        let fourth = |scatter: f64, pinned: f64| {
            let power: Course<'_> = (&|s| s.blur.powi(4), pinned);
            Beyond::of(
                seen,
                &|s| 1.0 / (u_four_fold(s) * scatter.sqrt()),
                &[tape, power],
                [&|s| s.four_fold.value, &|s| s.blur.powi(4), &|s| {
                    s.shrunk.unwrap_or_default().four_fold
                }],
            )
        };
        let free = fourth(1.0, 0.0)?.chi2(0.0, 0.0) / (seen.len() - 2) as f64;
        Some(Self {
            thirds: [(without, 0.0), (with, -narrower)],
            fourths: fourth(free.max(1.0), 1.0 / LEAST[1])?,
            freedom: (seen.len() - terms) as f64,
        })
    }

    /// Of third moments of so much of the cube of the blur, four-fold cumulants of so much of its fourth power, and both of so much of
    /// what a picture that shrinks makes.
    pub(super) fn log_likelihood(&self, third: f64, fourth: f64, shrunk: f64) -> f64 {
        // How much third moments scatter is known from these alone, so a misfit counts by Student's distribution.
        let log = |(beyond, likely): &(Beyond, f64)| {
            let misfit = beyond.chi2(third, shrunk) / self.freedom;
            likely - self.freedom / 2.0 * misfit.max(f64::MIN_POSITIVE).ln()
        };
        let [without, with] = [log(&self.thirds[0]), log(&self.thirds[1])];
        let (less, more) = (without.min(with), without.max(with));
        more + (less - more).exp().ln_1p() - self.fourths.chi2(fourth, shrunk) / 2.0
    }
}

/// A course, and the weight with which its factor is held to none.
type Course<'a> = (&'a dyn Fn(&Seen) -> f64, f64);

/// What frames show, and two courses, beyond all that some courses explain of them.
#[derive(Clone)]
struct Beyond {
    residuals: [DVector<f64>; 3],
}

impl Beyond {
    fn of(
        seen: &[Seen],
        root: &dyn Fn(&Seen) -> f64,
        courses: &[Course<'_>],
        of: [&dyn Fn(&Seen) -> f64; 3],
    ) -> Option<Self> {
        let rows = seen.len() + courses.len();
        let design = DMatrix::from_fn(rows, courses.len(), |row, k| match seen.get(row) {
            Some(s) => root(s) * courses[k].0(s),
            None if row - seen.len() == k => courses[k].1,
            None => 0.0,
        });
        let residual = |of: &dyn Fn(&Seen) -> f64| {
            let values = DVector::from_fn(rows, |row, _| {
                seen.get(row).map_or(0.0, |s| root(s) * of(s))
            });
            let fit = least_squares::fit(&design, &values)?;
            Some(values - &design * fit.factors)
        };
        let [shown, first, second] = of;
        Some(Self {
            residuals: [residual(shown)?, residual(first)?, residual(second)?],
        })
    }

    /// What is left where there is so much of both courses.
    fn chi2(&self, first: f64, second: f64) -> f64 {
        let [shown, one, other] = &self.residuals;
        shown
            .iter()
            .zip(one.iter().zip(other.iter()))
            .map(|(shown, (one, other))| (shown - first * one - second * other).powi(2))
            .sum()
    }
}

/// Of second moments that differ by that course, and by its change over the sweep of so much.
pub(super) fn flat_log_likelihood(
    seen: &[Seen],
    changes: f64,
    course: &dyn Fn(&Seen) -> f64,
) -> Option<f64> {
    let root = |s: &Seen| weight(s.blur, 1).sqrt();
    let fit = |pinned: f64| {
        let courses = DMatrix::from_fn(seen.len() + 1, 3, |row, term| match seen.get(row) {
            Some(s) => root(s) * [1.0, course(s), (s.travel - 0.5) * course(s)][term],
            None => [0.0, 0.0, pinned][term],
        });
        let flat = DVector::from_fn(seen.len() + 1, |row, _| {
            seen.get(row)
                .map_or(0.0, |s| root(s) * (s.flat[0] + s.flat[1]) / 2.0)
        });
        least_squares::fit(&courses, &flat)
    };
    let freedom = (seen.len() - 3) as f64;
    let scatter = (fit(0.0)?.chi2 / freedom).sqrt();
    let misfit = fit(scatter / changes)?.chi2 / freedom;
    Some(-freedom / 2.0 * misfit.max(f64::MIN_POSITIVE).ln())
}
