//! Queries: read by hand, so that every number that can't be used is answered with the field's name and its range.

use std::ops::RangeInclusive;

use super::typed_units::without_unit;
use crate::sweep::DEFAULT_TOLERANCE_PCT;
use crate::units::{FOCUS_DISTANCES_M, TOLERANCES_PCT};
use crate::web::WebError;
use crate::web::inputs::{LENGTH_HINT, Length};

/// Longest text that is searched for, characters.
pub(super) const LONGEST_TEXT: usize = 200;

/// The pairs of a query, as they came.
#[derive(Debug, Clone, Default)]
pub(in crate::web) struct Params(Vec<(String, String)>);

impl<S: Send + Sync> axum::extract::FromRequestParts<S> for Params {
    type Rejection = WebError;

    async fn from_request_parts(
        parts: &mut axum::http::request::Parts,
        _state: &S,
    ) -> Result<Self, WebError> {
        axum::extract::Query::<Vec<(String, String)>>::try_from_uri(&parts.uri)
            .map(|query| Self(query.0.into_iter().map(without_unit).collect()))
            .map_err(|error| WebError::Unreadable(format!("the query can't be read: {error}")))
    }
}

impl Params {
    /// These pairs, read as those of a query.
    #[cfg(test)]
    pub(in crate::web) fn of(pairs: &[(&str, &str)]) -> Self {
        let owned = |(name, value): &(&str, &str)| ((*name).to_owned(), (*value).to_owned());
        Self(pairs.iter().map(owned).map(without_unit).collect())
    }

    /// One pair.
    pub(in crate::web) fn of_one(name: &str, value: &str) -> Self {
        Self(vec![(name.to_owned(), value.to_owned())])
    }

    /// The same without some names.
    pub(in crate::web) fn without(&self, names: &[&str]) -> Self {
        let kept = self
            .0
            .iter()
            .filter(|(name, _)| !names.contains(&name.as_str()));
        Self(kept.cloned().collect())
    }

    /// The names that are given, in order.
    pub(in crate::web) fn names(&self) -> impl Iterator<Item = &str> {
        let given = self.0.iter().filter(|(_, value)| !value.trim().is_empty());
        given.map(|(name, _)| name.as_str())
    }

    /// Whether a name is given.
    pub(in crate::web) fn has(&self, name: &str) -> bool {
        self.names().any(|known| known == name)
    }

    /// The same without one of the values of a name, also where several stand in one with commas between them.
    pub(in crate::web) fn without_value(&self, name: &str, value: &str) -> Self {
        let kept = self.0.iter().map(|(known, text)| {
            let parts = text.split(',').filter(|part| part.trim() != value);
            let text = match known == name {
                true => parts.collect::<Vec<_>>().join(","),
                false => text.clone(),
            };
            (known.clone(), text)
        });
        Self(kept.collect())
    }

    /// The same with one name set anew.
    pub(in crate::web) fn and(&self, name: &str, value: &str) -> Self {
        let mut changed = self.without(&[name]);
        changed.0.push((name.to_owned(), value.to_owned()));
        changed
    }

    /// Fields of a form as they stand after defaults were filled in.
    pub(in crate::web) fn from_typed(typed: &std::collections::BTreeMap<&str, String>) -> Self {
        let pairs = typed.iter();
        Self(
            pairs
                .map(|(name, value)| ((*name).to_owned(), value.clone()))
                .collect(),
        )
    }

    /// The last value of a name; `None` where it is missing or blank.
    pub(in crate::web) fn text(&self, name: &str) -> Option<&str> {
        self.0
            .iter()
            .rev()
            .find(|(known, _)| known == name)
            .map(|(_, value)| value.trim())
            .filter(|value| !value.is_empty())
    }

    /// Every value of a name that is not blank, in order.
    pub(in crate::web) fn all(&self, name: &str) -> Vec<&str> {
        self.0
            .iter()
            .filter(|(known, value)| known == name && !value.trim().is_empty())
            .map(|(_, value)| value.trim())
            .collect()
    }

