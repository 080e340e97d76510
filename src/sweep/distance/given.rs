//! Distances known at some frames: how well they are known, and what lies between.

use super::scatter::{Scatter, with_noise_shown};
use crate::sweep::curve::between::Piece;
use crate::sweep::sequence::places::Places;
use crate::units::Measured;

/// Share of a step between two known settings by which a frame between them may be off: lenses don't focus in equal
/// dioptre steps from frame to frame (our choice; at mid-step, less towards the known ends).
const BETWEEN_SHARE: f64 = 0.05;

/// Standard uncertainties by which the separations of frames at one setting differ where they are at several.
const APART: f64 = 6.0;

/// Focus settings of all frames from those known at some, dioptres: monotone interpolation by place between known ones,
/// `None` outside them. The uncertainty holds the rounding of the stated distances, the scatter and the steps that the separations of the
/// targets, px, show beyond that (they may be empty) and, between them, the unevenness of the frames' own steps.
#[must_use]
pub(in crate::sweep) fn between(
    known: &[Option<f64>],
    places: &Places,
    separations: &[Option<Measured>],
) -> Vec<Option<Measured>> {
    let unit_m = rounding_unit_m(known);
    let rounding_u = |d: f64| rounding_u(d, unit_m);
    let separations = with_noise_shown(separations, places);
    let scatter = Scatter::of(known, &rounding_u, &separations);
    let stated_u = |d: f64| rounding_u(d).hypot(scatter.map_or(0.0, |scatter| scatter.at(d)));
    let (last_at_infinity, beyond) = at_infinity(known);
    let steps = steps(known, &separations);
    let u_of = |frame: usize, d: f64| {
        if d > 0.0 || Some(frame) == last_at_infinity {
            stated_u(d).max(steps[frame])
        } else {
            beyond / 3_f64.sqrt()
        }
    };
    let knots: Vec<(f64, f64, f64)> = known
        .iter()
        .enumerate()
        .filter_map(|(i, d)| d.map(|d| (places.at(i), d, u_of(i, d))))
        .collect();
    let slopes = monotone_slopes(&knots);
    (0..known.len())
        .map(|i| {
            if let Some(d) = known[i] {
                return Some(Measured::new(d, u_of(i, d)));
            }
            let x = places.at(i);
            let right = knots.iter().position(|knot| knot.0 > x)?;
            let left = right.checked_sub(1)?;
            let (a, b) = (knots[left], knots[right]);
            let share = (x - a.0) / (b.0 - a.0);
            let value =
                Piece::sloped((a.0, a.1), (b.0, b.1), (slopes[left], slopes[right])).value(share);
            let uneven = BETWEEN_SHARE * (b.1 - a.1).abs() * 4.0 * share * (1.0 - share);
            let stated = a.2.max(b.2);
            Some(Measured::new(value, uneven.hypot(stated)))
        })
        .collect()
}

/// The last frame that is said to be at infinity, and the farthest setting short of it, dioptres, 0 where there is none. Where cameras say
/// infinity of several frames, all but the last are anywhere beyond that setting.
fn at_infinity(known: &[Option<f64>]) -> (Option<usize>, f64) {
    let last = known.iter().rposition(|d| d.is_some_and(|d| d <= 0.0));
    let finite = known.iter().flatten().copied().filter(|d| *d > 0.0);
    (last, finite.reduce(f64::min).unwrap_or(0.0))
}

/// Standard uncertainty of each frame's setting, dioptres, where several are said to be at the same one and the separations of their
/// targets, px, show that they are not: each is anywhere as far as half-way to the next. 0 elsewhere.
fn steps(known: &[Option<f64>], separations: &[Option<Measured>]) -> Vec<f64> {
    let mut settings: Vec<f64> = known.iter().flatten().copied().collect();
    settings.sort_by(f64::total_cmp);
    settings.dedup();
    let step = |setting: f64| {
        let both = known.iter().zip(separations);
        let here: Vec<Measured> = both
            .filter_map(|(known, separation)| separation.filter(|_| *known == Some(setting)))
            .collect();
        let least = here.iter().min_by(|a, b| a.value.total_cmp(&b.value));
        let differs = |seen: &Measured| {
            least.is_some_and(|least| {
                seen.value - least.value > APART * seen.std_error.hypot(least.std_error)
            })
        };
        if !here.iter().any(differs) {
            return 0.0;
        }
        let beside = settings
            .windows(2)
            .filter(|two| two.contains(&setting))
            .map(|two| two[1] - two[0]);
        beside.reduce(f64::max).unwrap_or(setting) / 12_f64.sqrt()
    };
    known
        .iter()
        .map(|known| known.filter(|d| *d > 0.0).map_or(0.0, step))
        .collect()
}

