//! One frame: luminance codes → linear light → targets → sub-pixel centres, blur and their uncertainty.
//!
//! Pixel coordinates: origin top left, x right, y down, an integer is a pixel's centre, after EXIF orientation.
//! Everything here is deterministic and knows no file, clock, thread pool size or database.

mod background;
mod beside;
mod centre;
mod edges;
mod empty;
mod flags;
mod foreign;
mod frame_edge;
mod levers;
mod likeness;
mod luminance;
mod moments;
mod noise;
mod plane;
mod profile;
mod ranking;
mod reduced;
mod ring;
mod search;
mod spots;
mod target;
mod toned;

use reduced::Reduced;

pub use flags::Flag;
pub use likeness::Impression;
pub use plane::{Plane, PlaneError, Samples};
pub use target::{Beside, Lean, Spot, Target, Uneven, Unmeasurable, Window};
pub use toned::{POWERS, Toned};

/// Every bright spot of a picture that may be a target, fully measured, the most target-like first.
#[must_use]
pub fn candidates(plane: &Plane) -> Vec<Target> {
    let mut targets: Vec<Target> = Vec::new();
    let reduced = Reduced::of(plane);
    for seed in search::seeds(plane, &reduced) {
        let Ok(target) = centre::measure(plane, &reduced, (seed.x, seed.y), seed.variance) else {
            continue;
        };
        if !targets
            .iter()
            .any(|known| ranking::same_thing(known, &target))
        {
            targets.push(target);
        }
    }
    ranking::order(&mut targets, plane.height() > plane.width());
    targets
}

/// The target near a place (x, y in px) that has about this second moment, px²: for following a target from frame to frame.
///
/// "Near" is within 20 px or 1.5 standard deviations of the target's light, whichever is more.
///
/// # Errors
/// `Unmeasurable` with the reason when no target that can be trusted is there.
pub fn target_near(
    plane: &Plane,
    place_px: (f64, f64),
    variance_px2: f64,
) -> Result<Target, Unmeasurable> {
    near(plane, &Reduced::of(plane), place_px, variance_px2)
}

/// The same at several places of one picture, each when it is asked for.
pub fn targets_near<'a>(
    plane: &'a Plane,
    places: impl IntoIterator<Item = ((f64, f64), f64)> + 'a,
) -> impl Iterator<Item = Result<Target, Unmeasurable>> + 'a {
    let reduced = Reduced::of(plane);
    places
        .into_iter()
        .map(move |(place_px, variance_px2)| near(plane, &reduced, place_px, variance_px2))
}

fn near(
    plane: &Plane,
    reduced: &Reduced,
    place_px: (f64, f64),
    variance_px2: f64,
) -> Result<Target, Unmeasurable> {
    let target = centre::measure(plane, reduced, place_px, variance_px2)?;
    let strayed = (target.x_px.value - place_px.0).hypot(target.y_px.value - place_px.1);
    let allowed = NEAR_PX.max(NEAR_SIGMA * variance_px2.max(target.variance_px2.value).sqrt());
    if strayed > allowed {
        return Err(Unmeasurable::NoTargets);
    }
    Ok(target)
}

/// How far from where it was looked for a target may be, px.
const NEAR_PX: f64 = 20.0;
/// The same in standard deviations of the target's light.
const NEAR_SIGMA: f64 = 1.5;
