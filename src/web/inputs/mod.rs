//! What reviewers type or send, checked: every number has a range, every complaint names its field and what to give.

mod check;
mod conditions;
mod length;
mod lens;
mod places;
mod typed;

use std::ops::RangeInclusive;

use crate::units::{Metres, Millimetres};

pub(super) use check::Check;
pub(super) use conditions::{ConditionsInput, switch};
pub(super) use length::{LENGTH_HINT, Length};
pub(super) use lens::{LensInput, MARKED_CLOSEST_FOCUS};
pub(super) use places::target_places;
pub(super) use typed::Typed;

/// Focal lengths of lenses, mm.
pub(super) const FOCAL_MM: RangeInclusive<f64> = 1.0..=3000.0;
/// F-numbers.
pub(super) const F_NUMBER: RangeInclusive<f64> = 0.5..=128.0;
/// Closest focus and target distances, m.
pub(super) const DISTANCE_M: RangeInclusive<f64> = 0.01..=1000.0;
/// Widths of picture areas, mm.
pub(super) const SENSOR_MM: RangeInclusive<f64> = 1.0..=200.0;
/// Most characters of a camera's name.
pub(super) const CAMERA_CHARACTERS: usize = 120;
/// Most characters of notes and reasons.
pub(super) const NOTE_CHARACTERS: usize = 2000;

/// A distance in the range of [`DISTANCE_M`].
pub(super) fn metres(field: &str, value: Option<f64>, check: &mut Check) -> Option<Metres> {
    let value = check.within(field, value, &DISTANCE_M, "m")?;
    Metres::new(value).ok()
}

/// A length in this range.
pub(super) fn millimetres(
    field: &str,
    value: Option<f64>,
    range: &RangeInclusive<f64>,
    check: &mut Check,
) -> Option<Millimetres> {
    let value = check.within(field, value, range, "mm")?;
    Millimetres::new(value).ok()
}