/// The decimal unit that all distances are multiples of, m: 1 mm, 1 cm or 10 cm.
fn rounding_unit_m(known: &[Option<f64>]) -> f64 {
    let metres: Vec<f64> = known
        .iter()
        .flatten()
        .filter(|d| **d > 0.0)
        .map(|d| 1.0 / d)
        .collect();
    [0.1, 0.01]
        .into_iter()
        .find(|unit| {
            metres
                .iter()
                .all(|m| ((m / unit).round() * unit - m).abs() < 1e-3 * unit)
        })
        .unwrap_or(0.001)
}

/// Standard uncertainty of a setting, dioptres, whose distance is rounded to `unit_m`: unit/√12 (JCGM 100:2008,
/// 4.3.7) through d(1/x) = dx/x².
fn rounding_u(dioptres: f64, unit_m: f64) -> f64 {
    unit_m / 12_f64.sqrt() * dioptres * dioptres
}

/// Slopes at the knots that make a cubic Hermite curve keep to the rise and fall of the data
/// (F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5, 300, 1984).
fn monotone_slopes(knots: &[(f64, f64, f64)]) -> Vec<f64> {
    let n = knots.len();
    if n < 2 {
        return vec![0.0; n];
    }
    let step: Vec<f64> = knots.windows(2).map(|k| k[1].0 - k[0].0).collect();
    let secant: Vec<f64> = knots
        .windows(2)
        .map(|k| (k[1].1 - k[0].1) / (k[1].0 - k[0].0))
        .collect();
    (0..n)
        .map(|i| {
            if i == 0 {
                return secant[0];
            }
            if i == n - 1 {
                return secant[n - 2];
            }
            let (before, after) = (secant[i - 1], secant[i]);
            if before * after <= 0.0 {
                return 0.0;
            }
            let (wb, wa) = (2.0 * step[i] + step[i - 1], step[i] + 2.0 * step[i - 1]);
            (wb + wa) / (wb / before + wa / after)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Frames that are said to be at one of two distances and go on breathing are anywhere within a step of it, half of it to either side;
    /// of frames that stand still none is.
    #[test]
    fn frames_at_one_distance_that_differ_are_off_by_a_step() {
        let known: Vec<Option<f64>> = (0..9).map(|at| Some([1.1, 0.35, 0.0][at / 3])).collect();
        let u = |breathes: f64| {
            let seen = |at: i32| Some(Measured::new(1200.0 - breathes * f64::from(at), 0.01));
            let seen: Vec<_> = (0..9).map(seen).collect();
            let settings = between(&known, &Places::in_order(9), &seen);
            let u = |at: usize| settings[at].map_or(f64::NAN, |setting| setting.std_error);
            [u(0), u(4)]
        };
        assert!(
            u(2.0)
                .iter()
                .all(|u| (u - 0.75 / 12_f64.sqrt()).abs() < 1e-9)
        );
        assert!(u(0.0).iter().all(|u| *u < 0.001));
    }

    fn between_known(known: &[Option<f64>]) -> Vec<Option<Measured>> {
        between(known, &Places::in_order(known.len()), &[])
    }

    #[test]
    fn all_but_the_last_frame_at_infinity_are_left_open() {
        let settings = between_known(&[Some(1.0), Some(0.3), Some(0.0), Some(0.0)]);
        let u = |frame: usize| settings[frame].map_or(f64::NAN, |setting| setting.std_error);
        assert!((u(2) - 0.3 / 3_f64.sqrt()).abs() < 1e-12);
        assert!(u(3) < 1e-12);
    }

    /// A frame between two of which one is left open is no surer than that one.
    #[test]
    fn what_lies_beside_an_open_end_is_left_open() {
        for known in [
            [Some(0.3), None, Some(0.0), Some(0.0)],
            [Some(0.3), Some(0.0), None, Some(0.0)],
        ] {
            let between = known.iter().position(Option::is_none).expect("one");
            let settings = between_known(&known);
            assert!(settings[between].expect("inside").std_error >= 0.3 / 3_f64.sqrt());
        }
    }
}
