//! A step in the distance between the targets that no focusing makes: the zoom ring slipped, or a target moved where it hangs.
//!
//! A zoom ring moves both targets away from the middle of the picture or towards it. A target whose tape peels moves alone:
//! the other stands still, and the point half-way between them moves by half the step. A step of the scale is true of its
//! own focal length on each side, and only one side has a frame at infinity; so the shifts of the other hold the step. The step
//! of a target can be taken out.

use super::pieces::{points, separations};
use crate::measure::Target;
use crate::sweep::FrameResult;
use crate::sweep::distance::blur::BlurCourse;
use crate::sweep::fitting::steps::{self, LEAST_SIDE, SURE};
use crate::sweep::pulls::vignette::CutBlur;
use crate::sweep::sequence::places::Places;
use crate::sweep::surroundings::other_light::OtherLight;
use crate::units::Measured;

/// A step counts when it is sure, or is this many times its standard uncertainty where one target is
/// seen to move as far, and the other to stand still, …
const SURE_WITH_TARGET: f64 = 5.5;
/// … by this many times the uncertainty of the middle.
const MIDDLE_SURE: f64 = 8.0;
/// A step is at least this share of the distance: less than the worst that a hard sweep may be off by.
const LEAST_SHARE: f64 = 0.0002;
/// Least uncertainty of a separation that is believed, px.
const LEAST_U_PX: f64 = 0.005;
/// What stands still stays within this many standard uncertainties …
const STILL: f64 = 3.0;
/// … or, across the line to the other target, moves by no more than this share of the step: cameras tremble.
const TREMBLES: f64 = 0.25;
/// What moves is off by more than this: the likelihood of the one over the other is e¹².
const MOVES: f64 = 5.0;
/// A step is none if light beside a target may make it: so many times the standard uncertainty for that.
const OTHER_LIGHT: f64 = 2.0;
/// Nor is it one if the blur steps as well, by this many standard uncertainties, and explains half of it: focus went
/// farther between two frames than between others.
const BLUR_SURE: f64 = 4.0;

/// Who made a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::sweep) enum Mover {
    /// The picture's middle stands still: the zoom ring.
    Ring,
    /// The left target alone.
    Left,
    /// The right target alone.
    Right,
    /// The pictures do not tell.
    Untold,
}

/// Where the distance between the targets steps, and by how much.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sweep) struct Slip {
    /// Place of the last measured frame before it.
    pub(in crate::sweep) before: usize,
    /// Place of the first measured frame after it.
    pub(in crate::sweep) after: usize,
    /// Change of the distance, px.
    pub(in crate::sweep) jump_px: f64,
    /// The same, per cent, with its standard uncertainty.
    pub(in crate::sweep) jump_pct: Measured,
    /// Who made it.
    pub(in crate::sweep) by: Mover,
}

impl Slip {
    /// Whether a target moved, and not the scale of the picture.
    #[must_use]
    pub(super) fn is_of_target(&self) -> bool {
        matches!(self.by, Mover::Left | Mover::Right)
    }

    /// Takes the step of a target out of the frames before it: they then are what they would be with the targets where they
    /// are in the reference.
    pub(in crate::sweep) fn correct(&self, frames: &mut [FrameResult]) {
        if !self.is_of_target() {
            return;
        }
        let factor = 1.0 + self.jump_pct.value / 100.0;
        for frame in &mut frames[..=self.before] {
            frame.separation_px = frame.separation_px.map(|px| px.scaled(factor));
        }
    }

    /// Standard uncertainty that taking it out leaves in the shift of each of `count` frames, percentage points.
    #[must_use]
    pub(in crate::sweep) fn u_pct(&self, count: usize) -> Vec<f64> {
        let left = |place| {
            if self.is_of_target() && place <= self.before {
                self.jump_pct.std_error
            } else {
                0.0
            }
        };
        (0..count).map(left).collect()
    }
}

