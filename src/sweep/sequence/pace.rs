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

use super::places::{NO_WORSE, Places, SPEAK_AGAINST};
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
/// `sound` says of each frame whether it shows the same targets as one beside it by all that focus does not change; what is not said
/// is not so.
#[must_use]
pub(in crate::sweep) fn of(
    places: &Places,
    dioptres: &[Option<f64>],
    separations: &Series,
    moments: &Series,
    sound: &[bool],
) -> Option<Vec<f64>> {
    let is_sound =
        |frame: Option<usize>| frame.is_some_and(|frame| sound.get(frame) == Some(&true));
    let first_is_sound = is_sound(separations.iter().position(Option::is_some));
    let last_is_sound = is_sound(separations.iter().rposition(Option::is_some));
    let paced = match by_distance(dioptres) {
        Some(run) => smoothest(&[run], places, separations, SPEAK_AGAINST).map(|found| found.pace),
        None => along_blur(places, separations, moments, &|frame| is_sound(Some(frame)))
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
    is_sound: &dyn Fn(usize) -> bool,
) -> Option<Vec<f64>> {
    let runs = by_blur(moments);
    let found = smoothest(&runs, places, separations, SPEAK_AGAINST)?;
    // A frame in which something else was measured has another blur too: what one frame explains is no pace. But one that shows
    // the same targets may be a long step off, as a last frame that is set to infinity by hand: the others need say little then, and
    // of the last one nothing.
    let last = separations.iter().rposition(Option::is_some);
    let sound = is_sound(found.roughest);
    if !(sound && last == Some(found.roughest)) {
        let mut without = separations.to_vec();
        without[found.roughest] = None;
        let least = if sound { NO_WORSE } else { SPEAK_AGAINST };
        smoothest(&runs, places, &without, least)?;
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

/// The run along which the separations are smoothest, if they are so by more than `least`, in twice the logarithm of a likelihood
/// ratio.
fn smoothest(
    runs: &[Vec<Option<f64>>],
    places: &Places,
    separations: &Series,
    least: f64,
) -> Option<Smoother> {
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
        .filter(|(unlikely, ..)| even.unlikely - unlikely > least)
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
mod tests;
