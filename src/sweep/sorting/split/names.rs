//! What the sweeps of a card are called.

use crate::sweep::sequence::places::median;

use super::{FrameInfo, SweepGroup, by_name, place};

/// Names the sweeps: folder (or source), with lens and focal length where several share it, numbered where repeated.
pub(super) fn name_all(
    frames: &[FrameInfo],
    source_name: &str,
    sweeps: Vec<Vec<usize>>,
) -> Vec<SweepGroup> {
    let first = |sweep: &[usize]| &frames[sweep[0]];
    let names: Vec<String> = sweeps
        .iter()
        .map(|sweep| {
            let own = first(sweep);
            let beside: Vec<&FrameInfo> = sweeps
                .iter()
                .map(|other| first(other))
                .filter(|other| place(other) == place(own))
                .collect();
            let folder = place(own).rsplit('/').find(|part| !part.is_empty());
            let mut name = folder
                .filter(|folder| !folder.eq_ignore_ascii_case("DCIM"))
                .unwrap_or(source_name)
                .to_owned();
            if let Some(lens) = &own.lens
                && beside.iter().any(|other| other.lens != own.lens)
            {
                name = format!("{name} {lens}");
            }
            match median_focal_mm(frames, sweep) {
                Some(mm) if beside.len() > 1 => {
                    format!("{name} {} mm", (mm * 10.0).round() / 10.0)
                }
                _ => name,
            }
        })
        .collect();
    let mut groups: Vec<SweepGroup> = sweeps
        .into_iter()
        .enumerate()
        .map(|(at, mut frames_of)| {
            let before = names[..at]
                .iter()
                .filter(|name| **name == names[at])
                .count();
            let name = match before {
                0 => names[at].clone(),
                before => format!("{} ({})", names[at], before + 1),
            };
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
    let stated = sweep
        .iter()
        .filter_map(|&index| frames[index].focal_length.map(|f| f.mm()));
    median(stated.collect())
}
