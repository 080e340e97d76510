//! Distances known at some frames: how well they are known, and what lies between.

use crate::sweep::curve::between::Piece;
use crate::sweep::fitting::smooth::Smooth;
use crate::sweep::sequence::places::Places;
use crate::units::Measured;

/// Share of a step between two known settings by which a frame between them may be off: lenses don't focus in equal
/// dioptre steps from frame to frame (our choice; at mid-step, less towards the known ends).
const BETWEEN_SHARE: f64 = 0.05;

/// Powers of the setting that its scatter is tried with: steps even in dioptres, as of the motor that moves the focus, and of a ratio.
const POWERS: [i32; 2] = [0, 1];
/// Largest share that stated settings are taken to scatter by: from there on they say little.
const MOST_SCATTER: f64 = 0.5;
/// The share that they scatter by where it is not known yet.
const USUAL_SCATTER: f64 = 0.02;
/// Fewest frames with distance and separation by which the scatter is judged.
const FEWEST_JUDGED: usize = 6;
/// Halvings in which the scatter is found, to 0.01 % of the nearest setting.
const HALVINGS: usize = 12;

/// Focus settings of all frames from those known at some, dioptres: monotone interpolation by place between known ones,
/// `None` outside them. The uncertainty holds the rounding of the stated distances, their scatter where the separations of the
/// targets, px, show more than that (they may be empty) and, between them, the unevenness of the steps.
#[must_use]
pub(in crate::sweep) fn between(
    known: &[Option<f64>],
    places: &Places,
    separations: &[Option<Measured>],
) -> Vec<Option<Measured>> {
    let unit_m = rounding_unit_m(known);
    let scatter = scatter(known, unit_m, separations);
    let stated_u = |d: f64| rounding_u(d, unit_m).hypot(scatter.at(d));
    let (last_at_infinity, beyond) = at_infinity(known);
    let u_of = |frame: usize, d: f64| {
        if d > 0.0 || Some(frame) == last_at_infinity {
            stated_u(d)
        } else {
            beyond / 3_f64.sqrt()
        }
    };
    let knots: Vec<(f64, f64)> = known
        .iter()
        .enumerate()
        .filter_map(|(i, d)| d.map(|d| (places.at(i), d)))
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
            let value = Piece::sloped(a, b, (slopes[left], slopes[right])).value(share);
            let uneven = BETWEEN_SHARE * (b.1 - a.1).abs() * 4.0 * share * (1.0 - share);
            let stated = stated_u(a.1).max(stated_u(b.1));
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

/// How far stated settings are off at random.
#[derive(Debug, Clone, Copy)]
struct Scatter {
    /// Nearest stated setting, dioptres.
    nearest: f64,
    /// Standard deviation there, as a share of it.
    share: f64,
    /// Power of the setting with which it grows; see `POWERS`.
    power: i32,
}

impl Scatter {
    /// Standard deviation at a setting, dioptres.
    fn at(self, setting: f64) -> f64 {
        self.share * self.nearest * (setting / self.nearest).powi(self.power)
    }
}

/// The scatter of stated settings: cameras and scales of lenses state distances in steps, which no decimal figure need show.
///
/// The separation of the targets runs smoothly over the true settings, so its scatter about a smooth curve over the stated ones,
/// beyond its own noise and divided by the slope, is theirs. Its size is the one with which the scatter is as expected (R. C. Paule
/// and J. Mandel, J. Res. NBS 87, 377, 1982), its kind the likeliest; none where rounding and the noise explain it, or the separation
/// does not change.
fn scatter(known: &[Option<f64>], unit_m: f64, separations: &[Option<Measured>]) -> Scatter {
    let mut seen: Vec<(f64, Measured)> = known
        .iter()
        .zip(separations)
        .filter_map(|(setting, separation)| Some(((*setting)?, (*separation)?)))
        .filter(|(setting, _)| *setting > 0.0)
        .collect();
    seen.sort_by(|a, b| a.0.total_cmp(&b.0));
    let ends = seen.first().zip(seen.last());
    let (farthest, nearest) = ends.map_or((0.0, 0.0), |(far, near)| (far.0, near.0));
    let scatter = |share: f64, power: i32| Scatter {
        nearest,
        share,
        power,
    };
    let none = scatter(0.0, 1);
    let range = nearest - farthest;
    if seen.len() < FEWEST_JUDGED || range <= 0.0 {
        return Scatter {
            nearest: 1.0,
            ..none
        };
    }
    let through = |scatter: Scatter, slopes: &[f64]| {
        let point = |(&(at, separation), slope): (&(f64, Measured), &f64)| {
            let place_u = rounding_u(at, unit_m).hypot(scatter.at(at));
            let u = separation.std_error.hypot(slope * place_u);
            (at, separation.value, u)
        };
        let points: Vec<_> = seen.iter().zip(slopes).map(point).collect();
        let weights: f64 = points.iter().map(|point| 2.0 * point.2.ln()).sum();
        Smooth::stiff(&points).map(|curve| (curve.unlikely + weights, curve))
    };
    let values = || seen.iter().map(|(_, separation)| separation.value);
    let change = values().fold(f64::MIN, f64::max) - values().fold(f64::MAX, f64::min);
    let even = vec![change / range; seen.len()];
    let Some((_, curve)) = through(scatter(USUAL_SCATTER, 1), &even) else {
        return none;
    };
    let step = range / seen.len() as f64;
    let slope = |at: f64| (curve.predict(at + step).0 - curve.predict(at - step).0) / (2.0 * step);
    let slopes: Vec<f64> = seen.iter().map(|(at, _)| slope(*at)).collect();
    let scatters_more =
        |than: Scatter| through(than, &slopes).is_some_and(|(_, curve)| curve.noise_factor > 1.0);
    if !scatters_more(none) {
        return none;
    }
    let of_power = |power: i32| {
        let (mut low, mut high) = (0.0, MOST_SCATTER);
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            if scatters_more(scatter(middle, power)) {
                low = middle;
            } else {
                high = middle;
            }
        }
        let found = scatter(high, power);
        through(found, &slopes).map(|(unlikely, _)| (unlikely, found))
    };
    let all = POWERS.into_iter().filter_map(of_power);
    all.min_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(none, |(_, likeliest)| likeliest)
}

