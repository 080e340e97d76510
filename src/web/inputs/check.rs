//! Complaints about fields, collected.

use std::ops::RangeInclusive;

use super::{LENGTH_HINT, Length};
use crate::web::WebError;
use crate::web::errors::FieldError;

/// Collects what is wrong, so that all of it can be said at once.
#[derive(Debug, Default)]
pub(in crate::web) struct Check {
    pub(in crate::web) errors: Vec<FieldError>,
}

impl Check {
    /// Notes a complaint.
    pub(in crate::web) fn refuse(&mut self, field: &str, detail: impl Into<String>) {
        self.errors.push(FieldError {
            field: field.to_owned(),
            detail: detail.into(),
        });
    }

    /// The number in a typed field; `None` where it is empty or no number (then with a complaint). A decimal comma will do.
    pub(in crate::web) fn number(&mut self, field: &str, typed: &str) -> Option<f64> {
        let typed = typed.trim();
        if typed.is_empty() {
            return None;
        }
        let value = typed
            .replace(',', ".")
            .parse::<f64>()
            .ok()
            .filter(|value| value.is_finite());
        if value.is_none() {
            let shown: String = typed.chars().take(40).collect();
            self.refuse(
                field,
                format!("“{shown}” is not a number; give one like 0.45"),
            );
        }
        value
    }

    /// The distance in a typed field, m, also from feet and inches; `None` where it is empty or no distance (then with a
    /// complaint).
    pub(in crate::web) fn distance(&mut self, field: &str, typed: &str) -> Option<f64> {
        let typed = typed.trim();
        if typed.is_empty() {
            return None;
        }
        let length = Length::typed(typed);
        if length.is_none() {
            let shown: String = typed.chars().take(40).collect();
            self.refuse(
                field,
                format!("“{shown}” is no distance; give metres like 0.45, or {LENGTH_HINT}"),
            );
        }
        length.map(|length| length.m)
    }

    /// The value if it lies in the range.
    pub(in crate::web) fn within(
        &mut self,
        field: &str,
        value: Option<f64>,
        range: &RangeInclusive<f64>,
        unit: &str,
    ) -> Option<f64> {
        let value = value?;
        if range.contains(&value) {
            return Some(value);
        }
        // Written out, a number like 1e300 would fill the page.
        let shown = if value.abs() < 1e12 {
            value.to_string()
        } else {
            format!("{value:e}")
        };
        self.refuse(
            field,
            format!(
                "{shown} is out of range; give {} to {} {unit}",
                range.start(),
                range.end()
            )
            .trim_end()
            .to_owned(),
        );
        None
    }

    /// A value that must be there; the complaint is left out where the field has one already.
    pub(in crate::web) fn required<T>(
        &mut self,
        field: &str,
        value: Option<T>,
        give: &str,
    ) -> Option<T> {
        if value.is_none() && !self.errors.iter().any(|error| error.field == field) {
            self.refuse(field, format!("this is missing; give {give}"));
        }
        value
    }

    /// One line of text without control or direction characters, at most `most` characters; empty is `None`.
    pub(in crate::web) fn line(&mut self, field: &str, text: &str, most: usize) -> Option<String> {
        let text = self.text(field, text, most)?;
        if text.contains(['\n', '\r', '\t']) {
            self.refuse(field, "this has several lines; give one");
            return None;
        }
        Some(text)
    }

    /// A text of several lines without other control or direction characters; empty is `None`.
    pub(in crate::web) fn text(&mut self, field: &str, text: &str, most: usize) -> Option<String> {
        let text = text.trim();
        if text.is_empty() {
            return None;
        }
        if text.chars().count() > most {
            self.refuse(
                field,
                format!("this is too long; give at most {most} characters"),
            );
            return None;
        }
        if text.chars().any(is_unshowable) {
            self.refuse(
                field,
                "this has characters that can't be shown; type it again",
            );
            return None;
        }
        Some(text.to_owned())
    }

    /// `value` if nothing was wrong.
    pub(in crate::web) fn finish<T>(self, value: Option<T>) -> Result<T, WebError> {
        match value {
            Some(value) if self.errors.is_empty() => Ok(value),
            _ => Err(WebError::Fields(self.errors)),
        }
    }
}

/// Control characters, and those that turn the direction of text.
fn is_unshowable(character: char) -> bool {
    (character.is_control() && !matches!(character, '\n' | '\r' | '\t'))
        || matches!(character, '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{200E}' | '\u{200F}')
}
