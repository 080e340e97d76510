//! The counter-scale of a lens: by how much its picture has to be enlarged at each focus setting, so that the framing
//! holds while focus is pulled.
//!
//! The picture's scale at a setting is 1 + shift. To hold the framing that the lens has at a reference setting, the
//! picture is enlarged by
//!
//! ```text
//! counter-scale = (1 + shift at the reference) ÷ (1 + shift at the setting)
//! ```
//!
//! about its centre: 1 at the reference, above 1 where the picture is wider than there, below 1 where it is tighter.
//! With infinity as reference it is 1 ÷ (1 + shift). Nothing is read outside what was measured.
//!
//! The standard uncertainty has three parts, taken as independent: that of the shift at either setting, and, where the
//! setting is a distance, that of the frames' distances times the slope of the curve. At the reference itself the factor
//! is 1 by definition, without uncertainty.

use super::words;
use crate::sweep::{CurvePoint, SAME_SETTING, ShiftCurve};
use crate::units::Measured;

/// Settings below this are infinity, dioptres.
const INFINITY_BELOW: f64 = 1e-5;

/// The framing that is held.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Held {
    /// That of the last frame, which all shifts are relative to: infinity, unless the sweep ended before it.
    Farthest,
    /// That at this focus setting, dioptres.
    At(f64),
    /// The tightest that was measured: no factor is below 1, so no edge is uncovered.
    Tightest,
}

/// Where a factor is wanted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Place {
    /// At a focus setting, dioptres.
    Dioptres(f64),
    /// At a place in the sweep, 0 at closest focus, 1 at the last frame.
    Travel(f64),
}

/// A lens setting as the curve has it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// Place in the sweep, 0 at closest focus, 1 at the last frame.
    pub travel: f64,
    /// Focus setting, dioptres; `None` where unknown.
    pub dioptres: Option<f64>,
    /// Shift, per cent; its uncertainty holds that of the distance where the setting was asked for by distance.
    pub shift_pct: Measured,
}

/// The factor at one setting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CounterScale {
    /// Where.
    pub setting: Setting,
    /// Factor that holds the framing.
    pub scale: Measured,
}

/// The setting whose framing is held.
///
/// # Errors
/// Why there is none, in words: outside what was measured, or its distance is not known.
pub fn reference(curve: &ShiftCurve, held: Held) -> Result<Setting, String> {
    let points = curve.points();
    let found = match held {
        Held::Farthest => points.last().map(setting_of),
        Held::Tightest => points
            .iter()
            .max_by(|a, b| a.shift_pct.value.total_cmp(&b.shift_pct.value))
            .map(setting_of),
        Held::At(dioptres) => setting(curve, Place::Dioptres(dioptres)),
    };
    match (found, held) {
        (Some(setting), _) if setting.shift_pct.value > -100.0 => Ok(setting),
        (_, Held::At(dioptres)) => Err(outside(curve, dioptres)),
        _ => Err("nothing was measured that could be held".to_owned()),
    }
}

/// The factors that hold the framing of `reference` at these places; `None` for those outside what was measured.
#[must_use]
pub fn counter_scales(
    curve: &ShiftCurve,
    reference: Setting,
    places: &[Place],
) -> Vec<Option<CounterScale>> {
    places
        .iter()
        .map(|place| counter_scale(curve, reference, *place))
        .collect()
}

fn counter_scale(curve: &ShiftCurve, reference: Setting, place: Place) -> Option<CounterScale> {
    let here = setting(curve, place)?;
    let (a, b) = (scale_of(reference.shift_pct), scale_of(here.shift_pct));
    if b.value <= 0.0 {
        return None;
    }
    let factor = a.value / b.value;
    let scale = if is_same(reference, here) {
        Measured::new(1.0, 0.0)
    } else {
        let relative = (a.std_error / a.value).hypot(b.std_error / b.value);
        Measured::new(factor, factor * relative)
    };
    Some(CounterScale {
        setting: here,
        scale,
    })
}

/// Focus settings, dioptres, nearest first: every multiple of a step, m, up to a distance, m, as far as one of the curves
/// reaches; the closest setting of each curve; infinity where one of them reaches it. Distances with one name, in metres
/// or, as asked for, in feet and inches, are one place.
#[must_use]
pub fn distance_places(curves: &[&ShiftCurve], step_m: f64, far_m: f64, in_feet: bool) -> Vec<f64> {
    let ranges: Vec<(f64, f64)> = curves.iter().filter_map(|c| c.range_dioptres()).collect();
    let measured = |at: &f64| ranges.iter().any(|(far, near)| (*far..=*near).contains(at));
    let steps = (far_m / step_m + 1e-9).floor().max(0.0) as u32;
    let mut places: Vec<f64> = (1..=steps)
        .map(|number| 1.0 / (f64::from(number) * step_m))
        .chain(ranges.iter().map(|range| range.1))
        .chain([0.0])
        .filter(measured)
        .collect();
    places.sort_by(|a, b| b.total_cmp(a));
    let name = |at: f64| match in_feet && at > INFINITY_BELOW {
        true => words::feet_and_inches(1.0 / at),
        false => words::focus(at),
    };
    // Distances that are told as the same figure are one row; the one measured nearest counts.
    places.dedup_by(|a, b| (*a - *b).abs() < SAME_SETTING || name(*a) == name(*b));
    places
}

/// Why there is no answer at a focus setting, in words.
#[must_use]
pub fn outside(curve: &ShiftCurve, dioptres: f64) -> String {
    match curve.range_dioptres() {
        None => "the focus distances of this sweep are not known".to_owned(),
        Some((_, near)) if dioptres > near => not_closer(near),
        Some((far, _)) => not_farther(far),
    }
}

/// That nothing was measured closer than this setting, dioptres; rounded up, so that the printed distance was measured.
#[must_use]
pub fn not_closer(near: f64) -> String {
    format!(
        "not measured closer than {}",
        limit(near, words::distance_from)
    )
}

/// That nothing was measured farther than this setting, dioptres; rounded down, so that the printed distance was measured.
#[must_use]
pub fn not_farther(far: f64) -> String {
    format!(
        "not measured farther than {}",
        limit(far, words::distance_up_to)
    )
}

fn limit(dioptres: f64, rounded: fn(f64) -> String) -> String {
    if dioptres < INFINITY_BELOW {
        "infinity".to_owned()
    } else {
        rounded(1.0 / dioptres)
    }
}

fn scale_of(shift_pct: Measured) -> Measured {
    let part = shift_pct.scaled(0.01);
    Measured::new(1.0 + part.value, part.std_error)
}

fn is_same(a: Setting, b: Setting) -> bool {
    let by_distance = a
        .dioptres
        .zip(b.dioptres)
        .map(|(a, b)| (a - b).abs() < SAME_SETTING);
    by_distance.unwrap_or((a.travel - b.travel).abs() < SAME_SETTING)
}

fn setting_of(point: &CurvePoint) -> Setting {
    Setting {
        travel: point.travel,
        dioptres: point.dioptres.map(|at| at.value),
        shift_pct: point.shift_pct,
    }
}

/// What a curve says at a place.
fn setting(curve: &ShiftCurve, place: Place) -> Option<Setting> {
    Some(match place {
        Place::Travel(at) => Setting {
            travel: at,
            dioptres: curve.dioptres_at(at),
            shift_pct: curve.shift_at_travel(at)?,
        },
        Place::Dioptres(at) => Setting {
            travel: curve.travel_at(at)?,
            dioptres: Some(at),
            shift_pct: curve.shift_at(at)?,
        },
    })
}

#[cfg(test)]
mod tests;
