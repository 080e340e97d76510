//! How far stated settings are off at random: cameras and scales of lenses state distances in steps, which no decimal figure need show.

use crate::sweep::fitting::smooth::Smooth;
use crate::sweep::sequence::places::Places;
use crate::units::Measured;

/// Shares of the nearest setting that a scatter is tried with, as powers of √2: from a hundredth of a per cent, which rounding leaves
/// as well, to a half, from where on a setting says little.
const SHARES: std::ops::RangeInclusive<i32> = -26..=-2;
/// The share that settings scatter by where it is not known yet.
const USUAL: f64 = 0.02;
/// Fewest frames with distance and separation by which the scatter is judged: a parabola through them leaves as many.
const FEWEST_JUDGED: usize = 6;
/// Least uncertainty of a separation that is believed, px: interpolation and compression leave as much in the best case.
const LEAST_U_PX: f64 = 0.002;
/// The noise of the separations may be so many times what is stated, at most, by how they run along frames that stand unevenly: where
/// they do, their places are known but roughly.
const MOST_NOISE: f64 = 3.0;
/// Fewest different settings: through two of them a parabola is not told.
const FEWEST_SETTINGS: usize = 3;
/// Weight of the belief that the noise is so, in degrees of freedom: what a dozen frames could tell against it is little.
const NOISE_BELIEF: f64 = 20.0;
/// Twice the logarithm of the likelihood ratio by which a scatter has to be likelier than none: 20 to 1. Chance alone reaches it in about
/// one sweep of a hundred (S. G. Self and K.-Y. Liang, J. Am. Stat. Assoc. 82, 605, 1987, case 5, for each of two kinds).
const SHOWS: f64 = 6.0;

/// How far stated settings are off at random: steps even in dioptres, as of the motor that moves the focus, and steps of a ratio, as
/// of a scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scatter {
    /// Standard deviation that is alike everywhere, dioptres.
    even: f64,
    /// Standard deviation that grows with the setting, as a share of it.
    ratio: f64,
}

/// A frame that the scatter is judged by.
#[derive(Debug, Clone, Copy)]
struct Seen {
    /// Stated setting, dioptres.
    at: f64,
    /// Standard uncertainty of it by rounding, dioptres.
    rounding: f64,
    /// Separation of the targets, px.
    separation: Measured,
}

impl Scatter {
    /// Standard deviation at a setting, dioptres.
    pub(super) fn at(self, setting: f64) -> f64 {
        self.even.hypot(self.ratio * setting)
    }

    /// The scatter of the settings, dioptres, that are known of some frames, rounded to `rounding_u`, by the separations of the
    /// frames' targets, px; `None` where rounding and the noise explain it, or the separation changes too little to tell.
    ///
    /// The separation runs smoothly over the true settings, so its scatter about a smooth curve over the stated ones, beyond its own
    /// noise and divided by the slope, is theirs. Its noise, and what a bend of the lens adds to it where frames are few, shows from
    /// frame to frame, where nothing is stated. The variance is the mean of those that were tried, each by its likelihood.
    pub(super) fn of(
        known: &[Option<f64>],
        rounding_u: &dyn Fn(f64) -> f64,
        separations: &[Option<Measured>],
    ) -> Option<Self> {
        let both = known.iter().zip(separations);
        let mut seen: Vec<Seen> = both
            .filter_map(|(&setting, &separation)| {
                let (at, separation) = (setting.filter(|at| *at > 0.0)?, separation?);
                Some(Seen {
                    at,
                    rounding: rounding_u(at),
                    separation,
                })
            })
            .collect();
        seen.sort_by(|a, b| a.at.total_cmp(&b.at));
        let nearest = seen.last()?.at;
        let slopes = slopes(&seen)?;
        let (none, noise_factor) = unlikely(&seen, &slopes, |_| 0.0)?;
        if noise_factor <= 1.0 {
            return None;
        }
        let tried = SHARES.flat_map(|power| {
            let share = 2_f64.powf(f64::from(power) / 2.0);
            let even = Self {
                even: share * nearest,
                ratio: 0.0,
            };
            let ratio = Self {
                even: 0.0,
                ratio: share,
            };
            [even, ratio]
        });
        let likelihood = |one: Self| Some((one, unlikely(&seen, &slopes, |at| one.at(at))?.0));
        let tried: Vec<(Self, f64)> = tried.filter_map(likelihood).collect();
        let least = tried
            .iter()
            .map(|(_, unlikely)| *unlikely)
            .reduce(f64::min)?;
        if none - least < SHOWS {
            return None;
        }
        let weight = |unlikely: f64| (-0.5 * (unlikely - least)).exp();
        let total: f64 = tried.iter().map(|(_, unlikely)| weight(*unlikely)).sum();
        let mean = |of: fn(&Self) -> f64| {
            let squares = tried
                .iter()
                .map(|(one, unlikely)| weight(*unlikely) * of(one).powi(2));
            (squares.sum::<f64>() / total).sqrt()
        };
        Some(Self {
            even: mean(|one| one.even),
            ratio: mean(|one| one.ratio),
        })
    }
}