    /// A text of bearable length.
    pub(in crate::web) fn short_text(&self, name: &str) -> Result<Option<&str>, WebError> {
        match self.text(name) {
            Some(value) if value.chars().count() > LONGEST_TEXT => Err(WebError::field(
                name,
                format!("give at most {LONGEST_TEXT} characters"),
            )),
            value => Ok(value),
        }
    }

    /// A number in a range; a decimal comma is understood.
    pub(in crate::web) fn number(
        &self,
        name: &str,
        range: RangeInclusive<f64>,
        unit: &str,
    ) -> Result<Option<f64>, WebError> {
        let Some(text) = self.text(name) else {
            return Ok(None);
        };
        let (low, high) = (range.start(), range.end());
        text.replace(',', ".")
            .parse::<f64>()
            .ok()
            .filter(|value| range.contains(value))
            .map(Some)
            .ok_or_else(|| {
                WebError::field(
                    name,
                    format!(
                        "give a number from {low} to {high} {unit}, not “{}”",
                        cut(text)
                    ),
                )
            })
    }

    /// Numbers in a range, each once, smallest first: several values of the name, or several numbers in one with blanks
    /// or semicolons between them.
    pub(in crate::web) fn numbers(
        &self,
        name: &str,
        range: RangeInclusive<f64>,
        unit: &str,
        most: usize,
    ) -> Result<Vec<f64>, WebError> {
        let mut found = Vec::new();
        for text in self.all(name) {
            for word in text.split([' ', ';']).filter(|word| !word.is_empty()) {
                let one = Self(vec![(name.to_owned(), word.to_owned())]);
                found.extend(one.number(name, range.clone(), unit)?);
            }
        }
        found.sort_by(f64::total_cmp);
        found.dedup();
        if found.len() > most {
            return Err(WebError::field(
                name,
                format!("give at most {most} numbers"),
            ));
        }
        Ok(found)
    }

    /// A whole number in a range.
    pub(in crate::web) fn whole(
        &self,
        name: &str,
        range: RangeInclusive<u32>,
        unit: &str,
    ) -> Result<Option<u32>, WebError> {
        let Some(text) = self.text(name) else {
            return Ok(None);
        };
        let (low, high) = (range.start(), range.end());
        text.parse::<u32>()
            .ok()
            .filter(|value| range.contains(value))
            .map(Some)
            .ok_or_else(|| {
                WebError::field(
                    name,
                    format!(
                        "give a whole number from {low} to {high} {unit}, not “{}”",
                        cut(text)
                    ),
                )
            })
    }

    /// One of several words.
    pub(in crate::web) fn choice<T: Copy>(
        &self,
        name: &str,
        choices: &[(&str, T)],
    ) -> Result<Option<T>, WebError> {
        let Some(text) = self.text(name) else {
            return Ok(None);
        };
        choices
            .iter()
            .find(|(word, _)| *word == text)
            .map(|(_, value)| Some(*value))
            .ok_or_else(|| {
                let words: Vec<&str> = choices.iter().map(|(word, _)| *word).collect();
                WebError::field(
                    name,
                    format!("give one of {}, not “{}”", words.join(", "), cut(text)),
                )
            })
    }

    /// The tolerance asked for, or the usual one, per cent.
    pub(in crate::web) fn tolerance_pct(&self) -> Result<f64, WebError> {
        Ok(self
            .number("tolerance_pct", TOLERANCES_PCT, "per cent")?
            .unwrap_or(DEFAULT_TOLERANCE_PCT))
    }

    /// A focus distance as dioptres: metres, feet and inches with their signs, or `inf` (also `∞`) for infinity.
    pub(in crate::web) fn focus_dioptres(&self, name: &str) -> Result<Option<f64>, WebError> {
        let Some(text) = self.text(name) else {
            return Ok(None);
        };
        if ["inf", "infinity", "∞"].contains(&text.to_lowercase().as_str()) {
            return Ok(Some(0.0));
        }
        Length::typed(text)
            .map(|length| length.m)
            .filter(|m| FOCUS_DISTANCES_M.contains(m))
            .map(|m| Some(1.0 / m))
            .ok_or_else(|| {
                WebError::field(
                    name,
                    format!(
                        "give a distance from {} to {} m, {LENGTH_HINT}, or “inf” for infinity, not “{}”",
                        FOCUS_DISTANCES_M.start(),
                        FOCUS_DISTANCES_M.end(),
                        cut(text)
                    ),
                )
            })
    }

