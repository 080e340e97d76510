//! Light that is not the target's beside or behind it: a reflection, a label, a window. What can't be seen in one frame
//! alone shows in the two targets together, and over the frames.
//!
//! Blurred tape is as good as even about its middle: convolution adds the third moments of tape and pupil, both small,
//! and what off-axis blur has of its own (coma, a cat's eye) is mirrored between left and right. So third moments that
//! don't cancel between the two targets, or lie across their line, are somebody else's light ([`OtherLight::lopsided`]). A reflection so large that
//! the target drowns in it is even, but then one target sends a multiple of the other's light, and that multiple falls while the
//! scale grows: a reflection does not grow with it, tape does ([`OtherLight::factor`]).
//!
//! Light that gets into a target's window in some frames only, as the blur grows towards it, or that was taken out of it in
//! some, makes the ratio of the two targets' light jump ([`OtherLight::changing`]).
//!
//! How far it pulls, in three ways, none of which needs to know where it lies:
//! * light ε at the distance d, about two standard deviations σ of all the light, gives a skewness of ε·d³/σ³ and a
//!   pull of ε·d, a quarter of skewness × σ;
//! * light that comes into the window as it grows adds δε to the light and δε·d² to its second moment, and pulls by
//!   δε·d, the root of the product;
//! * light ε that stands still in the picture holds the centre back by ε of what it should move, and makes the target's
//!   light grow by 2·ε·shift less than it should: how the ratio of the light runs against the shift tells ε, and the shift
//!   is wrong by ε/(2 − ε) of itself. Where one target sends a multiple of the other's light, ε is also no more than what
//!   makes the multiple; half of what that does is its standard uncertainty.
//!
//! Only changes against the reference count: what is the same in every frame is part of the target. Checked on an
//! independent renderer's sweeps with reflections and labels of all sizes and distances.

mod own_shape;

use nalgebra::{DMatrix, DVector};

use self::own_shape::{Side, own_shape, thirds};
use super::backdrop::Backdrop;
use super::beside;
use super::dust::Dust;
use crate::measure::{Flag, Target, Window};
use crate::sweep::distance::blur::BlurCourse;
use crate::sweep::fitting::least_squares;
use crate::sweep::pulls::spread::reference_px;
use crate::sweep::pulls::vignette::CutBlur;
use crate::sweep::tracking::balance::{self, usual};
use crate::sweep::{FrameResult, frame};
use crate::units::Measured;

/// Skewness of both targets together from which it is no tape's: torn tape reached 0.05, and light that made the shift
/// wrong by four times its uncertainty 0.074 at the least, in simulated sweeps.
const LOPSIDED: f64 = 0.07;
/// Factor between the light of the two targets, or their second moments where they are sharpest, that two patches of
/// the same tape don't have.
const UNLIKE: (f64, f64) = (2.5, 3.0);
/// Share of the brighter one's light that stands still while the scale changes, from which it is not tape alone: what noise and the ends
/// of faint blur do to the light of tape that is small or dim goes with the blur.
const STILL: f64 = 0.2;
/// Change of the logarithm of the ratio of the two targets' light in a frame, from which one of the two is not tape alone.
const CHANGING: f64 = 0.03;
/// Standard uncertainties by which that has to stand out.
const CLEAR: f64 = 3.0;
/// Light of a frame over what is usual below which its targets are not compared: the camera's tone curve and the steps of its codes treat
/// a frame that is darker by more than three stops otherwise.
const DARK: f64 = 0.1;
/// Change of that logarithm in a frame from which it counts where something was taken out of a target's window.
const CROWDED_CHANGE: f64 = 0.005;
/// A change also stands out of the usual scatter, and of its own noise, by this factor.
const OUTSTANDING: f64 = 8.0;
/// Distance of the other light in standard deviations of all the light, squared.
const FAR_SQUARED: f64 = 4.0;

/// Skewness of a target across the line from which it is no tape's: tape that is torn askew lies flat, and has half of it.
const ACROSS: f64 = 0.15;
/// Part by which a third moment may be off a straight course …
const STRAIGHT: f64 = 0.05;
/// … or standard uncertainties of it.
const STRAIGHT_SIGMA: f64 = 5.0;

