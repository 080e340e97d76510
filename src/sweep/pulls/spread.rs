//! Blur of the targets, frame by frame.

use crate::measure::Target;
use crate::optics;
use crate::sweep::FrameResult;
use crate::sweep::distance::blur::{self, BlurCourse, Spread};
use crate::sweep::sequence::places::Places;
use crate::units::Measured;

/// How the blur runs through the measured frames, at the scale of the last one; `None` where the targets are not sharp
/// inside the sweep.
#[must_use]
pub(in crate::sweep) fn course(results: &[FrameResult], places: &Places) -> Option<BlurCourse> {
    let reference = reference_px(results)?;
    let spreads: Vec<Spread> = results
        .iter()
        .enumerate()
        .filter_map(|(place, frame)| {
            let scale = frame.separation_px?.value / reference;
            Some(Spread {
                place,
                variance: mean_variance(&frame.targets)?.scaled(1.0 / (scale * scale)),
            })
        })
        .collect();
    blur::course_along(&spreads, places)
}

/// Fills in the diameter of each target's blur disc, px: what its second moment has beyond its own sharp one, which the
/// frame nearest to the sharpest place shows, less the little blur that is left there.
pub(in crate::sweep) fn fill(results: &mut [FrameResult], course: &BlurCourse) {
    let off = |place: usize| (place as f64 - course.sharpest).abs();
    let nearest = results
        .iter()
        .enumerate()
        .filter(|(_, frame)| frame.separation_px.is_some())
        .min_by(|a, b| off(a.0).total_cmp(&off(b.0)))
        .map(|(_, frame)| frame);
    let (Some(nearest), Some(reference)) = (nearest, reference_px(results)) else {
        return;
    };
    let (Some(own), Some(mean)) = (nearest.separation_px, mean_variance(&nearest.targets)) else {
        return;
    };
    // All second moments at the scale of the reference.
    let to_reference = (reference / own.value).powi(2);
    let left = (mean.value * to_reference - course.sharp_variance).max(0.0);
    let sharp: Vec<f64> = nearest
        .targets
        .iter()
        .map(|target| target.variance_px2.value * to_reference - left)
        .collect();
    for frame in results.iter_mut() {
        let Some(separation) = frame.separation_px else {
            continue;
        };
        let scale = (separation.value / reference).powi(2);
        let same = frame.targets.len() == sharp.len();
        frame.blur_px = frame
            .targets
            .iter()
            .enumerate()
            .map(|(k, target)| {
                let least = sharp.get(k).filter(|_| same)?;
                Some(optics::blur_diameter_px(
                    target.variance_px2.value,
                    least * scale,
                ))
            })
            .collect();
    }
}

/// Separation in the last measured frame, px.
pub(in crate::sweep) fn reference_px(results: &[FrameResult]) -> Option<f64> {
    let last = results.iter().rev().find_map(|frame| frame.separation_px)?;
    Some(last.value)
}

/// Mean second moment of the outermost two targets, px².
#[must_use]
pub(in crate::sweep) fn mean_variance(targets: &[Target]) -> Option<Measured> {
    let (first, last) = (targets.first()?, targets.last()?);
    let (a, b) = (first.variance_px2, last.variance_px2);
    Some(Measured::new(
        (a.value + b.value) / 2.0,
        a.std_error.hypot(b.std_error) / 2.0,
    ))
}
