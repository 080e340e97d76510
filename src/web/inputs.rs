//! What reviewers type or send, checked: every number has a range, every complaint names its field and what to give.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;

use serde::Deserialize;

use super::WebError;
use super::errors::FieldError;
use crate::store::{Conditions, Kind, LensDraft, Switch};
use crate::units::{Metres, Millimetres};

/// Focal lengths of lenses, mm.
pub(super) const FOCAL_MM: RangeInclusive<f64> = 1.0..=3000.0;
/// F-numbers.
pub(super) const F_NUMBER: RangeInclusive<f64> = 0.5..=128.0;
/// Closest focus and target distances, m.
pub(super) const DISTANCE_M: RangeInclusive<f64> = 0.01..=1000.0;
/// Widths of picture areas, mm.
pub(super) const SENSOR_MM: RangeInclusive<f64> = 1.0..=200.0;
/// Smallest f-numbers of lenses.
const MAX_APERTURE: RangeInclusive<f64> = 0.5..=64.0;
/// Marked closest focus of lenses, m.
const MARKED_CLOSEST_FOCUS_M: RangeInclusive<f64> = 0.01..=100.0;
/// Most characters of a maker's, a model's or a mount's name.
const NAME_CHARACTERS: usize = 80;
/// Most characters of notes and reasons.
pub(super) const NOTE_CHARACTERS: usize = 2000;

/// The fields of a form by name, as they were typed; kept to show the form again.
#[derive(Debug, Clone, Default)]
pub(super) struct Typed(BTreeMap<String, String>);

impl Typed {
    /// What was typed, without spaces around it; empty where nothing was.
    pub(super) fn get(&self, name: &str) -> &str {
        self.0.get(name).map_or("", |value| value.trim())
    }

    /// Notes a field.
    pub(super) fn set(&mut self, name: impl Into<String>, value: impl Into<String>) {
        self.0.insert(name.into(), value.into());
    }

    /// Takes over the fields of `newer`.
    pub(super) fn merge(&mut self, newer: Self) {
        self.0.extend(newer.0);
    }

    /// Whether a choice stands at this value.
    pub(super) fn is(&self, name: &str, value: &str) -> bool {
        self.get(name) == value
    }
}

impl FromIterator<(String, String)> for Typed {
    fn from_iter<I: IntoIterator<Item = (String, String)>>(pairs: I) -> Self {
        Self(pairs.into_iter().collect())
    }
}

/// Collects what is wrong, so that all of it can be said at once.
#[derive(Debug, Default)]
pub(super) struct Check {
    pub(super) errors: Vec<FieldError>,
}

impl Check {
    /// Notes a complaint.
    pub(super) fn refuse(&mut self, field: &str, detail: impl Into<String>) {
        self.errors.push(FieldError {
            field: field.to_owned(),
            detail: detail.into(),
        });
    }

