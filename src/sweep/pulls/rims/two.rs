//! Two rims, before and behind the iris, that cut a blur from both sides.
//!
//! Where they leave little of the iris, the flatter side is the larger rim's and no longer the one that is cut the more: by
//! flattening and lopsidedness alone they pass for one rim and the iris, exchanged, with a pull the other way.

use std::f64::consts::PI;

use super::super::overlap::{Overlap, depth_of};
use crate::units::Measured;

/// Sizes of each rim, from the iris's own on.
const SIZES: u32 = 9;
/// How much larger than the iris the largest of them is, in its radii: one and a half stops.
const LARGEST: f64 = 0.8;
/// How deep the second rim cuts, in steps of an eighth of how deep the first does.
const DEPTHS: u32 = 8;
/// Strips that an overlap is summed by; a hundred are good for 1e-5.
const STRIPS: usize = 100;
/// How deep the first rim cuts at most, in radii of the iris.
const DEEPEST: f64 = 0.9;
/// Halvings that find how deep rims cut.
const HALVINGS: u32 = 14;
/// Half the distance between neighbours of these, in lopsidedness and four-fold cumulant.
const GRAIN: [f64; 2] = [3e-5, 4e-5];
/// Standard uncertainties of lopsidedness and four-fold cumulant beside noise: breathing changes how far off the axis the targets
/// are, and tape and irises are no squares and circles. Sweeps of another renderer.
const BESIDE_NOISE: [f64; 2] = [4e-5, 8e-5];
/// Flattening from which on two rims are as likely as one, before anything was seen, and the power by which the odds grow up to there:
/// slight cuts are the first rim's that a target's light meets, a lens wide open may be cut from both sides. Our choice.
const BOTH: (f64, i32) = (0.13, 8);
/// Probability that the pull goes the other way from which it is open where it goes.
const OPEN: f64 = 0.18;

/// Size that the pull over the blur has in the mean (root of the mean square) where it is open which way it goes, by the shape of a
/// blur; `None` where that is told. It grows with lopsidedness of a sign if one rim cuts.
#[must_use]
pub(in super::super) fn open(
    flattening: f64,
    leaning: Measured,
    four_fold: Measured,
    one: &[Overlap],
) -> Option<f64> {
    let two = as_flat(flattening);
    let u = [
        leaning.std_error.hypot(BESIDE_NOISE[0]),
        four_fold.std_error.hypot(BESIDE_NOISE[1]),
    ];
    let grained = [u[0].hypot(GRAIN[0]), u[1].hypot(GRAIN[1])];
    let odds = (flattening / BOTH.0).powi(BOTH.1).min(1.0);
    let both = odds / (1.0 + odds);
    let (mut all, mut other_way, mut square) = (0.0, 0.0, 0.0);
    for (rims, u, likely) in [(one, u, 1.0 - both), (&two, grained, both)] {
        for rim in rims {
            for side in [1.0, -1.0] {
                let third = (leaning.value.abs() - side * rim.asymmetry) / u[0];
                let fourth = (four_fold.value - rim.four_fold) / u[1];
                let density = (-(third * third + fourth * fourth) / 2.0).exp();
                let weight = likely * density / (2.0 * PI * u[0] * u[1] * rims.len() as f64);
                all += weight;
                square += weight * rim.pull * rim.pull;
                if side * rim.pull < 0.0 {
                    other_way += weight;
                }
            }
        }
    }
    (other_way > OPEN * all).then(|| (square / all).sqrt())
}

/// Overlaps with two rims that are as flat, cut deeper on the left or alike on both sides.
fn as_flat(flattening: f64) -> Vec<Overlap> {
    let size = |k: u32| 1.0 + LARGEST * (f64::from(k) / f64::from(SIZES - 1)).powi(2);
    let mut all = Vec::new();
    for first in (0..SIZES).map(size) {
        for second in (0..SIZES).map(size) {
            for part in (1..=DEPTHS).map(|k| f64::from(k) / f64::from(DEPTHS)) {
                let cut = |depth: f64| {
                    let rims = [
                        (first, first - 1.0 + depth),
                        (second, 1.0 - second - part * depth),
                    ];
                    Overlap::of_all(&rims, STRIPS)
                };
                let depth = depth_of(flattening, (0.0, DEEPEST), HALVINGS, cut);
                all.extend(depth.and_then(cut));
            }
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a sweep shows of a blur that is cut so, and what is thought of it.
    fn thought(cut: &Overlap) -> Option<f64> {
        let one: Vec<Overlap> = Overlap::as_flat(cut.flattening).collect();
        let measured = |value| Measured::new(value, 1e-5);
        let (third, fourth) = (measured(cut.asymmetry), measured(cut.four_fold));
        open(cut.flattening, third, fourth, &one)
    }

    /// Front and rear rim of 1.03 and 1.08 times the iris: of the flatter side the iris is not the other.
    #[test]
    fn two_rims_pass_for_one_that_pulls_the_other_way() {
        for rims in [
            [(1.03, 0.235), (1.08, -0.14)],
            [(1.0, 0.284), (1.05, -0.17)],
            [(1.03, 0.33), (1.08, -0.2)],
        ] {
            let cut = Overlap::of_all(&rims, STRIPS).expect("light");
            assert!(cut.pull * cut.asymmetry < 0.0, "{cut:?}");
            let size = thought(&cut).expect("open");
            assert!(size > cut.pull.abs() / 2.0, "{size} {cut:?}");
        }
    }

    #[test]
    fn one_rim_that_shows_is_told() {
        for (b, t) in [(1.1, 0.2), (1.15, 0.25), (1.2, 0.3), (1.2, 0.4), (1.3, 0.5)] {
            let cut = Overlap::of(b, t).expect("light");
            assert_eq!(thought(&cut), None, "{b} {t}");
        }
    }
}
