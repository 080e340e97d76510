//! Shift against focus: the curve that the tolerance distance and every focus pull are read from.

use crate::units::Measured;

/// One measured frame on the curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Place in the sweep, 0 at closest focus, 1 at the last frame.
    pub travel: f64,
    /// Focus setting, dioptres; `None` where unknown.
    pub dioptres: Option<Measured>,
    /// Shift, per cent.
    pub shift_pct: Measured,
}

/// The shift of one sweep against focus, closest focus first.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ShiftCurve {
    points: Vec<CurvePoint>,
}

/// Whether and up to where a lens exceeds a tolerance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ToleranceOutcome {
    /// The whole sweep stays within the tolerance.
    Within,
    /// Exceeded at focus settings nearer than this.
    Exceeded {
        /// The farthest setting at which |shift| reaches the tolerance, dioptres with standard uncertainty.
        dioptres: Measured,
        /// Where that is in the sweep.
        travel: f64,
    },
    /// Exceeded, but no distances are known.
    Unknown {
        /// Where in the sweep it happens.
        travel: f64,
    },
}

impl ToleranceOutcome {
    /// The word for the outcome in JSON and storage.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Within => "within",
            Self::Exceeded { .. } => "exceeded",
            Self::Unknown { .. } => "unknown",
        }
    }

    /// Tolerance distance, m, with its standard uncertainty (first order: u(d)/d²); `None` unless exceeded.
    #[must_use]
    pub fn distance_m(&self) -> Option<Measured> {
        match self {
            Self::Exceeded { dioptres, .. } if dioptres.value > 0.0 => Some(Measured::new(
                1.0 / dioptres.value,
                dioptres.std_error / (dioptres.value * dioptres.value),
            )),
            _ => None,
        }
    }
}

impl ShiftCurve {
    /// A curve through these points, which are in sweep order.
    #[must_use]
    pub fn new(points: Vec<CurvePoint>) -> Self {
        Self { points }
    }

    /// The points, closest focus first.
    #[must_use]
    pub fn points(&self) -> &[CurvePoint] {
        &self.points
    }
}
