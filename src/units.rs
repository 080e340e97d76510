//! Quantities with their units: lengths, dioptres, f-numbers, focus distances, and values with a standard error.
//!
//! Inner values are private and always finite, so a quantity that exists is a quantity that makes sense.
//! Pixel loops use raw `f32`/`f64`; these types stand at the borders of the rooms.

use std::fmt;
use std::ops::RangeInclusive;

/// A number that can't be the quantity it was offered as.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{quantity} must be {allowed}, not {value}")]
pub struct OutOfRange {
    /// What was being made, e.g. "focal length".
    pub quantity: &'static str,
    /// The range in words, with its unit.
    pub allowed: &'static str,
    /// What was offered.
    pub value: f64,
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $accessor:ident, $unit:literal, $quantity:literal, $allowed:literal, $accepts:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            #[doc = concat!("Makes the quantity from a plain number in ", $unit, ".")]
            ///
            /// # Errors
            #[doc = concat!("`OutOfRange` unless the number is finite and ", $allowed, ".")]
            pub fn new(value: f64) -> Result<Self, OutOfRange> {
                let accepts: fn(f64) -> bool = $accepts;
                if value.is_finite() && accepts(value) {
                    Ok(Self(value))
                } else {
                    Err(OutOfRange { quantity: $quantity, allowed: $allowed, value })
                }
            }

            #[doc = concat!("The plain number, in ", $unit, ".")]
            #[must_use]
            pub const fn $accessor(self) -> f64 {
                self.0
            }
        }
    };
}

/// A choice whose variants have words: an enum with all of them, the word of each, and the one that a word stands for.
macro_rules! choice {
    ($(#[$doc:meta])* pub enum $name:ident { $($(#[$about:meta])* $variant:ident = $code:literal,)+ }) => {
        $(#[$doc])*
        pub enum $name {
            $($(#[$about])* $variant,)+
        }

        impl $name {
            /// All of them, in the order that they are offered in.
            pub const ALL: [Self; [$($code),+].len()] = [$(Self::$variant),+];

            /// The word for it in options, queries, JSON and storage.
            #[must_use]
            pub const fn code(self) -> &'static str {
                match self {
                    $(Self::$variant => $code),+
                }
            }

            /// What a word stands for.
            #[must_use]
            pub fn from_code(code: &str) -> Option<Self> {
                Self::ALL.into_iter().find(|one| one.code() == code)
            }
        }
    };
}
pub(crate) use choice;

quantity!(
    /// A focal length or a size on the sensor, mm.
    Millimetres, mm, "mm", "a length", "from 0.001 to 100000 mm", |v| (0.001..=100_000.0).contains(&v)
);
quantity!(
    /// A distance in front of the camera, from the sensor plane, m.
    Metres, m, "m", "a distance", "from 0.001 to 100000 m", |v| (0.001..=100_000.0).contains(&v)
);
quantity!(
    /// A reciprocal distance, 1/m; 0 is infinity.
    Dioptres, per_m, "dioptres", "a focus setting", "from 0 to 1000 dioptres", |v| (0.0..=1000.0).contains(&v)
);
quantity!(
    /// The f-number of a lens: focal length over entrance pupil diameter.
    FNumber, n, "f-stops", "an f-number", "from 0.3 to 256", |v| (0.3..=256.0).contains(&v)
);

/// Focal lengths that are taken for one of a lens, mm: from a phone's fisheye to a telescope's.
pub const FOCAL_LENGTHS_MM: RangeInclusive<f64> = 1.0..=5000.0;

/// Sides of a picture area, mm: from the smallest phone's to 5 × 7 inch sheet film's with room to spare.
pub const SENSOR_SIDES_MM: RangeInclusive<f64> = 1.0..=200.0;

/// Distances that a lens is focused at or targets stand at, m: from a macro lens's to a telescope's.
pub const FOCUS_DISTANCES_M: RangeInclusive<f64> = 0.01..=10_000.0;

/// F-numbers, from the widest openings to those of pinholes.
pub const F_NUMBERS: RangeInclusive<f64> = 0.5..=128.0;

/// Tolerances that shifts are judged by, per cent.
pub const TOLERANCES_PCT: RangeInclusive<f64> = 0.01..=100.0;

/// The international foot, m (exact; international yard and pound agreement, 1959).
pub const METRES_PER_FOOT: f64 = 0.3048;

/// Feet in one metre.
pub const FEET_PER_METRE: f64 = 1.0 / METRES_PER_FOOT;

impl Metres {
    /// The same distance in international feet.
    ///
    /// ```
    /// # use breathmark::units::Metres;
    /// assert_eq!(format!("{:.1}", Metres::new(1.0).unwrap().feet()), "3.3");
    /// ```
    #[must_use]
    pub fn feet(self) -> f64 {
        self.0 * FEET_PER_METRE
    }
}

impl fmt::Display for Millimetres {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} mm", self.0)
    }
}

impl fmt::Display for Metres {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} m", self.0)
    }
}

