//! A place of the pair from frame to frame, and how much of a course is in it.

use nalgebra::{DMatrix, DVector};

use crate::sweep::fitting::least_squares;
use crate::sweep::sequence::places::median;
use crate::sweep::verdict::pairs::Pair;
use crate::units::Measured;

/// A place in the measured frames, at the scale of the reference.
pub(super) struct Run {
    /// The place, px.
    pub(super) px: Vec<f64>,
    /// 1 less the scale of the picture: what an axis beside the picture's middle moves it by.
    shrunk: Vec<f64>,
    /// Standard uncertainties, as the frames state, px.
    u_px: Vec<f64>,
    /// That of the axis beside the picture's middle beforehand, px.
    axis_px: f64,
}

impl Run {
    pub(super) fn of(pairs: &[Pair], axis_px: f64, place: &dyn Fn(&Pair) -> f64) -> Self {
        Self {
            px: pairs.iter().map(place).collect(),
            shrunk: pairs.iter().map(|pair| 1.0 - pair.scale).collect(),
            u_px: pairs.iter().map(|pair| pair.u_px).collect(),
            axis_px,
        }
    }

    /// How many times each of some courses is in it, px, as if it were the only one: beside a constant, and breathing about an
    /// axis.
    pub(super) fn moved<'a>(
        &self,
        courses: impl Iterator<Item = &'a [f64]>,
    ) -> Vec<Option<Measured>> {
        let trembling = trembling(&self.px);
        let u: Vec<f64> = self.u_px.iter().map(|u| u.hypot(trembling)).collect();
        let count = u.len();
        let seen = DVector::from_fn(count + 1, |k, _| self.px.get(k).map_or(0.0, |px| px / u[k]));
        // As it scatters about the fit, and by no less than is stated of it.
        let stated = self.u_px.iter().zip(&u).map(|(stated, u)| stated / u);
        let stated = stated.fold(0.0, f64::max).powi(2);
        let of = |course: &[f64]| {
            // What is known of the axis beforehand is a row of its own.
            let rows = DMatrix::from_fn(count + 1, 3, |k, column| match (k == count, column) {
                (true, 1) => 1.0 / self.axis_px,
                (true, _) => 0.0,
                (false, 0) => 1.0 / u[k],
                (false, 1) => self.shrunk[k] / u[k],
                (false, _) => course[k] / u[k],
            });
            let fit = least_squares::fit(&rows, &seen)?;
            Some(fit.factor(2, fit.scatter.max(stated)))
        };
        courses.map(of).collect()
    }
}

/// How much the middle trembles from frame to frame, px: the middle one of its second differences, over that of normal numbers of
/// standard deviation 1 (0.6745·√6).
fn trembling(middle: &[f64]) -> f64 {
    const OF_NORMAL: f64 = 1.652;
    let bends = middle
        .windows(3)
        .map(|three| (three[0] - 2.0 * three[1] + three[2]).abs());
    median(bends.collect()).map_or(0.0, |bend| bend / OF_NORMAL)
}
