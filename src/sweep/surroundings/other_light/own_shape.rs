//! What of a target's light leans by the tape's own shape.

use crate::measure::Target;
use crate::sweep::FrameResult;
use crate::sweep::pulls::spread::reference_px;
use crate::sweep::tracking::balance::usual;

/// Scatter of a third moment over the frames, as a part of it, from which it is not the tape's own: tone curves other than sRGB's make a
/// fifth.
const OWN_SHAPE: f64 = 0.3;
/// Factor between the widest and the narrowest second moment from which a third moment that stays is the tape's own: light at two standard
/// deviations σ whose blur is another one's adds 3·ε·d per unit of second moment to its ε·d³, three quarters of the factor less 1.
const BLURRED: f64 = 1.4;
/// One of a frame's outermost targets.
pub(super) type Side = fn(&[Target]) -> Option<&Target>;
/// Third central moments of a target along x and y, px³.
pub(super) fn thirds(target: &Target) -> [f64; 2] {
    let y = target.lean_y_px.value * target.second_px2().1;
    [target.lean.third_px3.value, y]
}

/// What of the third moments of the left and the right target along x and y is the tape's own shape, a print on it or a fold, px³ at the
/// reference's scale; 0 where that is not told. Blur adds no third moment, so it stays but for the picture's scale, at any blur. Other
/// light comes into a window, or stays behind when the scale changes.
pub(super) fn own_shape(frames: &[FrameResult]) -> [[f64; 2]; 2] {
    let Some(reference) = reference_px(frames) else {
        return [[0.0; 2]; 2];
    };
    let sides: [Side; 2] = [<[Target]>::first, <[Target]>::last];
    sides.map(|side| {
        let seen = frames.iter().filter_map(|frame| {
            let scale = frame.separation_px?.value / reference;
            Some((side(&frame.targets)?, scale))
        });
        let seen: Vec<(&Target, f64)> = seen.collect();
        let widths = || seen.iter().map(|(target, _)| target.variance_px2.value);
        let narrowest = widths().fold(f64::INFINITY, f64::min);
        let is_blurred = widths().fold(0.0, f64::max) > BLURRED * narrowest;
        [0, 1].map(|axis| {
            let thirds = seen
                .iter()
                .map(|(t, scale)| thirds(t)[axis] / scale.powi(3));
            let (middle, scatter) = usual(&thirds.collect::<Vec<_>>());
            let stays = is_blurred && scatter < OWN_SHAPE * middle.abs();
            if stays { middle } else { 0.0 }
        })
    })
}
