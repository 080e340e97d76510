//! The light of a frame's two targets against each other. Exposure and the light in the room change both alike, blur changes
//! neither; what changes one alone is something before it, or light of something else in its window.

use crate::measure::{Flag, Target};
use crate::sweep::FrameResult;
use crate::sweep::sequence::places::median;

/// From the median of absolute deviations to a standard deviation of normal noise.
const MAD_TO_SIGMA: f64 = 1.4826;
/// Change of the logarithm of the ratio, from which one of the two is not tape alone; in good sweeps it stays within 0.005.
const CHANGING: f64 = 0.03;
/// A change is also this many times what the ratio usually scatters by.
const OUTSTANDING: f64 = 4.0;

/// Middle value and scatter, as a standard deviation, of values of which some may be wild; 0 where there are none.
#[must_use]
pub(in crate::sweep) fn usual(values: &[f64]) -> (f64, f64) {
    let middle = median(values.to_vec()).unwrap_or(0.0);
    let off = values.iter().map(|value| (value - middle).abs()).collect();
    (middle, MAD_TO_SIGMA * median(off).unwrap_or(0.0))
}

/// Logarithm of the light of the left target over that of the right one.
#[must_use]
pub(in crate::sweep) fn log_ratio(targets: &[Target]) -> Option<f64> {
    let (left, right) = (targets.first()?, targets.last()?);
    let ratio = (left.flux / right.flux).ln();
    ratio.is_finite().then_some(ratio)
}

/// Whether a target is burnt out: what is cut off at the ceiling depends on the blur.
#[must_use]
pub(in crate::sweep) fn is_burnt(targets: &[Target]) -> bool {
    let burnt = |target: &Target| target.flags.contains(&Flag::Saturated);
    targets.iter().any(burnt)
}

/// Whether the light of one target changes against that of the other within the sweep.
#[must_use]
pub(in crate::sweep) fn changes(frames: &[FrameResult]) -> bool {
    let ratios: Vec<f64> = frames
        .iter()
        .filter(|frame| !is_burnt(&frame.targets))
        .filter_map(|frame| log_ratio(&frame.targets))
        .collect();
    let (middle, scatter) = usual(&ratios);
    let least = CHANGING.max(OUTSTANDING * scatter);
    ratios.iter().any(|ratio| (ratio - middle).abs() > least)
}
