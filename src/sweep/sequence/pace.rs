//! How fast the focus runs through the frames: the axis along which the separation is smooth.
//!
//! A bracket of the camera's own moves the lens by even steps, and the order of its frames is such an axis. A hand that
//! goes from mark to mark does not, nor does a bracket that arrives at infinity before it ends: along their order the
//! separation has bends that no lens made, and a curve through them would take them for noise. Stated distances, or else
//! the blur of the targets, show how far the focus went between frames; both count in dioptres, up to a linear map.

mod first_step;
mod last_step;
mod uneven_steps;

use first_step::other_first_step;
use last_step::long_last_step;

use super::places::{Places, SPEAK_AGAINST};
use super::unseen::known_moments;
use crate::sweep::fitting::smooth::{Series, Smooth, of_frames};

/// Part of the largest blur below which its size says nothing of the place: its root is all noise there.
const SHARP_PART: f64 = 0.03;
/// How far below the least second moment the sharp targets' own may lie, in rises from the sharpest frame to the next.
const DEEPEST: f64 = 0.5;
/// How many second moments of the sharp targets are tried below the least.
const TRIALS: u32 = 10;
/// Fewest frames that can show an axis.
const FEWEST: usize = 5;

/// Places of the frames by how far the focus went, if the separations are so much smoother along them than along `places`
/// that it is no chance; `places` themselves, if all that can be shown is that the frames don't stand evenly. They never fall.
/// `dioptres` are the stated settings.
/// `ends_are_sound` says of the first and the last frame whether it shows the same targets as the one beside it by all that focus does
/// not change.
#[must_use]
pub(in crate::sweep) fn of(
    places: &Places,
    dioptres: &[Option<f64>],
    separations: &Series,
    moments: &Series,
    ends_are_sound: [bool; 2],
) -> Option<Vec<f64>> {
    let [first_is_sound, last_is_sound] = ends_are_sound;
    let paced = match by_distance(dioptres) {
        Some(run) => smoothest(&[run], places, separations).map(|found| found.pace),
        None => along_blur(places, separations, moments, last_is_sound)
            .or_else(|| {
                last_is_sound
                    .then(|| long_last_step(places, separations, moments))
                    .flatten()
            })
            .or_else(|| {
                first_is_sound
                    .then(|| other_first_step(places, separations, moments))
                    .flatten()
            }),
    };
    paced.or_else(|| {
        let mut believed = separations.to_vec();
        if let Some(last) = separations.iter().rposition(Option::is_some)
            && !last_is_sound
        {
            believed[last] = None;
        }
        uneven_steps::show(places, &believed, moments).then(|| {
            (0..separations.len())
                .map(|frame| places.at(frame))
                .collect()
        })
    })
}

/// The same by the blur of all frames.
fn along_blur(
    places: &Places,
    separations: &Series,
    moments: &Series,
    last_is_sound: bool,
) -> Option<Vec<f64>> {
    let runs = by_blur(moments);
    let found = smoothest(&runs, places, separations)?;
    // A frame in which something else was measured has another blur too: what one frame explains is no pace. But a last
    // frame that is set to infinity by hand is a long step off, and sound where it shows the same targets.
    let last = separations.iter().rposition(Option::is_some);
    if !(last_is_sound && last == Some(found.roughest)) {
        let mut without = separations.to_vec();
        without[found.roughest] = None;
        smoothest(&runs, places, &without)?;
    }
    Some(with_sharpest(found, separations))
}

/// How many places between its neighbours are tried for a frame whose own is open.
const TRIED: u32 = 40;
/// By how many standard uncertainties of its separation the curve has to change between the neighbours to show the place.
const SHOWS: f64 = 6.0;

