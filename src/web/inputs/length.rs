//! Lengths as people write them: metres, centimetres, feet and inches.

use crate::units::METRES_PER_FOOT;

/// A unit of length.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Unit {
    Metre,
    Centimetre,
    Millimetre,
    Foot,
    Inch,
}

impl Unit {
    /// How long it is, m; foot and inch by definition.
    const fn m(self) -> f64 {
        match self {
            Self::Metre => 1.0,
            Self::Centimetre => 0.01,
            Self::Millimetre => 0.001,
            Self::Foot => METRES_PER_FOOT,
            Self::Inch => 0.0254,
        }
    }
}

/// What units are called, longer words before those that they begin with.
const WORDS: [(&str, Unit); 17] = [
    ("metres", Unit::Metre),
    ("meters", Unit::Metre),
    ("inches", Unit::Inch),
    ("metre", Unit::Metre),
    ("meter", Unit::Metre),
    ("inch", Unit::Inch),
    ("feet", Unit::Foot),
    ("foot", Unit::Foot),
    ("ft.", Unit::Foot),
    ("in.", Unit::Inch),
    ("cm", Unit::Centimetre),
    ("mm", Unit::Millimetre),
    ("ft", Unit::Foot),
    ("in", Unit::Inch),
    ("m", Unit::Metre),
    ("'", Unit::Foot),
    ("\"", Unit::Inch),
];

/// A length that somebody typed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::web) struct Length {
    /// How long, m.
    pub(in crate::web) m: f64,
    /// Whether it was given in feet or inches.
    pub(in crate::web) in_feet: bool,
}

/// What is asked of somebody whose length can't be read.
pub(in crate::web) const LENGTH_HINT: &str = "feet as “9 ft” or 9'10\"";

impl Length {
    /// The length in a text; a bare number is metres, a decimal comma will do. `2`, `2,5 m`, `45 cm`, `10 ft`, `9'10"`,
    /// `9′ 10″`, `3 ft 6 in`, `9ft10in`, `9' 10`. `None` for anything else, and for what is not finite.
    pub(in crate::web) fn typed(text: &str) -> Option<Self> {
        let plain = plain(text);
        if let Ok(m) = plain.parse::<f64>() {
            return m.is_finite().then_some(Self { m, in_feet: false });
        }
        let (number, unit, rest) = quantity(&plain)?;
        let unit = unit?;
        let length = |m: f64| Self {
            m,
            in_feet: matches!(unit, Unit::Foot | Unit::Inch),
        };
        if rest.is_empty() {
            return Some(length(number * unit.m()));
        }
        // After whole feet come inches, with or without their sign; nothing comes after anything else.
        let (inches, inch, rest) = quantity(rest)?;
        let fits = unit == Unit::Foot
            && number.fract() == 0.0
            && (0.0..12.0).contains(&inches)
            && inch.is_none_or(|unit| unit == Unit::Inch)
            && rest.is_empty();
        fits.then(|| length(number * Unit::Foot.m() + inches * Unit::Inch.m()))
    }
}

