//! How finely distances are stated: what their figures and their scatter say.
//!
//! Cameras state distances in steps, of a decimal unit, of a ratio, or of their focus encoder; figures read off a lens's scale are no
//! finer. Blur runs smoothly with the focus setting, so stated settings that lie off a smooth curve along the blur are off by as
//! much. Rounding errors grow with the setting d, dioptres, as d⁰ (an encoder), d¹ (a ratio) or d² (a unit of length): the likeliest
//! of the three is taken.

use nalgebra::{DMatrix, DVector};

use super::blur::BlurCourse;
use crate::sweep::fitting::least_squares;
use crate::sweep::sequence::places::median;
use crate::units::Measured;

/// Standard uncertainty of a setting below which its scatter about the blur says nothing, as a share of the middle one (our choice:
/// blur itself is no smoother).
const SEEN_FROM: f64 = 0.002;
/// Powers of the setting that its uncertainty may grow with.
const POWERS: [i32; 2] = [0, 1];
/// Terms of the curve along the blur: of an ideal pupil it bends so little that a cubic leaves less than a thousandth.
const TERMS: usize = 4;
/// Difference in −2 log likelihood up to which another power may be right as well.
const ABOUT_AS_LIKELY: f64 = 4.0;
/// Settings below which nothing is said of their scatter.
const FEWEST: usize = 8;

/// How finely some distances are stated.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Resolution {
    /// The decimal unit that all of them are multiples of, m.
    unit_m: f64,
    /// As they scatter along the blur: all accounts of it that may be right.
    scatter: Vec<Scatter>,
}

/// A standard uncertainty that grows with a power of the setting.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Scatter {
    /// That of the middle setting, dioptres.
    u: f64,
    /// The middle setting, dioptres.
    middle: f64,
    power: i32,
}

impl Resolution {
    /// Of settings, dioptres, by their figures alone.
    pub(super) fn of(known: &[Option<f64>]) -> Self {
        let settings = known.iter().flatten().filter(|d| **d > 0.0);
        let metres: Vec<f64> = settings.map(|d| 1.0 / d).collect();
        let fits = |unit: &f64| {
            let off = |m: &f64| ((m / unit).round() * unit - m).abs();
            metres.iter().all(|m| off(m) < 1e-3 * unit)
        };
        Self {
            unit_m: [0.1, 0.01].into_iter().find(fits).unwrap_or(0.001),
            scatter: Vec::new(),
        }
    }

    /// By their figures and by their scatter along the blur of the frames.
    pub(super) fn along(known: &[Option<f64>], course: &BlurCourse) -> Self {
        Self {
            scatter: scatter(known, course),
            ..Self::of(known)
        }
    }

    /// Standard uncertainty of a setting, dioptres: that of a distance rounded to the unit is unit/√12 (JCGM 100:2008, 4.3.7) through
    /// d(1/x) = dx/x²; or what the scatter says, if that is more.
    pub(super) fn u(&self, dioptres: f64) -> f64 {
        let rounding = self.unit_m / 12_f64.sqrt() * dioptres * dioptres;
        let scatter = self.scatter.iter();
        let seen = scatter.map(|seen| seen.u * (dioptres / seen.middle).powi(seen.power));
        seen.fold(rounding, f64::max)
    }
}

