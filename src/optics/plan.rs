//! The shooting plan: where to put the targets, how large, which aperture, how many frames.

mod possible;

use std::fmt;

pub use possible::Impossible;

use super::defocus::blur_angle_rad;
use super::perspective::perspective_bound_pct;
use crate::units::{FNumber, Metres, Millimetres};

/// What a reviewer knows before the shoot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setup {
    /// Focal length to be measured.
    pub focal_length: Millimetres,
    /// Largest opening of the lens at that focal length.
    pub maximum_aperture: FNumber,
    /// Closest focus, from the sensor plane.
    pub closest_focus: Metres,
    /// Distance from the sensor plane to the targets; `None` to have it advised.
    pub target_distance: Option<Metres>,
    /// Aperture that is wanted; `None` to have it advised.
    pub f_number: Option<FNumber>,
    /// Width of the picture area on the sensor.
    pub sensor_width: Millimetres,
    /// Height of the picture area on the sensor.
    pub sensor_height: Millimetres,
    /// Columns of the picture.
    pub picture_width_px: u32,
    /// Magnitude of shift to be ready for, per cent, in either direction.
    pub expected_shift_pct: f64,
}

impl Setup {
    /// A set-up for 36 × 24 mm at 1920 px, ready for 6 % either way, distance and aperture to be advised.
    ///
    /// # Errors
    /// None in practice: the sensor's sides are in range.
    pub fn new(
        focal_length: Millimetres,
        maximum_aperture: FNumber,
        closest_focus: Metres,
    ) -> Result<Self, crate::units::OutOfRange> {
        Ok(Self {
            focal_length,
            maximum_aperture,
            closest_focus,
            target_distance: None,
            f_number: None,
            sensor_width: Millimetres::new(36.0)?,
            sensor_height: Millimetres::new(24.0)?,
            picture_width_px: 1920,
            expected_shift_pct: READY_FOR_PCT,
        })
    }
}

/// The plan for one focal length. Everything is worked out with a thin lens and an entrance pupil one focal length in
/// front of the sensor: good to a few per cent, which is enough to place targets.
#[derive(Debug, Clone, PartialEq)]
pub struct ShootingPlan {
    /// Distance from the sensor plane to the targets, m.
    pub target_distance_m: f64,
    /// Width that the picture takes in at the targets with the lens at infinity, m.
    pub field_width_m: f64,
    /// Height of the same, m.
    pub field_height_m: f64,
    /// Distance between the centres of the two targets, m.
    pub target_spacing_m: f64,
    /// The same in the picture at infinity focus, px.
    pub target_spacing_px: f64,
    /// Side of a square target, mm.
    pub tape_mm: f64,
    /// The same in the picture at infinity focus, px.
    pub tape_px: f64,
    /// f-number to shoot at.
    pub f_number: f64,
    /// Blur of the targets at closest focus, px.
    pub blur_near_px: f64,
    /// Blur of the targets at infinity, px.
    pub blur_far_px: f64,
    /// Brightness of a target at its widest blur, as a share of the sharp one.
    pub faintest_share: f64,
    /// Frames from closest focus to infinity.
    pub frames: u32,
    /// Standard uncertainty of the worst shift to be expected, percentage points.
    pub expected_u_pct: f64,
    /// Bound on what the move of the entrance pupil adds, percentage points, one-sided.
    pub perspective_bound_pct: f64,
    /// Shift, per cent, at which a target or its blur would leave the frame at closest focus; `None` where it has no room there even
    /// without a shift.
    pub leaves_frame_at_pct: Option<f64>,
    /// What to mind.
    pub notes: Vec<PlanNote>,
}

/// Something to mind about a set-up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PlanNote {
    /// The aperture is wider than two stops down: blur may be cut by the barrel.
    NotStoppedDown {
        /// The f-number two stops down.
        two_stops_down: f64,
    },
    /// Even at this aperture the blur leaves little room between and beside the targets.
    WideBlur {
        /// Widest blur, px.
        blur_px: f64,
        /// Target distance, m, at which the blur at both ends is alike, where the targets stand elsewhere.
        even_at_m: Option<f64>,
    },
    /// The targets have to stand closer together than a third of the frame width.
    CloseTogether {
        /// Spacing in the picture, px.
        spacing_px: f64,
    },
    /// There is no room in the frame for two targets with their blur and the shift that is planned for.
    NoRoom,
    /// Closest focus is nearer than any lens of this focal length focuses: it is that of another setting of a zoom.
    CloserThanTheLens {
        /// Distance that was planned with instead, m.
        planned_m: f64,
    },
    /// The targets stand nearer than closest focus and are never sharp.
    NeverSharp,
    /// The last frame's blur is too small to estimate distances from.
    NoDistancesFromBlur {
        /// Blur at infinity, px.
        blur_px: f64,
    },
    /// A target is much fainter at its widest blur than where it is sharp.
    Faint {
        /// Brightness left, as a share.
        share: f64,
    },
}

