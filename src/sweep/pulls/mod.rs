//! What moves the centres of blurred targets beside the lens's breathing, read from the shape of their blur and taken out of the
//! separations: a barrel that cuts it, a camera that stretches it, brightness that tilts it.

mod ellipse;
mod overlap;
mod rims;
pub(super) mod shading;
pub(super) mod spread;
pub(super) mod tone;
pub(super) mod vignette;
pub(super) mod warp;

use self::shading::Shading;
use self::tone::Tone;
use self::vignette::CutBlur;
use self::warp::Warp;
use super::distance::blur::BlurCourse;
use super::surroundings::backdrop::Backdrop;
use super::surroundings::dust::Dust;
use super::{FrameResult, frame};
use crate::measure::{Flag, Target};

/// What was seen, and what could not have been.
#[derive(Debug, Clone, Default)]
pub(super) struct Pulls {
    /// The blur is cut by the barrel.
    pub(super) cut_blur: Option<CutBlur>,
    /// The blur is stretched.
    pub(super) warp: Option<Warp>,
    /// Brightness changes towards the sides of the picture, or may.
    pub(super) shading: Option<Shading>,
    /// What a cut may do that is too slight to be seen, percentage points.
    pub(super) unseen_cut_pct: Option<f64>,
    /// What a change of brightness may do that is too slight to be seen, percentage points.
    pub(super) unseen_shading_pct: Option<f64>,
    /// What light that comes unevenly through the pupil may do that is too slight to be seen, percentage points.
    pub(super) unseen_across_pct: Option<f64>,
}

/// Looks at the blur of all frames of a picture width, px, and takes out of their separations what its shape tells for certain.
/// `across_pupil` is by how much light rises across a pupil of this width by itself, as a part at its rim.
pub(super) fn take_out(
    frames: &mut [FrameResult],
    course: Option<&BlurCourse>,
    width_px: Option<u32>,
    across_pupil: Option<f64>,
    backdrop: Option<&Backdrop>,
    dust: Option<&Dust>,
    tone: Tone,
) -> Pulls {
    let mut pulls = Pulls::default();
    let falls =
        || shading::detect(frames, course, None, tone).is_some_and(|shading| shading.is_plain());
    let warp = course
        .zip(width_px)
        .and_then(|(course, width_px)| warp::detect(frames, course, width_px, tone));
    match course.and_then(|course| vignette::look(frames, course, warp.as_ref(), tone)) {
        Some(vignette::Shape::Cut(cut)) if !(cut.is_slight() && falls()) => {
            if let Some(course) = course {
                vignette::correct(frames, course, &cut);
            }
            // What leans or is long in a cut blur is the cut.
            pulls.cut_blur = Some(cut);
            return pulls;
        }
        Some(vignette::Shape::Open { cut, unseen_pct }) => {
            pulls.cut_blur = Some(cut);
            pulls.unseen_cut_pct = Some(unseen_pct);
        }
        Some(vignette::Shape::Whole { unseen_pct }) => pulls.unseen_cut_pct = Some(unseen_pct),
        _ => {}
    }
    pulls.warp = warp;
    let shading = shading::detect(frames, course, pulls.warp.as_ref(), tone);
    if let Some(warp) = &pulls.warp {
        warp.correct(frames);
    }
    let Some((shading, reference)) = shading.zip(frame::reference(frames)) else {
        return pulls;
    };
    let most = shading.most_pct(reference);
    let dusty = dust.is_some_and(|dust| most < DUSTY * dust.most_pct);
    let shading = if shading.is_believed() && !dusty && !explains(backdrop, most) {
        shading.correct(frames);
        shading
    } else {
        pulls.unseen_shading_pct = Some(shading.unseen_pct(reference));
        shading.left_alone()
    };
    pulls.unseen_across_pct =
        across_pupil.map(|natural| shading.unseen_across_pct(natural, reference));
    pulls.shading = Some(shading);
    pulls
}

/// Whether an uneven background explains blurs that lean as if brightness moved the shifts by so much, percentage points.
fn explains(backdrop: Option<&Backdrop>, shading_pct: f64) -> bool {
    backdrop.is_some_and(|backdrop| shading_pct < FOOLED * backdrop.elsewhere_pct)
}

/// Light ε of the background at the rim, R from the middle of a disc, pulls by ε·R and leans by ε·R³, which brightness that
/// pulls by 4·ε·R does as well (k₂ = R²/4, k₄ = −R⁴/16). Brightness has to pull by 2.5 times that to be believed: our choice.
const FOOLED: f64 = 10.0;

/// A grain at the distance d takes ε of the light, pulls by ε·d and leans by ε·d³, as brightness does that pulls by 16·d²/c² as much:
/// by 4 at the rim of a blur of the diameter c.
const DUSTY: f64 = 4.0;

/// The outermost targets of a frame, left and right, where the shape of their light tells something: what is cut off at the
/// ceiling, and other things in the window, change it too.
#[must_use]
pub(super) fn telling_pair(targets: &[Target]) -> Option<[&Target; 2]> {
    leaning_pair(targets).filter(|pair| !pair.iter().any(|t| t.flags.contains(&Flag::Saturated)))
}

/// The same where how their light leans tells something: a ceiling cuts off as much on either side.
#[must_use]
fn leaning_pair(targets: &[Target]) -> Option<[&Target; 2]> {
    let pair = [targets.first()?, targets.last()?];
    (!pair.iter().any(|t| t.flags.contains(&Flag::Crowded))).then_some(pair)
}