/// Separations, px, with the noise that they show along the frames' places, and with it what a curve through few frames misses of a bend;
/// never less than is stated.
pub(super) fn with_noise_shown(
    separations: &[Option<Measured>],
    places: &Places,
) -> Vec<Option<Measured>> {
    let noise = noise_over_stated(separations, places);
    let wider = |seen: Measured| Measured::new(seen.value, noise * seen.std_error.max(LEAST_U_PX));
    separations.iter().map(|seen| seen.map(wider)).collect()
}

fn noise_over_stated(separations: &[Option<Measured>], places: &Places) -> f64 {
    let frames = separations.iter().enumerate();
    let points: Vec<_> = frames
        .filter_map(|(frame, separation)| {
            let separation = (*separation)?;
            let u = separation.std_error.max(LEAST_U_PX);
            Some((places.pace(frame), separation.value, u))
        })
        .collect();
    let most = if places.are_uneven() {
        MOST_NOISE
    } else {
        f64::INFINITY
    };
    Smooth::stiff(&points).map_or(1.0, |curve| curve.noise_factor.clamp(1.0, most))
}

/// Change of the separation with the setting at each frame, px a dioptre; `None` where there are too few frames or settings.
fn slopes(seen: &[Seen]) -> Option<Vec<f64>> {
    let range = seen.last()?.at - seen.first()?.at;
    let rises = |two: &&[Seen]| two[1].at > two[0].at;
    let different = 1 + seen.windows(2).filter(rises).count();
    if seen.len() < FEWEST_JUDGED || different < FEWEST_SETTINGS {
        return None;
    }
    let values = || seen.iter().map(|one| one.separation.value);
    let change = values().fold(f64::MIN, f64::max) - values().fold(f64::MAX, f64::min);
    let points = points(seen, &vec![change / range; seen.len()], |at| USUAL * at);
    let curve = Smooth::stiff(&points)?;
    let half = range / seen.len() as f64;
    let rise = |at: f64| curve.predict(at + half).0 - curve.predict(at - half).0;
    Some(seen.iter().map(|one| rise(one.at) / (2.0 * half)).collect())
}

/// The frames as points of a curve over the stated settings that scatter so.
fn points(seen: &[Seen], slopes: &[f64], scatter: impl Fn(f64) -> f64) -> Vec<(f64, f64, f64)> {
    let point = |(one, slope): (&Seen, &f64)| {
        let beside = slope * one.rounding.hypot(scatter(one.at));
        let u = one.separation.std_error.hypot(beside);
        (one.at, one.separation.value, u)
    };
    seen.iter().zip(slopes).map(point).collect()
}

