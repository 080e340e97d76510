//! Numbers in JSON, exact both ways.

use serde::de::Error as _;
use serde::ser::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use serde_json::value::RawValue;

use crate::units::Measured;

/// A finite number. It is read by the standard library's parser, which is exact; the JSON reader's own may miss the last bit.
#[derive(Debug, Clone, Copy)]
pub(super) struct Number(pub(super) f64);

impl Serialize for Number {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if !self.0.is_finite() {
            return Err(S::Error::custom("a number that is not finite"));
        }
        serializer.serialize_f64(self.0)
    }
}

impl<'de> Deserialize<'de> for Number {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = <&RawValue>::deserialize(deserializer)?.get();
        match text.parse::<f64>() {
            Ok(number) if number.is_finite() => Ok(Self(number)),
            _ => Err(D::Error::custom(format!("\"{text}\" is no number"))),
        }
    }
}

/// A value and its standard uncertainty as a pair.
pub(super) type Pair = (Number, Number);

pub(super) const fn pair(measured: Measured) -> Pair {
    (Number(measured.value), Number(measured.std_error))
}

pub(super) const fn measured((value, std_error): Pair) -> Measured {
    Measured::new(value.0, std_error.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_is_not_finite_is_refused_both_ways() {
        for absurd in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(serde_json::to_string(&Number(absurd)).is_err());
        }
        for absurd in ["null", "\"1\"", "1e999", "[1]"] {
            assert!(serde_json::from_str::<Number>(absurd).is_err(), "{absurd}");
        }
    }

    proptest! {
        #[test]
        fn every_finite_number_comes_back_to_the_bit(bits in any::<u64>()) {
            let number = f64::from_bits(bits);
            prop_assume!(number.is_finite());
            let text = serde_json::to_string(&Number(number)).expect("finite");
            let back: Number = serde_json::from_str(&text).expect("just written");
            prop_assert_eq!(back.0.to_bits(), number.to_bits());
        }
    }
}