/// Small letters, plain signs for feet and inches, a decimal point, single spaces.
fn plain(text: &str) -> String {
    let plain: String = text
        .to_lowercase()
        .chars()
        .map(|sign| match sign {
            '′' | '’' | '‘' | 'ʹ' | '´' | '`' => '\'',
            '″' | '”' | '“' | 'ʺ' | '˝' => '"',
            ',' => '.',
            other => other,
        })
        .collect();
    // Feet and inches are also parted by a dash: 3'-6".
    let plain = plain
        .replace("''", "\"")
        .replace("'-", "' ")
        .replace("ft-", "ft ");
    plain.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The number at the beginning, the unit behind it where there is one, and the rest.
fn quantity(text: &str) -> Option<(f64, Option<Unit>, &str)> {
    let end = text
        .find(|sign: char| !sign.is_ascii_digit() && sign != '.')
        .unwrap_or(text.len());
    let number: f64 = text[..end].parse().ok()?;
    let rest = text[end..].trim_start();
    let (unit, rest) = match WORDS.iter().find(|(word, _)| rest.starts_with(word)) {
        Some((word, unit)) => (Some(*unit), rest[word.len()..].trim_start()),
        None => (None, rest),
    };
    number.is_finite().then_some((number, unit, rest))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn feet(text: &str) -> Option<f64> {
        let length = Length::typed(text)?;
        assert!(length.in_feet, "{text}");
        Some(length.m / Unit::Foot.m())
    }

    #[test]
    fn lengths_are_read_as_people_write_them() {
        for (text, m) in [
            ("2", 2.0),
            (" 2,5 ", 2.5),
            ("2 m", 2.0),
            ("2m", 2.0),
            ("1.5 metres", 1.5),
            ("45 cm", 0.45),
            ("450mm", 0.45),
            ("1e-1", 0.1),
        ] {
            let length = Length::typed(text).unwrap_or_else(|| panic!("{text}"));
            assert!((length.m - m).abs() < 1e-12 && !length.in_feet, "{text}");
        }
        for text in [
            "9'10\"",
            "9' 10\"",
            "9′10″",
            "9’ 10”",
            "9ft10in",
            "9 ft 10 in",
            "9 feet 10 inches",
            "9' 10",
            "9'-10\"",
            "9 ft-10 in",
            "9'10''",
            "9 FT 10 IN",
            "9 ft. 10 in.",
            "118 in",
            "118\"",
        ] {
            let read = feet(text).unwrap_or_else(|| panic!("{text}"));
            assert!((read - (9.0 + 10.0 / 12.0)).abs() < 1e-9, "{text}: {read}");
        }
        for text in ["10'", "10 ft", "10ft", "10′", "10 foot", "10'0\""] {
            assert!((feet(text).expect(text) - 10.0).abs() < 1e-9, "{text}");
        }
        assert!((feet("3 ft 6 in").expect("feet") - 3.5).abs() < 1e-9);
        assert!((feet("2.5 ft").expect("feet") - 2.5).abs() < 1e-9);
    }

    #[test]
    fn what_is_no_length_is_not_guessed_at() {
        for text in [
            "",
            "m",
            "ft",
            "'",
            "near",
            "9'12\"",
            "9'10\"3",
            "9'10'",
            "9\"10'",
            "2 m 10",
            "2.5' 3\"",
            "9 10",
            "9 yd",
            "NaN",
            "inf ft",
            "1..2",
            "10 ft tall",
            "3 m 6 in",
            "--1",
            "1e999",
        ] {
            assert_eq!(Length::typed(text), None, "{text}");
        }
    }

    proptest! {
        /// However feet and inches are written, they are the same length; 1 nm is far below any focus scale.
        #[test]
        fn every_way_to_write_feet_and_inches_means_the_same(
            whole in 0_u32..400,
            tenths in 0_u32..120,
            foot in prop::sample::select(vec!["'", "′", "’", " ft", "ft", " feet", " Ft."]),
            gap in prop::sample::select(vec!["", " ", "\u{a0}", "  "]),
            inch in prop::sample::select(vec!["\"", "″", "”", "''", " in", "in", " inches", ""]),
            comma in any::<bool>(),
        ) {
            let inches = f64::from(tenths) / 10.0;
            let mut text = format!("{whole}{foot}{gap}{inches}{inch}");
            if comma {
                text = text.replace('.', ",");
            }
            let expected = f64::from(whole) * Unit::Foot.m() + inches * Unit::Inch.m();
            let read = Length::typed(&text);
            prop_assert!(read.is_some_and(|read| read.in_feet && (read.m - expected).abs() < 1e-9), "{text}: {read:?}");
        }

        /// No text makes it panic, and what it reads is finite.
        #[test]
        fn any_text_is_read_or_refused(text in "\\PC{0,12}", signs in "[0-9.,'\"′″ ftinm-]{0,12}") {
            for text in [text, signs] {
                prop_assert!(Length::typed(&text).is_none_or(|length| length.m.is_finite()));
            }
        }
    }
}
