//! How far apart a frame's targets are.

use super::{extra, pair};
use crate::measure::Target;
use crate::sweep::FrameResult;
use crate::units::Measured;

/// Puts in each frame's separation by where its targets are.
pub(in crate::sweep) fn by_targets(frames: &mut [FrameResult]) {
    let targets = frames.iter().rev().map(|frame| &frame.targets);
    let layout = targets
        .into_iter()
        .find(|targets| targets.len() > 2)
        .cloned();
    for frame in frames {
        frame.separation_px = of(&frame.targets, layout.as_deref());
    }
}

/// Separation of a frame's targets: by all of them where there are three or more, else of the pair.
fn of(targets: &[Target], layout: Option<&[Target]>) -> Option<Measured> {
    if let Some(fitted) = layout.and_then(|layout| extra::fitted_separation(targets, layout)) {
        return Some(fitted);
    }
    match targets {
        [] | [_] => None,
        [first, .., last] => Some(pair::separation(first, last)),
    }
}
