//! One sweep from its files to its verdict, step by step.

use super::distance::{self, blur};
use super::facts::Facts;
use super::hanging::{self, Lie};
use super::pulls::spread::reference_px;
use super::pulls::{spread, tone};
use super::sequence::restore::Restored;
use super::sorting::order;
use super::surroundings::{backdrop, dust, other_light};
use super::tracking::look::{self, Load};
use super::tracking::pick::Found;
use super::tracking::{extra, pair};
use super::verdict::{self, Grounds};
use super::verdict::{budget, infinity, moved, slip};
use super::{FrameInfo, FrameResult, FrameState, SweepMeasurement, SweepSettings};
use super::{findings, frame, pulls, search};
use crate::measure::{Flag, Target};
use crate::units::{Measured, Metres};

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
    let total = frames.len();
    let measured = |load: Load<'_>, settings: &SweepSettings, lie: Lie| {
        let places_of = |index: usize| settings.pointed_at.get(&frames[index].file).cloned();
        let look = |indices: &[usize]| {
            look::at_all(indices, load, &places_of, &|done| progress(done, total))
        };
        measure_seen(name, frames, &look, load, settings, lie)
    };
    let mut measurement = measured(load, settings, Lie::SideBySide);
    if hanging::hang(&measurement.frames) {
        let turned = |index: usize| load(index).map(|plane| plane.transposed());
        let settings = hanging::settings(settings);
        measurement = measured(&turned, &settings, Lie::OneAboveTheOther);
        hanging::put_back(&mut measurement);
    }
    progress(total, total);
    measurement
}

