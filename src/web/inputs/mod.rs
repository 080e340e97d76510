//! What reviewers type or send, checked: every number has a range, every complaint names its field and what to give.

mod check;
mod conditions;
mod length;
mod lens;
mod places;
mod typed;

use std::ops::RangeInclusive;

use crate::units::{FOCUS_DISTANCES_M, Metres, Millimetres};

pub(super) use check::Check;
pub(super) use conditions::{ConditionsInput, switch};
pub(super) use length::{LENGTH_HINT, Length};
pub(super) use lens::{LensInput, MARKED_CLOSEST_FOCUS};
pub(super) use places::target_places;
pub(super) use typed::Typed;

/// Most characters of a camera's name.
pub(super) const CAMERA_CHARACTERS: usize = 120;
/// Most characters of notes and reasons.
pub(super) const NOTE_CHARACTERS: usize = 2000;

/// A distance in the range of [`FOCUS_DISTANCES_M`].
pub(super) fn metres(field: &str, value: Option<f64>, check: &mut Check) -> Option<Metres> {
    let value = check.within(field, value, &FOCUS_DISTANCES_M, "m")?;
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
