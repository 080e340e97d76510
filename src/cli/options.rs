//! Option values with units, checked where they are read.

use std::ops::RangeInclusive;

use crate::sweep::FrameOrder;
use crate::units::{
    F_NUMBERS, FNumber, FOCAL_LENGTHS_MM, FOCUS_DISTANCES_M, Metres, Millimetres, SENSOR_SIDES_MM,
    TOLERANCES_PCT,
};

/// Shifts, per cent.
const SHIFTS_PCT: RangeInclusive<f64> = -90.0..=900.0;

/// A focus or target distance in metres.
pub(super) fn metres(text: &str) -> Result<Metres, String> {
    Metres::new(within(text, &FOCUS_DISTANCES_M, "a distance", "m")?)
        .map_err(|error| error.to_string())
}

/// A focal length in millimetres.
pub(super) fn focal_length(text: &str) -> Result<Millimetres, String> {
    Millimetres::new(within(text, &FOCAL_LENGTHS_MM, "a focal length", "mm")?)
        .map_err(|error| error.to_string())
}

/// A side of the picture area in millimetres.
pub(super) fn sensor_side(text: &str) -> Result<Millimetres, String> {
    let what = "a side of the picture area";
    Millimetres::new(within(text, &SENSOR_SIDES_MM, what, "mm")?).map_err(|error| error.to_string())
}

/// A focal length in millimetres among others: a comma could stand between two of them as well as in one.
pub(super) fn one_of_several_focal_lengths(text: &str) -> Result<Millimetres, String> {
    if text.contains(',') {
        return Err(format!(
            "{text:?} may be one length or two; put blanks between lengths, and write decimals with a point"
        ));
    }
    focal_length(text)
}

/// An f-number, with or without `f/`.
pub(super) fn f_number(text: &str) -> Result<FNumber, String> {
    let text = text.strip_prefix("f/").unwrap_or(text);
    FNumber::new(within(text, &F_NUMBERS, "an f-number", "")?).map_err(|error| error.to_string())
}

/// A tolerance in per cent.
pub(super) fn tolerance(text: &str) -> Result<f64, String> {
    within(text, &TOLERANCES_PCT, "a tolerance", "per cent")
}

/// A shift in per cent.
pub(super) fn shift(text: &str) -> Result<f64, String> {
    within(text, &SHIFTS_PCT, "a shift", "per cent")
}

/// An order of frames by its word.
pub(super) fn order(text: &str) -> Result<FrameOrder, String> {
    FrameOrder::from_code(text)
        .ok_or_else(|| format!("the order is auto, name, time or reverse, not {text}"))
}

/// A number in a range; what is outside is refused as it was typed, because 1e-30 written out is a line of noughts.
fn within(text: &str, range: &RangeInclusive<f64>, what: &str, unit: &str) -> Result<f64, String> {
    let value = number(text)?;
    if range.contains(&value) {
        return Ok(value);
    }
    let range = format!("{} to {} {unit}", range.start(), range.end());
    Err(format!("{what} is from {}, not {text}", range.trim_end()))
}

fn number(text: &str) -> Result<f64, String> {
    text.trim()
        .replace(',', ".")
        .parse::<f64>()
        .ok()
        .filter(|value| value.is_finite())
        .ok_or_else(|| format!("{text:?} is not a number"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_out_of_range_is_named() {
        for (said, words) in [
            (metres("0").err(), "from 0.01 to 10000 m, not 0"),
            (metres("1e-30").err(), "from 0.01 to 10000 m, not 1e-30"),
            (metres("1e9").err(), "not 1e9"),
            (focal_length("-50").err(), "from 1 to 5000 mm, not -50"),
            (focal_length("1e-6").err(), "not 1e-6"),
            (sensor_side("0.001").err(), "from 1 to 200 mm, not 0.001"),
            (f_number("1e-3").err(), "from 0.5 to 128, not 1e-3"),
            (one_of_several_focal_lengths("50,85").err(), "blanks"),
        ] {
            assert!(
                said.as_ref().is_some_and(|said| said.contains(words)),
                "{said:?}"
            );
        }
        assert!(one_of_several_focal_lengths("16.5").is_ok());
        assert!(f_number("f/5.6").is_ok());
        assert!(f_number("nan").is_err());
        assert!(tolerance("1e9").is_err());
        assert!(shift("-100").is_err());
        assert!(order("sideways").is_err_and(|said| said.contains("reverse")));
        assert!(metres("0,45").is_ok_and(|distance| (distance.m() - 0.45).abs() < 1e-12));
    }
}
