//! Findings about what moved: camera, targets, zoom ring.

use super::{Evidence, expanded, finding, signed, worst_u};
use crate::measure::Target;
use crate::sweep::sequence::places::median;
use crate::sweep::verdict::moved::{Moved, Side};
use crate::sweep::verdict::slip::{Mover, Slip};
use crate::sweep::{Code, Finding, FrameResult, Severity, SweepMeasurement};
use crate::units::Measured;

/// Jump of the picture between two frames that is no lens's wobble, as a share of its width: 2 px at 1920.
const JUMP_SHARE: f64 = 0.001;
/// Turn between two frames that is no lens's wobble, rad: 0.03°.
const TURN: f64 = 0.0005;
/// A jump is also this many times the usual step, so that an even creep of the lens's own is none.
const OUTSTANDING: f64 = 6.0;
/// Whatever moved has moved by this many times the standard uncertainty of the move: dim, much blurred targets seem to jump
/// by tenths of a pixel, up to 3.3 of it in simulated sweeps.
const SURE: f64 = 8.0;
/// Pull of light that leans over its third moment through its second: 1 for a disc, up to 2 for a disc of tape (second cumulant
/// squared over the fourth).
const LEANS: f64 = 2.0;
/// Elongation below which a target is a strip that a window may cut above and below: three times as high as wide …
const TALL: f64 = -0.8;
/// … and how far that may move its middle, in standard deviations of its light along y (our choice).
const CUT_PART: f64 = 0.1;
/// Standard uncertainties that light that leans has to exceed to count.
const LEANS_SIGMA: f64 = 2.0;
/// Creep over the whole sweep that is remarked on, as a share of the picture's width: 15 px at 1920.
const CREEP_SHARE: f64 = 0.008;
/// Turn over the whole sweep that is remarked on, rad: 0.15°.
const WHOLE_TURN: f64 = 0.0026;
/// Restless steps (the middle one) that stabilisation makes, as a share of the picture's width: 0.8 px at 1920.
const RESTLESS_SHARE: f64 = 0.0004;

/// How the picture lies in a frame once breathing is taken out.
struct Pose {
    place: usize,
    x: f64,
    y: f64,
    roll: f64,
    /// How far light that leans along y may have pulled it along y, px.
    leans_px: f64,
    /// Standard uncertainty of the place, px.
    u_px: f64,
    /// Standard uncertainty of the roll, rad.
    u_roll: f64,
}

/// From one frame to another: how far the picture moved and turned, each with its standard uncertainty.
struct Step {
    place: usize,
    moved: Measured,
    turned: Measured,
}

impl Step {
    /// Per step of the bracket, of which the frames are so many apart. What light that leans along y explains is no move: bands
    /// of flickering light, a mirror image on a glossy table.
    fn between(a: &Pose, b: &Pose, apart: f64) -> Self {
        let each = |value: f64, u: f64| Measured::new(value / apart, u / apart);
        let leans = a.leans_px + b.leans_px;
        let up = ((b.y - a.y).abs() - leans).max(0.0);
        let turned = (b.roll - a.roll).abs() - leans * (a.u_roll / a.u_px.max(f64::MIN_POSITIVE));
        Self {
            place: b.place,
            moved: each((b.x - a.x).hypot(up), a.u_px.hypot(b.u_px)),
            turned: each(turned.max(0.0), a.u_roll.hypot(b.u_roll)),
        }
    }

    /// Whether it moved or turned by more than this, beyond what its own uncertainty explains.
    fn exceeds(&self, moved: f64, turned: f64) -> bool {
        let surely = |m: &Measured, least: f64| m.value > least.max(SURE * m.std_error);
        surely(&self.moved, moved) || surely(&self.turned, turned)
    }
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
            let (here, angle, u_px) = middle(frame)?;
            let scale = frame.separation_px?.value / reference.separation_px?.value;
            Some(Pose {
                place,
                x: here.0 - centre.0 - scale * (still.0 - centre.0),
                y: here.1 - centre.1 - scale * (still.1 - centre.1),
                roll: angle - still_angle,
                leans_px: leans_px(&frame.targets),
                u_px,
                u_roll: 2.0 * u_px / frame.separation_px?.value,
            })
        })
        .collect();
    Some(poses)
}

/// How far the middle of the outermost targets may be pulled along y by light that leans, or by a window that cuts tall strips
/// elsewhere, px.
fn leans_px(targets: &[Target]) -> f64 {
    let surely = |target: &Target| {
        let lean = target.lean_y_px;
        let cut = if target.elongation < TALL {
            CUT_PART * target.second_px2().1.sqrt()
        } else {
            0.0
        };
        LEANS * (lean.value.abs() - LEANS_SIGMA * lean.std_error).max(0.0) + cut
    };
    let pair = [targets.first(), targets.last()];
    pair.into_iter().flatten().map(surely).sum::<f64>() / 2.0
}

/// Point half-way between the outermost targets, direction from left to right, standard uncertainty of the point, px.
fn middle(frame: &FrameResult) -> Option<((f64, f64), f64, f64)> {
    let (a, b) = (frame.targets.first()?, frame.targets.last()?);
    let (dx, dy) = (b.x_px.value - a.x_px.value, b.y_px.value - a.y_px.value);
    let point = (
        (a.x_px.value + b.x_px.value) / 2.0,
        (a.y_px.value + b.y_px.value) / 2.0,
    );
    let u = |a: Measured, b: Measured| a.std_error.hypot(b.std_error) / 2.0;
    let u_px = u(a.x_px, b.x_px).max(u(a.y_px, b.y_px));
    (dx.hypot(dy) > 0.0).then_some((point, dy.atan2(dx), u_px))
}

