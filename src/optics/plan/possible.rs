//! Set-ups that no lens can be shot in, and what would be possible instead.

use std::fmt;

use super::Setup;
use crate::units::{FNumber, FOCAL_LENGTHS_MM, SENSOR_SIDES_MM};

/// Targets are at least so many focal lengths from the sensor plane: a thin lens makes no picture of what is nearer than
/// four, macro lenses shorten their focal length and get to about two and a half (from the trade, no source).
const NEAREST_FOCAL_LENGTHS: f64 = 2.0;
/// f-numbers are nominal: a share by which one may be below the widest opening.
const NOMINAL: f64 = 0.97;

/// Why a set-up is impossible. It is said with what would be possible.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Impossible {
    /// The focal length is none that a lens has.
    FocalLength {
        /// As given, mm.
        focal_mm: f64,
    },
    /// The targets stand inside the lens, or nearer than it can focus whatever its make.
    TargetsTooNear {
        /// As given, m.
        target_m: f64,
        /// Focal length, mm.
        focal_mm: f64,
    },
    /// The lens does not open that wide.
    WiderThanTheLens {
        /// As wanted.
        f_number: f64,
        /// Largest opening, as an f-number.
        maximum: f64,
    },
    /// A side of the picture area is none that a camera has.
    Sensor {
        /// Whether it is the width.
        is_width: bool,
        /// As given, mm.
        side_mm: f64,
    },
}

impl Impossible {
    /// The parameter that has to change, as fields of forms and documents are called.
    #[must_use]
    pub const fn parameter(&self) -> &'static str {
        match self {
            Self::FocalLength { .. } => "focal_length_mm",
            Self::TargetsTooNear { .. } => "target_distance_m",
            Self::WiderThanTheLens { .. } => "f_number",
            Self::Sensor { is_width: true, .. } => "sensor_width_mm",
            Self::Sensor { .. } => "sensor_height_mm",
        }
    }
}

impl fmt::Display for Impossible {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::FocalLength { focal_mm } => write!(
                f,
                "a focal length is from {} to {} mm, not {focal_mm}",
                FOCAL_LENGTHS_MM.start(),
                FOCAL_LENGTHS_MM.end()
            ),
            Self::TargetsTooNear { target_m, focal_mm } => write!(
                f,
                "targets at {target_m} m from the sensor plane are inside a {focal_mm} mm lens or nearer than it can \
                 focus; give {:.2} m at the least, better twice the closest focus",
                nearest_m(*focal_mm)
            ),
            Self::WiderThanTheLens { f_number, maximum } => write!(
                f,
                "f/{f_number} is wider than the lens opens, f/{maximum}; give f/{maximum} or a larger number, or leave it out \
                 to have it advised"
            ),
            Self::Sensor { side_mm, .. } => write!(
                f,
                "a side of the picture area is from {} to {} mm, not {side_mm}",
                SENSOR_SIDES_MM.start(),
                SENSOR_SIDES_MM.end()
            ),
        }
    }
}

impl std::error::Error for Impossible {}

/// Rounded up to centimetres, so that what is said is possible.
fn nearest_m(focal_mm: f64) -> f64 {
    (NEAREST_FOCAL_LENGTHS * focal_mm / 10.0).ceil() / 100.0
}

impl Setup {
    /// Refuses what no lens and camera can do.
    ///
    /// # Errors
    /// `Impossible`, the first reason there is.
    pub fn check(&self) -> Result<(), Impossible> {
        let focal_mm = self.focal_length.mm();
        if !FOCAL_LENGTHS_MM.contains(&focal_mm) {
            return Err(Impossible::FocalLength { focal_mm });
        }
        for (is_width, side) in [(true, self.sensor_width), (false, self.sensor_height)] {
            let side_mm = side.mm();
            if !SENSOR_SIDES_MM.contains(&side_mm) {
                return Err(Impossible::Sensor { is_width, side_mm });
            }
        }
        let maximum = self.maximum_aperture.n();
        if let Some(f_number) = self.f_number.map(FNumber::n)
            && f_number < NOMINAL * maximum
        {
            return Err(Impossible::WiderThanTheLens { f_number, maximum });
        }
        match self.target_distance.map(|distance| distance.m()) {
            Some(target_m) if 1000.0 * target_m < NEAREST_FOCAL_LENGTHS * focal_mm => {
                Err(Impossible::TargetsTooNear { target_m, focal_mm })
            }
            _ => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Metres, Millimetres, OutOfRange};

    fn setup() -> Result<Setup, OutOfRange> {
        Setup::new(
            Millimetres::new(85.0)?,
            FNumber::new(1.8)?,
            Metres::new(0.8)?,
        )
    }

    #[test]
    fn what_no_lens_does_is_refused_with_what_is_possible() -> Result<(), OutOfRange> {
        let good = setup()?;
        assert_eq!(good.check(), Ok(()));
        let targets_at = |m: f64| Metres::new(m).map(Some);
        let cases = [
            // Inside the lens, and at one and a half focal lengths: 0.17 m are two.
            (
                Setup {
                    target_distance: targets_at(0.04)?,
                    ..good
                },
                "target_distance_m",
                "0.17 m at the least",
            ),
            (
                Setup {
                    target_distance: targets_at(0.13)?,
                    ..good
                },
                "target_distance_m",
                "0.17 m at the least",
            ),
            (
                Setup {
                    f_number: Some(FNumber::new(1.4)?),
                    ..good
                },
                "f_number",
                "f/1.8",
            ),
            (
                Setup {
                    sensor_width: Millimetres::new(360.0)?,
                    ..good
                },
                "sensor_width_mm",
                "from 1 to 200 mm",
            ),
            (
                Setup {
                    sensor_height: Millimetres::new(0.2)?,
                    ..good
                },
                "sensor_height_mm",
                "from 1 to 200 mm",
            ),
            (
                Setup {
                    focal_length: Millimetres::new(90_000.0)?,
                    ..good
                },
                "focal_length_mm",
                "from 1 to 5000 mm",
            ),
        ];
        for (setup, parameter, words) in cases {
            let refused = setup.check().expect_err(parameter);
            assert_eq!(refused.parameter(), parameter);
            assert!(refused.to_string().contains(words), "{refused}");
        }
        Ok(())
    }

    /// What is said to be possible is.
    #[test]
    fn the_nearest_place_that_is_told_is_taken() -> Result<(), OutOfRange> {
        for focal in [8.0, 28.0, 85.0, 200.0, 599.0] {
            let setup = Setup {
                focal_length: Millimetres::new(focal)?,
                target_distance: Some(Metres::new(nearest_m(focal))?),
                f_number: Some(FNumber::new(1.8)?),
                ..setup()?
            };
            assert_eq!(setup.check(), Ok(()), "{focal}");
        }
        Ok(())
    }
}