/// Light of something else in the window of a target.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::sweep) struct OtherLight {
    /// Places of the frames in which a target is lopsided.
    pub(in crate::sweep) lopsided: Vec<usize>,
    /// How many times the light of the other one target sends, where no two patches of tape do that.
    pub(in crate::sweep) factor: Option<f64>,
    /// Places of the frames in which one target's light is not what it is in most, against the other's.
    pub(in crate::sweep) changing: Vec<usize>,
    /// Places of the frames in which a target leans where it is sharp, as neither tape nor lens makes it.
    pub(in crate::sweep) leaning: Vec<usize>,
    /// What faint light around the targets does, percentage points, by place in the sweep; empty where there is none.
    pub(in crate::sweep) around: Vec<f64>,
}

/// What one frame shows of its outermost targets.
struct Seen {
    place: usize,
    /// A target is burnt out.
    burnt: bool,
    /// Light that both targets send.
    light: f64,
    /// Something else was taken out of a target's window.
    crowded: bool,
    /// Skewness × standard deviation, right minus left, px.
    lean_px: f64,
    /// Skewness of both together, where it stands out of the noise.
    lopsided: bool,
    /// Logarithm of left over right light.
    log_light: Measured,
    /// Second moment, left minus right, px² at the reference's scale.
    variance: f64,
    /// 1 / (second moment of the narrower target at the reference's scale).
    brightness: f64,
    /// Shift as it was measured, as a share.
    shift: f64,
}

/// Looks for other light; `None` where there is no sign of it, or where a cut blur explains what there is.
#[must_use]
pub(in crate::sweep) fn detect(
    frames: &[FrameResult],
    course: Option<&BlurCourse>,
    cut: Option<&CutBlur>,
    backdrop: Option<&Backdrop>,
    dust: Option<&Dust>,
) -> Option<OtherLight> {
    if cut.is_some_and(CutBlur::is_remarkable) {
        return None;
    }
    let seen = seen_in(frames);
    let lopsided = seen.iter().filter(|s| s.lopsided);
    let lopsided: Vec<usize> = lopsided.map(|s| s.place).collect();
    let leaning = match course {
        Some(course) if lopsided.is_empty() && dust.is_none() => leaning(frames, course),
        _ => Vec::new(),
    };
    let around = || {
        let reference = frame::reference(frames)?;
        // Folds and edges of cards have a finding and a line of the budget of their own.
        beside::u_pct(frames, course, reference).filter(|_| backdrop.is_none())
    };
    let changing = changing(&seen);
    let is_seen = !(lopsided.is_empty() && changing.is_empty() && leaning.is_empty());
    let found = OtherLight {
        lopsided,
        factor: unlike(frames, &seen, is_seen),
        changing,
        leaning,
        around: around().unwrap_or_default(),
    };
    let any = !found.lopsided.is_empty()
        || found.factor.is_some()
        || !found.changing.is_empty()
        || !found.leaning.is_empty()
        || !found.around.is_empty();
    any.then_some(found)
}

impl OtherLight {
    /// Nothing but faint light around the targets was seen.
    fn is_around_only(&self) -> bool {
        self.lopsided.is_empty()
            && self.factor.is_none()
            && self.changing.is_empty()
            && self.leaning.is_empty()
    }

    /// Standard uncertainty that it leaves in each frame's shift, percentage points, by place in the sweep.
    #[must_use]
    pub(in crate::sweep) fn u_pct(&self, frames: &[FrameResult]) -> Vec<f64> {
        let seen = seen_in(frames);
        let mut u = vec![0.0; frames.len()];
        let Some((reference, separation)) = seen
            .last()
            .and_then(|last| Some((last, frames[last.place].separation_px?.value)))
        else {
            return u;
        };
        let held_back = |share: f64| share / (2.0 - share);
        let more = 1.0 - 1.0 / self.factor.unwrap_or(1.0);
        let held_back = held_back(against_shift(&seen).abs()).hypot(held_back(more) / 2.0);
        for frame in &seen {
            let gained = (frame.log_light.value - reference.log_light.value).abs();
            let spread = (frame.variance - reference.variance).abs();
            let lean = (frame.lean_px - reference.lean_px) / FAR_SQUARED;
            let pull = lean.hypot((gained * spread).sqrt()) / separation;
            let around = self.around.get(frame.place).copied().unwrap_or(0.0);
            let own = if self.is_around_only() {
                0.0
            } else {
                100.0 * pull.hypot(frame.shift * held_back)
            };
            u[frame.place] = own.hypot(around);
        }
        u
    }
}