pub(super) fn camera_moved(sweep: &SweepMeasurement, evidence: &Evidence) -> Option<Finding> {
    let places = &evidence.standing.places;
    let is_lopsided = |place: usize| {
        let light = evidence.other_light.as_ref();
        light.is_some_and(|light| light.lopsided.contains(&place))
    };
    let poses = poses(sweep)?;
    let width = f64::from(sweep.picture_size_px?.0);
    let steps: Vec<Step> = poses
        .windows(2)
        .map(|pair| {
            let apart = places.apart(pair[0].place, pair[1].place);
            Step::between(&pair[0], &pair[1], apart)
        })
        .collect();
    let usual_move = median(steps.iter().map(|s| s.moved.value).collect())?;
    let usual_turn = median(steps.iter().map(|s| s.turned.value).collect())?;
    let noise = median(steps.iter().map(|s| s.moved.std_error).collect())?;
    let jump_px = (JUMP_SHARE * width).max(OUTSTANDING * usual_move);
    let turn = TURN.max(OUTSTANDING * usual_turn);
    // Light beside a target that comes into its window between two frames moves its centre, and is named itself.
    let is_of_light = |pair: &[Pose]| is_lopsided(pair[0].place) != is_lopsided(pair[1].place);
    let jumps: Vec<&Step> = steps
        .iter()
        .zip(poses.windows(2))
        .filter(|(step, pair)| step.exceeds(jump_px, turn) && !is_of_light(pair))
        .map(|(step, _)| step)
        .collect();
    let u = expanded(worst_u(sweep)?);
    let effect = format!(
        "The shift is taken from the distance between the targets, which a move of the whole picture does not change; \
         its uncertainty of {u} holds the scatter that was seen."
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
    let by_move = |a: &&&Step, b: &&&Step| a.moved.value.total_cmp(&b.moved.value);
    if let Some(largest) = jumps.iter().max_by(by_move) {
        return moved(
            format!(
                "The picture jumps by {:.1} px and turns by {:.2}° at {}{}.",
                largest.moved.value,
                largest.turned.value.to_degrees(),
                sweep.frames[largest.place].info.file,
                match jumps.len() {
                    1 => String::new(),
                    more => format!(", the largest of {more} jumps"),
                }
            ),
            jumps
                .iter()
                .map(|step| sweep.frames[step.place].info.file.clone())
                .collect(),
        );
    }
    if usual_move > (RESTLESS_SHARE * width).max(SURE * noise) && restless(&poses) {
        return moved(
            format!(
                "The picture wanders by about {usual_move:.1} px from frame to frame, as stabilisation or a shaky support makes it."
            ),
            Vec::new(),
        );
    }
    let (first, last) = (poses.first()?, poses.last()?);
    let whole = Step::between(first, last, 1.0);
    whole
        .exceeds(CREEP_SHARE * width, WHOLE_TURN)
        .then(|| {
            moved(
                format!(
                    "Over the sweep the picture creeps by {:.1} px and turns by {:.2}°, as a sagging support makes it.",
                    whole.moved.value,
                    whole.turned.value.to_degrees()
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

/// One of the targets moved where it hangs.
pub(super) fn target_moved(sweep: &SweepMeasurement, evidence: &Evidence) -> Option<Finding> {
    let by_size = |a: &&Moved, b: &&Moved| {
        let size = |moved: &Moved| moved.apart_px.value.abs();
        size(a).total_cmp(&size(b))
    };
    let moved = &evidence.moves.as_ref()?.moved;
    let largest = moved.iter().max_by(by_size)?;
    let reference_px = sweep.frames[sweep.summary.as_ref()?.reference]
        .separation_px?
        .value;
    let file = |frame: usize| sweep.frames[frame].info.file.clone();
    let (before, after) = (file(largest.before), file(largest.after));
    let [first, last] = evidence.standing.lie.sides();
    let (moves_side, stays) = match largest.side {
        Side::Left => (first, last),
        Side::Right => (last, first),
    };
    let pct = largest.apart_px.scaled(100.0 / reference_px);
    let more = match moved.len() {
        1 => String::new(),
        more => format!(", the largest of {more} moves,"),
    };
    let message = format!(
        "The {moves_side} target moves by {:.1} px ({} % of the distance between the targets) between {before} and {after}{more} while \
         the {stays} one stands still, as peeling tape does. That is taken out of the frames before {after}, but for {}, which \
         their uncertainty holds. Fix the targets and shoot again.",
        largest.apart_px.value.abs(),
        signed(pct.value),
        expanded(pct.std_error),
    );
    let files = moved
        .iter()
        .flat_map(|moved| [file(moved.before), file(moved.after)]);
    Some(finding(
        Code::CameraMoved,
        Severity::Warning,
        message,
        files.collect(),
    ))
}

/// The zoom ring slipped, though the files may not say so.
pub(super) fn slipped(sweep: &SweepMeasurement, slip: Option<&Slip>) -> Option<Finding> {
    let slip = slip?;
    let file = |frame: usize| sweep.frames[frame].info.file.clone();
    let (before, after) = (file(slip.before), file(slip.after));
    let jump = signed(slip.jump_pct.value);
    let (as_if, advice) = match slip.by {
        Mover::Ring => ("a slipping zoom ring makes it", "Fix the ring with tape"),
        Mover::Untold => (
            "a slipping zoom ring makes it, or a target that moves",
            "Fix the ring and the targets",
        ),
    };
    let message = format!(
        "The scale of the picture jumps by {jump} % between {before} and {after}, as {as_if}. The frames \
         from {after} on were taken as the last one was, and their shifts are right. Those before it hold the \
         jump beside the breathing, and no frame at infinity tells the two apart. {advice} and shoot again.",
    );
    Some(finding(
        Code::FocalLengthChanged,
        Severity::Warning,
        message,
        vec![before, after],
    ))
}
