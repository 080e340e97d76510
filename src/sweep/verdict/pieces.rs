//! The smooth curve through a sweep, in two pieces where the zoom ring slipped between them: one curve would smear the step
//! over its neighbours, and over the reference with them.

use crate::sweep::FrameResult;
use crate::sweep::fitting::smooth::Smooth;
use crate::sweep::sequence::places::Places;
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

/// Scatter about the curve over what the frames state, up to which it is put down to the frames' own noise where nothing
/// shows that they stand unevenly: what is stated has never been found further off on frames in which targets were found
/// rightly (our choice, no source).
const OWN_NOISE: f64 = 3.0;

/// One curve, or one on each side of a step.
pub(super) struct Pieces {
    /// Index of the first point of each piece, and its curve.
    pieces: Vec<(usize, Smooth)>,
    /// The frames stand unevenly, and only blur or rounded distances show where: what they scatter beyond their own noise is
    /// the noise of their places.
    uneven: bool,
}

impl Pieces {
    /// Fits points (x, y, standard uncertainty of y) in order of x; `cut` is the first point after a step, `uneven` says that
    /// x is known but roughly. `None` where there are too few for a curve.
    #[must_use]
    pub(super) fn through(
        points: &[(f64, f64, f64)],
        cut: Option<usize>,
        uneven: bool,
    ) -> Option<Self> {
        let bounds = [Some(0), cut, Some(points.len())];
        let bounds: Vec<usize> = bounds.into_iter().flatten().collect();
        let pieces: Option<Vec<(usize, Smooth)>> = bounds
            .windows(2)
            .map(|ends| Some((ends[0], Smooth::through(&points[ends[0]..ends[1]])?)))
            .collect();
        pieces.map(|pieces| Self { pieces, uneven })
    }

    /// The curve that a point lies on, and the point's index on it.
    fn at(&self, point: usize) -> (&Smooth, usize) {
        let place = self.pieces.partition_point(|(first, _)| *first <= point);
        let (first, curve) = &self.pieces[place.max(1) - 1];
        (curve, point - first)
    }

    /// How much of a point's distance from the curve is its own noise: all of it where the points scatter as they state, little
    /// where they scatter many times as much because they don't stand where they are said to.
    fn own_share(&self, curve: &Smooth) -> f64 {
        let believed = if self.uneven { 1.0 } else { OWN_NOISE };
        (believed / curve.noise_factor.max(1e-9)).min(1.0).powi(2)
    }

    /// Standard deviation of a point's own noise: beyond what it states only where the points are known to stand right.
    fn own_noise(&self, curve: &Smooth, at: usize) -> f64 {
        let noise = curve.noise(at);
        if self.uneven {
            noise * self.own_share(curve).sqrt()
        } else {
            noise
        }
    }

    /// The likeliest value at a point, of which `value` was measured: its own, drawn to the curve by as much of the distance
    /// as is its noise.
    #[must_use]
    pub(super) fn drawn(&self, point: usize, value: f64) -> f64 {
        let (curve, at) = self.at(point);
        value + self.own_share(curve) * (curve.fitted[at] - value)
    }

    /// Standard uncertainty of a drawn value if the points scattered as stated.
    #[must_use]
    pub(super) fn stated_u(&self, point: usize) -> f64 {
        let (curve, at) = self.at(point);
        let factor = curve.noise_factor.max(1e-9);
        let share = self.own_share(curve);
        between(share, curve.u(at) / factor, curve.noise(at) / factor)
    }

    /// Standard uncertainty of (drawn value of `point`) − `factor` × (drawn value of `other`).
    #[must_use]
    pub(super) fn u_of_difference(&self, point: usize, factor: f64, other: usize) -> f64 {
        self.u_apart(point, factor, other, Smooth::u, Smooth::u_of_difference)
    }

    /// Standard uncertainty of (the measured value of `point`) − `factor` × (drawn value of `other`).
    #[must_use]
    pub(super) fn u_of_raw_difference(&self, point: usize, factor: f64, other: usize) -> f64 {
        self.u_apart(
            point,
            factor,
            other,
            Smooth::noise,
            Smooth::u_of_raw_difference,
        )
    }

