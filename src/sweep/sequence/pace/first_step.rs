//! A first step that is longer or shorter than the others: a hand that starts beyond the mark, a motor that starts from its stop.

use super::super::places::{Places, SPEAK_AGAINST};
use super::super::unseen::known_moments;
use super::Series;
use crate::sweep::fitting::smooth::{self, Smooth};

/// How many lengths of the step are tried.
const TRIALS: u32 = 20;
/// Fewest frames before the sharpest one whose blur shows how it grows.
const FEWEST: usize = 4;
/// Shortest and longest step that is believed, in steps of the others (our choice).
const LENGTHS: (f64, f64) = (0.3, 3.0);
/// How often the span between them is halved: to far less than the blur tells.
const HALVINGS: u32 = 30;
/// By what share a step has to differ from the others to be another (our choice).
const DIFFERS: f64 = 0.05;
/// By what share of itself the blur may misjudge a step beside its own uncertainty: it grows linearly with the dioptres for an ideal
/// pupil only (our choice).
const LENGTH_SHARE: f64 = 0.05;
/// Slack of a length, in steps of the others, from which the blur says nothing of it (our choice).
const MOST_SLACK: f64 = 0.2;

/// Even steps but for the first one, which is as long as the blur says and as the separations are smoothest. `None` where the
/// blur says nothing of it, or even steps do as well.
pub(super) fn other_first_step(
    places: &Places,
    separations: &Series,
    moments: &Series,
) -> Option<Vec<f64>> {
    let (known, sharpest) = known_moments(moments)?;
    let (first, second) = (known.first()?.0, known.get(1)?.0);
    if sharpest <= FEWEST || separations.iter().position(Option::is_some)? != first {
        return None;
    }
    let sharp = known[sharpest].1;
    let blur = |k: usize| -> Option<(f64, f64)> {
        let (_, u) = moments[known[k].0]?;
        let size = (known[k].1 - sharp).max(0.0).sqrt();
        (size > 0.0).then(|| (size, u / (2.0 * size)))
    };
    let others: Option<Vec<(f64, f64, f64)>> = (1..sharpest)
        .map(|k| blur(k).map(|(size, u)| (places.at(known[k].0), size, u)))
        .collect();
    let own = places.apart(first, second);
    let begin = places.at(second);
    let curve = Smooth::reaching(&others?, begin - LENGTHS.1 * own)?;
    // The length at which the blur of the others, going on as it grows, is that of the first frame.
    let (size, u_size) = blur(0)?;
    let blurred = |length: f64| curve.predict(begin - length * own).0;
    let (mut low, mut high) = LENGTHS;
    if blurred(low) >= size || blurred(high) < size {
        return None;
    }
    for _ in 0..HALVINGS {
        let middle = (low + high) / 2.0;
        if blurred(middle) < size {
            low = middle;
        } else {
            high = middle;
        }
    }
    let length = (low + high) / 2.0;
    let per_step = 2.0 * (blurred(length + 0.25) - blurred(length - 0.25));
    let u_length = curve.predict(begin - length * own).1.hypot(u_size) / per_step;
    let slack = (2.0 * u_length).hypot(LENGTH_SHARE * length);
    if !(per_step > 0.0 && slack < MOST_SLACK && (length - 1.0).abs() > DIFFERS) {
        return None;
    }
    let unlikely = |at: &[f64]| smooth::unlikely(separations, &|frame| at[frame]);
    let even: Vec<f64> = (0..separations.len()).map(|k| places.at(k)).collect();
    let with = |length: f64| {
        let mut at = even.clone();
        for place in &mut at[..=first] {
            *place -= own * (length - 1.0);
        }
        at
    };
    let trials = (0..=TRIALS).map(|k| {
        let share = 2.0 * f64::from(k) / f64::from(TRIALS) - 1.0;
        let at = with(length + slack * share);
        Some((unlikely(&at)?, at))
    });
    let (best, at) = trials.flatten().min_by(|a, b| a.0.total_cmp(&b.0))?;
    (unlikely(&even)? - best > SPEAK_AGAINST).then_some(at)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sixteen settings, dioptres: even steps, the first one so many times as long.
    fn run(first: f64) -> Vec<f64> {
        let mut run: Vec<f64> = (0..16).map(|k| 2.25 - 0.15 * f64::from(k)).collect();
        run[0] += 0.15 * (first - 1.0);
        run
    }

    fn separations(dioptres: &[f64]) -> Vec<Option<(f64, f64)>> {
        let noise = [0.01, -0.02, 0.005, 0.015, -0.01, -0.005];
        let of = |d: f64| 1500.0 + 18.0 * d + 2.0 * d * d;
        let frames = dioptres.iter().enumerate();
        frames
            .map(|(k, d)| Some((of(*d) + noise[k % 6], 0.012)))
            .collect()
    }

    fn moments(dioptres: &[f64]) -> Vec<Option<(f64, f64)>> {
        let of = |d: &f64| 40.0 + (30.0 * (d - 0.55)).powi(2);
        dioptres
            .iter()
            .map(|d| Some((of(d), 3e-4 * of(d))))
            .collect()
    }

    /// A first step half as long again, or half as long, is seen, and the others stay.
    #[test]
    fn another_first_step_is_seen_in_blur_and_separation() {
        let places = Places::in_order(16);
        for first in [0.6, 1.15, 1.3, 1.5] {
            let run = run(first);
            let at = other_first_step(&places, &separations(&run), &moments(&run))
                .expect("another first step");
            assert!((at[1] - at[0] - first).abs() < 0.06, "{first}: {at:?}");
            assert!((1..16).all(|k| (at[k] - places.at(k)).abs() < 1e-9));
        }
    }

    /// Something else in the first frame, which has the blur of even steps or one that says otherwise, is no step.
    #[test]
    fn another_target_is_no_step() {
        let places = Places::in_order(16);
        let even = run(1.0);
        let moments_of = [moments(&even), moments(&run(0.7)), moments(&run(1.3))];
        for (moments, px) in moments_of.iter().zip([1.5, 4.0, -2.0]) {
            let mut separations = separations(&even);
            separations[0] = separations[0].map(|(value, u)| (value + px, u));
            assert_eq!(other_first_step(&places, &separations, moments), None);
        }
        assert_eq!(
            other_first_step(&places, &separations(&even), &moments(&even)),
            None
        );
    }
}