/// How settings scatter about a cubic in the blur, as the likeliest of the powers has it, and those about as likely.
fn scatter(known: &[Option<f64>], course: &BlurCourse) -> Vec<Scatter> {
    let setting = |place: usize| known[place].filter(|d| *d > 0.0);
    let seen = course.signed.iter();
    let seen: Vec<(Measured, f64)> = seen
        .filter_map(|&(place, blur)| Some((blur, setting(place)?)))
        .collect();
    let (Some(first), Some(last)) = (seen.first(), seen.last()) else {
        return Vec::new();
    };
    let (reach_px, range) = (first.0.value - last.0.value, first.1 - last.1);
    let Some(middle) = median(seen.iter().map(|seen| seen.1).collect()) else {
        return Vec::new();
    };
    let fit = |power: &i32| {
        let stated = |d: f64| SEEN_FROM * middle * (d / middle).powi(*power);
        let u = |(blur, d): &(Measured, f64)| stated(*d).hypot(range / reach_px * blur.std_error);
        let along = |blur: &Measured, term: usize| (blur.value / reach_px).powi(term as i32);
        let rows = DMatrix::from_fn(seen.len(), TERMS, |row, term| {
            along(&seen[row].0, term) / u(&seen[row])
        });
        let values = DVector::from_iterator(seen.len(), seen.iter().map(|seen| seen.1 / u(seen)));
        let fit = least_squares::fit(&rows, &values).filter(|_| seen.len() >= FEWEST)?;
        let logarithms: f64 = seen.iter().map(|seen| 2.0 * u(seen).ln()).sum();
        Some((
            logarithms + seen.len() as f64 * fit.chi2.ln(),
            Scatter {
                u: SEEN_FROM * middle * (fit.scatter - 1.0).max(0.0).sqrt(),
                middle,
                power: *power,
            },
        ))
    };
    let fits: Vec<(f64, Scatter)> = POWERS.iter().filter_map(fit).collect();
    let likeliest = fits.iter().map(|fit| fit.0).fold(f64::INFINITY, f64::min);
    let about = fits
        .into_iter()
        .filter(|fit| fit.0 <= likeliest + ABOUT_AS_LIKELY);
    about.map(|fit| fit.1).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Settings from 2 dioptres to 0.1 and their blur: 60 px a dioptre, bent as by a pupil 10 cm before the sensor.
    fn course(settings: &[f64]) -> BlurCourse {
        let blur = |d: &f64| Measured::new(60.0 * (d / (1.0 - 0.1 * d) - 0.5), 0.02);
        BlurCourse {
            signed: settings.iter().map(blur).enumerate().collect(),
            sharpest: 20.0,
            sharp_variance: 100.0,
        }
    }

    /// Distances as they are, and in steps of a ratio, of an encoder and of 10 cm: uncertainties are those of a rounding error
    /// within a third, as 30 of them tell a standard deviation to an eighth.
    #[test]
    fn steps_show_in_figures_or_scatter() {
        let settings: Vec<f64> = (0..30).map(|k| 2.0 - 0.0655 * f64::from(k)).collect();
        let course = course(&settings);
        let stated = |round: &dyn Fn(f64) -> f64| -> Resolution {
            let known: Vec<Option<f64>> = settings.iter().map(|d| Some(round(*d))).collect();
            Resolution::along(&known, &course)
        };
        let to = |value: f64, step: f64| (value / step).round() * step;
        let exact = stated(&|d| 1.0 / to(1.0 / d, 0.001));
        let ratio = stated(&|d| to(d.ln(), 0.05).exp());
        let encoder = stated(&|d| to(d, 0.04));
        let decimal = stated(&|d| 1.0 / to(1.0 / d, 0.1));
        for d in [0.3, 1.0, 1.8] {
            assert!(exact.u(d) < 0.002 * d, "{d}: {exact:?}");
            for (seen, step) in [
                (&ratio, 0.05 * d),
                (&encoder, 0.04),
                (&decimal, 0.1 * d * d),
            ] {
                let share = seen.u(d) / (step / 12_f64.sqrt());
                assert!(
                    (0.66..1.5).contains(&share) || seen == &decimal && share > 0.99,
                    "{d} {share}: {seen:?}"
                );
            }
        }
        // Without blur to go by, figures alone tell.
        let known: Vec<Option<f64>> = settings
            .iter()
            .map(|d| Some(1.0 / to(1.0 / d, 0.1)))
            .collect();
        assert!((Resolution::of(&known).u(1.0) - 0.1 / 12_f64.sqrt()).abs() < 1e-12);
    }
}