/// What a step is looked for in.
pub(in crate::sweep) struct Seen<'a> {
    /// The frames.
    pub(in crate::sweep) frames: &'a [FrameResult],
    /// Where they stand.
    pub(in crate::sweep) places: &'a Places,
    /// How the blur runs.
    pub(in crate::sweep) course: Option<&'a BlurCourse>,
    /// Width and height of the picture, px.
    pub(in crate::sweep) size_px: Option<(u32, u32)>,
    /// There is something bright beside a target: as the blur grows its light comes into the window, and pulls one centre alone.
    pub(in crate::sweep) other_light: Option<&'a OtherLight>,
}

/// Looks for a step; the one that stands out most counts. What a cut blur does to the scale over the whole sweep, it may
/// do within a few frames: a step has to be larger.
#[must_use]
pub(in crate::sweep) fn find(seen: &Seen<'_>, cut: Option<&CutBlur>) -> Option<Slip> {
    let measured = separations(seen.frames);
    let points = points(&measured, seen.places, LEAST_U_PX);
    let least = LEAST_SHARE.max(cut.map_or(0.0, |cut| cut.effect_pct / 100.0));
    let (at, step) = steps::largest(&points, LEAST_SIDE)?;
    let doubt = |step: &Measured| step.value.abs() / step.std_error;
    if step.value.abs() < least * points[at].1 || doubt(&step) < SURE_WITH_TARGET {
        return None;
    }
    if seen
        .course
        .is_some_and(|course| is_long_step(&points, at, step.value, course, &measured, seen.places))
    {
        return None;
    }
    let places: Vec<usize> = measured.iter().map(|(place, _)| *place).collect();
    let (by, middle_doubt) = mover(seen, &places, at, step);
    let before = measured[at - 1].0;
    let pulled = seen
        .other_light
        .map_or(0.0, |light| light.u_pct(seen.frames)[before]);
    let is_target = matches!(by, Mover::Left | Mover::Right);
    let by = if is_target && seen.other_light.is_some() {
        Mover::Untold
    } else {
        by
    };
    let sure = doubt(&step) > SURE
        || (is_target && middle_doubt > MIDDLE_SURE && seen.other_light.is_none());
    let before_px = points[at].1 - step.value;
    let jump_pct = step.scaled(100.0 / before_px);
    (sure && jump_pct.value.abs() > OTHER_LIGHT * pulled).then(|| Slip {
        before,
        after: measured[at].0,
        jump_px: step.value,
        jump_pct,
        by,
    })
}

/// Whether the step is that of a blur which steps as well: then focus went farther there.
fn is_long_step(
    points: &[(f64, f64, f64)],
    at: usize,
    step: f64,
    course: &BlurCourse,
    measured: &[(usize, Measured)],
    places: &Places,
) -> bool {
    let blur: Vec<(f64, f64, f64)> = course
        .signed
        .iter()
        .map(|(place, blur)| {
            (
                places.pace(*place),
                blur.value,
                blur.std_error.max(LEAST_U_PX),
            )
        })
        .collect();
    let there = course
        .signed
        .iter()
        .position(|(place, _)| *place == measured[at].0);
    let stepped = there.and_then(|there| {
        let step = steps::along(&blur, 3, LEAST_SIDE)
            .get(there.checked_sub(1)?)
            .copied()
            .flatten()?;
        Some((there, step))
    });
    stepped.is_some_and(|(there, own)| {
        let explained = own.value * pace_beside(points, at) / pace_beside(&blur, there);
        own.value.abs() > BLUR_SURE * own.std_error && (step - explained).abs() < step.abs() / 2.0
    })
}

/// Slope of a run on both sides of the step before a point.
fn pace_beside(points: &[(f64, f64, f64)], at: usize) -> f64 {
    let (first, last) = (at.saturating_sub(3), (at + 2).min(points.len() - 1));
    let rise = |of: fn(&(f64, f64, f64)) -> f64| {
        of(&points[at - 1]) - of(&points[first]) + of(&points[last]) - of(&points[at])
    };
    rise(|point| point.1) / rise(|point| point.0)
}

