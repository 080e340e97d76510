//! Pure formulas: angle of view, thin lens, defocus, pupils, perspective, and the shooting plan that is made of them.
//!
//! Lengths are mm unless a name says otherwise, angles degrees, shifts per cent of picture scale with positive = tighter.
//! Distances are from the sensor plane, as lens makers state closest focus (from the trade, no source).

mod angle;
mod defocus;
mod perspective;
mod plan;
mod thin_lens;

pub use angle::{
    angle_of_view_deg, angle_of_view_u_deg, angle_shift_pct, equivalent_focal_length_mm,
};
pub use defocus::{
    blur_angle_rad, blur_diameter_px, polygon_second_moment_factor, thin_lens_blur_mm,
};
pub use perspective::{perspective_bound_pct, shortfall_pct};
pub use plan::{Impossible, PlanNote, Setup, ShootingPlan};
pub use thin_lens::{fixed_pair_shift_pct, image_distance_mm, magnification};
