//! How the pair of targets lies in each frame, once breathing is taken out.

use crate::measure::Target;
use crate::sweep::FrameResult;

/// Least uncertainty of a place that is believed, px.
const LEAST_U_PX: f64 = 0.005;

/// How the pair of a frame lies in the picture against that of the last measured one, at the scale of the frame. Breathing
/// about the picture's own middle moves nothing of it.
pub(super) struct Pair {
    /// How far its middle is moved along the pair's direction in the reference, px.
    pub(super) along: f64,
    /// How far the left and the right target are moved across that direction, px.
    pub(super) across: [f64; 2],
    /// Standard uncertainty of the middle, px.
    pub(super) u_px: f64,
    /// Scale of the picture over that of the reference.
    pub(super) scale: f64,
}

/// The pairs of the measured frames, `measured` being their places; `None` where more than two targets are used, or the size
/// of the picture is not known.
#[must_use]
pub(super) fn pairs(
    frames: &[FrameResult],
    measured: &[usize],
    size_px: Option<(u32, u32)>,
) -> Option<Vec<Pair>> {
    let (width, height) = size_px?;
    let centre = (f64::from(width - 1) / 2.0, f64::from(height - 1) / 2.0);
    let place = |target: &Target| (target.x_px.value - centre.0, target.y_px.value - centre.1);
    let pair_of = |at: usize| -> Option<[&Target; 2]> {
        <&[Target; 2]>::try_from(frames[at].targets.as_slice())
            .ok()
            .map(|[a, b]| [a, b])
    };
    let last = *measured.last()?;
    let reference = pair_of(last)?.map(place);
    let length = frames[last].separation_px?.value;
    let direction = (
        (reference[1].0 - reference[0].0) / length,
        (reference[1].1 - reference[0].1) / length,
    );
    measured
        .iter()
        .map(|&at| {
            let scale = frames[at].separation_px?.value / length;
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
                scale,
            })
        })
        .collect()
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::sweep::{FrameInfo, FrameState};
    use crate::units::Measured;

    /// A sweep of 16 frames whose targets lie `half_px` to either side of the middle of a picture of 1001 × 801 px, the left and
    /// the right one moved along by so many px; the camera trembles by a twentieth of a pixel. All are told by the frame.
    pub(in crate::sweep::verdict) fn sweep(
        half_px: impl Fn(f64) -> f64,
        left_px: impl Fn(f64) -> f64,
        right_px: impl Fn(f64) -> f64,
    ) -> Vec<FrameResult> {
        (0..16)
            .map(|place| {
                let x = f64::from(place);
                let tremble = 0.05 * (2.4 * x).sin();
                let half = half_px(x);
                let (left, right) = (left_px(x) - half, half + right_px(x));
                let at = |x: f64| {
                    let mut target = Target::plain(500.0 + x + tremble, 400.0 + tremble, 400.0);
                    (target.x_px.std_error, target.y_px.std_error) = (0.0035, 0.0035);
                    target
                };
                FrameResult {
                    info: FrameInfo::default(),
                    state: FrameState::Measured,
                    travel: x / 15.0,
                    focus_dioptres: None,
                    targets: vec![at(left), at(right)],
                    separation_px: Some(Measured::new(right - left, 0.005)),
                    shift_pct: None,
                    blur_px: Vec::new(),
                }
            })
            .collect()
    }
}
