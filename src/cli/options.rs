//! Option values with units, checked where they are read.

use crate::sweep::FrameOrder;
use crate::units::{FNumber, Metres, Millimetres};

/// A distance in metres.
pub(super) fn metres(text: &str) -> Result<Metres, String> {
    Metres::new(number(text)?).map_err(|error| error.to_string())
}

/// A length in millimetres.
pub(super) fn millimetres(text: &str) -> Result<Millimetres, String> {
    Millimetres::new(number(text)?).map_err(|error| error.to_string())
}

/// A length in millimetres among others: a comma could stand between two of them as well as in one.
pub(super) fn one_of_several_millimetres(text: &str) -> Result<Millimetres, String> {
    if text.contains(',') {
        return Err(format!(
            "{text:?} may be one length or two; put blanks between lengths, and write decimals with a point"
        ));
    }
    millimetres(text)
}

/// An f-number, with or without `f/`.
pub(super) fn f_number(text: &str) -> Result<FNumber, String> {
    let text = text.strip_prefix("f/").unwrap_or(text);
    FNumber::new(number(text)?).map_err(|error| error.to_string())
}

/// A tolerance in per cent, from 0.01 to 100.
pub(super) fn tolerance(text: &str) -> Result<f64, String> {
    let value = number(text)?;
    if (0.01..=100.0).contains(&value) {
        Ok(value)
    } else {
        Err(format!(
            "a tolerance is from 0.01 to 100 per cent, not {value}"
        ))
    }
}

/// A shift in per cent, from −90 to 900.
pub(super) fn shift(text: &str) -> Result<f64, String> {
    let value = number(text)?;
    if (-90.0..=900.0).contains(&value) {
        Ok(value)
    } else {
        Err(format!("a shift is from -90 to 900 per cent, not {value}"))
    }
}

/// An order of frames by its word.
pub(super) fn order(text: &str) -> Result<FrameOrder, String> {
    FrameOrder::ALL
        .into_iter()
        .find(|order| order.code() == text)
        .ok_or_else(|| format!("the order is auto, name, time or reverse, not {text}"))
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
        assert!(metres("0").is_err_and(|said| said.contains("above 0")));
        assert!(millimetres("-50").is_err_and(|said| said.contains("-50")));
        assert!(one_of_several_millimetres("50,85").is_err_and(|said| said.contains("blanks")));
        assert!(one_of_several_millimetres("16.5").is_ok());
        assert!(f_number("f/5.6").is_ok());
        assert!(f_number("nan").is_err());
        assert!(tolerance("1e9").is_err());
        assert!(shift("-100").is_err());
        assert!(order("sideways").is_err_and(|said| said.contains("reverse")));
        assert!(metres("0,45").is_ok_and(|distance| (distance.m() - 0.45).abs() < 1e-12));
    }
}