impl fmt::Display for PlanNote {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotStoppedDown { two_stops_down } => write!(
                f,
                "Wider than two stops down the barrel may cut the blur, which can shift the result by up to a \
                 percentage point. Shoot at f/{two_stops_down:.1}."
            ),
            Self::WideBlur {
                blur_px,
                even_at_m: Some(even),
            } => write!(
                f,
                "The blur grows to {blur_px:.0} px. Stop down further, or put the targets at about {even:.1} m, where it is \
                 alike at both ends of the focusing range."
            ),
            Self::WideBlur {
                blur_px,
                even_at_m: None,
            } => write!(f, "The blur grows to {blur_px:.0} px. Stop down further."),
            Self::CloseTogether { spacing_px } => write!(
                f,
                "The targets have to stand {spacing_px:.0} px apart, less than a third of the frame: the uncertainty is \
                 larger. Stop down to make the blur smaller."
            ),
            Self::NoRoom => f.write_str(
                "There is no room in the frame for two targets, their blur and the shift that is planned for. Stop down, put \
                 the targets elsewhere, or plan for less shift.",
            ),
            Self::CloserThanTheLens { planned_m } => write!(
                f,
                "No lens of this focal length focuses that near; the plan goes from {planned_m:.2} m. Give the closest focus \
                 at this focal length."
            ),
            Self::NeverSharp => f.write_str(
                "The targets stand nearer than closest focus and are never sharp, so distances can't be estimated from \
                 blur. Move them away, or give distances.",
            ),
            Self::NoDistancesFromBlur { blur_px } => write!(
                f,
                "At infinity the targets blur to {blur_px:.1} px only, too little to estimate distances from. They \
                 have to come from the camera's files, or be given with the sweep."
            ),
            Self::Faint { share } => write!(
                f,
                "At their widest blur the targets keep {:.0} % of their brightness. Light them well, or use larger tape.",
                100.0 * share
            ),
        }
    }
}

/// Shift to be ready for where nothing is said, per cent (a lens that extends as a whole reaches it at a tenth of life
/// size; common practice, no source).
const READY_FOR_PCT: f64 = 6.0;
/// Room left between a target's blur and the frame edge, as a share of the frame width.
const EDGE_MARGIN: f64 = 0.015;
/// Nearest focus that a plan goes from, focal lengths from the sensor plane.
const NEAREST_FOCUS: f64 = 1.2;
/// Two stops: the f-number doubles.
const TWO_STOPS: f64 = 2.0;
/// Blur, as a share of the frame width, above which stopping down further is advised.
const WIDEST_BLUR: f64 = 0.18;
/// Least tape in the picture, as a share of the frame width.
const LEAST_TAPE: f64 = 0.025;
/// Tape over the widest blur that keeps about a tenth of the brightness: (π/4·0.1)^½.
const TAPE_PER_BLUR: f64 = 0.28;
/// Focus step between frames that no lens's curve hides a bend in, dioptres (our choice).
const STEP_DIOPTRES: f64 = 0.06;
/// Fewest and most frames that are worth shooting.
const FRAMES: (f64, f64) = (24.0, 100.0);
/// Noise of one pixel's linear light, JPEG and photons together, as met at quality 90 in simulated sweeps; 1 is the
/// file's ceiling.
const PIXEL_NOISE: f64 = 0.004;
/// Blur at infinity below which distances are not estimated from blur, px.
const LEAST_FAR_BLUR_PX: f64 = 8.0;
/// Below this share of brightness a note is given.
const FAINT_SHARE: f64 = 0.08;