impl fmt::Display for Dioptres {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} /m", self.0)
    }
}

impl fmt::Display for FNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "f/{}", self.0)
    }
}

/// Where a lens is focused, measured from the sensor plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FocusDistance {
    /// Focused at infinity: 0 dioptres.
    Infinity,
    /// Focused at a finite distance.
    At(Metres),
}

impl FocusDistance {
    /// The focus setting in dioptres; 0 at infinity.
    #[must_use]
    pub fn dioptres(self) -> f64 {
        match self {
            Self::Infinity => 0.0,
            Self::At(distance) => 1.0 / distance.m(),
        }
    }

    /// The distance that belongs to a focus setting; below 1e-5 dioptres (100 km) it is infinity.
    #[must_use]
    pub fn from_dioptres(setting: Dioptres) -> Self {
        Metres::new(1.0 / setting.per_m()).map_or(Self::Infinity, Self::At)
    }

    /// The distance in metres; `None` at infinity.
    #[must_use]
    pub fn metres(self) -> Option<Metres> {
        match self {
            Self::Infinity => None,
            Self::At(distance) => Some(distance),
        }
    }
}

/// A value with its standard uncertainty (k = 1), both in the unit that the field's name says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty of the estimate, never negative.
    pub std_error: f64,
}

impl Measured {
    /// A value with its standard uncertainty.
    #[must_use]
    pub const fn new(value: f64, std_error: f64) -> Self {
        Self { value, std_error }
    }

    /// Both value and uncertainty times a factor.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        Self::new(self.value * factor, self.std_error * factor.abs())
    }
}

/// A distance, m, to the nanometre: what is beyond is noise of the arithmetic, most of it of the way through dioptres and back,
/// in which 0.38 becomes 0.37999999999999995.
#[must_use]
pub fn noiseless_m(m: f64) -> f64 {
    (m * 1e9).round() / 1e9
}

/// The distance of a focus setting, m, to the nanometre; `None` at infinity, which is below 1e-5 dioptres (100 km).
#[must_use]
pub fn distance_m(dioptres: f64) -> Option<f64> {
    (dioptres > 1e-5).then(|| noiseless_m(1.0 / dioptres))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantities_refuse_what_they_cannot_be() {
        for absurd in [f64::NAN, f64::INFINITY, -1.0] {
            assert!(Millimetres::new(absurd).is_err(), "{absurd}");
            assert!(Metres::new(absurd).is_err(), "{absurd}");
            assert!(Dioptres::new(absurd).is_err(), "{absurd}");
            assert!(FNumber::new(absurd).is_err(), "{absurd}");
        }
        assert!(Metres::new(0.0).is_err());
        assert!(Dioptres::new(0.0).is_ok());
    }

    /// Common practice, no source: 1 m is about 3.3 ft, 0.85 m is just under 2.8 ft.
    #[test]
    fn metres_in_feet() {
        let feet = |m: f64| Metres::new(m).expect("in range").feet();
        assert!((feet(1.0) - 3.3).abs() < 0.05);
        assert!(feet(0.85) < 2.8 && feet(0.85) > 2.75);
    }

    #[test]
    fn a_distance_comes_back_from_dioptres_as_it_was_stated() {
        for stated in [0.38, 0.43125, 0.8625, 1.725, 3.45, 6.9, 13.8, 1.97143] {
            assert_eq!(distance_m(1.0 / stated), Some(stated));
            assert!((noiseless_m(1.0 / (1.0 / stated)) - stated).abs() < f64::EPSILON * stated);
        }
        assert_eq!(distance_m(0.0), None);
    }

    #[test]
    fn infinity_is_zero_dioptres_both_ways() {
        assert!(FocusDistance::Infinity.dioptres().abs() < f64::EPSILON);
        let zero = Dioptres::new(0.0).expect("in range");
        assert_eq!(FocusDistance::from_dioptres(zero), FocusDistance::Infinity);
        let near = FocusDistance::from_dioptres(Dioptres::new(2.0).expect("in range"));
        assert_eq!(near, FocusDistance::At(Metres::new(0.5).expect("in range")));
    }
}
