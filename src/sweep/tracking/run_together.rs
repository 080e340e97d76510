//! Targets that something bright beside them runs into: the wall beyond the edge of a card, once the blur reaches it. What is
//! found there then holds both and is cut by the frame's edge, though the target lies well inside the picture.
//!
//! Where the target should be, and how wide, is on the straight line through the two nearest frames that were measured.

use super::pick::Found;
use crate::measure::{Target, Unmeasurable};
use crate::sweep::sequence::places::Places;

/// A blur disc or a square ends no farther than this many standard deviations from its centre on an axis …
const EDGE_SIGMA: f64 = 2.0;
/// … and half as far again to be sure, as the width is read from other frames.
const SPARE: f64 = 1.5;

/// Gives frames that were failed for a target cut by the frame's edge their true reason where it can't be cut.
pub(super) fn tell_apart(found: &mut [Found], places: &Places, (width, height): (f64, f64)) {
    let inside = |(x, y, reach): (f64, f64, f64)| {
        x - reach > 0.0 && y - reach > 0.0 && x + reach < width - 1.0 && y + reach < height - 1.0
    };
    let wrong: Vec<usize> = (0..found.len())
        .filter(|&at| matches!(found[at], Err(Unmeasurable::Clipped)))
        .filter(|&at| expected(found, places, at).is_some_and(|pair| pair.into_iter().all(inside)))
        .collect();
    for at in wrong {
        found[at] = Err(Unmeasurable::RunTogether);
    }
}

/// Centres of the two targets and how far their blur reaches, px.
fn expected(found: &[Found], places: &Places, at: usize) -> Option<[(f64, f64, f64); 2]> {
    let pair = |at: usize| {
        let targets = found[at].as_ref().ok()?;
        Some((places.pace(at), [targets.first()?, targets.last()?]))
    };
    let mut measured: Vec<(f64, [&Target; 2])> = (0..found.len()).filter_map(pair).collect();
    let here = places.pace(at);
    let off = |one: &(f64, [&Target; 2])| (one.0 - here).abs();
    measured.sort_by(|a, b| off(a).total_cmp(&off(b)));
    let [(near, a), (far, b), ..] = measured.as_slice() else {
        return None;
    };
    let share = (here - near) / (far - near);
    let along = |of: fn(&Target) -> f64, k: usize| of(a[k]) + share * (of(b[k]) - of(a[k]));
    let sigma = |target: &Target| target.variance_px2.value.max(0.0).sqrt();
    let one = |k: usize| {
        let reach = EDGE_SIGMA * SPARE * along(sigma, k).max(sigma(a[k]));
        (
            along(|target| target.x_px.value, k),
            along(|target| target.y_px.value, k),
            reach,
        )
    };
    share.is_finite().then(|| [one(0), one(1)])
}
