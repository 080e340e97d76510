//! The luminance of one picture, as codes, with EXIF orientation already applied.

use std::cell::Cell;

/// Codes of a picture that was let go are kept for the next one up to this size, bytes: for larger ones, memory that lies idle
/// costs more than fresh memory.
const MOST_KEPT: usize = 32 << 20;

thread_local! {
    /// Room for codes, from the last picture that was let go on this thread.
    static ROOM: Cell<Vec<u8>> = const { Cell::new(Vec::new()) };
}

/// Luminance codes as they came out of the file, row by row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Samples {
    /// 8-bit codes, 0 to 255.
    Eight(Vec<u8>),
    /// 16-bit codes, 0 to 65535.
    Sixteen(Vec<u16>),
}

/// One picture's luminance, upright.
#[derive(Debug, Clone, PartialEq)]
pub struct Plane {
    width: u32,
    height: u32,
    samples: Samples,
    rounding_step: f64,
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

impl Drop for Plane {
    fn drop(&mut self) {
        if let Samples::Eight(codes) = &mut self.samples
            && codes.capacity() <= MOST_KEPT
        {
            // Where the thread is ending, there is nothing to be kept.
            let _ = ROOM.try_with(|room| room.set(std::mem::take(codes)));
        }
    }
}

impl Plane {
    /// Room for so many 8-bit codes, all 0: what the picture before had, as the system takes long to give new room.
    #[must_use]
    pub fn room_for(count: usize) -> Vec<u8> {
        let mut codes = ROOM.take();
        codes.clear();
        codes.resize(count, 0);
        codes
    }

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
        let rounding_step = match samples {
            Samples::Eight(_) => 1.0,
            Samples::Sixteen(_) => 1.0 / 257.0,
        };
        Ok(Self {
            width,
            height,
            samples,
            rounding_step,
        })
    }

    /// The same picture, told how coarsely its file rounds smooth light, in 8-bit codes: for JPEG the quantization step
    /// of the lowest frequencies. It enters the uncertainty only. A step that is not from 0 to 255 is left out.
    #[must_use]
    pub fn with_rounding_step(mut self, step: f64) -> Self {
        if (0.0..=255.0).contains(&step) {
            self.rounding_step = self.rounding_step.max(step);
        }
        self
    }

    /// The same picture with rows for columns.
    #[must_use]
    pub fn transposed(&self) -> Self {
        let (width, height) = (self.width as usize, self.height as usize);
        Self {
            width: self.height,
            height: self.width,
            samples: match &self.samples {
                Samples::Eight(codes) => {
                    let mut turned = Self::room_for(codes.len());
                    transpose(codes, (width, height), &mut turned);
                    Samples::Eight(turned)
                }
                Samples::Sixteen(codes) => {
                    let mut turned = vec![0; codes.len()];
                    transpose(codes, (width, height), &mut turned);
                    Samples::Sixteen(turned)
                }
            },
            rounding_step: self.rounding_step,
        }
    }

    /// Step to which the file rounds smooth light, 8-bit codes: 1 for plain 8 bit, 1/257 for 16 bit.
    #[must_use]
    pub const fn rounding_step(&self) -> f64 {
        self.rounding_step
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

/// Puts columns for rows, in squares that stay in the cache.
fn transpose<T: Copy>(codes: &[T], (width, height): (usize, usize), turned: &mut [T]) {
    const SIDE: usize = 32;
    for top in (0..height).step_by(SIDE) {
        for left in (0..width).step_by(SIDE) {
            for y in top..(top + SIDE).min(height) {
                for x in left..(left + SIDE).min(width) {
                    turned[x * height + y] = codes[y * width + x];
                }
            }
        }
    }
}
