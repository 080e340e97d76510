//! How likely it is that light which falls off towards the sides leans blurs, and no rim that cuts them, where an unread tone curve
//! or a ceiling hides how flat they are: Bayes' rule.

use nalgebra::{DMatrix, DVector};

use super::seen::Seen;
use super::weight;
use crate::sweep::fitting::spike_and_slab::{self, Set};
use crate::units::Measured;

/// Standard deviations of what leans: tape's skewness; rise of brightness over half the distance between the targets and its change
/// from the first frame to the last, as in `shading`; third moment of rims over the third power of the blur. Our choice.
const USUAL: [f64; 4] = [0.3, 0.55, 1.1, 3e-4];
/// Light that falls off, alike in all frames or changing, and how likely each is.
const SHADED: [Set<'static>; 2] = [(0.57, &[0, 1]), (0.43, &[0, 1, 2])];
/// A cut.
const CUT: [Set<'static>; 1] = [(1.0, &[0, 3])];
/// Probability that the curve is sRGB's though it could not be read. Our choice.
const PLAIN: f64 = 0.5;
/// Flattening that other things make beside noise under sRGB's curve, standard deviation: distortion.
const BESIDE_NOISE: f64 = 0.003;
/// Most that third moments say where light is cut off at a ceiling, logarithm of odds: both courses are not quite what rims and
/// brightness make of it, and cuts looked like falling light by up to 10 (sweeps of another renderer).
const MOST_BURNT: f64 = 0.5;
/// Flattening that a cut has in the mean. Our choice.
const USUAL_CUT: f64 = 0.1;

/// Probability of falling light against a cut; `by_other` is the standard deviation of what a curve or a ceiling makes of the
/// flattening. `None` where too few frames tell.
#[must_use]
pub(super) fn shaded(
    seen: &[Seen],
    flat: Measured,
    by_other: f64,
    separation_px: f64,
) -> Option<f64> {
    let courses = DMatrix::from_fn(seen.len(), USUAL.len(), |row, term| {
        let s = &seen[row];
        weight(s.blur, 2).sqrt()
            * match term {
                0 => 1.0,
                1 => s.fourth,
                2 => (s.travel - 0.5) * s.fourth,
                _ => s.blur.powi(3),
            }
    });
    let thirds = DVector::from_fn(seen.len(), |row, _| {
        weight(seen[row].blur, 2).sqrt() * seen[row].lopsided
    });
    let freedom = seen
        .len()
        .checked_sub(USUAL.len())
        .filter(|left| *left > 0)?;
    // Lengths that keep the matrix in shape.
    let scaled = DMatrix::from_diagonal(&DVector::from_iterator(
        USUAL.len(),
        courses
            .column_iter()
            .map(|column| 1.0 / column.norm().max(f64::MIN_POSITIVE)),
    ));
    let factors = (&courses * &scaled)
        .svd(true, true)
        .solve(&thirds, 1e-12)
        .ok()?;
    let off = &thirds - &courses * (scaled * factors);
    let scatter = (off.norm_squared() / freedom as f64)
        .sqrt()
        .max(f64::MIN_POSITIVE);
    let smallest = seen
        .iter()
        .map(|s| s.square)
        .fold(f64::INFINITY, f64::min)
        .powf(0.75);
    let usual = DVector::from_vec(vec![
        USUAL[0] * smallest,
        2.0 * USUAL[1] / separation_px,
        2.0 * USUAL[2] / separation_px,
        USUAL[3],
    ]);
    let (courses, thirds) = (courses / scatter, thirds / scatter);
    let evidence = |sets: &[Set<'_>]| {
        sets.iter()
            .map(|(chance, set)| {
                let found = spike_and_slab::expected(&courses, &thirds, &usual, &[(1.0, set)])?;
                Some(chance.ln() + found.log_evidence)
            })
            .try_fold(f64::NEG_INFINITY, |most, log| Some(f64::max(most, log?)))
    };
    let normal = |off: f64, u: f64| (-(off / u).powi(2) / 2.0).exp() / u;
    let plain = normal(flat.value, flat.std_error.hypot(BESIDE_NOISE));
    let by_shade = PLAIN * plain + (1.0 - PLAIN) * normal(flat.value, by_other);
    let by_cut = normal(flat.value - USUAL_CUT, by_other.hypot(USUAL_CUT));
    let mut thirds = evidence(&SHADED)? - evidence(&CUT)?;
    if seen.iter().any(|s| s.burnt) {
        thirds = thirds.clamp(-MOST_BURNT, MOST_BURNT);
    }
    let odds = (thirds + (by_shade / by_cut).ln()).exp();
    let likely = if odds.is_finite() {
        odds / (1.0 + odds)
    } else {
        1.0
    };
    likely.is_finite().then_some(likely)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Between the targets, px.
    const SEPARATION: f64 = 1200.0;

    /// Blur of discs from 70 px before the targets to 20 px beyond, of tape of 44 px, with these third moments and scatter.
    fn shown(lopsided: impl Fn(f64, f64) -> f64) -> Vec<Seen> {
        let of = |k: u8| {
            let blur = 70.0 - 5.0 * f64::from(k);
            let variance = 44.0_f64.powi(2) / 12.0 + blur * blur / 16.0;
            let fourth = -(44.0_f64.powi(4) / 120.0 + (blur / 4.0).powi(4));
            let scatter = [0.7, -1.2, 0.4, 1.3, -0.9, -0.1, -0.6][usize::from(k % 7)];
            let third = lopsided(blur, fourth) + 3e-4 * variance.powf(1.5) * scatter;
            Seen {
                blur,
                travel: f64::from(k) / 18.0,
                flat: [0.0; 2],
                thirds: [third; 2],
                lopsided: third,
                square: variance * variance,
                along: variance * variance,
                fourth,
                four_fold: Measured::new(0.0, 0.005 * variance * variance),
                shrunk: None,
                burnt: false,
            }
        };
        (0..19).map(of).collect()
    }

    fn likely(seen: &[Seen], flat: f64) -> f64 {
        shaded(seen, Measured::new(flat, 2e-4), 0.1, SEPARATION).expect("enough frames")
    }

    #[test]
    fn falling_light_is_no_cut_and_a_cut_no_falling_light() {
        let falls = shown(|_, fourth| 5e-4 * fourth);
        assert!(
            likely(&falls, 0.0) > SHADED_ENOUGH,
            "{}",
            likely(&falls, 0.0)
        );
        let cut = shown(|blur, _| 4e-4 * blur.powi(3));
        assert!(
            likely(&cut, 0.06) < 1.0 - SHADED_ENOUGH,
            "{}",
            likely(&cut, 0.06)
        );
    }

    /// What leans by next to nothing may be either, and flatness tells.
    #[test]
    fn what_third_moments_leave_open_flatness_tells() {
        let hardly = shown(|blur, _| 3e-5 * blur.powi(3));
        assert!(likely(&hardly, 0.0) > likely(&hardly, 0.06));
    }

    /// See `vignette::SHADED`.
    const SHADED_ENOUGH: f64 = super::super::SHADED;
}