impl ShootingPlan {
    /// Works the plan out. Every set-up that passes `Setup::check` has one; what is wrong with it stands in the notes.
    #[must_use]
    pub fn for_setup(setup: &Setup) -> Self {
        let focal = setup.focal_length.mm();
        let given = 1000.0 * setup.closest_focus.m();
        let near = given.max(NEAREST_FOCUS * focal);
        let pitch_px = f64::from(setup.picture_width_px) / setup.sensor_width.mm();
        let width = f64::from(setup.picture_width_px);
        let target = setup
            .target_distance
            .map_or_else(|| advised_distance_mm(focal, near), |d| 1000.0 * d.m());
        // The thin lens at infinity focus stands one focal length before the sensor.
        let throw = (target - focal).max(focal);
        let px_per_mm = focal / throw * pitch_px;
        let grown = 1.0 + setup.expected_shift_pct.abs() / 100.0;
        let blur = |n: f64, focus: f64, scale: f64| {
            blur_angle_rad(focal / n, focal + throw, focus, focal) * focal * scale * pitch_px
        };
        let open = setup.maximum_aperture.n();
        let mut f_number = setup.f_number.map_or(TWO_STOPS * open, FNumber::n);
        if setup.f_number.is_none() {
            // Blur falls with the f-number; full stops until it fits, no further than diffraction spoils at this size.
            while blur(f_number, near, grown) > WIDEST_BLUR * width && f_number < 22.0 {
                f_number *= std::f64::consts::SQRT_2;
            }
        }
        let (blur_near, blur_far) = (
            blur(f_number, near, grown),
            blur(f_number, f64::INFINITY, 1.0),
        );
        let widest = blur_near.max(blur_far);
        let tape_px = (LEAST_TAPE * width)
            .max(TAPE_PER_BLUR * widest)
            .min(0.08 * width);
        let half = width * (0.5 - EDGE_MARGIN);
        // Half the spacing at infinity that just fits, at the near end and at the far one.
        let fits_near = (half - blur_near / 2.0) / grown - tape_px / 2.0;
        let fits_far = half - (blur_far + tape_px) / 2.0;
        let fits = fits_near.min(fits_far);
        let spacing = 2.0 * fits.max(tape_px);
        let leaves_at =
            100.0 * ((width / 2.0 - blur_near / 2.0) / (spacing / 2.0 + tape_px / 2.0) - 1.0);
        let range = 1000.0 / near;
        let (least, most) = FRAMES;
        let frames = (1.0 + range / STEP_DIOPTRES).ceil().clamp(least, most);
        let faintest =
            (tape_px * tape_px / (std::f64::consts::FRAC_PI_4 * widest * widest).max(1.0)).min(1.0);
        let mut plan = Self {
            target_distance_m: target / 1000.0,
            field_width_m: width / px_per_mm / 1000.0,
            field_height_m: setup.sensor_height.mm() * pitch_px / px_per_mm / 1000.0,
            target_spacing_m: spacing / px_per_mm / 1000.0,
            target_spacing_px: spacing,
            tape_mm: tape_px / px_per_mm,
            tape_px,
            f_number,
            blur_near_px: blur_near,
            blur_far_px: blur_far,
            faintest_share: faintest,
            frames: frames as u32,
            expected_u_pct: 100.0 / spacing
                * separation_u_px(tape_px, blur_near).hypot(separation_u_px(tape_px, blur_far)),
            perspective_bound_pct: perspective_bound_pct(focal, near, target),
            leaves_frame_at_pct: Some(leaves_at).filter(|pct| *pct > 0.0),
            notes: Vec::new(),
        };
        plan.notes = notes(&plan, open, near, width);
        if fits < tape_px {
            plan.notes
                .retain(|note| !matches!(note, PlanNote::CloseTogether { .. }));
            plan.notes.push(PlanNote::NoRoom);
        }
        if near > given {
            let planned_m = near / 1000.0;
            plan.notes.push(PlanNote::CloserThanTheLens { planned_m });
        }
        plan
    }
}

/// Target distance that makes the blur at both ends of the focusing range alike, mm: half the dioptres of closest focus,
/// but no nearer than 20 focal lengths or 4 m, so that the field is large enough to hang tape in.
fn advised_distance_mm(focal: f64, near: f64) -> f64 {
    (2.0 * near).max((20.0 * focal).min(4000.0))
}

/// Standard uncertainty of a separation, px: two centres of mass, each √(Σdx²)·σₙ / ΣI over a round window that holds
/// target and blur.
fn separation_u_px(tape_px: f64, blur_px: f64) -> f64 {
    let sigma = (tape_px * tape_px / 12.0 + blur_px * blur_px / 16.0).sqrt();
    let radius = 2.5 * sigma + 6.0;
    let moment = (std::f64::consts::FRAC_PI_4 * radius.powi(4)).sqrt();
    // A white target is exposed to about 0.8 of the ceiling.
    std::f64::consts::SQRT_2 * PIXEL_NOISE * moment / (0.8 * tape_px * tape_px)
}

fn notes(plan: &ShootingPlan, open: f64, near: f64, width: f64) -> Vec<PlanNote> {
    let never_sharp = 1000.0 * plan.target_distance_m < near - 1e-6;
    let even = 2.0 * near / 1000.0;
    let widest = plan.blur_near_px.max(plan.blur_far_px);
    [
        // A third of a stop of slack: f-numbers are nominal.
        (plan.f_number < TWO_STOPS * open / 1.12).then_some(PlanNote::NotStoppedDown {
            two_stops_down: TWO_STOPS * open,
        }),
        (widest > WIDEST_BLUR * width).then_some(PlanNote::WideBlur {
            blur_px: widest,
            even_at_m: Some(even).filter(|even| (even / plan.target_distance_m - 1.0).abs() > 0.2),
        }),
        (plan.target_spacing_px < width / 3.0).then_some(PlanNote::CloseTogether {
            spacing_px: plan.target_spacing_px,
        }),
        never_sharp.then_some(PlanNote::NeverSharp),
        (!never_sharp && plan.blur_far_px < LEAST_FAR_BLUR_PX).then_some(
            PlanNote::NoDistancesFromBlur {
                blur_px: plan.blur_far_px,
            },
        ),
        (plan.faintest_share < FAINT_SHARE).then_some(PlanNote::Faint {
            share: plan.faintest_share,
        }),
    ]
    .into_iter()
    .flatten()
    .collect()
}

#[cfg(test)]
mod tests;
