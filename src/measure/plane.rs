//! The luminance of one picture, as codes, with EXIF orientation already applied.

/// Luminance codes as they came out of the file, row by row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Samples {
    /// 8-bit codes, 0 to 255.
    Eight(Vec<u8>),
    /// 16-bit codes, 0 to 65535.
    Sixteen(Vec<u16>),
}

/// One picture's luminance, upright.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plane {
    width: u32,
    height: u32,
    samples: Samples,
}

/// The number of samples is not width × height, or a side is 0.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{width} × {height} pixels can't be made of {samples} samples")]
pub struct PlaneError {
    /// Columns offered.
    pub width: u32,
    /// Rows offered.
    pub height: u32,
    /// Samples offered.
    pub samples: usize,
}

impl Plane {
    /// A picture of `width` × `height` luminance codes, row by row from the top left.
    ///
    /// # Errors
    /// `PlaneError` when a side is 0 or the number of samples is not `width · height`.
    pub fn new(width: u32, height: u32, samples: Samples) -> Result<Self, PlaneError> {
        let count = match &samples {
            Samples::Eight(codes) => codes.len(),
            Samples::Sixteen(codes) => codes.len(),
        };
        if width == 0 || height == 0 || u64::from(width) * u64::from(height) != count as u64 {
            return Err(PlaneError {
                width,
                height,
                samples: count,
            });
        }
        Ok(Self {
            width,
            height,
            samples,
        })
    }

    /// Columns.
    #[must_use]
    pub const fn width(&self) -> u32 {
        self.width
    }

    /// Rows.
    #[must_use]
    pub const fn height(&self) -> u32 {
        self.height
    }

    /// The codes, row by row.
    #[must_use]
    pub const fn samples(&self) -> &Samples {
        &self.samples
    }
}