/// −2 log likelihood of settings that scatter so, and how much more the separations scatter then than they should.
fn unlikely(seen: &[Seen], slopes: &[f64], scatter: impl Fn(f64) -> f64) -> Option<(f64, f64)> {
    let points = points(seen, slopes, scatter);
    let weights: f64 = points.iter().map(|point| 2.0 * point.2.ln()).sum();
    let curve = Smooth::stiff(&points)?;
    let unlikely = weights + curve.unlikely_where_noise_is_believed(NOISE_BELIEF);
    Some((unlikely, curve.noise_factor))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::fitting::smooth::tests::normal;
    use rand::SeedableRng;

    /// Noise of the separations, px.
    const NOISE: f64 = 0.01;

    /// The scatter of settings from 2.5 dioptres to nearly 0, each stated as `stated` says, over a lens whose separation changes by
    /// `breathes` px over the range; noise as it is stated.
    fn of(frames: u32, breathes: f64, seed: u64, stated: &dyn Fn(f64) -> f64) -> Option<Scatter> {
        let parabola = |d: f64| breathes * (0.48 * d - 0.032 * d * d);
        of_lens(frames, &parabola, seed, stated)
    }

    /// The same of a lens whose separation changes so, px, with the setting.
    fn of_lens(
        frames: u32,
        lens: &dyn Fn(f64) -> f64,
        seed: u64,
        stated: &dyn Fn(f64) -> f64,
    ) -> Option<Scatter> {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let truth = (0..frames).map(|i| 2.55 - 2.5 * f64::from(i) / f64::from(frames - 1));
        let (known, separations): (Vec<_>, Vec<_>) = truth
            .map(|d| {
                let separation = 1200.0 + lens(d) + NOISE * normal(&mut random);
                (Some(stated(d)), Some(Measured::new(separation, NOISE)))
            })
            .unzip();
        let places = Places::in_order(known.len());
        Scatter::of(&known, &|_| 0.0, &with_noise_shown(&separations, &places))
    }

    fn in_ratio(step: f64) -> impl Fn(f64) -> f64 {
        move |d| ((d.ln() / step).round() * step).exp()
    }

    fn evenly(step: f64) -> impl Fn(f64) -> f64 {
        move |d| ((d / step).round() * step).max(1e-3)
    }

    /// A step leaves step/√12 of it open. The standard deviation of 25 draws from a rectangle comes out to 9 %, a factor 1.5 is five
    /// of that; few frames tell it to a factor 2.
    #[test]
    fn steps_are_in_the_uncertainty() {
        for (frames, factor) in [(26, 1.5), (10, 2.0)] {
            for step in [0.05, 0.1, 0.2] {
                for near in [2.0, 1.0] {
                    let due = near * step / 12_f64.sqrt();
                    let found = of(frames, 45.0, 1, &in_ratio(step))
                        .expect("coarse")
                        .at(near);
                    let over = found / due;
                    assert!(
                        (1.0 / factor..factor).contains(&over),
                        "{frames} {step}: {over}"
                    );
                }
            }
        }
    }

    /// Steps even in dioptres leave the same open at every distance.
    #[test]
    fn even_steps_are_told_from_those_of_a_ratio() {
        let step = 0.07;
        let found = of(26, 45.0, 2, &evenly(step)).expect("coarse");
        for at in [2.2, 0.5] {
            let over = found.at(at) / (step / 12_f64.sqrt());
            assert!((0.67..1.5).contains(&over), "{at}: {over}");
        }
    }

    /// Exact settings of lenses that breathe much, little and not at all, over few and many frames: of 120 sweeps chance shows a scatter
    /// in less than one of a hundred.
    #[test]
    fn exact_settings_have_no_scatter() {
        let exact = |d: f64| d;
        let shown = |frames: u32, breathes: f64| {
            let sweeps = 0..10;
            sweeps
                .filter(|seed| of(frames, breathes, *seed, &exact).is_some())
                .count()
        };
        let all = [8, 14, 26].map(|frames| [45.0, 1.0, 0.05, 0.0].map(|px| shown(frames, px)));
        assert!(all.as_flattened().iter().sum::<usize>() <= 2, "{all:?}");
    }

    /// A bend that few frames can't follow is the lens's, not the distances': one that levels off near, one that turns in the middle.
    #[test]
    fn a_bent_curve_is_no_scatter() {
        let exact = |d: f64| d;
        let levels: &dyn Fn(f64) -> f64 = &|d| 40.0 * (1.0 - (-2.0 * d).exp());
        let turns: &dyn Fn(f64) -> f64 = &|d| 20.0 * (3.0 * (d - 1.25)).tanh();
        for lens in [levels, turns] {
            for frames in [8, 9, 10, 12, 14, 20, 26] {
                let shown = (0..5).filter(|seed| of_lens(frames, lens, *seed, &exact).is_some());
                assert!(shown.count() <= 1, "{frames}");
            }
        }
    }

    /// A lens that does not breathe tells nothing of how its distances are stated.
    #[test]
    fn a_flat_lens_tells_nothing() {
        assert_eq!(of(26, 0.0, 3, &in_ratio(0.1)), None);
    }
}