/// The pace with the frames that the blur leaves open, because they are sharp, at the place between their neighbours where
/// the curve through all others has their separation: a hand's step may be long or short there as elsewhere.
fn with_sharpest(found: Smoother, separations: &Series) -> Vec<f64> {
    let Smoother { mut pace, open, .. } = found;
    let known: Vec<(f64, f64, f64)> = (0..pace.len())
        .filter(|&frame| !open[frame])
        .filter_map(|frame| separations[frame].map(|(value, u)| (pace[frame], value, u)))
        .collect();
    let Some(smooth) = Smooth::stiff(&known) else {
        return pace;
    };
    for frame in 1..pace.len().saturating_sub(1) {
        let Some((value, u)) = separations[frame].filter(|_| open[frame]) else {
            continue;
        };
        let next = (frame + 1..pace.len()).find(|&next| !open[next]);
        let Some(after) = next.map(|next| pace[next]) else {
            continue;
        };
        let before = pace[frame - 1];
        let along = |k: u32| before + (after - before) * f64::from(k) / f64::from(TRIED);
        let expected: Vec<f64> = (0..=TRIED).map(|k| smooth.predict(along(k)).0).collect();
        if (expected[TRIED as usize] - expected[0]).abs() < SHOWS * u {
            continue;
        }
        let own = pace[frame];
        let off = |k: u32| ((expected[k as usize] - value).abs(), (along(k) - own).abs());
        let best = (0..=TRIED).min_by(|&a, &b| {
            let (a, b) = (off(a), off(b));
            a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1))
        });
        pace[frame] = best.map_or(own, along);
    }
    pace
}

/// An axis that is clearly smoother than the order.
struct Smoother {
    pace: Vec<f64>,
    /// Frames whose place was put between others.
    open: Vec<bool>,
    /// The frame that stands out most along the order.
    roughest: usize,
}

