//! A step in the scale of the picture that no focusing makes: the zoom ring slipped.
//!
//! Each side of it is true of its own focal length, and only one has a frame at infinity. The shifts of the other side hold
//! the step; how large it is, the curves of both sides tell, each continued to the middle of the step.

use super::FrameResult;
use super::pieces::{points, separations};
use super::places::Places;
use super::smooth::Smooth;
use super::vignette::CutBlur;

/// A step of the separation counts as a slipped zoom ring when it stands out of the scatter by this factor …
const SLIP: f64 = 12.0;
/// … and is at least this share.
const SLIP_SHARE: f64 = 0.0008;
/// Frames that each side has to have to be continued.
const LEAST_SIDE: usize = 5;
/// Least uncertainty of a separation that is believed, px.
const LEAST_U_PX: f64 = 0.005;

/// Where the zoom ring slipped, and by how much.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct ZoomSlip {
    /// Place of the last measured frame before it.
    pub(super) before: usize,
    /// Place of the first measured frame after it.
    pub(super) after: usize,
    /// Change of the picture's scale, per cent.
    pub(super) jump_pct: f64,
}

/// Looks for a step; the one that stands out most counts. What a cut blur does to the scale over the whole sweep, it may
/// do within a few frames: a step has to be larger.
#[must_use]
pub(super) fn find(
    frames: &[FrameResult],
    places: &Places,
    cut: Option<&CutBlur>,
) -> Option<ZoomSlip> {
    let measured = separations(frames);
    let points = points(&measured, places, LEAST_U_PX);
    let least = SLIP_SHARE.max(cut.map_or(0.0, |cut| cut.effect_pct / 100.0));
    let mut largest: Option<(f64, ZoomSlip)> = None;
    for cut in LEAST_SIDE..=points.len().saturating_sub(LEAST_SIDE) {
        let step = (points[cut].1 - points[cut - 1].1).abs() / points[cut].1;
        if step < least {
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
        let u_px = a.1.hypot(b.1);
        let doubt = (b.0 - a.0).abs() / u_px.max(0.02);
        let outstands = largest.is_none_or(|(most, _)| doubt > most);
        if jump.abs() > least && doubt > SLIP && outstands {
            let slip = ZoomSlip {
                before: measured[cut - 1].0,
                after: measured[cut].0,
                jump_pct: 100.0 * jump,
            };
            largest = Some((doubt, slip));
        }
    }
    largest.map(|(_, slip)| slip)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::{FrameInfo, FrameState};
    use crate::units::Measured;

    /// A sweep whose scale steps by 0.3 % in its middle.
    fn stepping() -> Vec<FrameResult> {
        (0..16)
            .map(|place| {
                let x = f64::from(place);
                let step = if place < 8 { 1.35 } else { -1.35 };
                FrameResult {
                    info: FrameInfo::default(),
                    state: FrameState::Measured,
                    travel: x / 15.0,
                    focus_dioptres: None,
                    targets: Vec::new(),
                    separation_px: Some(Measured::new(900.0 - x + step, 0.005)),
                    shift_pct: None,
                    blur_px: Vec::new(),
                }
            })
            .collect()
    }

    #[test]
    fn what_cut_blur_explains_is_no_slip() {
        let (frames, places) = (stepping(), Places::in_order(16));
        let cut = CutBlur {
            flattening: 0.1,
            pull: 0.02,
            left_over: 1.0,
            certain: false,
            effect_pct: 0.5,
        };
        let slip = find(&frames, &places, None).expect("it steps in the middle");
        assert_eq!((slip.before, slip.after), (7, 8));
        assert_eq!(find(&frames, &places, Some(&cut)), None);
        let slight = CutBlur {
            effect_pct: 0.01,
            ..cut
        };
        assert!(find(&frames, &places, Some(&slight)).is_some());
    }
}
