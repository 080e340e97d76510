//! Sorting a card into sweeps.

use super::order::{by_name, by_time, file_number, seconds};
use super::{FrameInfo, SweepGroup};

/// Marked focal lengths this close are the same setting, as a fraction: cameras report a zoom ring that rests on its
/// mark to about 1 %, marks of a zoom are at least 10 % apart (common practice, no source).
const SAME_FOCAL: f64 = 0.04;
/// A pause this many times the usual interval between frames begins a new sweep …
const PAUSE_FACTOR: f64 = 8.0;
/// … when it is also at least this long, s: a bracket's own frames can be a second or two apart.
const PAUSE_AT_LEAST_S: f64 = 15.0;
/// A jump of the file number by more than this begins a new sweep.
const NUMBER_GAP: u64 = 20;
/// A focus distance that comes back by more than this many dioptres begins a new sweep.
const REFOCUS_DIOPTRES: f64 = 0.5;

/// See `sweep::split`.
pub(super) fn split(frames: &[FrameInfo], source_name: &str) -> Vec<SweepGroup> {
    let mut shoots: Vec<Vec<usize>> = Vec::new();
    let mut sorted: Vec<usize> = (0..frames.len()).collect();
    sorted.sort_by(|&a, &b| by_name(&frames[a], &frames[b]));
    for index in sorted {
        let frame = &frames[index];
        let shoot = shoots.iter_mut().find(|shoot| {
            let first = &frames[shoot[0]];
            first.folder == frame.folder && first.camera == frame.camera && first.lens == frame.lens
        });
        match shoot {
            Some(shoot) => shoot.push(index),
            None => shoots.push(vec![index]),
        }
    }
    let mut sweeps: Vec<Vec<usize>> = Vec::new();
    for shoot in shoots {
        for setting in by_focal_length(frames, shoot) {
            sweeps.extend(by_pauses(frames, setting));
        }
    }
    name_all(frames, source_name, sweeps)
}

/// Parts a shoot by focal length: sorted, a new setting begins where the step is more than `SAME_FOCAL`. Frames that
/// state none stay together, or with the only setting there is.
fn by_focal_length(frames: &[FrameInfo], shoot: Vec<usize>) -> Vec<Vec<usize>> {
    let focal = |index: usize| frames[index].focal_length.map(|f| f.mm());
    let mut known: Vec<usize> = shoot
        .iter()
        .copied()
        .filter(|&index| focal(index).is_some())
        .collect();
    let unknown: Vec<usize> = shoot
        .into_iter()
        .filter(|&index| focal(index).is_none())
        .collect();
    known.sort_by(|&a, &b| {
        let (fa, fb) = (focal(a).unwrap_or_default(), focal(b).unwrap_or_default());
        fa.total_cmp(&fb)
    });
    let mut settings: Vec<Vec<usize>> = Vec::new();
    let mut last = None;
    for index in known {
        let here = focal(index).unwrap_or_default();
        let same = last.is_some_and(|before: f64| here <= before * (1.0 + SAME_FOCAL));
        match settings.last_mut() {
            Some(setting) if same => setting.push(index),
            _ => settings.push(vec![index]),
        }
        last = Some(here);
    }
    match (settings.as_mut_slice(), unknown.is_empty()) {
        (_, true) => {}
        ([only], false) => only.extend(unknown),
        (_, false) => settings.push(unknown),
    }
    settings
}

/// Parts the frames of one setting where the shooting paused, the file number jumped or the focus went back to near.
fn by_pauses(frames: &[FrameInfo], mut setting: Vec<usize>) -> Vec<Vec<usize>> {
    let timed = setting
        .iter()
        .all(|&index| frames[index].captured_at.is_some());
    setting.sort_by(|&a, &b| {
        let time = if timed {
            by_time(&frames[a], &frames[b])
        } else {
            std::cmp::Ordering::Equal
        };
        time.then_with(|| by_name(&frames[a], &frames[b]))
    });
    let mut intervals: Vec<f64> = setting
        .windows(2)
        .filter_map(|pair| interval_s(&frames[pair[0]], &frames[pair[1]]))
        .collect();
    intervals.sort_by(f64::total_cmp);
    let usual_s = intervals.get(intervals.len() / 2).copied().unwrap_or(0.0);
    let mut sweeps: Vec<Vec<usize>> = Vec::new();
    for index in setting {
        let goes_on = sweeps
            .last()
            .and_then(|sweep| sweep.last())
            .is_some_and(|&before| !paused(&frames[before], &frames[index], usual_s));
        match sweeps.last_mut() {
            Some(sweep) if goes_on => sweep.push(index),
            _ => sweeps.push(vec![index]),
        }
    }
    sweeps
}