/// The same from what is seen in the frames at some indices, where the targets lie side by side, or the pictures have rows for columns.
fn measure_seen(
    name: &str,
    frames: &[FrameInfo],
    look: search::Look<'_>,
    load: Load<'_>,
    settings: &SweepSettings,
    lie: Lie,
) -> SweepMeasurement {
    let mut sequence = order::by_files(frames, settings.order);
    let search = search::find(frames, &mut sequence, look, load, settings);
    let restored = search.restored;
    let runs = search.runs.map(|runs| runs.named(frames));
    let either_way = restored.is_some_and(Restored::reads_both_ways);
    let (size, places) = (search.size, search.places);
    let mut results = frame_results(frames, &sequence, search.found, settings);
    let facts = Facts::of(results.first().map(|frame| &frame.info), settings, size);
    let (tone, exposures) = tone::straighten(&mut results);
    separate(&mut results);
    let course = spread::course(&results, &places);
    if let Some(course) = &course {
        spread::fill(&mut results, course);
    }
    let estimate = course.as_ref().and_then(|course| {
        // Read from the wrong end, the blur would tell wrong distances.
        let known = facts.known().filter(|_| !either_way)?;
        let whole = results.first()?.separation_px.is_some();
        let estimate = whole.then(|| blur::estimate(course, known)).flatten()?;
        Some(
            if results
                .iter()
                .any(|frame| frame.is_flagged(Flag::Saturated))
            {
                estimate.of_burnt_out_targets()
            } else {
                estimate
            },
        )
    });
    let infos: Vec<&FrameInfo> = results.iter().map(|frame| &frame.info).collect();
    let scale = distance::choose(
        &infos,
        settings,
        course.as_ref(),
        estimate.as_ref(),
        &places,
    );
    for (frame, dioptres) in results.iter_mut().zip(&scale.dioptres) {
        frame.focus_dioptres = *dioptres;
    }
    let width_px = size.map(|(width, _)| width);
    let reference = frame::reference(&results);
    let backdrop =
        reference.and_then(|reference| backdrop::detect(&results, course.as_ref(), reference));
    let dust = reference.and_then(|reference| dust::detect(&results, course.as_ref(), reference));
    if let Some(dust) = &dust {
        dust.correct(&mut results);
    }
    let across_pupil = course
        .as_ref()
        .and_then(|course| facts.across_pupil(reference_px(&results)?, course));
    let pulls = pulls::take_out(
        &mut results,
        course.as_ref(),
        width_px,
        across_pupil,
        backdrop.as_ref(),
        dust.as_ref(),
        tone,
    );
    let other_light = other_light::detect(
        &results,
        course.as_ref(),
        pulls.cut_blur.as_ref(),
        backdrop.as_ref(),
        dust.as_ref(),
    );
    // Light beside a target pulls one centre alone, as if it moved, and is told by itself.
    let moves = if runs.is_none() && other_light.is_none() {
        moved::find(&results, &places, size)
    } else {
        None
    };
    if let Some(moves) = &moves {
        moves.correct(&mut results);
    }
    // Where another run begins, the scale jumps back, and nothing has slipped.
    let slip = if runs.is_none() {
        slip::find(
            &slip::Seen {
                frames: &results,
                places: &places,
                course: course.as_ref(),
                size_px: size,
                other_light: other_light.as_ref(),
            },
            pulls.cut_blur.as_ref(),
        )
    } else {
        None
    };
    let closest_focus = settings.closest_focus.or_else(|| {
        let nearest = results.first().and_then(|frame| frame.focus_dioptres)?;
        Metres::new(1.0 / nearest.value).ok()
    });
    let grounds = Grounds {
        places: &places,
        course: course.as_ref(),
        backdrop: backdrop.as_ref(),
        dust: dust.as_ref(),
        pulls: &pulls,
        other_light: other_light.as_ref(),
        moves: moves.as_ref(),
        slip: slip.as_ref(),
        either_way,
        setting: budget::Setting {
            focal_mm: facts.focal_mm,
            closest_mm: closest_focus.map(|d| 1000.0 * d.m()),
            target_mm: settings.target_distance.map(|d| 1000.0 * d.m()),
        },
    };
    let mut summary = verdict::conclude(&mut results, &grounds);
    let shortfall = summary.as_mut().and_then(|summary| {
        let seen = infinity::Seen {
            stated: scale.source.is_stated(),
            last: estimate.as_ref().map(|estimate| estimate.last),
            open_dioptres: estimate
                .as_ref()
                .map_or(0.0, |estimate| estimate.open_dioptres),
            last_blur_px: course
                .as_ref()
                .and_then(|course| Some(-course.signed.last()?.1.value)),
            expected_last_blur_px: facts.expected_last_blur_px(),
            target_m: facts.target_m,
        };
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
        picture_size_px: size,
        frames: results,
        summary,
        distance_source: scale.source,
        closest_focus,
        findings: Vec::new(),
    };
    let evidence = findings::Evidence {
        lie,
        places,
        restored,
        runs,
        exposures,
        aside: scale.aside,
        course,
        estimate,
        cut_blur: pulls.cut_blur,
        other_light,
        backdrop,
        shading: pulls.shading,
        dust,
        moves: moves.unwrap_or_default(),
        slip,
        shortfall,
    };
    findings::raise(&mut measurement, settings, &evidence);
    measurement
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
    separate(&mut results);
    results
}

/// Separations by where the targets are.
fn separate(frames: &mut [FrameResult]) {
    let targets = frames.iter().rev().map(|frame| &frame.targets);
    let layout = targets
        .into_iter()
        .find(|targets| targets.len() > 2)
        .cloned();
    for frame in frames {
        frame.separation_px = separation(&frame.targets, layout.as_deref());
    }
}

/// Separation of a frame's targets: by all of them where there are three or more, else of the pair.
fn separation(targets: &[Target], layout: Option<&[Target]>) -> Option<Measured> {
    if let Some(fitted) = layout.and_then(|layout| extra::fitted_separation(targets, layout)) {
        return Some(fitted);
    }
    match targets {
        [] | [_] => None,
        [first, .., last] => Some(pair::separation(first, last)),
    }
}

#[cfg(test)]
mod tests;