/// Who made a step of the distance, and how surely the middle of the pair moved, in standard uncertainties.
fn mover(seen: &Seen<'_>, measured: &[usize], at: usize, step: Measured) -> (Mover, f64) {
    let run = |of: &dyn Fn(&Pair) -> f64| -> Option<Measured> {
        let pairs = pairs(seen, measured)?;
        let points: Vec<(f64, f64, f64)> = pairs
            .iter()
            .zip(measured)
            .map(|(pair, place)| (seen.places.pace(*place), of(pair), pair.u_px))
            .collect();
        // The camera stands still, or creeps: the simplest run is a constant.
        steps::along(&points, 1, LEAST_SIDE)[at - 1]
    };
    let Some(middle) = run(&|pair| pair.along) else {
        return (Mover::Untold, 0.0);
    };
    let across = |side: usize| run(&move |pair: &Pair| pair.across[side]);
    let off = |m: &Measured, from: f64, u: f64| (m.value - from).abs() / m.std_error.hypot(u);
    let is_still = |side: usize| {
        across(side).is_some_and(|m| {
            off(&m, 0.0, 0.0) < STILL || m.value.abs() < TREMBLES * step.value.abs()
        })
    };
    let half = step.scaled(0.5);
    let from_ring = off(&middle, 0.0, 0.0);
    // Whichever target stays where it is, the other one moves the middle by half its step.
    let moved = |side: f64| off(&middle, side * half.value, half.std_error);
    let by = if from_ring < STILL && moved(1.0).min(moved(-1.0)) > MOVES {
        Mover::Ring
    } else if from_ring > MOVES && moved(1.0) < STILL && is_still(0) {
        Mover::Right
    } else if from_ring > MOVES && moved(-1.0) < STILL && is_still(1) {
        Mover::Left
    } else {
        Mover::Untold
    };
    (by, from_ring)
}

/// How the pair of a frame lies in the picture, without breathing.
struct Pair {
    /// Place of its middle along the pair's direction in the reference, px.
    along: f64,
    /// Places of the left and the right target across that direction, px.
    across: [f64; 2],
    /// Standard uncertainty of the middle, px.
    u_px: f64,
}

/// The pairs of the measured frames against the last one; `None` where more than two targets are used, or the size of the
/// picture is not known.
fn pairs(seen: &Seen<'_>, measured: &[usize]) -> Option<Vec<Pair>> {
    let (width, height) = seen.size_px?;
    let centre = (f64::from(width - 1) / 2.0, f64::from(height - 1) / 2.0);
    let place = |target: &Target| (target.x_px.value - centre.0, target.y_px.value - centre.1);
    let pair_of = |at: usize| -> Option<[&Target; 2]> {
        <&[Target; 2]>::try_from(seen.frames[at].targets.as_slice())
            .ok()
            .map(|[a, b]| [a, b])
    };
    let last = *measured.last()?;
    let reference = pair_of(last)?.map(place);
    let length = seen.frames[last].separation_px?.value;
    let direction = (
        (reference[1].0 - reference[0].0) / length,
        (reference[1].1 - reference[0].1) / length,
    );
    measured
        .iter()
        .map(|&at| {
            let scale = seen.frames[at].separation_px?.value / length;
            let pair = pair_of(at)?;
            let u = pair[0].x_px.std_error.hypot(pair[1].x_px.std_error) / 2.0;
            let off = [0, 1].map(|side| {
                let here = place(pair[side]);
                (
                    here.0 - scale * reference[side].0,
                    here.1 - scale * reference[side].1,
                )
            });
            Some(Pair {
                along: (0..2)
                    .map(|side| off[side].0 * direction.0 + off[side].1 * direction.1)
                    .sum::<f64>()
                    / 2.0,
                across: off.map(|off| off.1 * direction.0 - off.0 * direction.1),
                u_px: u.max(LEAST_U_PX),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests;
