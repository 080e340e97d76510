//! What a reviewer says of a shoot, and which part of it keeps results apart.

use crate::units::{Metres, choice};

choice! {
    /// Something of the camera that can be on or off.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
    pub enum Switch {
        /// It was on.
        On = "on",
        /// It was off.
        Off = "off",
        /// Nobody said.
        #[default]
        Unknown = "unknown",
    }
}

/// What a reviewer says of a shoot, for all its sweeps.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Conditions {
    /// Distortion correction in the camera.
    pub distortion_correction: Switch,
    /// Breathing compensation in the camera.
    pub breathing_compensation: Switch,
    /// Stabilisation in camera or lens.
    pub stabilisation: Switch,
    /// Distance from sensor plane to targets, m.
    pub target_distance: Option<Metres>,
    /// Closest focus of this shoot, m.
    pub closest_focus: Option<Metres>,
}

impl Conditions {
    /// Those that results must share to be ranked together.
    #[must_use]
    pub const fn key(&self) -> ConditionsKey {
        ConditionsKey {
            distortion_correction: self.distortion_correction,
            breathing_compensation: self.breathing_compensation,
        }
    }
}

/// The conditions that must be equal for two results to be ranked together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct ConditionsKey {
    /// Distortion correction in the camera.
    pub distortion_correction: Switch,
    /// Breathing compensation in the camera.
    pub breathing_compensation: Switch,
}

impl ConditionsKey {
    /// The word for the pair in queries and storage, e.g. "correction-on.compensation-off".
    #[must_use]
    pub fn code(self) -> String {
        format!(
            "correction-{}.compensation-{}",
            self.distortion_correction.code(),
            self.breathing_compensation.code()
        )
    }
    /// The pair that a code stands for.
    #[must_use]
    pub fn from_code(code: &str) -> Option<Self> {
        let (correction, compensation) = code.split_once('.')?;
        Some(Self {
            distortion_correction: Switch::from_code(correction.strip_prefix("correction-")?)?,
            breathing_compensation: Switch::from_code(compensation.strip_prefix("compensation-")?)?,
        })
    }
}
