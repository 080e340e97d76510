//! Renders sweeps with known truth: for the demo, for tests, for teaching.
//!
//! Everything is worked out in linear light: white patches on a dark background, blurred by the out-of-focus image of
//! the entrance pupil, then noise, tone curve, rounding and JPEG. The same script gives the same bytes, whatever the
//! threads and the order in which its frames are asked for.

mod blur;
mod breathing;
mod disc;
mod exif;
mod noise;
mod render;
mod scene;
mod script;
mod stray;
mod tone;
mod truth;

pub use breathing::{Breathing, LensModel, Pupil};
pub use scene::{Background, Clutter, Patch, Scene};
pub use script::{
    Bump, Capture, ClockJump, Cover, Noise, Peel, Picture, PrivateData, Shading, Subsampling,
    SweepScript, ZoomSlip,
};
pub use stray::{Dust, Ghost};
pub use tone::ToneCurve;
pub use truth::{FrameTruth, TargetTruth};
