//! Findings about what moved: camera, targets, zoom ring.

use super::{finding, worst_u};
use crate::sweep::places::{Places, median};
use crate::sweep::smooth::Smooth;
use crate::sweep::{Code, Finding, FrameResult, Severity, SweepMeasurement};

/// Jump of the picture between two frames that is no lens's wobble, as a share of its width: 2 px at 1920.
const JUMP_SHARE: f64 = 0.001;
/// Turn between two frames that is no lens's wobble, rad: 0.03°.
const TURN: f64 = 0.0005;
/// A jump is also this many times the usual step, so that an even creep of the lens's own is none.
const OUTSTANDING: f64 = 6.0;
/// Creep over the whole sweep that is remarked on, as a share of the picture's width: 15 px at 1920.
const CREEP_SHARE: f64 = 0.008;
/// Turn over the whole sweep that is remarked on, rad: 0.15°.
const WHOLE_TURN: f64 = 0.0026;
/// Restless steps (the middle one) that stabilisation makes, as a share of the picture's width: 0.8 px at 1920.
const RESTLESS_SHARE: f64 = 0.0004;
/// A step of the separation counts as a slipped zoom ring when it stands out of the scatter by this factor …
const SLIP: f64 = 12.0;
/// … and is at least this share.
const SLIP_SHARE: f64 = 0.0008;

/// How the picture lies in a frame once breathing is taken out.
struct Pose {
    place: usize,
    x: f64,
    y: f64,
    roll: f64,
    noise: f64,
}

/// Moves and turns of the picture against the reference: breathing moves the middle of the pair on a line through the
/// picture's own middle, which is taken out with the measured scale.
fn poses(sweep: &SweepMeasurement) -> Option<Vec<Pose>> {
    let (width, height) = sweep.picture_size_px?;
    let centre = (f64::from(width - 1) / 2.0, f64::from(height - 1) / 2.0);
    let reference = &sweep.frames[sweep.summary.as_ref()?.reference];
    let (still, still_angle, _) = middle(reference)?;
    let poses = sweep
        .frames
        .iter()
        .enumerate()
        .filter_map(|(place, frame)| {
            let (here, angle, noise) = middle(frame)?;
            let scale = frame.separation_px?.value / reference.separation_px?.value;
            Some(Pose {
                place,
                x: here.0 - centre.0 - scale * (still.0 - centre.0),
                y: here.1 - centre.1 - scale * (still.1 - centre.1),
                roll: angle - still_angle,
                noise,
            })
        })
        .collect();
    Some(poses)
}

/// Point half-way between the outermost targets, direction from left to right, noise of the point, px.
fn middle(frame: &FrameResult) -> Option<((f64, f64), f64, f64)> {
    let (a, b) = (frame.targets.first()?, frame.targets.last()?);
    let (dx, dy) = (b.x_px.value - a.x_px.value, b.y_px.value - a.y_px.value);
    let point = (
        (a.x_px.value + b.x_px.value) / 2.0,
        (a.y_px.value + b.y_px.value) / 2.0,
    );
    let noise = a.x_px.std_error.hypot(b.x_px.std_error);
    (dx.hypot(dy) > 0.0).then_some((point, dy.atan2(dx), noise))
}

