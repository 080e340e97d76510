//! One frame: luminance codes → linear light → targets → sub-pixel centres, blur and their uncertainty.
//!
//! Pixel coordinates: origin top left, x right, y down, an integer is a pixel's centre, after EXIF orientation.
//! Everything here is deterministic and knows no file, clock, thread pool size or database.

mod flags;
mod plane;
mod target;

pub use flags::Flag;
pub use plane::{Plane, PlaneError, Samples};
pub use target::{Target, Unmeasurable, Window};

/// Every bright spot of a picture that may be a target, fully measured, the most target-like first.
#[must_use]
pub fn candidates(plane: &Plane) -> Vec<Target> {
    let _ = plane;
    unimplemented!()
}

/// The target near a place (x, y in px) that has about this second moment, px²: for following a target from frame to frame.
///
/// # Errors
/// `Unmeasurable` with the reason when no target that can be trusted is there.
pub fn target_near(
    plane: &Plane,
    place_px: (f64, f64),
    variance_px2: f64,
) -> Result<Target, Unmeasurable> {
    let _ = (plane, place_px, variance_px2);
    unimplemented!()
}
