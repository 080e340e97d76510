//! A step in the picture's scale that no focusing makes: the zoom ring slipped.
//!
//! A zoom ring moves both targets away from the middle of the picture or towards it; the point half-way between them stands
//! still. A step of the scale is true of its own focal length on each side, and only one side has a frame at infinity; so the
//! shifts of the other hold the step. What targets do by themselves was taken out before ([`moved`](super::moved)).

use super::pairs::pairs;
use super::pieces::{points, separations};
use crate::sweep::FrameResult;
use crate::sweep::distance::blur::BlurCourse;
use crate::sweep::fitting::steps::{self, LEAST_SIDE, SURE};
use crate::sweep::pulls::vignette::CutBlur;
use crate::sweep::sequence::places::Places;
use crate::sweep::surroundings::other_light::OtherLight;
use crate::units::Measured;

/// A step is at least this share of the distance: less than the worst that a hard sweep may be off by.
const LEAST_SHARE: f64 = 0.0002;
/// Least uncertainty of a separation that is believed, px.
const LEAST_U_PX: f64 = 0.005;
/// What stands still stays within this many standard uncertainties.
const STILL: f64 = 3.0;
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
    /// The pictures do not tell it from a target that moved.
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
    /// Separations of the frames as they would be at the scale after the step, px.
    #[must_use]
    pub(in crate::sweep) fn taken_out(
        &self,
        separations: &[Option<Measured>],
    ) -> Vec<Option<Measured>> {
        let frames = separations.iter().enumerate();
        let shifted = |(frame, separation): (usize, &Option<Measured>)| {
            let jump = if frame <= self.before {
                self.jump_px
            } else {
                0.0
            };
            separation.map(|seen| Measured::new(seen.value + jump, seen.std_error))
        };
        frames.map(shifted).collect()
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
    let is_sure = step.value.abs() > SURE * step.std_error;
    if !is_sure || step.value.abs() < least * points[at].1 {
        return None;
    }
    if seen
        .course
        .is_some_and(|course| is_long_step(&points, at, step.value, course, &measured, seen.places))
    {
        return None;
    }
    let places: Vec<usize> = measured.iter().map(|(place, _)| *place).collect();
    let by = mover(seen, &places, at, step);
    let before = measured[at - 1].0;
    let pulled = seen
        .other_light
        .map_or(0.0, |light| light.u_pct(seen.frames)[before]);
    let before_px = points[at].1 - step.value;
    let jump_pct = step.scaled(100.0 / before_px);
    (jump_pct.value.abs() > OTHER_LIGHT * pulled).then(|| Slip {
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

/// Who made a step of the distance.
fn mover(seen: &Seen<'_>, measured: &[usize], at: usize, step: Measured) -> Mover {
    let middle = || -> Option<Measured> {
        let pairs = pairs(seen.frames, measured, seen.size_px)?;
        let points: Vec<(f64, f64, f64)> = pairs
            .iter()
            .zip(measured)
            .map(|(pair, place)| (seen.places.pace(*place), pair.along, pair.u_px))
            .collect();
        // The camera stands still, or creeps: the simplest run is a constant.
        steps::along(&points, 1, LEAST_SIDE)[at - 1]
    };
    let Some(middle) = middle() else {
        return Mover::Untold;
    };
    let half = step.scaled(0.5);
    let off = |from: f64, u: f64| (middle.value - from).abs() / middle.std_error.hypot(u);
    // Whichever target stays where it is, the other one moves the middle by half its step.
    let moved = |side: f64| off(side * half.value, half.std_error);
    if off(0.0, 0.0) < STILL && moved(1.0).min(moved(-1.0)) > MOVES {
        Mover::Ring
    } else {
        Mover::Untold
    }
}

#[cfg(test)]
mod tests;