    /// Whether a distance was given in feet or inches.
    pub(super) fn is_in_feet(&self, name: &str) -> bool {
        let typed = self.text(name).and_then(Length::typed);
        typed.is_some_and(|length| length.in_feet)
    }

    /// A length in a range of metres; feet and inches are understood.
    pub(in crate::web) fn length(
        &self,
        name: &str,
        range: RangeInclusive<f64>,
    ) -> Result<Option<Length>, WebError> {
        let Some(text) = self.text(name) else {
            return Ok(None);
        };
        Length::typed(text)
            .filter(|length| range.contains(&length.m))
            .map(Some)
            .ok_or_else(|| {
                WebError::field(
                    name,
                    format!(
                        "give a length from {} to {} m, {LENGTH_HINT}, not “{}”",
                        range.start(),
                        range.end(),
                        cut(text)
                    ),
                )
            })
    }

    /// The query with some names set anew (`None` takes a name out), ready to stand after `?`.
    pub(in crate::web) fn with(&self, changes: &[(&str, Option<&str>)]) -> String {
        let kept = self
            .0
            .iter()
            .filter(|(name, value)| {
                !value.trim().is_empty() && !changes.iter().any(|(changed, _)| changed == name)
            })
            .map(|(name, value)| (name.as_str(), value.as_str()));
        let set = changes
            .iter()
            .filter_map(|(name, value)| value.map(|value| (*name, value)));
        kept.chain(set)
            .map(|(name, value)| format!("{}={}", encoded(name), encoded(value)))
            .collect::<Vec<_>>()
            .join("&")
    }
}

/// A text as part of a query (RFC 3986: all but unreserved characters is encoded).
pub(in crate::web) fn encoded(text: &str) -> String {
    use std::fmt::Write as _;
    let mut encoded = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            encoded.push(char::from(byte));
        } else {
            // Written to a String: can't fail.
            let _ = write!(encoded, "%{byte:02X}");
        }
    }
    encoded
}

/// The beginning of what was sent, to be shown in an answer.
pub(super) fn cut(text: &str) -> String {
    text.chars().take(40).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::FOCAL_LENGTHS_MM;

    #[test]
    fn absurd_numbers_are_refused_by_name() {
        for absurd in ["-1", "0", "NaN", "inf", "1e999", "abc", "99999999"] {
            let params = Params::of(&[("focal_mm", absurd)]);
            let error = params
                .number("focal_mm", FOCAL_LENGTHS_MM, "mm")
                .expect_err("out of range");
            let words = error.to_string();
            assert!(
                words.contains("focal_mm") && words.contains("5000"),
                "{words}"
            );
        }
        let comma = Params::of(&[("focal_mm", " 16,5 ")]);
        let value = comma.number("focal_mm", FOCAL_LENGTHS_MM, "mm");
        assert!((value.expect("usable").expect("there") - 16.5).abs() < 1e-12);
    }

    #[test]
    fn focus_distances_in_metres_feet_and_infinity() {
        for (text, dioptres) in [
            ("2", 0.5),
            ("2 m", 0.5),
            ("10ft", 1.0 / 3.048),
            ("9′10″", 1.0 / 2.9972),
            ("∞", 0.0),
        ] {
            let params = Params::of(&[("from_m", text)]);
            let value = params.focus_dioptres("from_m").expect("usable");
            assert!((value.expect("there") - dioptres).abs() < 1e-9, "{text}");
        }
        for absurd in ["-3", "0", "near", "1e9"] {
            let params = Params::of(&[("from_m", absurd)]);
            assert!(params.focus_dioptres("from_m").is_err(), "{absurd}");
        }
    }

    #[test]
    fn queries_are_put_together_again_safely() {
        let params = Params::of(&[("q", "a&b=c"), ("sort", "name"), ("mount", "")]);
        assert_eq!(
            params.with(&[("sort", Some("newest"))]),
            "q=a%26b%3Dc&sort=newest"
        );
        assert_eq!(params.with(&[("sort", None)]), "q=a%26b%3Dc");
    }
}
