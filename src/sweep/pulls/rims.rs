//! How far a barrel pulls blur that it cuts, from the shape of it, and how well that is known.
//!
//! One rim of some size leaves an overlap of two circles, which is as flat as the blur; how lopsided it is tells the rim's size, and so
//! the pull. A second rim, that cuts from the other side, takes a part of lopsidedness and pull back, and passes for a smaller one that
//! pulls more. Then corners above and below, which both make, don't fit: the four-fold cumulant is that of larger rims. Two rims that
//! leave little of the iris may turn the pull round; then it is open which way it goes (`two`).

mod two;
mod unseen;

use super::overlap::{Overlap, pull_of};
use super::tone::Tone;
use crate::units::Measured;
pub(super) use unseen::{SLIGHT, unseen};

/// Standard uncertainties by which one rim may be off what is seen.
const FITS: f64 = 3.0;
/// Least standard uncertainties of lopsidedness and four-fold cumulant that are believed, over the third and fourth power of the blur.
const LEAST: [f64; 2] = [2e-5, 2e-5];
/// Largest standard uncertainty of the four-fold cumulant that proves a shape: rims from the pupil's own size to half a stop larger
/// differ by as much.
const TELLING: f64 = 3e-4;
/// Share of the pull that stays as its standard uncertainty where one rim explains all that is seen, and a second one is excluded:
/// rendered cuts, of other programs as well, left 0.01 to 0.08.
const LEFT_OVER_ONE: f64 = 0.08;
/// Spread that excludes a second rim.
const NARROW: f64 = 0.1;
/// The same where a second rim on the other side may take back a part that the moments don't tell.
const LEFT_OVER: f64 = 0.18;
/// The same where one rim does not explain it: irises of few blades, and cuts beside barrel distortion, left 0.3 to 0.6.
const LEFT_OVER_MORE: f64 = 0.4;
/// The same under another tone curve, which leaves four-fold cumulants of its own: up to 0.4 was left, 0.15 mostly (rendered sweeps).
const LEFT_OVER_TONED: f64 = 0.3;
/// The same where the camera's tone curve could not be read: up to 0.6 was left (rendered sweeps with S-shaped curves whose light
/// jumped).
const LEFT_OVER_UNKNOWN: f64 = 0.6;
/// Flattening that an unread tone curve makes of blur and tape, standard deviation: what curves between sRGB's, Rec. 709's and S-shaped ones
/// do to tape that is half as wide as the blur (simulated sweeps).
pub(super) const BY_CURVE: f64 = 0.1;
/// Four-fold cumulant that another tone curve than sRGB's makes, standard deviation: sweeps of another renderer.
const BY_TONE: f64 = 1e-3;
/// Mean flattening of a cut before anything was seen. Our choice.
const USUAL: f64 = 0.1;
/// Flattenings that are thought of, by factors of 1.3 from 0.006.
const FLATTENINGS: i32 = 17;
/// Steps between two sizes of the rim.
const STEPS: u32 = 6;
/// Parts of the flattening that a second rim makes, beside none.
const SECOND: [f64; 9] = [0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45];
/// How likely a second rim is, before anything was seen. Our choice.
const TWO: f64 = 0.25;

/// What a cut of one rim would be, and how well the shape bears it out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rim {
    /// Size of the pull over the blur.
    pub(super) pull: f64,
    /// Share of it by which other rims that fit pull more or less, standard deviation.
    spread: f64,
    /// Standard uncertainties by which one rim is off what is seen.
    off: f64,
    /// That is seen well.
    telling: bool,
    /// Size of the pull where it is open which way it goes.
    pub(super) open: Option<f64>,
}

impl Rim {
    /// Of a blur of some flattening, lopsidedness and four-fold cumulant; `None` where no overlap of circles is as flat.
    #[must_use]
    pub(super) fn of(
        flattening: f64,
        leaning: Measured,
        four_fold: Measured,
        tone: Tone,
    ) -> Option<Self> {
        let rims = finer(&Overlap::as_flat(flattening).collect::<Vec<_>>());
        let pull = pull_of(flattening, leaning.value.abs());
        let u = [
            leaning.std_error.max(LEAST[0]),
            four_fold.std_error.max(LEAST[1]),
        ];
        let off = |rim: &Overlap, one_sided: f64| {
            let third = (leaning.value.abs() - one_sided * rim.asymmetry) / u[0];
            third.hypot((four_fold.value - rim.four_fold) / u[1])
        };
        let nearest = rims
            .iter()
            .map(|rim| off(rim, 1.0))
            .min_by(f64::total_cmp)?;
        // Another tone curve makes four-fold cumulants of its own.
        let seen = match tone {
            Tone::Srgb => four_fold,
            _ => Measured::new(four_fold.value, four_fold.std_error.hypot(BY_TONE)),
        };
        let (mut all, mut square) = (0.0, 0.0);
        let none = [(0.0, 1.0 - TWO)];
        let some = SECOND.map(|second| (second, TWO / SECOND.len() as f64));
        for (second, likely) in none.into_iter().chain(some) {
            let one_sided = 1.0 - 2.0 * second;
            for rim in &rims {
                // From the nearest on, so that something is left where none is near.
                let square_off = off(rim, one_sided).powi(2) - nearest * nearest;
                let weight = likely * (-square_off / 2.0).exp();
                all += weight;
                square += weight * (one_sided * rim.pull / pull - 1.0).powi(2);
            }
        }
        Some(Self {
            pull,
            spread: (square / all).sqrt(),
            off: nearest,
            telling: u[1] < TELLING,
            open: two::open(flattening, leaning, seen, &rims),
        })
    }