/// Slopes at the knots that make a cubic Hermite curve keep to the rise and fall of the data
/// (F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5, 300, 1984).
fn monotone_slopes(knots: &[(f64, f64)]) -> Vec<f64> {
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

    /// Stated settings from 2.5 dioptres to 0 in 26 frames, each put into a step of a ratio, and the separations of the true ones.
    fn stated(step: f64) -> (Vec<Option<f64>>, Vec<Option<Measured>>) {
        let truth = (0..26).map(|i| 2.5 - 0.1 * f64::from(i));
        truth
            .map(|d| {
                let said = if d > 0.05 && step > 0.0 {
                    ((d.ln() / step).round() * step).exp()
                } else {
                    d.max(0.0)
                };
                let separation = 1200.0 + 18.0 * d - 2.0 * d * d;
                (Some(said), Some(Measured::new(separation, 0.02)))
            })
            .unzip()
    }

    fn share(step: f64, separations: bool) -> f64 {
        let (known, seen) = stated(step);
        let seen = if separations { seen } else { Vec::new() };
        let settings = between(&known, &Places::in_order(known.len()), &seen);
        let near = settings[3].expect("stated");
        near.std_error / near.value
    }

    /// Steps of a ratio leave step/√12 of a setting open; the separations show it, and nothing where the settings are exact.
    #[test]
    fn coarse_steps_are_in_the_uncertainty() {
        for step in [0.03, 0.05, 0.1] {
            let over = share(step, true) / (step / 12_f64.sqrt());
            assert!((0.7..1.5).contains(&over), "{step}: {over}");
            assert!(share(step, false) < 0.001);
        }
        assert!(share(0.0, true) < 0.001);
    }

    /// Steps even in dioptres leave the same open at every distance.
    #[test]
    fn even_steps_are_told_from_those_of_a_ratio() {
        let (exact, seen) = stated(0.0);
        let step = 0.07;
        let known: Vec<_> = exact
            .iter()
            .map(|d| d.map(|d| (d / step).round() * step))
            .collect();
        let settings = between(&known, &Places::in_order(known.len()), &seen);
        for frame in [3, 20] {
            let over = settings[frame].expect("stated").std_error / (step / 12_f64.sqrt());
            assert!((0.7..1.5).contains(&over), "{frame}: {over}");
        }
    }

    #[test]
    fn all_but_the_last_frame_at_infinity_are_left_open() {
        let known = [Some(1.0), Some(0.3), Some(0.0), Some(0.0)];
        let settings = between(&known, &Places::in_order(4), &[]);
        let u = |frame: usize| settings[frame].map_or(f64::NAN, |setting| setting.std_error);
        assert!((u(2) - 0.3 / 3_f64.sqrt()).abs() < 1e-12);
        assert!(u(3) < 1e-12);
    }
}
