//! What is known of one target in one frame, and why a frame can have none.

use super::{Flag, Toned};
use crate::units::Measured;

/// A rectangle of pixels, both corners inside the picture and inside the rectangle; by default the first pixel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Window {
    /// First column.
    pub left: u32,
    /// First row.
    pub top: u32,
    /// Last column.
    pub right: u32,
    /// Last row.
    pub bottom: u32,
}

/// How the light of a target leans along x, and how far that pulls its centre.
///
/// Light that rises along x by a part g a pixel over what a symmetrical blur would show adds g times its fourth cumulant to
/// the third moment and moves the centre by g times `tilt_px2` (cumulants of an exponentially tilted distribution).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lean {
    /// Third central moment, px³, with its standard uncertainty from noise.
    pub third_px3: Measured,
    /// Fourth cumulant: fourth central moment less three times the square of the second, px⁴. Negative for a disc. Of a target that is
    /// burnt out, how its third moment answers to light that rises where it is not.
    pub fourth_px4: f64,
    /// How far the centre moves for light that rises by one part a pixel, px²: the second moment for a centre of mass, of the light
    /// that is not burnt out.
    pub tilt_px2: f64,
}

impl Lean {
    /// Light that leans to neither side.
    pub const NONE: Self = Self {
        third_px3: Measured::new(0.0, 0.0),
        fourth_px4: 0.0,
        tilt_px2: 0.0,
    };
}

/// How far an uneven background moves the centre, as variances, px²: what the first moments of the same window on empty places
/// above and below have beyond noise. Below 0 where noise alone came out smaller than it was expected; the standard
/// uncertainties are those of a background that is even.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uneven {
    /// Along x.
    pub x_px2: Measured,
    /// Along y.
    pub y_px2: Measured,
}

/// What lies around a target within a radius, as it would pull the centre if it were in the window.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beside {
    /// The radius, px.
    pub radius_px: f64,
    /// Along x, px.
    pub x_px: Measured,
    /// Along y, px.
    pub y_px: Measured,
}

/// A dark spot in the blur of a target, as dust on the sensor makes it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// Middle, px.
    pub x_px: f64,
    /// Middle, px.
    pub y_px: f64,
    /// Radius of what was looked at of it, px.
    pub radius_px: f64,
    /// Sum over its pixels of the share of light that each lacks, px².
    pub missing_px2: Measured,
}

/// One target, measured: where its centre is, how wide its blur.
///
/// Of targets that hang one above the other, a sweep measures the light in pictures with rows for columns: then x means the line through
/// them in all that is told of the light, and y across it.
#[derive(Debug, Clone, PartialEq)]
pub struct Target {
    /// Centre, px to the right of the first column's centre.
    pub x_px: Measured,
    /// Centre, px below the first row's centre.
    pub y_px: Measured,
    /// Second central moment of the light along x and y, mean of both, px²: target, blur and pixel together.
    pub variance_px2: Measured,
    /// Light above the background, in units of one fully lit pixel.
    pub flux: f64,
    /// Brightest linear light above the background in the window, 0 to 1, after smoothing.
    pub peak: f64,
    /// How the light leans along x, the line through both targets.
    pub lean: Lean,
    /// Third central moment along y over the second, px: what leans along y, as bands of flickering light or a mirror image on
    /// a table make it, pulls the centre along y by about as much.
    pub lean_y_px: Measured,
    /// How much wider the light is along x than along y: (variance along x − variance along y) / (their sum), no unit.
    /// A regular pupil of three or more blades adds none; a cat's eye at the frame's side makes it fall with defocus.
    pub elongation: f64,
    /// Fourth cumulant that four-fold shapes have, Σ I·Re (x + iy)⁴ / Σ I − 3·(variance along x − variance along y)², px⁴, with its
    /// standard uncertainty from noise. Nothing for discs, ellipses and regular pupils of other than four blades; a blur that
    /// is cut to the overlap of two circles has some.
    pub four_fold_px4: Measured,
    /// Change of the centre's x between two plausible windows, px: the background's part of the uncertainty.
    pub window_change_px: f64,
    /// What the unevenness of the background does; `None` where there are no empty places to see it.
    pub uneven: Option<Uneven>,
    /// Change of the centre's x between two plausible tone curves, px.
    pub tone_change_px: f64,
    /// Dark spots in its blur. This and the next two are for judging a sweep from its pictures, and are not stored.
    pub spots: Vec<Spot>,
    /// What lies around it, in discs of growing radius; none where it is wide itself.
    pub beside: Vec<Beside>,
    /// What its light would be under other tone curves.
    pub toned: Toned,
    /// The pixels that were used.
    pub window: Window,
    /// What is remarkable about it.
    pub flags: Vec<Flag>,
}