/// Seconds between two frames, where both have a time.
fn interval_s(a: &FrameInfo, b: &FrameInfo) -> Option<f64> {
    Some(seconds(&b.captured_at?) - seconds(&a.captured_at?))
}

/// Whether a new sweep begins between two frames that follow one another.
fn paused(before: &FrameInfo, after: &FrameInfo, usual_s: f64) -> bool {
    let long = interval_s(before, after)
        .is_some_and(|s| s.abs() > PAUSE_AT_LEAST_S.max(PAUSE_FACTOR * usual_s));
    let jumped = match (file_number(&before.file), file_number(&after.file)) {
        (Some(a), Some(b)) => b.abs_diff(a) > NUMBER_GAP,
        _ => false,
    };
    let refocused = match (before.focus_distance, after.focus_distance) {
        (Some(a), Some(b)) => b.dioptres() - a.dioptres() > REFOCUS_DIOPTRES,
        _ => false,
    };
    long || refocused || (jumped && interval_s(before, after).is_none())
}

/// Names the sweeps: folder (or source), with focal length where several settings share it, numbered where repeated.
fn name_all(frames: &[FrameInfo], source_name: &str, sweeps: Vec<Vec<usize>>) -> Vec<SweepGroup> {
    let base = |sweep: &[usize]| {
        let folder = frames[sweep[0]].folder.as_str();
        let last = folder.rsplit('/').find(|part| !part.is_empty());
        last.unwrap_or(source_name).to_owned()
    };
    let full = |sweep: &[usize]| {
        let base = base(sweep);
        let shared = sweeps
            .iter()
            .filter(|other| frames[other[0]].folder == frames[sweep[0]].folder)
            .count()
            > 1;
        match median_focal_mm(frames, sweep) {
            Some(mm) if shared => format!("{base} {} mm", (mm * 10.0).round() / 10.0),
            _ => base,
        }
    };
    let names: Vec<String> = sweeps.iter().map(|sweep| full(sweep)).collect();
    let numbered = names.iter().enumerate().map(|(at, name)| {
        let before = names[..at].iter().filter(|other| *other == name).count();
        if before == 0 {
            name.clone()
        } else {
            format!("{name} ({})", before + 1)
        }
    });
    let numbered: Vec<String> = numbered.collect();
    let mut groups: Vec<SweepGroup> = numbered
        .into_iter()
        .zip(sweeps)
        .map(|(name, mut frames_of)| {
            frames_of.sort_by(|&a, &b| by_name(&frames[a], &frames[b]));
            SweepGroup {
                name,
                frames: frames_of,
            }
        })
        .collect();
    groups.sort_by(|a, b| natord::compare_ignore_case(&a.name, &b.name));
    groups
}

/// The middle one of the focal lengths that the files of a sweep state, mm.
fn median_focal_mm(frames: &[FrameInfo], sweep: &[usize]) -> Option<f64> {
    let mut stated: Vec<f64> = sweep
        .iter()
        .filter_map(|&index| frames[index].focal_length.map(|f| f.mm()))
        .collect();
    stated.sort_by(f64::total_cmp);
    stated.get(stated.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Millimetres;

    fn zoom(folder: &str) -> Vec<FrameInfo> {
        let mut frames = Vec::new();
        for mm in [28.0, 35.0, 50.0, 75.0, 100.0, 135.0] {
            for _ in 0..6 {
                frames.push(FrameInfo {
                    file: format!("SWP_{:04}.JPG", frames.len() + 1),
                    folder: folder.to_owned(),
                    focal_length: Millimetres::new(mm).ok(),
                    ..FrameInfo::default()
                });
            }
        }
        frames
    }

    #[test]
    fn a_folder_of_six_focal_lengths_is_six_sweeps() {
        let names: Vec<String> = split(&zoom(""), "zoom")
            .into_iter()
            .map(|group| {
                assert_eq!(group.frames.len(), 6);
                group.name
            })
            .collect();
        assert_eq!(
            names,
            [
                "zoom 28 mm",
                "zoom 35 mm",
                "zoom 50 mm",
                "zoom 75 mm",
                "zoom 100 mm",
                "zoom 135 mm"
            ]
        );
    }

    #[test]
    fn one_frame_is_a_group_and_no_frame_is_none() {
        assert!(split(&[], "card").is_empty());
        let groups = split(&zoom("a/b")[..1], "card");
        assert_eq!(groups[0].name, "b");
    }
}