/// The run along which the separations are smoothest, if they are so clearly.
fn smoothest(runs: &[Vec<Option<f64>>], places: &Places, separations: &Series) -> Option<Smoother> {
    let along = |at: &dyn Fn(usize) -> f64| -> Option<(Smooth, Vec<usize>)> {
        let (seen, points): (Vec<usize>, Vec<_>) = of_frames(separations, at).into_iter().unzip();
        Some((Smooth::stiff(&points)?, seen))
    };
    let (even, seen) = along(&|frame| places.at(frame))?;
    let off = |k: usize| {
        let value = separations[seen[k]].map_or(0.0, |(value, _)| value);
        even.standardised(k, value).abs()
    };
    let roughest = (0..seen.len()).max_by(|&a, &b| off(a).total_cmp(&off(b)))?;
    runs.iter()
        .filter_map(|run| {
            let pace = spread_over(run, places)?;
            let (smooth, _) = along(&|frame| pace[frame])?;
            let open = run.iter().map(Option::is_none).collect();
            Some((smooth.unlikely, pace, open))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .filter(|(unlikely, ..)| even.unlikely - unlikely > SPEAK_AGAINST)
        .map(|(_, pace, open)| Smoother {
            pace,
            open,
            roughest: seen[roughest],
        })
}

/// How far the focus went from the first frame, by stated distances; frames without one are left open.
fn by_distance(dioptres: &[Option<f64>]) -> Option<Vec<Option<f64>>> {
    let first = (*dioptres.first()?)?;
    Some(
        dioptres
            .iter()
            .map(|stated| stated.map(|d| first - d))
            .collect(),
    )
}

/// The same by the signed blur, which is linear in dioptres on both sides of the targets. No frame need be quite sharp, so
/// several second moments of the sharp targets are tried, down from the least that was seen. The sharpest frames are left
/// open.
fn by_blur(moments: &Series) -> Vec<Vec<Option<f64>>> {
    let Some((known, k)) = known_moments(moments) else {
        return Vec::new();
    };
    let (sharpest, least) = known[k];
    // A step to either side: the sharpest of even steps is off by half a step at most.
    let beside = [k.checked_sub(1), Some(k + 1)];
    let rise = beside
        .into_iter()
        .flatten()
        .filter_map(|k| known.get(k))
        .map(|other| other.1 - least)
        .fold(0.0, f64::max);
    (0..=TRIALS)
        .map(|trial| least - DEEPEST * rise * f64::from(trial) / f64::from(TRIALS))
        .map(|sharp| {
            let size = |value: f64| (value - sharp).max(0.0).sqrt();
            let largest = known.iter().map(|k| size(k.1)).fold(0.0, f64::max);
            let mut run = vec![None; moments.len()];
            for &(frame, value) in &known {
                if size(value) >= SHARP_PART * largest && frame != sharpest {
                    run[frame] = Some(if frame > sharpest {
                        size(value)
                    } else {
                        -size(value)
                    });
                }
            }
            run
        })
        .collect()
}

/// A run of the focus with its open frames filled in along `places`, stretched to their span; `None` where it says too
/// little or stands still.
fn spread_over(run: &[Option<f64>], places: &Places) -> Option<Vec<f64>> {
    // Noise of blur and of rounded distances must not turn the order round.
    let mut known: Vec<(usize, f64)> = Vec::with_capacity(run.len());
    for (frame, value) in run.iter().enumerate() {
        if let Some(value) = value {
            let reached = known.last().map_or(*value, |last| value.max(last.1));
            known.push((frame, reached));
        }
    }
    let (first, last) = (*known.first()?, *known.last()?);
    let span = places.at(last.0) - places.at(first.0);
    let scale = span / (last.1 - first.1);
    if known.len() < FEWEST || !scale.is_finite() || scale <= 0.0 {
        return None;
    }
    let pace_of = |k: usize| places.at(first.0) + scale * (known[k].1 - first.1);
    let pace = (0..run.len()).map(|frame| {
        let after = known.partition_point(|&(other, _)| other < frame);
        match (after.checked_sub(1), known.get(after)) {
            (_, Some(&(other, _))) if other == frame => pace_of(after),
            (Some(before), Some(&(other, _))) => {
                let share =
                    places.apart(known[before].0, frame) / places.apart(known[before].0, other);
                pace_of(before) + share * (pace_of(after) - pace_of(before))
            }
            // Beyond the ends by the even step.
            _ => places.at(frame),
        }
    });
    Some(pace.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Settings of a sweep in dioptres: marks set by hand; a bracket that stands at infinity for its last frames.
    const RUNS: [[f64; 12]; 2] = [
        [
            2.2, 2.0, 1.67, 1.43, 1.25, 1.0, 0.67, 0.5, 0.33, 0.2, 0.1, 0.0,
        ],
        [
            2.0, 1.75, 1.5, 1.25, 1.0, 0.75, 0.5, 0.25, 0.0, 0.0, 0.0, 0.0,
        ],
    ];

    fn separations(dioptres: &[f64]) -> Vec<Option<(f64, f64)>> {
        let noise = [0.004, -0.006, 0.003, 0.005, -0.004, -0.002];
        dioptres
            .iter()
            .enumerate()
            .map(|(k, d)| Some((1500.0 + 18.0 * d + 2.0 * d * d + noise[k % 6], 0.005)))
            .collect()
    }

    fn moments(dioptres: &[f64]) -> Vec<Option<(f64, f64)>> {
        let of = |d: &f64| 40.0 + (30.0 * (d - 0.55)).powi(2);
        dioptres
            .iter()
            .map(|d| Some((of(d), 1e-3 * of(d))))
            .collect()
    }

    #[test]
    fn distances_or_blur_show_how_the_focus_ran() {
        for run in RUNS {
            let places = Places::in_order(run.len());
            let stated: Vec<Option<f64>> = run.iter().copied().map(Some).collect();
            let nothing = vec![None; run.len()];
            for (dioptres, off) in [(&stated, 1e-9), (&nothing, 0.35)] {
                let pace = of(
                    &places,
                    dioptres,
                    &separations(&run),
                    &moments(&run),
                    [false; 2],
                )
                .expect("the order is no smooth axis");
                for (frame, d) in run.iter().enumerate() {
                    let truth = 11.0 * (run[0] - d) / run[0];
                    // By blur, the sharpest frames stand where their separation is.
                    assert!((pace[frame] - truth).abs() <= off, "{frame}: {pace:?}");
                }
                assert!(pace.windows(2).all(|pair| pair[0] <= pair[1]));
            }
        }
    }

    #[test]
    fn even_steps_keep_their_order() {
        let even: Vec<f64> = (0..12).map(|k| 2.2 - 0.2 * f64::from(k)).collect();
        let stated: Vec<Option<f64>> = even.iter().copied().map(Some).collect();
        let places = Places::in_order(12);
        assert_eq!(
            of(
                &places,
                &stated,
                &separations(&even),
                &moments(&even),
                [false; 2]
            ),
            None
        );
    }

    /// Even steps, and one three times as long to infinity: a pace where the last frame shows the same targets, else its word
    /// alone is none.
    #[test]
    fn a_long_last_step_is_believed_of_a_sound_frame() {
        let mut run: Vec<f64> = (0..11).map(|k| 1.25 - 0.1 * f64::from(k)).collect();
        run.push(0.0);
        run[10] = 0.25;
        let places = Places::in_order(run.len());
        let nothing = vec![None; run.len()];
        let (separations, moments) = (separations(&run), moments(&run));
        assert_eq!(
            of(&places, &nothing, &separations, &moments, [false, false]),
            None
        );
        let pace =
            of(&places, &nothing, &separations, &moments, [false, true]).expect("a long step");
        // 0.25 of 1.25 dioptres over eleven steps.
        assert!((pace[11] - pace[10] - 2.2).abs() < 0.1, "{pace:?}");
    }

    /// A shift so steep that the blur is too coarse an axis for it: 70 px a dioptre.
    #[test]
    fn a_long_last_step_of_a_steep_shift_is_believed_too() {
        let mut run: Vec<f64> = (0..15).map(|k| 1.25 - 0.0786 * f64::from(k)).collect();
        run.push(0.0);
        let places = Places::in_order(run.len());
        let nothing = vec![None; run.len()];
        let noise = [0.01, -0.02, 0.005, 0.015, -0.01, -0.005];
        let steep: Vec<Option<(f64, f64)>> = run
            .iter()
            .enumerate()
            .map(|(k, d)| Some((864.0 + 69.0 * d + noise[k % 6], 0.008)))
            .collect();
        // Within a few parts in ten thousand, as widths of bright targets are.
        let blurred: Vec<Option<(f64, f64)>> = moments(&run)
            .into_iter()
            .enumerate()
            .map(|(k, moment)| moment.map(|(value, u)| (value * (1.0 + 0.03 * noise[k % 6]), u)))
            .collect();
        let pace = of(&places, &nothing, &steep, &blurred, [false, true]).expect("a long step");
        let steps = (pace[15] - pace[14]) / (pace[14] - pace[13]);
        assert!((steps - 1.9).abs() < 0.15, "{pace:?}");
        assert_eq!(
            of(&places, &nothing, &steep, &blurred, [false, false]),
            None
        );
        // Taken for a gap of one whole step before.
        let opened = places.opened(14, 1);
        let pace = of(&opened, &nothing, &steep, &blurred, [false, true]).expect("no whole step");
        let steps = (pace[15] - pace[14]) / (pace[14] - pace[13]);
        assert!((steps - 1.9).abs() < 0.15, "{pace:?}");
    }

    #[test]
    fn too_little_shows_nothing() {
        let places = Places::in_order(12);
        let run = RUNS[0];
        let (nothing, unseen) = (vec![None; 12], vec![None; 12]);
        assert_eq!(
            of(
                &places,
                &nothing,
                &separations(&run),
                &unseen,
                [false, true]
            ),
            None
        );
        assert_eq!(of(&places, &nothing, &unseen, &unseen, [false, true]), None);
        let still = vec![Some(0.5); 12];
        assert_eq!(
            of(&places, &still, &separations(&run), &unseen, [false, true]),
            None
        );
    }
}