    /// One rim explains all that is seen.
    #[must_use]
    pub(super) fn fits(&self) -> bool {
        self.off < FITS
    }

    /// Share of the pull that stays as its standard uncertainty after it was taken out.
    #[must_use]
    pub(super) fn left_over(&self, tone: Tone) -> f64 {
        match (self.fits(), self.telling) {
            // Flattening that an unread tone curve makes is not that of a rim which lopsidedness and corners tell.
            (true, true) if tone == Tone::Unknown => LEFT_OVER,
            (true, true) if self.spread < NARROW => self.spread.hypot(LEFT_OVER_ONE),
            _ if tone == Tone::Unknown => LEFT_OVER_UNKNOWN,
            (true, _) => LEFT_OVER,
            (false, _) if tone == Tone::Srgb => LEFT_OVER_MORE,
            (false, _) => LEFT_OVER_TONED,
        }
    }
}

/// Flattening and pull over blur of a cut that leans so, where an unread tone curve hides how flat it is: what is to be expected, and its
/// standard deviation. Every flattening is as likely as rims and curves make it, and so is every size of the rim. `by_other` is the
/// standard deviation of what a curve or a ceiling makes of the flattening.
#[must_use]
pub(super) fn hidden(flattening: f64, leaning: Measured, by_other: f64) -> Option<(f64, Measured)> {
    let u = leaning.std_error.max(LEAST[0]);
    let (mut all, mut flat, mut mean, mut square) = (0.0, 0.0, 0.0, 0.0);
    for value in (0..FLATTENINGS).map(|k| 0.006 * 1.3_f64.powi(k)) {
        let off = (value - flattening) / by_other;
        let likely = value * (-value / USUAL - off * off / 2.0).exp();
        let rims = finer(&Overlap::as_flat(value).collect::<Vec<_>>());
        for rim in &rims {
            let off = (leaning.value.abs() - rim.asymmetry) / u;
            let weight = likely * (-off * off / 2.0).exp() / rims.len() as f64;
            all += weight;
            flat += weight * value;
            mean += weight * rim.pull;
            square += weight * rim.pull * rim.pull;
        }
    }
    let (flat, mean, square) = (flat / all, mean / all, square / all);
    let pull = Measured::new(
        mean.copysign(leaning.value),
        (square - mean * mean).max(0.0).sqrt(),
    );
    (flat.is_finite() && pull.std_error.is_finite()).then_some((flat, pull))
}

/// Overlaps with others on straight lines between them.
fn finer(rims: &[Overlap]) -> Vec<Overlap> {
    let between =
        |pair: &[Overlap], step: u32| pair[0].mixed(&pair[1], f64::from(step) / f64::from(STEPS));
    rims.windows(2)
        .flat_map(|pair| (0..STEPS).map(move |step| between(pair, step)))
        .chain(rims.last().copied())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const FLATTENING: f64 = 0.07;

    fn measured(value: f64) -> Measured {
        Measured::new(value, 1e-5)
    }

    fn of(leaning: Measured, four_fold: Measured) -> Option<Rim> {
        Rim::of(FLATTENING, leaning, four_fold, Tone::Srgb)
    }

    /// A rim a seventh larger than the pupil.
    fn one() -> Overlap {
        Overlap::as_flat(FLATTENING).nth(7).expect("overlaps")
    }

    #[test]
    fn one_rim_is_known_within_a_tenth() {
        let shape = one();
        for side in [1.0, -1.0] {
            let leaning = measured(side * shape.asymmetry);
            let rim = of(leaning, measured(shape.four_fold)).expect("a rim");
            assert!((rim.pull / shape.pull - 1.0).abs() < 0.02, "{rim:?}");
            assert!(rim.fits(), "{rim:?}");
            assert!(rim.left_over(Tone::Srgb) < 0.1, "{rim:?}");
            // Three numbers that agree by themselves prove no tone curve, but go far.
            assert!(rim.left_over(Tone::Unknown) < 0.2, "{rim:?}");
        }
    }

    /// A quarter of the cut on the other side takes half of lopsidedness and pull back, and leaves the corners.
    #[test]
    fn a_second_rim_is_in_what_is_left() {
        let shape = one();
        let leaning = measured(0.5 * shape.asymmetry);
        let rim = of(leaning, measured(shape.four_fold)).expect("a rim");
        assert!(!rim.fits(), "{rim:?}");
        let left = (0.5 * shape.pull - rim.pull).abs() / rim.pull;
        let u = rim.left_over(Tone::Srgb);
        assert!(left < 2.0 * u, "{rim:?}: {left} {u}");
        // Where corners are not seen as well, it stays possible.
        let corners = Measured::new(shape.four_fold, 4e-4);
        let rim = of(leaning, corners).expect("a rim");
        assert!(rim.left_over(Tone::Srgb) > 0.17, "{rim:?}");
        assert!(rim.left_over(Tone::Unknown) > 0.5, "{rim:?}");
    }

    /// Whatever a curve makes of the flattening, lopsidedness bounds the pull.
    #[test]
    fn what_a_curve_hides_is_within_what_is_stated() {
        let shape = one();
        for read in [-0.05, 0.0, FLATTENING, 0.15] {
            let leaning = measured(-shape.asymmetry);
            let (flattening, pull) = hidden(read, leaning, BY_CURVE).expect("rims");
            let off = -shape.pull - pull.value;
            assert!(
                pull.value < 0.0 && off.abs() < 2.0 * pull.std_error,
                "{read}: {pull:?}"
            );
            assert!(flattening > 0.02, "{read}: {flattening}");
        }
        // No overlap of circles leans by so much.
        assert_eq!(hidden(0.05, measured(0.05), BY_CURVE), None);
    }
}
