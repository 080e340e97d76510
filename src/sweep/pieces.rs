//! The smooth curve through a sweep, in two pieces where the zoom ring slipped between them: one curve would smear the step
//! over its neighbours, and over the reference with them.

use super::FrameResult;
use super::places::Places;
use super::smooth::Smooth;
use crate::units::Measured;

/// The separations of the frames that have one, px, with the frames' places.
#[must_use]
pub(super) fn separations(frames: &[FrameResult]) -> Vec<(usize, Measured)> {
    let places = frames.iter().enumerate();
    places
        .filter_map(|(place, frame)| Some((place, frame.separation_px?)))
        .collect()
}

/// The same as points of a curve: where the frame stands, separation, and its standard uncertainty, at least `least_u_px`.
#[must_use]
pub(super) fn points(
    measured: &[(usize, Measured)],
    places: &Places,
    least_u_px: f64,
) -> Vec<(f64, f64, f64)> {
    let points = measured.iter();
    points
        .map(|(place, s)| (places.pace(*place), s.value, s.std_error.max(least_u_px)))
        .collect()
}

/// One curve, or one on each side of a step.
pub(super) struct Pieces {
    /// Index of the first point of each piece, and its curve.
    pieces: Vec<(usize, Smooth)>,
}

impl Pieces {
    /// Fits points (x, y, standard uncertainty of y) in order of x; `cut` is the first point after a step. `None` where
    /// there are too few for a curve.
    #[must_use]
    pub(super) fn through(points: &[(f64, f64, f64)], cut: Option<usize>) -> Option<Self> {
        let bounds = [Some(0), cut, Some(points.len())];
        let bounds: Vec<usize> = bounds.into_iter().flatten().collect();
        let pieces: Option<Vec<(usize, Smooth)>> = bounds
            .windows(2)
            .map(|ends| Some((ends[0], Smooth::through(&points[ends[0]..ends[1]])?)))
            .collect();
        pieces.map(|pieces| Self { pieces })
    }

    /// The curve that a point lies on, and the point's index on it.
    fn at(&self, point: usize) -> (&Smooth, usize) {
        let place = self.pieces.partition_point(|(first, _)| *first <= point);
        let (first, curve) = &self.pieces[place.max(1) - 1];
        (curve, point - first)
    }

    /// Value of the curve at a point.
    #[must_use]
    pub(super) fn fitted(&self, point: usize) -> f64 {
        let (curve, at) = self.at(point);
        curve.fitted[at]
    }

    /// Standard uncertainty of the curve at a point if the points scattered as stated.
    #[must_use]
    pub(super) fn stated_u(&self, point: usize) -> f64 {
        let (curve, at) = self.at(point);
        curve.u(at) / curve.noise_factor.max(1e-9)
    }

    /// Standard uncertainty of (curve at `point`) − `factor` × (curve at `other`).
    #[must_use]
    pub(super) fn u_of_difference(&self, point: usize, factor: f64, other: usize) -> f64 {
        let ((curve, at), (others, there)) = (self.at(point), self.at(other));
        if std::ptr::eq(curve, others) {
            curve.u_of_difference(at, factor, there)
        } else {
            curve.u(at).hypot(factor * others.u(there))
        }
    }

    /// Standard uncertainty of (the measured value of `point`) − `factor` × (curve at `other`).
    #[must_use]
    pub(super) fn u_of_raw_difference(&self, point: usize, factor: f64, other: usize) -> f64 {
        let ((curve, at), (others, there)) = (self.at(point), self.at(other));
        if std::ptr::eq(curve, others) {
            curve.u_of_raw_difference(at, factor, there)
        } else {
            curve.noise(at).hypot(factor * others.u(there))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A straight line with a step of 30 px: on two pieces nothing of the step is left beside it, on one it is smeared.
    #[test]
    fn a_step_stays_a_step() {
        let points: Vec<(f64, f64, f64)> = (0..16)
            .map(|i| {
                let x = f64::from(i);
                let step = if i < 6 { 30.0 } else { 0.0 };
                (x, 900.0 + 0.5 * x + step, 0.01)
            })
            .collect();
        let apart = Pieces::through(&points, Some(6)).expect("points enough");
        let one = Pieces::through(&points, None).expect("points enough");
        let worst = |pieces: &Pieces| {
            let off = |k: usize| (pieces.fitted(k) - points[k].1).abs();
            (0..16).map(off).fold(0.0, f64::max)
        };
        assert!(worst(&apart) < 1e-6, "{}", worst(&apart));
        assert!(worst(&one) > 0.1, "{}", worst(&one));
        for (point, other) in [(0, 15), (5, 6), (7, 15), (15, 15)] {
            assert!(apart.u_of_difference(point, 1.0, other) < 0.05);
            assert!(apart.u_of_raw_difference(point, 1.0, other) < 0.05);
        }
        assert!(apart.u_of_difference(0, 1.0, 15) > apart.u_of_difference(7, 1.0, 15));
        assert!(Pieces::through(&points[..7], Some(6)).is_none());
    }
}
