//! What stands in front of the camera: bright patches on a dark background, and what does not belong there.

/// One white patch in the object plane, given where its image lies with the lens focused at infinity.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    /// Centre at infinity focus, px right of the first column's centre.
    pub x_px: f64,
    /// Centre at infinity focus, px below the first row's centre.
    pub y_px: f64,
    /// Width at infinity focus, px.
    pub width_px: f64,
    /// Height at infinity focus, px.
    pub height_px: f64,
    /// Linear light of the patch, 1 is the ceiling of the file at exposure 1.
    pub level: f64,
    /// How far the torn edges wander from the straight line, px at infinity focus; 0 is a clean cut.
    pub ragged_px: f64,
}

impl Patch {
    /// A clean-cut patch at 0.8 of the ceiling.
    #[must_use]
    pub const fn new(x_px: f64, y_px: f64, width_px: f64, height_px: f64) -> Self {
        Self {
            x_px,
            y_px,
            width_px,
            height_px,
            level: 0.8,
            ragged_px: 0.0,
        }
    }
}

/// Something bright that is not a target.
#[derive(Debug, Clone, PartialEq)]
pub enum Clutter {
    /// A small round light in the object plane: moves and blurs like a target.
    Glint {
        /// Centre at infinity focus, px.
        x_px: f64,
        /// Centre at infinity focus, px.
        y_px: f64,
        /// Size at infinity focus, px.
        diameter_px: f64,
        /// Linear light; may be above 1.
        level: f64,
    },
    /// A paper label in the object plane: moves and blurs like a target.
    Label {
        /// Centre at infinity focus, px.
        x_px: f64,
        /// Centre at infinity focus, px.
        y_px: f64,
        /// Width at infinity focus, px.
        width_px: f64,
        /// Height at infinity focus, px.
        height_px: f64,
        /// Linear light.
        level: f64,
    },
    /// A defective pixel of the sensor: stays where it is, never blurs.
    HotPixel {
        /// Column.
        x_px: u32,
        /// Row.
        y_px: u32,
        /// Linear light added.
        level: f64,
    },
    /// A window mirrored in the background: a wide soft patch that stays where it is.
    Reflection {
        /// Centre, px.
        x_px: f64,
        /// Centre, px.
        y_px: f64,
        /// Width of the soft patch (two standard deviations of its Gaussian), px.
        width_px: f64,
        /// Height of the soft patch (two standard deviations of its Gaussian), px.
        height_px: f64,
        /// Linear light at its middle.
        level: f64,
    },
}

/// What is behind the targets.
#[derive(Debug, Clone, PartialEq)]
pub struct Background {
    /// Linear light in the middle of the picture.
    pub level: f64,
    /// Change of linear light from the left to the right edge.
    pub slope_x: f64,
    /// Change of linear light from the top to the bottom edge.
    pub slope_y: f64,
    /// What does not belong there.
    pub clutter: Vec<Clutter>,
}

impl Default for Background {
    fn default() -> Self {
        Self {
            level: 0.003,
            slope_x: 0.0,
            slope_y: 0.0,
            clutter: Vec::new(),
        }
    }
}

/// The set-up: picture, distance, targets, light.
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    /// Columns of the picture, upright.
    pub width_px: u32,
    /// Rows of the picture, upright.
    pub height_px: u32,
    /// Width of the picture area on the sensor, mm.
    pub sensor_width_mm: f64,
    /// Distance from the sensor plane to the targets, m.
    pub target_distance_m: f64,
    /// The targets.
    pub targets: Vec<Patch>,
    /// What is behind and beside them.
    pub background: Background,
    /// Factor on all light before the ceiling at 1: 1 is right, 4 burns the targets out.
    pub exposure: f64,
}

impl Scene {
    /// Two patches of about 50 px at 1920 px, 10 % of the width from the left and right edge, not quite level.
    #[must_use]
    pub fn two_targets(width_px: u32, height_px: u32) -> Self {
        let (width, height) = (f64::from(width_px), f64::from(height_px));
        let size = 0.026 * width;
        Self {
            width_px,
            height_px,
            sensor_width_mm: 36.0,
            target_distance_m: 2.0,
            targets: vec![
                Patch::new(0.1002 * width, 0.4921 * height, size, size * 1.1),
                Patch::new(0.8997 * width, 0.5033 * height, size * 0.96, size),
            ],
            background: Background::default(),
            exposure: 1.0,
        }
    }

    /// Middle of the picture, px; the field expands from here.
    #[must_use]
    pub fn centre_px(&self) -> (f64, f64) {
        (
            (f64::from(self.width_px) - 1.0) / 2.0,
            (f64::from(self.height_px) - 1.0) / 2.0,
        )
    }

    /// Size of a pixel on the sensor, mm.
    #[must_use]
    pub fn pixel_pitch_mm(&self) -> f64 {
        self.sensor_width_mm / f64::from(self.width_px)
    }
}
