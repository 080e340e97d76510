//! One sweep from its files to its verdict, step by step.

use super::evidence::{Evidence, Standing};
use super::facts::Facts;
use super::hanging::{self, Lie};
use super::sequence::runs::Runs;
use super::sorting::order;
use super::tracking::look::{self, Load};
use super::tracking::pick::Found;
use super::tracking::separation;
use super::verdict::{self, budget, infinity};
use super::{FrameInfo, FrameResult, FrameState, SweepMeasurement, SweepSettings};
use super::{findings, search};
use crate::units::Metres;

/// Measures one sweep. `load` gives the picture of the frame with this index in `frames`; it may be asked more than once
/// and from several threads. `progress` hears how many frames are done and how many there are.
#[must_use]
pub fn measure(
    name: &str,
    frames: &[FrameInfo],
    load: Load<'_>,
    settings: &SweepSettings,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> SweepMeasurement {
    measure_runs(name, frames, load, settings, progress).0
}

/// The same with the runs through the focus that were found, as indices in the order of shooting: more than one where several
/// brackets were shot one after the other without a pause (`Code::SeveralRuns`), which can be measured each by itself then; one
/// where no more were found, or none that can be told apart.
#[must_use]
pub fn measure_runs(
    name: &str,
    frames: &[FrameInfo],
    load: Load<'_>,
    settings: &SweepSettings,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> (SweepMeasurement, Vec<Vec<usize>>) {
    let total = frames.len();
    let measured = |load: Load<'_>, settings: &SweepSettings, lie: Lie| {
        let places_of = |index: usize| settings.pointed_at.get(&frames[index].file).cloned();
        let look = |indices: &[usize]| {
            look::at_all(indices, load, &places_of, &|done| progress(done, total))
        };
        measure_seen(name, frames, &look, load, settings, lie)
    };
    let (mut measurement, mut runs) = measured(load, settings, Lie::SideBySide);
    if hanging::hang(&measurement.frames) {
        let turned = |index: usize| load(index).map(|plane| plane.transposed());
        let settings = hanging::settings(settings);
        (measurement, runs) = measured(&turned, &settings, Lie::OneAboveTheOther);
        hanging::put_back(&mut measurement);
    }
    progress(total, total);
    (measurement, runs)
}

/// The same from what is seen in the frames at some indices, where the targets lie side by side, or the pictures have rows for columns.
fn measure_seen(
    name: &str,
    frames: &[FrameInfo],
    look: search::Look<'_>,
    load: Load<'_>,
    settings: &SweepSettings,
    lie: Lie,
) -> (SweepMeasurement, Vec<Vec<usize>>) {
    let by_files = order::by_files(frames, settings.order);
    let mut sequence = by_files.clone();
    let search = search::find(frames, &mut sequence, look, load, settings);
    let runs = Runs::parted(search.runs.as_ref(), &by_files);
    let mut results = frame_results(frames, &sequence, search.found, settings);
    let first = results.first().map(|frame| &frame.info);
    let facts = Facts::of(first, settings, search.size);
    let standing = Standing {
        lie,
        places: search.places,
        size_px: search.size,
        restored: search.restored,
        runs: search.runs.as_ref().map(|runs| runs.named(frames)),
    };
    let mut evidence = Evidence::gather(&mut results, standing, &facts, settings);
    let closest_focus = settings.closest_focus.or_else(|| {
        let nearest = results.first().and_then(|frame| frame.focus_dioptres)?;
        Metres::new(1.0 / nearest.value).ok()
    });
    let setting = budget::Setting {
        focal_mm: facts.focal_mm,
        closest_mm: closest_focus.map(|d| 1000.0 * d.m()),
        target_mm: settings.target_distance.map(|d| 1000.0 * d.m()),
    };
    let mut summary = verdict::conclude(&mut results, &evidence, setting);
    evidence.shortfall = summary.as_mut().and_then(|summary| {
        let seen = infinity::Seen::of(&evidence, &facts);
        infinity::assess(&results, summary, settings, &seen)
    });
    let first = results.first().map(|frame| &frame.info);
    let mut measurement = SweepMeasurement {
        name: name.to_owned(),
        focal_length: settings
            .focal_length
            .or_else(|| first.and_then(|info| info.focal_length)),
        f_number: settings
            .f_number
            .or_else(|| first.and_then(|info| info.f_number)),
        camera: settings
            .camera
            .clone()
            .or_else(|| first.and_then(|info| info.camera.clone())),
        lens: first.and_then(|info| info.lens.clone()),
        captured_at: first.and_then(|info| info.captured_at),
        picture_size_px: evidence.standing.size_px,
        frames: results,
        summary,
        distance_source: evidence.distance_source,
        closest_focus,
        findings: Vec::new(),
    };
    findings::raise(&mut measurement, settings, &evidence);
    (measurement, runs)
}

fn frame_results(
    frames: &[FrameInfo],
    sequence: &[usize],
    found: Vec<(usize, Option<Found>)>,
    settings: &SweepSettings,
) -> Vec<FrameResult> {
    let last = (sequence.len().max(2) - 1) as f64;
    let mut results: Vec<FrameResult> = found
        .into_iter()
        .enumerate()
        .map(|(place, (index, found))| {
            let info = frames[index].clone();
            let (state, targets) = match found {
                Some(Ok(targets)) => (FrameState::Measured, targets),
                Some(Err(why)) => (FrameState::Failed(why), Vec::new()),
                None => {
                    let reason = settings.left_out.get(&info.file).cloned();
                    (FrameState::LeftOut(reason.unwrap_or_default()), Vec::new())
                }
            };
            FrameResult {
                info,
                state,
                travel: place as f64 / last,
                focus_dioptres: None,
                separation_px: None,
                shift_pct: None,
                blur_px: vec![None; targets.len()],
                targets,
            }
        })
        .collect();
    separation::by_targets(&mut results);
    results
}

#[cfg(test)]
mod tests;
