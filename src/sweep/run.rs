//! One sweep from its files to its verdict, step by step.

use super::distance::{self, blur};
use super::look::{self, Load, Sight};
use super::pick::{Found, Sightings};
use super::restore::{self, Arrangement, Ends, Look, Restored};
use super::verdict::{self, Grounds};
use super::{FrameInfo, FrameOrder, FrameResult, FrameState, SweepMeasurement, SweepSettings};
use super::{budget, extra, findings, infinity, order, pair, spread, vignette};
use crate::measure::{Target, Unmeasurable};
use crate::optics;
use crate::units::{Measured, Metres};

/// See `sweep::measure`.
pub(super) fn measure(
    name: &str,
    frames: &[FrameInfo],
    load: Load<'_>,
    settings: &SweepSettings,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> SweepMeasurement {
    let total = frames.len();
    let mut sequence = order::by_files(frames, settings.order);
    let mut restored = None;
    if settings.order == FrameOrder::Automatic {
        let dioptres = distance::stated_dioptres(frames, &sequence, settings);
        if let Some(arrangement) = restore::by_distance(&dioptres) {
            restored = Some(arrangement.how);
            sequence = arranged(&sequence, &arrangement);
        }
    }
    let (found, size, by_blur) = find(frames, &mut sequence, load, settings, restored, &|done| {
        progress(done, total);
    });
    let restored = restored.or(by_blur);
    progress(total, total);

    let mut results = frame_results(frames, &sequence, found, settings);
    let facts = Facts::of(&results, settings, size);
    let course = spread::course(&results);
    if let Some(course) = &course {
        spread::fill(&mut results, course);
    }
    let estimate = course.as_ref().and_then(|course| {
        let known = facts.known()?;
        let whole = results.first()?.separation_px.is_some();
        whole.then(|| blur::estimate(course, known)).flatten()
    });
    let infos: Vec<&FrameInfo> = results.iter().map(|frame| &frame.info).collect();
    let scale = distance::choose(&infos, settings, estimate.as_ref());
    for (frame, dioptres) in results.iter_mut().zip(&scale.dioptres) {
        frame.focus_dioptres = *dioptres;
    }
    let cut_blur = course
        .as_ref()
        .and_then(|course| vignette::detect(&results, course));
    if let (Some(course), Some(cut)) = (&course, &cut_blur) {
        vignette::correct(&mut results, course, cut);
    }
    let closest_focus = settings.closest_focus.or_else(|| {
        let nearest = results.first().and_then(|frame| frame.focus_dioptres)?;
        Metres::new(1.0 / nearest.value).ok()
    });
    let grounds = Grounds {
        course: course.as_ref(),
        cut_blur,
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
        restored,
        course,
        estimate,
        cut_blur,
        shortfall,
    };
    findings::raise(&mut measurement, settings, &evidence);
    measurement
}

/// What is known of lens and set-up.
#[derive(Debug, Clone, Copy)]
struct Facts {
    focal_mm: Option<f64>,
    f_number: Option<f64>,
    pitch_px_per_mm: Option<f64>,
    closest_m: Option<f64>,
    target_m: Option<f64>,
}

impl Facts {
    fn of(results: &[FrameResult], settings: &SweepSettings, size: Option<(u32, u32)>) -> Self {
        let info = results.first().map(|frame| &frame.info);
        let focal = settings
            .focal_length
            .or_else(|| info.and_then(|info| info.focal_length))
            .map(|f| f.mm());
        // 35 mm focal lengths are stated for 36 mm picture width (CIPA DC-008 means the diagonal; within 4 % for 3:2).
        let width_mm = settings.sensor_width.map(|w| w.mm()).or_else(|| {
            let in_35mm = info.and_then(|info| info.focal_length_35mm)?.mm();
            Some(36.0 * focal? / in_35mm)
        });
        Self {
            focal_mm: focal,
            f_number: settings
                .f_number
                .or_else(|| info.and_then(|info| info.f_number))
                .map(|n| n.n()),
            pitch_px_per_mm: size
                .zip(width_mm)
                .map(|(size, width)| f64::from(size.0) / width),
            closest_m: settings.closest_focus.map(Metres::m),
            target_m: settings.target_distance.map(Metres::m),
        }
    }

    fn known(&self) -> Option<blur::Known> {
        Some(blur::Known {
            closest_m: self.closest_m?,
            target_m: self.target_m?,
            focal_m: self.focal_mm.map(|f| f / 1000.0),
        })
    }

    /// Blur at infinity that the nominal pupil f/N makes, px, where all that it takes is known.
    fn expected_last_blur_px(&self) -> Option<f64> {
        let (focal, n) = (self.focal_mm?, self.f_number?);
        let angle =
            optics::blur_angle_rad(focal / n, 1000.0 * self.target_m?, f64::INFINITY, focal);
        Some(angle * focal * self.pitch_px_per_mm?)
    }
}

/// A sequence of indices, rearranged.
fn arranged(sequence: &[usize], arrangement: &Arrangement) -> Vec<usize> {
    arrangement
        .sequence
        .iter()
        .map(|&place| sequence[place])
        .collect()
}

/// What each frame holds, in sweep order, and the size of the pictures. Frames that are left out come with `None`.
type Search = (
    Vec<(usize, Option<Found>)>,
    Option<(u32, u32)>,
    Option<Restored>,
);

fn find(
    frames: &[FrameInfo],
    sequence: &mut [usize],
    load: Load<'_>,
    settings: &SweepSettings,
    restored: Option<Restored>,
    done: &(dyn Fn(usize) + Sync),
) -> Search {
    let in_use = |sequence: &[usize]| -> Vec<usize> {
        sequence
            .iter()
            .copied()
            .filter(|&index| !settings.left_out.contains_key(&frames[index].file))
            .collect()
    };
    let places_of = |index: usize| settings.pointed_at.get(&frames[index].file).cloned();
    let looked = in_use(sequence);
    let sights = look::at_all(&looked, load, &places_of, done);
    let size = usual_size(&sights);
    let mut sightings = Sightings {
        pointed: looked
            .iter()
            .map(|&index| settings.pointed_at.contains_key(&frames[index].file))
            .collect(),
        order: looked,
        sights,
        size: size.unwrap_or((1, 1)),
        load,
    };
    let mut how = None;
    if settings.order == FrameOrder::Automatic && restored.is_none() {
        let infos: Vec<&FrameInfo> = sequence.iter().map(|&index| &frames[index]).collect();
        if !distance::are_stated(&infos, settings)
            && let Some(arrangement) = order_by_blur(&sightings, settings)
        {
            how = Some(arrangement.how);
            let before = sightings.order.clone();
            sightings.arrange(&arrangement.sequence);
            rearrange(sequence, &before, &sightings.order);
        }
    }
    let mut found = sightings.targets().into_iter();
    let all = sequence
        .iter()
        .map(|&index| {
            let used = !settings.left_out.contains_key(&frames[index].file);
            (index, used.then(|| found.next()).flatten())
        })
        .collect();
    (all, size, how)
}

/// Puts the members of `before` that stand in `sequence` into the order of `after`; others stay where they are.
fn rearrange(sequence: &mut [usize], before: &[usize], after: &[usize]) {
    let mut next = after.iter();
    for slot in sequence.iter_mut() {
        if before.contains(slot)
            && let Some(&index) = next.next()
        {
            *slot = index;
        }
    }
}

/// The order that blur and scale give, over all frames looked at; frames without a pair keep their places.
fn order_by_blur(sightings: &Sightings<'_>, settings: &SweepSettings) -> Option<Arrangement> {
    let pairs = sightings.pairs();
    let places: Vec<usize> = (0..pairs.len()).filter(|&i| pairs[i].is_some()).collect();
    let widest = pairs
        .iter()
        .flatten()
        .map(|pair| pair::shape(&pair[0], &pair[1]).separation)
        .fold(0.0, f64::max);
    let looks: Vec<Look> = pairs
        .iter()
        .flatten()
        .map(|pair| {
            let shape = pair::shape(&pair[0], &pair[1]);
            let scale = shape.separation / widest;
            Look {
                separation: shape.separation,
                variance: shape.width * shape.width / (scale * scale),
            }
        })
        .collect();
    let ends = Ends {
        near_over_far: settings
            .closest_focus
            .zip(settings.target_distance)
            .map(|(closest, target)| (target.m() - closest.m()) / closest.m())
            .filter(|ratio| *ratio > 0.0),
    };
    let arrangement = restore::by_blur(&looks, ends)?;
    let mut sequence: Vec<usize> = (0..pairs.len()).collect();
    for (slot, &k) in places.iter().zip(&arrangement.sequence) {
        sequence[*slot] = places[k];
    }
    Some(Arrangement {
        sequence,
        how: arrangement.how,
    })
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

fn frame_results(
    frames: &[FrameInfo],
    sequence: &[usize],
    found: Vec<(usize, Option<Found>)>,
    settings: &SweepSettings,
) -> Vec<FrameResult> {
    let last = (sequence.len().max(2) - 1) as f64;
    let layout: Option<Vec<Target>> = found.iter().rev().find_map(|(_, found)| match found {
        Some(Ok(targets)) if targets.len() > 2 => Some(targets.clone()),
        _ => None,
    });
    found
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
                separation_px: separation(&targets, layout.as_deref()),
                shift_pct: None,
                blur_px: vec![None; targets.len()],
                targets,
            }
        })
        .collect()
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