pub(super) fn camera_moved(sweep: &SweepMeasurement, places: &Places) -> Option<Finding> {
    let poses = poses(sweep)?;
    let width = f64::from(sweep.picture_size_px?.0);
    let steps: Vec<(usize, f64, f64)> = poses
        .windows(2)
        .map(|pair| {
            let apart = places.apart(pair[0].place, pair[1].place);
            (
                pair[1].place,
                (pair[1].x - pair[0].x).hypot(pair[1].y - pair[0].y) / apart,
                (pair[1].roll - pair[0].roll).abs() / apart,
            )
        })
        .collect();
    let usual_move = median(steps.iter().map(|s| s.1).collect())?;
    let usual_turn = median(steps.iter().map(|s| s.2).collect())?;
    let noise = median(poses.iter().map(|p| p.noise).collect())?;
    let jump_px = (JUMP_SHARE * width)
        .max(OUTSTANDING * usual_move)
        .max(8.0 * noise);
    let turn = TURN.max(OUTSTANDING * usual_turn);
    let jumps: Vec<&(usize, f64, f64)> = steps
        .iter()
        .filter(|step| step.1 > jump_px || step.2 > turn)
        .collect();
    let u = worst_u(sweep)?;
    let effect = format!(
        "The shift is taken from the distance between the targets, which a move of the whole picture does not change; \
         its uncertainty of {u:.4} percentage points holds the scatter that was seen."
    );
    let moved = |message: String, files: Vec<String>| {
        Some(finding(
            Code::CameraMoved,
            Severity::Warning,
            format!(
                "{message} {effect} Fasten the tripod, switch stabilisation off and shoot again."
            ),
            files,
        ))
    };
    if let Some(largest) = jumps.iter().max_by(|a, b| a.1.total_cmp(&b.1)).copied() {
        return moved(
            format!(
                "The picture jumps by {:.1} px and turns by {:.2}° at {}{}.",
                largest.1,
                largest.2.to_degrees(),
                sweep.frames[largest.0].info.file,
                match jumps.len() {
                    1 => String::new(),
                    more => format!(", the largest of {more} jumps"),
                }
            ),
            jumps
                .iter()
                .map(|step| sweep.frames[step.0].info.file.clone())
                .collect(),
        );
    }
    if usual_move > (RESTLESS_SHARE * width).max(6.0 * noise) && restless(&poses) {
        return moved(
            format!(
                "The picture wanders by about {usual_move:.1} px from frame to frame, as stabilisation or a shaky support makes it."
            ),
            Vec::new(),
        );
    }
    let (first, last) = (poses.first()?, poses.last()?);
    let creep = (last.x - first.x).hypot(last.y - first.y);
    let turned = (last.roll - first.roll).abs();
    (creep > CREEP_SHARE * width || turned > WHOLE_TURN)
        .then(|| {
            moved(
                format!(
                    "Over the sweep the picture creeps by {creep:.1} px and turns by {:.2}°, as a sagging support makes it.",
                    turned.to_degrees()
                ),
                Vec::new(),
            )
        })
        .flatten()
}

/// Whether the steps go to and fro and are not one even creep.
fn restless(poses: &[Pose]) -> bool {
    let path: f64 = poses
        .windows(2)
        .map(|pair| (pair[1].x - pair[0].x).hypot(pair[1].y - pair[0].y))
        .sum();
    match (poses.first(), poses.last()) {
        (Some(first), Some(last)) => path > 3.0 * (last.x - first.x).hypot(last.y - first.y),
        _ => false,
    }
}

/// A step in the separation that no focusing makes: the zoom ring slipped, though the files may not say so.
pub(super) fn zoom_slipped(sweep: &SweepMeasurement, places: &Places) -> Option<Finding> {
    let measured: Vec<usize> = (0..sweep.frames.len())
        .filter(|&frame| sweep.frames[frame].separation_px.is_some())
        .collect();
    let points: Vec<(f64, f64, f64)> = measured
        .iter()
        .filter_map(|&frame| {
            let s = sweep.frames[frame].separation_px?;
            Some((places.pace(frame), s.value, s.std_error.max(0.005)))
        })
        .collect();
    if points.len() < 10 {
        return None;
    }
    // Each side of the step is continued to the middle of it by its own curve; the largest disagreement counts.
    let mut largest: Option<(f64, usize, f64)> = None;
    for cut in 5..=points.len() - 5 {
        let step = (points[cut].1 - points[cut - 1].1).abs() / points[cut].1;
        if step < SLIP_SHARE {
            continue;
        }
        let at = (points[cut - 1].0 + points[cut].0) / 2.0;
        let sides = Smooth::reaching(&points[..cut], at).zip(Smooth::reaching(&points[cut..], at));
        // Where the focus stands still on one side, nothing continues it.
        let Some((before, after)) = sides else {
            continue;
        };
        let (a, b) = (before.predict(at), after.predict(at));
        let jump = b.0 / a.0 - 1.0;
        let doubt = (b.0 - a.0).abs() / a.1.hypot(b.1).max(0.02);
        if jump.abs() > SLIP_SHARE && doubt > SLIP && largest.is_none_or(|(most, ..)| doubt > most)
        {
            largest = Some((doubt, cut, jump));
        }
    }
    let (_, cut, jump) = largest?;
    let file = |k: usize| sweep.frames[measured[k]].info.file.clone();
    Some(finding(
        Code::FocalLengthChanged,
        Severity::Warning,
        format!(
            "The scale of the picture jumps by {:+.2} % between {} and {}, as a slipping zoom ring makes it. The shift of all \
             frames before holds that jump. Fix the ring with tape and shoot again.",
            100.0 * jump,
            file(cut - 1),
            file(cut)
        ),
        vec![file(cut - 1), file(cut)],
    ))
}
