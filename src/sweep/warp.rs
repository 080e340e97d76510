//! A picture that the camera stretches towards its sides, to take out the lens's barrel distortion: it warps the blur of the
//! targets and moves their centres.
//!
//! A stretch r → r·(1 + k·r²) moves a disc of second moment σ² at the distance x from the middle outwards by 4·k·σ²·x, because
//! its outer half is stretched by more, and by 8·k·σ²·x, because what is stretched covers more pixels that are as bright:
//! together 12·k·σ²·x. A centre from the blur's edges is pulled as far: they move by as much as all of the light. The disc
//! grows longer along the line of the targets by the share e = 2·k·x², at any blur and on both sides of focus, so the pull is
//! 6·e·σ²/x. The third moment grows by 18·k·x·(σ⁴ + k₄), k₄ being the fourth cumulant of a round light: nothing for a wide disc,
//! whose k₄ is −σ⁴, and some for one as wide as the tape. (Own calculation, leading order in k.)
//!
//! A blur that is shorter along the line is taken for one that the barrel cuts; see `vignette`.

use super::FrameResult;
use super::distance::blur::BlurCourse;
use super::pulls::telling_pair;
use super::spread::reference_px;
use super::vignette::share_of_blur;
use crate::measure::Target;
use crate::units::Measured;

/// How much a stretch must stand out of its noise.
const SIGNIFICANCE: f64 = 6.0;
/// Share of the larger stretch that the smaller one has where both targets show it: they lie about as far from the middle.
const ALIKE: f64 = 0.5;
/// Largest stretch that is thought to be a warp: 5 % of distortion at the targets. What is longer is astigmatism.
const MOST: f64 = 0.1;
/// Share of the correction that stays as its standard uncertainty: pupils that look longer from the side stretch the blur too,
/// and pull nothing.
const LEFT_OVER: f64 = 0.5;

/// How the blur is stretched.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Warp {
    /// Share e by which it is longer along the line of the targets.
    stretch: Measured,
    /// Middle of the picture, px.
    middle_px: f64,
}

/// Looks for a stretch; `None` where the blur is as long as it is high, or where one target alone is stretched.
#[must_use]
pub(super) fn detect(frames: &[FrameResult], course: &BlurCourse, width_px: u32) -> Option<Warp> {
    let separation = reference_px(frames)?;
    let seen: Vec<(f64, [f64; 2])> = course
        .signed
        .iter()
        .filter_map(|&(place, blur)| {
            let [left, right] = telling_pair(&frames[place].targets)?;
            // At the reference's scale, as the blur is.
            let scale = frames[place].separation_px?.value / separation;
            let longer = |t: &Target| 2.0 * t.elongation * t.variance_px2.value / (scale * scale);
            Some((blur.value, [longer(left), longer(right)]))
        })
        .collect();
    let stretch = |of: &dyn Fn(&[f64; 2]) -> f64| {
        share_of_blur(seen.iter().map(|(blur, longer)| (*blur, of(longer))))
    };
    let both = stretch(&|longer| (longer[0] + longer[1]) / 2.0)?;
    let (left, right) = (stretch(&|longer| longer[0])?, stretch(&|longer| longer[1])?);
    let alike = left.value.min(right.value) > ALIKE * left.value.max(right.value);
    let is_seen = both.value > SIGNIFICANCE * both.std_error && both.value < MOST;
    (alike && is_seen).then_some(Warp {
        stretch: both,
        middle_px: (f64::from(width_px) - 1.0) / 2.0,
    })
}

impl Warp {
    /// Distance of a target from the middle of the picture, px.
    fn off_px(&self, target: &Target) -> f64 {
        (target.x_px.value - self.middle_px).abs().max(1.0)
    }

    /// How much of a target's third moment is the stretch, px³, outwards.
    #[must_use]
    pub(super) fn third_px3(&self, target: &Target) -> f64 {
        let square = target.variance_px2.value.powi(2);
        9.0 * self.stretch.value / self.off_px(target) * (square + target.lean.fourth_px4)
    }

    /// How far both targets of a frame are pulled apart, px.
    fn pull_px(&self, frame: &FrameResult) -> Option<f64> {
        let (left, right) = (frame.targets.first()?, frame.targets.last()?);
        let pull = |t: &Target| 6.0 * self.stretch.value * t.variance_px2.value / self.off_px(t);
        Some(pull(left) + pull(right))
    }

    /// Takes the pull out of the separations.
    pub(super) fn correct(&self, frames: &mut [FrameResult]) {
        for frame in frames {
            let pull = self.pull_px(frame);
            if let (Some(separation), Some(pull)) = (&mut frame.separation_px, pull) {
                separation.value -= pull;
            }
        }
    }

    /// Standard uncertainty that its correction leaves in each frame's shift, percentage points, by place in the sweep.
    #[must_use]
    pub(super) fn u_pct(&self, frames: &[FrameResult], reference: usize) -> Vec<f64> {
        let last = frames.get(reference).and_then(|frame| self.pull_px(frame));
        let u = |frame: &FrameResult| {
            let pull = (self.pull_px(frame)? - last?).abs();
            Some(100.0 * LEFT_OVER * pull / frame.separation_px?.value)
        };
        frames.iter().map(|frame| u(frame).unwrap_or(0.0)).collect()
    }
}