    /// Standard uncertainty of a difference, from that on the curve and that of the points' own noise.
    fn u_apart(
        &self,
        point: usize,
        factor: f64,
        other: usize,
        u: fn(&Smooth, usize) -> f64,
        u_on_one_curve: fn(&Smooth, usize, f64, usize) -> f64,
    ) -> f64 {
        let ((curve, at), (others, there)) = (self.at(point), self.at(other));
        let on_curves = if std::ptr::eq(curve, others) {
            u_on_one_curve(curve, at, factor, there)
        } else {
            u(curve, at).hypot(factor * others.u(there))
        };
        let own = self
            .own_noise(curve, at)
            .hypot(factor * self.own_noise(others, there));
        between(self.own_share(others), on_curves, own)
    }
}

/// Standard uncertainty of a value that is drawn to the curve by a share of its distance: what the curve leaves open in that
/// share, and what the noise of the value itself does in the rest.
fn between(share: f64, on_curve: f64, own: f64) -> f64 {
    (share * on_curve).hypot((1.0 - share).sqrt() * own)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::fitting::smooth::tests::normal;
    use rand::{RngExt, SeedableRng};

    /// A straight line with a step of 30 px: on two pieces nothing of the step is left beside it.
    #[test]
    fn a_step_stays_a_step() {
        let points: Vec<(f64, f64, f64)> = (0..16)
            .map(|i| {
                let x = f64::from(i);
                let step = if i < 6 { 30.0 } else { 0.0 };
                (x, 900.0 + 0.5 * x + step, 0.01)
            })
            .collect();
        let apart = Pieces::through(&points, Some(6), false).expect("points enough");
        for (k, point) in points.iter().enumerate() {
            assert!((apart.drawn(k, point.1) - point.1).abs() < 1e-6);
        }
        for (point, other) in [(0, 15), (5, 6), (7, 15), (15, 15)] {
            assert!(apart.u_of_difference(point, 1.0, other) < 0.05);
            assert!(apart.u_of_raw_difference(point, 1.0, other) < 0.05);
        }
        assert!(apart.u_of_difference(0, 1.0, 15) > apart.u_of_difference(7, 1.0, 15));
        assert!(Pieces::through(&points[..7], Some(6), false).is_none());
    }

    /// 40 sweeps whose frames stand up to a third of a step of 3 px off their places, measured to 0.01 px. The drawn values
    /// keep what was measured, 40 times nearer than the curve. Where the places are known to be uneven, the uncertainty is that of
    /// the measurement: of 40 × 24 differences 95 % lie within 1.96 u (binomial spread 0.7 %; three of it are allowed). Where
    /// nothing shows that, it is the scatter's.
    #[test]
    fn points_off_their_places_keep_their_values() {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(17);
        let (mut held, mut off, mut off_curve) = (0.0, 0.0_f64, 0.0_f64);
        for _ in 0..40 {
            let mut truth = Vec::new();
            let points: Vec<(f64, f64, f64)> = (0..25)
                .map(|i| {
                    let x = f64::from(i);
                    let value = 1500.0 - 3.0 * (x + random.random_range(-0.33..0.33));
                    truth.push(value);
                    (x, value + 0.01 * normal(&mut random), 0.01)
                })
                .collect();
            let pieces = Pieces::through(&points, None, true).expect("points enough");
            let unknown = Pieces::through(&points, None, false).expect("points enough");
            let (curve, _) = pieces.at(0);
            for k in 0..24 {
                let reference = pieces.drawn(24, points[24].1);
                let error = points[k].1 - reference - (truth[k] - truth[24]);
                let u = pieces.u_of_raw_difference(k, 1.0, 24);
                held += f64::from(u8::from(error.abs() < 1.96 * u)) / 960.0;
                off += error * error / 960.0;
                off_curve += (curve.fitted[k] - truth[k]).powi(2) / 960.0;
                assert!(unknown.u_of_raw_difference(k, 1.0, 24) > 0.3);
            }
        }
        assert!((held - 0.95).abs() < 0.021, "{held}");
        assert!(off.sqrt() < 0.02, "{}", off.sqrt());
        assert!(off_curve > 40.0 * 40.0 * 1e-4, "{}", off_curve.sqrt());
    }
}