/// Places of the frames in which a target leans along the line where it is sharp. Coma and a cut blur vanish there, and grow with
/// the blur; a tape's own shape stays. What does neither, by a third moment that runs straight with the second, is light
/// beside it that has a blur of its own, or comes into the window: a reflected copy of the target.
fn leaning(frames: &[FrameResult], course: &BlurCourse) -> Vec<usize> {
    let sides: [Side; 2] = [<[Target]>::first, <[Target]>::last];
    let Some(reference) = reference_px(frames) else {
        return Vec::new();
    };
    let leans = |side: Side| {
        let seen: Vec<(f64, Measured)> = frames
            .iter()
            .filter_map(|frame| {
                let target = side(&frame.targets)?;
                let scale = frame.separation_px?.value / reference;
                let blur = target.variance_px2.value / (scale * scale) - course.sharp_variance;
                Some((blur, target.lean.third_px3.scaled(scale.powi(-3))))
            })
            .collect();
        let terms = DMatrix::from_fn(seen.len(), 2, |row, column| {
            let (blur, third) = seen[row];
            [1.0, blur][column] / third.std_error.max(1e-6)
        });
        let thirds = seen
            .iter()
            .map(|(_, third)| third.value / third.std_error.max(1e-6));
        let thirds = DVector::from_iterator(seen.len(), thirds);
        let inverse = (terms.transpose() * &terms).try_inverse()?;
        let fit = inverse * terms.transpose() * thirds;
        let own = LOPSIDED * course.sharp_variance.max(0.0).powf(1.5);
        let is_straight = seen.iter().all(|&(blur, third)| {
            let expected = fit[0] + fit[1] * blur;
            let allowed = STRAIGHT * expected.abs().max(fit[0].abs());
            (third.value - expected).abs() < allowed.max(STRAIGHT_SIGMA * third.std_error)
        });
        Some(fit[0].abs() > own && !is_straight)
    };
    let own = own_shape(frames);
    let is_told = |side: usize| own[side][0].abs() > 0.0;
    if !(0..2).any(|side| !is_told(side) && leans(sides[side]) == Some(true)) {
        return Vec::new();
    }
    let flagged = |frame: &FrameResult| {
        let mut ends = frame
            .targets
            .first()
            .into_iter()
            .chain(frame.targets.last());
        ends.any(|target| target.flags.contains(&Flag::Vignetted))
    };
    (0..frames.len())
        .filter(|&at| flagged(&frames[at]))
        .collect()
}

fn seen_in(frames: &[FrameResult]) -> Vec<Seen> {
    let Some(reference) = reference_px(frames) else {
        return Vec::new();
    };
    let own = own_shape(frames);
    let measured = frames.iter().enumerate();
    measured
        .filter_map(|(place, frame)| {
            let (left, right) = (frame.targets.first()?, frame.targets.last()?);
            let scale = frame.separation_px?.value / reference;
            let lean = |t: &Target| t.skewness() * t.variance_px2.value.max(0.0).sqrt();
            let is_flagged = |t: &Target| t.flags.contains(&Flag::Vignetted);
            // Beyond the tape's own.
            let skewness = |t: &Target, side: usize, axis: usize| {
                let size = t.variance_px2.value.max(1e-6).powf(1.5);
                (thirds(t)[axis] - own[side][axis] * scale.powi(3)) / size
            };
            let along = (skewness(left, 0, 0) + skewness(right, 1, 0)).abs() > LOPSIDED;
            let across = skewness(left, 0, 1).abs().max(skewness(right, 1, 1).abs()) > ACROSS;
            let crowded = |t: &Target| t.flags.contains(&Flag::Crowded);
            Some(Seen {
                place,
                burnt: balance::is_burnt(&frame.targets),
                light: left.flux + right.flux,
                crowded: crowded(left) || crowded(right),
                lean_px: lean(right) - lean(left),
                lopsided: (is_flagged(left) || is_flagged(right)) && (along || across),
                log_light: Measured::new(
                    balance::log_ratio(&frame.targets)?,
                    light_noise(left).hypot(light_noise(right)),
                ),
                variance: (left.variance_px2.value - right.variance_px2.value) / (scale * scale),
                brightness: scale * scale
                    / left
                        .variance_px2
                        .value
                        .min(right.variance_px2.value)
                        .max(1e-6),
                shift: scale - 1.0,
            })
        })
        .collect()
}

