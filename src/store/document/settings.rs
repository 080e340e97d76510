//! What a reviewer said of a shoot and of a sweep.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::frame::{FocusDoc, f_number, metres, millimetres};
use super::known;
use super::number::Number;
use crate::store::{Conditions, StoreError, Switch};
use crate::sweep::{FrameOrder, SweepSettings};

/// `uploads.conditions` and `sweeps.conditions`.
#[derive(Serialize, Deserialize)]
pub(in crate::store) struct ConditionsDoc {
    distortion_correction: String,
    breathing_compensation: String,
    stabilisation: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    target_distance_m: Option<Number>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    closest_focus_m: Option<Number>,
}

impl ConditionsDoc {
    pub(in crate::store) fn of(conditions: &Conditions) -> Self {
        let Conditions {
            distortion_correction,
            breathing_compensation,
            stabilisation,
            target_distance,
            closest_focus,
        } = conditions;
        Self {
            distortion_correction: distortion_correction.code().to_owned(),
            breathing_compensation: breathing_compensation.code().to_owned(),
            stabilisation: stabilisation.code().to_owned(),
            target_distance_m: target_distance.map(|distance| Number(distance.m())),
            closest_focus_m: closest_focus.map(|distance| Number(distance.m())),
        }
    }

    pub(in crate::store) fn read(self) -> Result<Conditions, StoreError> {
        let switch = |code: &str| known("switch position", code, Switch::from_code);
        Ok(Conditions {
            distortion_correction: switch(&self.distortion_correction)?,
            breathing_compensation: switch(&self.breathing_compensation)?,
            stabilisation: switch(&self.stabilisation)?,
            target_distance: metres(self.target_distance_m)?,
            closest_focus: metres(self.closest_focus_m)?,
        })
    }
}

/// `sweeps.settings`.
#[derive(Serialize, Deserialize)]
pub(in crate::store) struct SettingsDoc {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    target_distance_m: Option<Number>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    closest_focus_m: Option<Number>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    focal_length_mm: Option<Number>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    f_number: Option<Number>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    camera: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    sensor_width_mm: Option<Number>,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    distances: BTreeMap<String, FocusDoc>,
    order: String,
    #[serde(default)]
    last_not_at_infinity: bool,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    left_out: BTreeMap<String, String>,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pointed_at: BTreeMap<String, Vec<(Number, Number)>>,
}

impl SettingsDoc {
    pub(in crate::store) fn of(settings: &SweepSettings) -> Self {
        let SweepSettings {
            target_distance,
            closest_focus,
            focal_length,
            f_number,
            camera,
            sensor_width,
            distances,
            order,
            last_not_at_infinity,
            left_out,
            pointed_at,
        } = settings;
        let distance = |(file, distance): (&String, &_)| (file.clone(), FocusDoc::of(*distance));
        let places = |(file, places): (&String, &Vec<(f64, f64)>)| {
            let places = places.iter().map(|&(x, y)| (Number(x), Number(y)));
            (file.clone(), places.collect())
        };
        Self {
            target_distance_m: target_distance.map(|distance| Number(distance.m())),
            closest_focus_m: closest_focus.map(|distance| Number(distance.m())),
            focal_length_mm: focal_length.map(|length| Number(length.mm())),
            f_number: f_number.map(|number| Number(number.n())),
            camera: camera.clone(),
            sensor_width_mm: sensor_width.map(|width| Number(width.mm())),
            distances: distances.iter().map(distance).collect(),
            order: order.code().to_owned(),
            last_not_at_infinity: *last_not_at_infinity,
            left_out: left_out.clone(),
            pointed_at: pointed_at.iter().map(places).collect(),
        }
    }

    pub(in crate::store) fn read(self) -> Result<SweepSettings, StoreError> {
        let order = known("frame order", &self.order, FrameOrder::from_code)?;
        let places = |(file, places): (String, Vec<(Number, Number)>)| {
            (file, places.iter().map(|(x, y)| (x.0, y.0)).collect())
        };
        Ok(SweepSettings {
            target_distance: metres(self.target_distance_m)?,
            closest_focus: metres(self.closest_focus_m)?,
            focal_length: millimetres(self.focal_length_mm)?,
            f_number: f_number(self.f_number)?,
            camera: self.camera,
            sensor_width: millimetres(self.sensor_width_mm)?,
            distances: self
                .distances
                .into_iter()
                .map(|(file, distance)| Ok((file, distance.read()?)))
                .collect::<Result<_, StoreError>>()?,
            order,
            last_not_at_infinity: self.last_not_at_infinity,
            left_out: self.left_out,
            pointed_at: self.pointed_at.into_iter().map(places).collect(),
        })
    }
}
