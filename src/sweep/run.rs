//! One sweep from its files to its verdict, step by step.

use std::collections::BTreeMap;

use super::look::{self, Load, Sight};
use super::{
    Budget, BudgetLine, CurvePoint, FrameInfo, FrameResult, FrameState, ShiftCurve, Summary,
    SweepMeasurement, SweepSettings,
};
use super::{distance, findings, order, pair, reference, track};
use crate::measure::{Flag, Target, Unmeasurable};
use crate::units::{FocusDistance, Measured, Metres};

/// See `sweep::measure`.
pub(super) fn measure(
    name: &str,
    frames: &[FrameInfo],
    load: Load<'_>,
    settings: &SweepSettings,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> SweepMeasurement {
    let mut sequence = order::by_files(frames, settings.order);
    let total = frames.len();
    if settings.order == super::FrameOrder::Automatic && runs_backwards(frames, &sequence) {
        sequence.reverse();
    }
    let in_use: Vec<usize> = sequence
        .iter()
        .copied()
        .filter(|&index| !settings.left_out.contains_key(&frames[index].file))
        .collect();
    let sights = look::at_all(&in_use, load, &|done| progress(done, total));
    progress(total, total);
    let size = usual_size(&sights);
    let found = pick_targets(&in_use, sights, size, load);
    let mut by_index: BTreeMap<usize, Result<Vec<Target>, Unmeasurable>> =
        in_use.into_iter().zip(found).collect();

    let last = (total.max(2) - 1) as f64;
    let mut results: Vec<FrameResult> = sequence
        .iter()
        .enumerate()
        .map(|(place, &index)| {
            let info = frames[index].clone();
            let (state, targets) = match by_index.remove(&index) {
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
                separation_px: outermost(&targets).map(|(a, b)| pair::separation(a, b)),
                shift_pct: None,
                blur_px: vec![None; targets.len()],
                targets,
            }
        })
        .collect();

    let infos: Vec<&FrameInfo> = results.iter().map(|frame| &frame.info).collect();
    let scale = distance::stated(&infos, settings);
    for (frame, dioptres) in results.iter_mut().zip(&scale.dioptres) {
        frame.focus_dioptres = *dioptres;
    }
    let summary = conclude(&mut results, settings);
    let first = results.first().map(|frame| &frame.info);
    let closest_focus = settings.closest_focus.or_else(|| {
        let nearest = results.first().and_then(|frame| frame.focus_dioptres)?;
        Metres::new(1.0 / nearest.value).ok()
    });
    let mut measurement = SweepMeasurement {
        name: name.to_owned(),
        focal_length: settings
            .focal_length
            .or_else(|| first.and_then(|info| info.focal_length)),
        f_number: settings
            .f_number
            .or_else(|| first.and_then(|info| info.f_number)),
        camera: first.and_then(|info| info.camera.clone()),
        lens: first.and_then(|info| info.lens.clone()),
        captured_at: first.and_then(|info| info.captured_at),
        picture_size_px: size,
        frames: results,
        summary,
        distance_source: scale.source,
        closest_focus,
        findings: Vec::new(),
    };
    measurement.findings = findings::of(&measurement, settings);
    if measurement.is_stopped() {
        measurement.summary = None;
    }
    measurement
}

/// Whether the distances in the files grow nearer along the sequence.
fn runs_backwards(frames: &[FrameInfo], sequence: &[usize]) -> bool {
    let known: Vec<FocusDistance> = sequence
        .iter()
        .filter_map(|&index| frames[index].focus_distance)
        .collect();
    match (known.first(), known.last()) {
        (Some(first), Some(last)) => last.dioptres() > first.dioptres(),
        _ => false,
    }
}

/// The size that most pictures have; of equally common ones the one met first.
fn usual_size(sights: &[Result<Sight, Unmeasurable>]) -> Option<(u32, u32)> {
    let mut sizes: Vec<((u32, u32), usize)> = Vec::new();
    for sight in sights.iter().flatten() {
        match sizes.iter_mut().find(|(size, _)| *size == sight.size) {
            Some((_, count)) => *count += 1,
            None => sizes.push((sight.size, 1)),
        }
    }
    let most = sizes.iter().map(|(_, count)| *count).max()?;
    sizes
        .into_iter()
        .find(|(_, count)| *count == most)
        .map(|(size, _)| size)
}

/// The targets of each frame, or why there are none.
fn pick_targets(
    in_use: &[usize],
    sights: Vec<Result<Sight, Unmeasurable>>,
    size: Option<(u32, u32)>,
    load: Load<'_>,
) -> Vec<Result<Vec<Target>, Unmeasurable>> {
    let (width, height) = size.unwrap_or((1, 1));
    let candidates: Vec<&[Target]> = sights
        .iter()
        .map(|sight| match sight {
            Ok(sight) if sight.size == (width, height) => sight.candidates.as_slice(),
            _ => &[],
        })
        .collect();
    let choices = track::follow(&candidates, (f64::from(width), f64::from(height)));
    let chosen: Vec<Option<[Target; 2]>> = choices
        .iter()
        .zip(&candidates)
        .map(|(choice, frame)| {
            choice.map(|choice| [frame[choice.left].clone(), frame[choice.right].clone()])
        })
        .collect();
    sights
        .into_iter()
        .enumerate()
        .map(|(at, sight)| {
            let sight = sight?;
            if sight.size != (width, height) {
                return Err(Unmeasurable::OtherSize {
                    found_width: sight.size.0,
                    found_height: sight.size.1,
                    width,
                    height,
                });
            }
            if let Some(pair) = &chosen[at] {
                return trusted(pair.to_vec());
            }
            match expected(&chosen, at) {
                Some(places) => trusted(look::near(in_use[at], load, &places)?),
                None => Err(match sight.candidates.len() {
                    0 => Unmeasurable::NoTargets,
                    1 => Unmeasurable::OneTarget,
                    _ => Unmeasurable::DisagreesWithNeighbours,
                }),
            }
        })
        .collect()
}

/// Targets that are clipped by the frame's edge don't count.
fn trusted(targets: Vec<Target>) -> Result<Vec<Target>, Unmeasurable> {
    if targets
        .iter()
        .any(|target| target.flags.contains(&Flag::Clipped))
    {
        return Err(Unmeasurable::Clipped);
    }
    Ok(targets)
}

/// Where the targets of a frame should be, and their second moments, by the frames before and after.
fn expected(chosen: &[Option<[Target; 2]>], at: usize) -> Option<Vec<((f64, f64), f64)>> {
    let before = (0..at).rev().find(|&i| chosen[i].is_some());
    let after = (at + 1..chosen.len()).find(|&i| chosen[i].is_some());
    let (a, b) = (before.or(after)?, after.or(before)?);
    let share = if a == b {
        0.0
    } else {
        (at - a) as f64 / (b - a) as f64
    };
    let (a, b) = (chosen[a].as_ref()?, chosen[b].as_ref()?);
    let mix = |a: f64, b: f64| a + share * (b - a);
    Some(
        a.iter()
            .zip(b)
            .map(|(a, b)| {
                (
                    (
                        mix(a.x_px.value, b.x_px.value),
                        mix(a.y_px.value, b.y_px.value),
                    ),
                    mix(a.variance_px2.value, b.variance_px2.value),
                )
            })
            .collect(),
    )
}

/// The two targets that are farthest apart, left first.
fn outermost(targets: &[Target]) -> Option<(&Target, &Target)> {
    match targets {
        [] | [_] => None,
        [first, .., last] => Some((first, last)),
    }
}

/// Reference, shifts, curve and worst shift.
fn conclude(frames: &mut [FrameResult], settings: &SweepSettings) -> Option<Summary> {
    let reference = frames
        .iter()
        .rposition(|frame| frame.separation_px.is_some())?;
    let reference_px = frames[reference].separation_px?;
    for frame in frames.iter_mut() {
        frame.shift_pct = frame
            .separation_px
            .map(|separation| reference::shift_pct(separation, reference_px));
    }
    if let Some(shift) = &mut frames[reference].shift_pct {
        // The reference against itself is 0 without doubt only as a definition; its noise is in all the others.
        *shift = Measured::new(0.0, shift.std_error / 2_f64.sqrt());
    }
    let points = frames
        .iter()
        .filter_map(|frame| {
            Some(CurvePoint {
                travel: frame.travel,
                dioptres: frame.focus_dioptres,
                shift_pct: frame.shift_pct?,
            })
        })
        .collect();
    let size = |frame: &FrameResult| frame.shift_pct.map_or(-1.0, |shift| shift.value.abs());
    let worst = (0..frames.len()).reduce(|worst, i| {
        if size(&frames[i]) > size(&frames[worst]) {
            i
        } else {
            worst
        }
    })?;
    let worst_shift_pct = frames[worst].shift_pct?;
    Some(Summary {
        reference,
        worst,
        worst_shift_pct,
        relative_to_farthest: settings.last_not_at_infinity,
        curve: ShiftCurve::new(points),
        budget: Budget {
            random: vec![BudgetLine {
                part: "centre_noise",
                description: "Noise of the target centres in this frame and in the reference",
                pct: worst_shift_pct.std_error,
            }],
            systematic: Vec::new(),
        },
    })
}