/// By which factor the light of the two targets differs, where it is one that no two patches of tape have and that
/// changes over the sweep: as light that stands still makes it, or anyhow where other light `is_seen`.
fn unlike(frames: &[FrameResult], seen: &[Seen], is_seen: bool) -> Option<f64> {
    let mut logs: Vec<f64> = seen.iter().map(|s| s.log_light.value).collect();
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
    let unlike = middle.abs() > UNLIKE.0.ln() || widths.abs() > UNLIKE.1.ln();
    // The brighter one's light falls behind.
    let stands = -middle.signum() * against_shift(seen) > STILL;
    let changes = is_seen && logs.last()? - logs.first()? > CHANGING;
    (unlike && (stands || changes)).then(|| middle.abs().exp())
}

/// Noise of a target's light, as a share of it: what moves the light by a share moves the mean of its second moments along x and y by
/// about R²/4 times that, R being the window's radius (own calculation, to a factor of two).
fn light_noise(target: &Target) -> f64 {
    let Window {
        left,
        top,
        right,
        bottom,
    } = target.window;
    // A window that the picture's edge cuts is whole along the other side.
    let radius = f64::from((right - left).max(bottom - top)) / 2.0;
    4.0 * target.variance_px2.std_error / radius.powi(2).max(1.0)
}

/// Frames in which the ratio of the light stands out, of what is usual and of its own noise. What is cut off at the ceiling depends on the
/// blur, and what is found in a frame that is black is nobody's light, so burnt-out and dark targets say nothing here.
fn changing(seen: &[Seen]) -> Vec<usize> {
    let lights: Vec<f64> = seen.iter().map(|s| s.light).collect();
    let least = DARK * usual(&lights).0;
    let is_sound = |s: &&Seen| !s.burnt && s.light > least;
    let sound: Vec<&Seen> = seen.iter().filter(is_sound).collect();
    let logs: Vec<f64> = sound.iter().map(|s| s.log_light.value).collect();
    let (middle, scatter) = usual(&logs);
    let stands_out = |s: &&&Seen| {
        let least = if s.crowded { CROWDED_CHANGE } else { CHANGING };
        let noise = OUTSTANDING * scatter.max(s.log_light.std_error);
        (s.log_light.value - middle).abs() > least.max(noise)
    };
    sound.iter().filter(stands_out).map(|s| s.place).collect()
}

/// Share of one target's light that does not move with the picture's scale, below 0 where it is the left one's: half of how the
/// logarithm of the ratio of the light runs with the shift. How bright the targets are runs with 1 / (second moment), and the camera's tone
/// curve and ceiling treat a larger and a smaller one differently, so that is fitted beside it.
fn against_shift(seen: &[Seen]) -> f64 {
    // A jump of the light is no slope.
    let logs: Vec<f64> = seen.iter().map(|s| s.log_light.value).collect();
    let (middle, scatter) = usual(&logs);
    let usual =
        |s: &&Seen| (s.log_light.value - middle).abs() < CHANGING.max(OUTSTANDING * scatter);
    let seen: Vec<&Seen> = seen.iter().filter(usual).collect();
    let brightest = seen.iter().map(|s| s.brightness).fold(0.0, f64::max);
    let terms = DMatrix::from_fn(seen.len(), 3, |row, column| match column {
        0 => 1.0,
        1 => seen[row].brightness / brightest,
        _ => seen[row].shift,
    });
    let logs = DVector::from_iterator(seen.len(), seen.iter().map(|s| s.log_light.value));
    let Some(fit) = least_squares::fit(&terms, &logs) else {
        return 0.0;
    };
    let slope = fit.factor(2, fit.scatter);
    if slope.value.abs() > CLEAR * slope.std_error {
        (slope.value / 2.0).clamp(-1.0, 1.0)
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests;
