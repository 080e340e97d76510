//! What is said of a shoot, as it was typed or sent.

use serde::{Deserialize, Serialize};

use super::{Check, Typed, metres};
use crate::store::{Conditions, Switch};
use crate::units::Metres;

/// What is said of a shoot, as it was sent.
#[derive(Debug, Default, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub(in crate::web) struct ConditionsInput {
    /// Distortion correction in the camera: `on`, `off` or `unknown`.
    distortion_correction: Option<String>,
    /// Breathing compensation in the camera: `on`, `off` or `unknown`.
    breathing_compensation: Option<String>,
    /// Stabilisation: `on`, `off` or `unknown`.
    stabilisation: Option<String>,
    /// Distance from sensor plane to targets, m.
    target_distance_m: Option<f64>,
    /// Distance that the first frame is focused at, m.
    closest_focus_m: Option<f64>,
}

impl From<&Conditions> for ConditionsInput {
    fn from(said: &Conditions) -> Self {
        Self {
            distortion_correction: Some(said.distortion_correction.code().to_owned()),
            breathing_compensation: Some(said.breathing_compensation.code().to_owned()),
            stabilisation: Some(said.stabilisation.code().to_owned()),
            target_distance_m: said.target_distance.map(Metres::m),
            closest_focus_m: said.closest_focus.map(Metres::m),
        }
    }
}

impl ConditionsInput {
    /// From the fields of a form.
    pub(in crate::web) fn typed(typed: &Typed, check: &mut Check) -> Self {
        let choice =
            |field: &str| Some(typed.get(field).to_owned()).filter(|code| !code.is_empty());
        Self {
            distortion_correction: choice("distortion_correction"),
            breathing_compensation: choice("breathing_compensation"),
            stabilisation: choice("stabilisation"),
            target_distance_m: check.distance("target_distance_m", typed.get("target_distance_m")),
            closest_focus_m: check.distance("closest_focus_m", typed.get("closest_focus_m")),
        }
    }

    /// The conditions; complaints go to `check`.
    pub(in crate::web) fn check(self, check: &mut Check) -> Conditions {
        Conditions {
            distortion_correction: said(
                "distortion_correction",
                self.distortion_correction.as_deref(),
                check,
            ),
            breathing_compensation: said(
                "breathing_compensation",
                self.breathing_compensation.as_deref(),
                check,
            ),
            stabilisation: said("stabilisation", self.stabilisation.as_deref(), check),
            target_distance: metres("target_distance_m", self.target_distance_m, check),
            closest_focus: metres("closest_focus_m", self.closest_focus_m, check),
        }
    }
}

fn said(field: &str, code: Option<&str>, check: &mut Check) -> Switch {
    code.map_or(Switch::Unknown, |code| switch(field, code, check))
}

/// The position that a code stands for; unknown, with a complaint, where it stands for none.
pub(in crate::web) fn switch(field: &str, code: &str, check: &mut Check) -> Switch {
    Switch::from_code(code).unwrap_or_else(|| {
        check.refuse(field, "give on, off or unknown");
        Switch::Unknown
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conditions_default_to_unknown_and_refuse_other_words() {
        let mut check = Check::default();
        let said = ConditionsInput::default().check(&mut check);
        assert_eq!(said, Conditions::default());
        let odd = ConditionsInput {
            stabilisation: Some("maybe".into()),
            target_distance_m: Some(0.0),
            ..ConditionsInput::default()
        };
        odd.check(&mut check);
        let fields: Vec<_> = check.errors.iter().map(|error| &error.field).collect();
        assert_eq!(fields, ["stabilisation", "target_distance_m"]);
    }
}
