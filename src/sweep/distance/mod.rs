//! Where each frame is focused, dioptres from the sensor plane.

pub(super) mod blur;
pub(super) mod given;
pub(super) mod known;
mod scatter;

use super::sequence::places::Places;
use super::sequence::restore;
use super::{DistanceSource, FrameInfo, SweepSettings};
use crate::units::Measured;
use blur::FromBlur;

/// The distance scale of a sweep.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct DistanceScale {
    /// Where it comes from.
    pub(super) source: DistanceSource,
    /// Focus setting of each frame in sweep order, dioptres.
    pub(super) dioptres: Vec<Option<Measured>>,
    /// Frames whose stated distance runs against the order, and was not believed.
    pub(super) aside: Vec<usize>,
}

/// Fewest frames whose distance must be known before the others' are put between them.
const FEWEST_KNOWN: usize = 2;

/// Distances that the reviewer gave, dioptres.
pub(super) fn entered(frames: &[&FrameInfo], settings: &SweepSettings) -> Vec<Option<f64>> {
    frames
        .iter()
        .map(|frame| settings.distances.get(&frame.file).map(|d| d.dioptres()))
        .collect()
}

/// Distances that the files state, dioptres.
pub(super) fn in_files(frames: &[&FrameInfo]) -> Vec<Option<f64>> {
    frames
        .iter()
        .map(|frame| frame.focus_distance.map(|d| d.dioptres()))
        .collect()
}

/// Distances that somebody states, and who does.
#[derive(Debug, Clone, PartialEq)]
struct Stated {
    source: DistanceSource,
    /// Focus setting of each frame, dioptres, as far as they hold together.
    dioptres: Vec<Option<f64>>,
    /// Frames whose distance runs against the order, and is not believed.
    aside: Vec<usize>,
}

/// The distances that are stated and count, dioptres: the reviewer's where there are enough, else the files'.
fn raw(
    frames: &[&FrameInfo],
    settings: &SweepSettings,
) -> Option<(DistanceSource, Vec<Option<f64>>)> {
    let enough = |known: &[Option<f64>]| known.iter().flatten().count() >= FEWEST_KNOWN;
    let given = entered(frames, settings);
    if enough(&given) {
        return Some((DistanceSource::Entered, given));
    }
    let files = in_files(frames);
    // A camera that writes one and the same distance into every file states nothing.
    let says_something = files
        .iter()
        .flatten()
        .any(|d| Some(*d) != files.iter().flatten().next().copied());
    (enough(&files) && says_something).then_some((DistanceSource::Exif, files))
}

/// Ratio by which cameras' coarse steps may run against the order, at most: one step of those that are common, and a half
/// (common practice, no source).
const COARSE: f64 = 1.25;

/// The same, frames being in sweep order, without what is said against that order: in a list of the reviewer's all of it, in
/// files, where cameras state coarsely, what no coarse step explains.
fn stated(frames: &[&FrameInfo], settings: &SweepSettings) -> Option<Stated> {
    let (source, mut dioptres) = raw(frames, settings)?;
    let mut aside = restore::out_of_line(&dioptres);
    if source != DistanceSource::Entered {
        let odd = beyond_coarse_steps(&dioptres, &aside);
        aside.retain(|frame| odd.contains(frame));
    }
    for &frame in &aside {
        dioptres[frame] = None;
    }
    Some(Stated {
        source,
        dioptres,
        aside,
    })
}

/// Those of some frames whose distance differs from both neighbours' that are in line by more than coarse steps do.
fn beyond_coarse_steps(dioptres: &[Option<f64>], aside: &[usize]) -> Vec<usize> {
    let in_line = |frame: &usize| dioptres[*frame].is_some() && !aside.contains(frame);
    let differs = |own: f64, frame: Option<usize>| {
        let other = frame.and_then(|frame| dioptres[frame]);
        other.is_some_and(|other| own > COARSE * other || other > COARSE * own)
    };
    let is_odd = |&frame: &usize| {
        let before = (0..frame).rev().find(in_line);
        let after = (frame + 1..dioptres.len()).find(in_line);
        dioptres[frame].is_some_and(|own| differs(own, before) && differs(own, after))
    };
    aside.iter().copied().filter(is_odd).collect()
}

/// Whether distances are stated at all.
pub(super) fn are_stated(frames: &[&FrameInfo], settings: &SweepSettings) -> bool {
    raw(frames, settings).is_some()
}

/// Stated distances, dioptres, along a sequence of indices, as they are written.
pub(super) fn written_dioptres(
    frames: &[FrameInfo],
    sequence: &[usize],
    settings: &SweepSettings,
) -> Vec<Option<f64>> {
    let infos: Vec<&FrameInfo> = sequence.iter().map(|&index| &frames[index]).collect();
    raw(&infos, settings).map_or_else(|| vec![None; sequence.len()], |(_, known)| known)
}

/// The same as far as they fit the sequence, which is the sweep's order.
pub(super) fn stated_dioptres(
    frames: &[FrameInfo],
    sequence: &[usize],
    settings: &SweepSettings,
) -> Vec<Option<f64>> {
    let infos: Vec<&FrameInfo> = sequence.iter().map(|&index| &frames[index]).collect();
    stated(&infos, settings).map_or_else(|| vec![None; sequence.len()], |stated| stated.dioptres)
}

/// The distance scale: given by the reviewer, else in the files, else from blur, else unknown. `frames` are in sweep
/// order and stand at `places`, with their separations, px.
#[must_use]
pub(super) fn choose(
    frames: &[&FrameInfo],
    settings: &SweepSettings,
    separations: &[Option<Measured>],
    estimate: Option<&FromBlur>,
    places: &Places,
) -> DistanceScale {
    if let Some(stated) = stated(frames, settings) {
        return DistanceScale {
            source: stated.source,
            dioptres: given::between(&stated.dioptres, places, separations),
            aside: stated.aside,
        };
    }
    let Some(estimate) = estimate else {
        return DistanceScale {
            source: DistanceSource::None,
            dioptres: vec![None; frames.len()],
            aside: Vec::new(),
        };
    };
    let mut known = vec![None; frames.len()];
    let mut dioptres = vec![None; frames.len()];
    for &(place, setting) in &estimate.dioptres {
        known[place] = Some(setting.value);
        dioptres[place] = Some(setting);
    }
    // Frames that could not be measured lie between the others.
    let between = given::between(&known, places, &[]);
    for (slot, between) in dioptres.iter_mut().zip(between) {
        *slot = slot.or(between);
    }
    DistanceScale {
        source: DistanceSource::Blur,
        dioptres,
        aside: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Settings from 2 dioptres to 0: one that is off by a factor is, steps back by a coarse step are not.
    #[test]
    fn a_wrong_distance_is_told_from_coarse_steps() {
        let even: Vec<Option<f64>> = (0..11).map(|k| Some(2.0 - 0.2 * f64::from(k))).collect();
        let odd = |dioptres: &[Option<f64>]| {
            beyond_coarse_steps(dioptres, &restore::out_of_line(dioptres))
        };
        assert!(odd(&even).is_empty());
        for factor in [1.6, 1.0 / 1.6] {
            let mut wrong = even.clone();
            wrong[4] = wrong[4].map(|d| factor * d);
            assert_eq!(odd(&wrong), [4], "{factor}");
        }
        let mut coarse = even;
        coarse[3] = coarse[2].map(|d| 1.05 * d);
        coarse[7] = None;
        assert!(odd(&coarse).is_empty());
    }
}