    /// The number in a typed field; `None` where it is empty or no number (then with a complaint). A decimal comma will do.
    pub(super) fn number(&mut self, field: &str, typed: &str) -> Option<f64> {
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

    /// The value if it lies in the range.
    pub(super) fn within(
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
        self.refuse(
            field,
            format!(
                "{value} is out of range; give {} to {} {unit}",
                range.start(),
                range.end()
            )
            .trim_end()
            .to_owned(),
        );
        None
    }

    /// A value that must be there; the complaint is left out where the field has one already.
    pub(super) fn required<T>(&mut self, field: &str, value: Option<T>, give: &str) -> Option<T> {
        if value.is_none() && !self.errors.iter().any(|error| error.field == field) {
            self.refuse(field, format!("this is missing; give {give}"));
        }
        value
    }

    /// One line of text without control or direction characters, at most `most` characters; empty is `None`.
    pub(super) fn line(&mut self, field: &str, text: &str, most: usize) -> Option<String> {
        let text = self.text(field, text, most)?;
        if text.contains(['\n', '\r', '\t']) {
            self.refuse(field, "this has several lines; give one");
            return None;
        }
        Some(text)
    }

    /// A text of several lines without other control or direction characters; empty is `None`.
    pub(super) fn text(&mut self, field: &str, text: &str, most: usize) -> Option<String> {
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
    pub(super) fn finish<T>(self, value: Option<T>) -> Result<T, WebError> {
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

/// A lens to be made, as it was sent.
#[derive(Debug, Default, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub(super) struct LensInput {
    /// Maker.
    maker: String,
    /// Model without the maker.
    model: String,
    /// Mount.
    mount: String,
    /// `prime`, `zoom`, `macro`, `cine_prime` or `cine_zoom`.
    kind: String,
    /// Shortest marked focal length, mm.
    focal_min_mm: Option<f64>,
    /// Longest marked focal length, mm; the shortest where it is left out.
    focal_max_mm: Option<f64>,
    /// Smallest f-number.
    max_aperture: Option<f64>,
    /// Marked closest focus from the sensor plane, m.
    closest_focus_m: Option<f64>,
}

/// Name of the lens's closest focus in the form, where the shoot has one too.
pub(super) const MARKED_CLOSEST_FOCUS: &str = "marked_closest_focus_m";

impl LensInput {
    /// From the fields of a form.
    pub(super) fn typed(typed: &Typed, check: &mut Check) -> Self {
        let mut number = |field: &str| check.number(field, typed.get(field));
        Self {
            focal_min_mm: number("focal_min_mm"),
            focal_max_mm: number("focal_max_mm"),
            max_aperture: number("max_aperture"),
            closest_focus_m: number(MARKED_CLOSEST_FOCUS),
            maker: typed.get("maker").to_owned(),
            model: typed.get("model").to_owned(),
            mount: typed.get("mount").to_owned(),
            kind: typed.get("kind").to_owned(),
        }
    }

    /// The draft, or complaints; `closest_focus` is the name of that field.
    pub(super) fn check(self, closest_focus: &str, check: &mut Check) -> Option<LensDraft> {
        let maker = check.line("maker", &self.maker, NAME_CHARACTERS);
        let maker = check.required("maker", maker, "the name on the lens");
        let model = check.line("model", &self.model, NAME_CHARACTERS);
        let model = check.required("model", model, "what the maker calls it");
        let mount = check.line("mount", &self.mount, NAME_CHARACTERS);
        let mount = check.required("mount", mount, "what it fits on");
        let kind = Kind::from_code(&self.kind);
        let kind = check.required("kind", kind, "prime, zoom, macro, cine_prime or cine_zoom");
        let focal_min = check.within("focal_min_mm", self.focal_min_mm, &FOCAL_MM, "mm");
        let focal_min = check.required("focal_min_mm", focal_min, "1 to 3000 mm");
        let focal_max = self.focal_max_mm.or(focal_min);
        let focal_max = check.within("focal_max_mm", focal_max, &FOCAL_MM, "mm");
        if let (Some(min), Some(max)) = (focal_min, focal_max)
            && max < min
        {
            check.refuse(
                "focal_max_mm",
                format!("{max} is shorter than the shortest focal length, {min} mm"),
            );
        }
        let max_aperture = check.within("max_aperture", self.max_aperture, &MAX_APERTURE, "");
        let max_aperture = check.required("max_aperture", max_aperture, "its smallest f-number");
        let closest = check.within(
            closest_focus,
            self.closest_focus_m,
            &MARKED_CLOSEST_FOCUS_M,
            "m",
        );
        Some(LensDraft {
            maker: maker?,
            model: model?,
            mount: mount?,
            kind: kind?,
            focal_min_mm: focal_min?,
            focal_max_mm: focal_max?,
            max_aperture: max_aperture?,
            closest_focus_m: closest,
        })
    }
}

/// What is said of a shoot, as it was sent.
#[derive(Debug, Default, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub(super) struct ConditionsInput {
    /// Distortion correction in the camera: `on`, `off` or `unknown`.
    distortion_correction: Option<String>,
    /// Breathing compensation in the camera: `on`, `off` or `unknown`.
    breathing_compensation: Option<String>,
    /// Stabilisation: `on`, `off` or `unknown`.
    stabilisation: Option<String>,
    /// Distance from sensor plane to targets, m.
    target_distance_m: Option<f64>,
    /// Distance that the first frame is focused at, m.
    closest_focus_m: Option<f64>,
}

impl ConditionsInput {
    /// From the fields of a form.
    pub(super) fn typed(typed: &Typed, check: &mut Check) -> Self {
        let choice =
            |field: &str| Some(typed.get(field).to_owned()).filter(|code| !code.is_empty());
        Self {
            distortion_correction: choice("distortion_correction"),
            breathing_compensation: choice("breathing_compensation"),
            stabilisation: choice("stabilisation"),
            target_distance_m: check.number("target_distance_m", typed.get("target_distance_m")),
            closest_focus_m: check.number("closest_focus_m", typed.get("closest_focus_m")),
        }
    }

    /// The conditions; complaints go to `check`.
    pub(super) fn check(self, check: &mut Check) -> Conditions {
        Conditions {
            distortion_correction: switch(
                "distortion_correction",
                self.distortion_correction.as_deref(),
                check,
            ),
            breathing_compensation: switch(
                "breathing_compensation",
                self.breathing_compensation.as_deref(),
                check,
            ),
            stabilisation: switch("stabilisation", self.stabilisation.as_deref(), check),
            target_distance: metres("target_distance_m", self.target_distance_m, check),
            closest_focus: metres("closest_focus_m", self.closest_focus_m, check),
        }
    }
}

fn switch(field: &str, code: Option<&str>, check: &mut Check) -> Switch {
    let Some(code) = code else {
        return Switch::Unknown;
    };
    Switch::from_code(code).unwrap_or_else(|| {
        check.refuse(field, "give on, off or unknown");
        Switch::Unknown
    })
}

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

#[cfg(test)]
mod tests {
    use super::*;

    fn lens(pairs: &[(&str, &str)]) -> (Option<LensDraft>, Vec<FieldError>) {
        let mut typed: Typed = [
            ("maker", "Ostrel"),
            ("model", "Tern 50"),
            ("mount", "Harrow lock"),
            ("kind", "prime"),
            ("focal_min_mm", "50"),
            ("max_aperture", "1,8"),
        ]
        .into_iter()
        .map(|(name, value)| (name.to_owned(), value.to_owned()))
        .collect();
        for (name, value) in pairs {
            typed.set(*name, *value);
        }
        let mut check = Check::default();
        let draft = LensInput::typed(&typed, &mut check).check(MARKED_CLOSEST_FOCUS, &mut check);
        (draft, check.errors)
    }

    #[test]
    fn a_prime_needs_one_focal_length_and_takes_a_decimal_comma() {
        let (draft, errors) = lens(&[]);
        assert_eq!(errors, []);
        let draft = draft.expect("nothing was wrong");
        assert_eq!(
            (draft.focal_min_mm, draft.focal_max_mm, draft.max_aperture),
            (50.0, 50.0, 1.8)
        );
    }

    #[test]
    fn absurd_fields_are_named_with_what_to_give() {
        for (field, value) in [
            ("maker", ""),
            ("maker", "a\u{202E}b"),
            ("model", "a\nb"),
            ("mount", &"x".repeat(81)),
            ("kind", "fisheye"),
            ("focal_min_mm", "-50"),
            ("focal_min_mm", "NaN"),
            ("focal_min_mm", "1e300"),
            ("focal_min_mm", "fifty"),
            ("focal_max_mm", "20"),
            ("max_aperture", "0"),
            ("marked_closest_focus_m", "-1"),
        ] {
            let (_, errors) = lens(&[(field, value)]);
            assert_eq!(errors.len(), 1, "{field}={value}: {errors:?}");
            assert_eq!(errors[0].field, field);
            assert!(errors[0].detail.len() > 10, "{errors:?}");
        }
    }

    #[test]
    fn conditions_default_to_unknown_and_refuse_other_words() {
        let mut check = Check::default();
        let said = ConditionsInput::default().check(&mut check);
        assert_eq!(said, Conditions::default());
        let odd = ConditionsInput {
            stabilisation: Some("maybe".into()),
            target_distance_m: Some(0.0),
            ..ConditionsInput::default()
        };
        odd.check(&mut check);
        let fields: Vec<_> = check.errors.iter().map(|error| &error.field).collect();
        assert_eq!(fields, ["stabilisation", "target_distance_m"]);
    }
}
