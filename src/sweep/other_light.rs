//! Light that is not the target's beside or behind it: a reflection, a label, a window. What can't be seen in one frame
//! alone shows in the two targets together, and over the frames.
//!
//! Blurred tape is as good as even about its middle: convolution adds the third moments of tape and pupil, both small,
//! and what off-axis blur has of its own (coma, a cat's eye) is mirrored between left and right. So third moments that
//! don't cancel between the two targets, or lie across their line, are somebody else's light ([`OtherLight::lopsided`]). A reflection so large that
//! the target drowns in it is even, but then one target sends a multiple of the other's light, and that multiple changes:
//! a reflection does not grow with the picture's scale, tape does ([`OtherLight::factor`]).
//!
//! How far it pulls, in three ways, none of which needs to know where it lies:
//! * light ε at the distance d, about two standard deviations σ of all the light, gives a skewness of ε·d³/σ³ and a
//!   pull of ε·d, a quarter of skewness × σ;
//! * light that comes into the window as it grows adds δε to the light and δε·d² to its second moment, and pulls by
//!   δε·d, the root of the product;
//! * light ε that stands still in the picture holds the centre back by ε of what it should move, and makes the target's
//!   light grow by 2·ε·shift less than it should: the shift is wrong by a quarter of that, and by no more than
//!   ε/(2 − ε) of itself.
//!
//! Only changes against the reference count: what is the same in every frame is part of the target. Checked on an
//! independent renderer's sweeps with reflections and labels of all sizes and distances.

use super::FrameResult;
use super::vignette::CutBlur;
use crate::measure::{Flag, Target};

/// Skewness of both targets together from which it is no tape's: torn tape reached 0.05, and light that made the shift
/// wrong by four times its uncertainty 0.074 at the least, in simulated sweeps.
const LOPSIDED: f64 = 0.07;
/// Factor between the light of the two targets, or their second moments where they are sharpest, that two patches of
/// the same tape don't have.
const UNLIKE: (f64, f64) = (2.5, 3.0);
/// Change of the logarithm of that factor over the sweep, from which one of the two is not tape alone.
const CHANGING: f64 = 0.03;
/// Distance of the other light in standard deviations of all the light, squared.
const FAR_SQUARED: f64 = 4.0;

/// Light of something else in the window of a target.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct OtherLight {
    /// Places of the frames in which a target is lopsided.
    pub(super) lopsided: Vec<usize>,
    /// How many times the light of the other one target sends, where no two patches of tape do that.
    pub(super) factor: Option<f64>,
}

/// What one frame shows of its outermost targets.
struct Seen {
    place: usize,
    /// Skewness × standard deviation, right minus left, px.
    lean_px: f64,
    /// Skewness of both together, where it stands out of the noise.
    lopsided: bool,
    /// Logarithm of left over right light.
    log_light: f64,
    /// Second moment, left minus right, px² at the reference's scale.
    variance: f64,
    /// Shift as it was measured, as a share.
    shift: f64,
}

/// Looks for other light; `None` where there is no sign of it, or where a cut blur explains what there is.
#[must_use]
pub(super) fn detect(frames: &[FrameResult], cut: Option<&CutBlur>) -> Option<OtherLight> {
    if cut.is_some() {
        return None;
    }
    let seen = seen_in(frames);
    let lopsided: Vec<usize> = seen
        .iter()
        .filter(|s| s.lopsided)
        .map(|s| s.place)
        .collect();
    let factor = unlike(frames, &seen);
    (!lopsided.is_empty() || factor.is_some()).then_some(OtherLight { lopsided, factor })
}

impl OtherLight {
    /// Standard uncertainty that it leaves in each frame's shift, percentage points, by place in the sweep.
    #[must_use]
    pub(super) fn u_pct(&self, frames: &[FrameResult]) -> Vec<f64> {
        let seen = seen_in(frames);
        let mut u = vec![0.0; frames.len()];
        let Some((reference, separation)) = seen
            .last()
            .and_then(|last| Some((last, frames[last.place].separation_px?.value)))
        else {
            return u;
        };
        let share = 1.0 - 1.0 / self.factor.unwrap_or(1.0);
        for frame in &seen {
            let gained = (frame.log_light - reference.log_light).abs();
            let spread = (frame.variance - reference.variance).abs();
            let lean = (frame.lean_px - reference.lean_px) / FAR_SQUARED;
            let pull = lean.hypot((gained * spread).sqrt()) / separation;
            let held_back = (gained / 4.0).min(frame.shift.abs() * share / (2.0 - share));
            let held_back = self.factor.map_or(0.0, |_| held_back);
            u[frame.place] = 100.0 * pull.hypot(held_back);
        }
        u
    }
}

fn seen_in(frames: &[FrameResult]) -> Vec<Seen> {
    let Some(reference) = frames.iter().rev().find_map(|frame| frame.separation_px) else {
        return Vec::new();
    };
    let measured = frames.iter().enumerate();
    measured
        .filter_map(|(place, frame)| {
            let (left, right) = (frame.targets.first()?, frame.targets.last()?);
            let scale = frame.separation_px?.value / reference.value;
            let lean = |t: &Target| t.skewness() * t.variance_px2.value.max(0.0).sqrt();
            let leans = |t: &Target| t.flags.contains(&Flag::Vignetted);
            // What a flag stands for that does not show along x lies along y.
            let across = |t: &Target| leans(t) && t.skewness().abs() < LOPSIDED;
            let along = (left.skewness() + right.skewness()).abs() > LOPSIDED;
            Some(Seen {
                place,
                lean_px: lean(right) - lean(left),
                lopsided: ((leans(left) || leans(right)) && along) || across(left) || across(right),
                log_light: (left.flux / right.flux).ln(),
                variance: (left.variance_px2.value - right.variance_px2.value) / (scale * scale),
                shift: scale - 1.0,
            })
        })
        .filter(|seen| seen.log_light.is_finite())
        .collect()
}

/// By which factor the light of the two targets differs, where it is one that no two patches of tape have and that
/// changes over the sweep.
fn unlike(frames: &[FrameResult], seen: &[Seen]) -> Option<f64> {
    let mut logs: Vec<f64> = seen.iter().map(|s| s.log_light).collect();
    logs.sort_by(f64::total_cmp);
    let middle = *logs.get(logs.len() / 2)?;
    let narrowest = |of: fn(&[Target]) -> Option<&Target>| {
        let widths = frames.iter().filter_map(|frame| of(&frame.targets));
        let least = widths
            .map(|t| t.variance_px2.value)
            .fold(f64::INFINITY, f64::min);
        least.max(1e-6).ln()
    };
    let widths = narrowest(<[Target]>::first) - narrowest(<[Target]>::last);
    let changes = logs.last()? - logs.first()?;
    let unlike = middle.abs() > UNLIKE.0.ln() || widths.abs() > UNLIKE.1.ln();
    (unlike && changes > CHANGING).then(|| middle.abs().exp())
}