impl Target {
    /// Second central moments along x and y, px².
    #[must_use]
    pub fn second_px2(&self) -> (f64, f64) {
        let mean = self.variance_px2.value;
        (
            mean * (1.0 + self.elongation),
            mean * (1.0 - self.elongation),
        )
    }

    /// Makes columns of rows for where it lies. What is told along x or along y of its light stays along the line through the targets,
    /// or across it.
    pub fn swap_axes(&mut self) {
        std::mem::swap(&mut self.x_px, &mut self.y_px);
        let Window {
            left,
            top,
            right,
            bottom,
        } = self.window;
        self.window = Window {
            left: top,
            top: left,
            right: bottom,
            bottom: right,
        };
    }

    /// An even target without anything remarkable, for tests that measure no picture: each centre known to 0.004 px.
    #[cfg(test)]
    pub(crate) fn plain(x: f64, y: f64, variance: f64) -> Self {
        let half = 3.0 * variance.max(1.0).sqrt();
        let first = |middle: f64| (middle - half).max(0.0) as u32;
        let (left, top, side) = (first(x), first(y), (2.0 * half) as u32);
        Self {
            x_px: Measured::new(x, 0.004),
            y_px: Measured::new(y, 0.004),
            variance_px2: Measured::new(variance, 2e-4 * variance),
            flux: 1500.0,
            peak: 0.7,
            lean: Lean::NONE,
            lean_y_px: Measured::new(0.0, 0.0),
            elongation: 0.0,
            four_fold_px4: Measured::new(0.0, 0.0),
            window_change_px: 0.0,
            uneven: None,
            tone_change_px: 0.0,
            spots: Vec::new(),
            beside: Vec::new(),
            toned: Toned::default(),
            window: Window {
                left,
                top,
                right: left + side,
                bottom: top + side,
            },
            flags: Vec::new(),
        }
    }

    /// Asymmetry of the light along x: third central moment over variance^1.5, no unit.
    #[must_use]
    pub fn skewness(&self) -> f64 {
        let cube = self.variance_px2.value.max(0.0).powf(1.5);
        if cube > 0.0 {
            self.lean.third_px3.value / cube
        } else {
            0.0
        }
    }
}

/// Why a frame, or a place in it, has no target that can be trusted.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Unmeasurable {
    /// The file is no picture that can be read; the text says why.
    #[error("the picture could not be read: {0}")]
    Undecodable(String),
    /// Nothing stands out of the background.
    #[error("no bright target stands out of the background")]
    NoTargets,
    /// Only one target was found.
    #[error("only one target was found; two are needed")]
    OneTarget,
    /// A target or its blur crosses the frame edge, so its centre can't be known.
    #[error("a target or its blur crosses the frame edge")]
    Clipped,
    /// The blurs of two targets run into each other.
    #[error("the blurs of the targets overlap")]
    Overlapping,
    /// The target is too weak against the noise.
    #[error("a target is too faint against the noise")]
    TooFaint,
    /// Something stands before a part of a target, so what is left of it has another centre.
    #[error(
        "a target is partly covered: it sends less light than in the other frames, and what is left of it has another centre"
    )]
    PartlyCovered,
    /// Something bright beside a target runs into its blur.
    #[error(
        "something bright beside a target, as the wall beyond its card, runs into its blur, so its centre can't be told"
    )]
    RunTogether,
    /// The best candidates disagree with the frames before and after.
    #[error("the targets found disagree with the neighbouring frames")]
    DisagreesWithNeighbours,
    /// The picture's size differs from the rest of the sweep.
    #[error(
        "the picture is {found_width} × {found_height} px, the rest of the sweep {width} × {height} px"
    )]
    OtherSize {
        /// Columns of this picture.
        found_width: u32,
        /// Rows of this picture.
        found_height: u32,
        /// Columns of the sweep.
        width: u32,
        /// Rows of the sweep.
        height: u32,
    },
    /// A decoder or estimator stopped on a defect of its own; the frame is lost, the sweep is not.
    #[error("reading this frame failed inside the program: {0}")]
    Fault(String),
}
