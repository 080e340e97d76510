//! A lens as it was typed or sent.

use serde::Deserialize;

use super::{Check, Typed};
use crate::store::{Kind, LensDraft};
use crate::units::{F_NUMBERS, FOCAL_LENGTHS_MM, FOCUS_DISTANCES_M};

/// Most characters of a maker's, a model's or a mount's name.
const NAME_CHARACTERS: usize = 80;

/// A lens to be made, as it was sent.
#[derive(Debug, Default, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub(in crate::web) struct LensInput {
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
    /// Marked closest focus from the sensor plane, m; `null` takes back what was said.
    #[serde(deserialize_with = "said")]
    #[schema(value_type = Option<f64>)]
    closest_focus_m: Option<Option<f64>>,
}

/// A field that was sent, were it as `null`.
fn said<'de, D: serde::Deserializer<'de>>(sent: D) -> Result<Option<Option<f64>>, D::Error> {
    Option::deserialize(sent).map(Some)
}

/// Name of the lens's closest focus in the form, where the shoot has one too.
pub(in crate::web) const MARKED_CLOSEST_FOCUS: &str = "marked_closest_focus_m";

impl LensInput {
    /// From the fields of a form.
    pub(in crate::web) fn typed(typed: &Typed, check: &mut Check) -> Self {
        let closest_focus = check.distance(MARKED_CLOSEST_FOCUS, typed.get(MARKED_CLOSEST_FOCUS));
        let mut number = |field: &str| check.number(field, typed.get(field));
        Self {
            closest_focus_m: Some(closest_focus),
            focal_min_mm: number("focal_min_mm"),
            focal_max_mm: number("focal_max_mm"),
            max_aperture: number("max_aperture"),
            maker: typed.get("maker").to_owned(),
            model: typed.get("model").to_owned(),
            mount: typed.get("mount").to_owned(),
            kind: typed.get("kind").to_owned(),
        }
    }

    /// With what a known lens has where nothing is said.
    pub(in crate::web) fn over(self, known: &LensDraft) -> Self {
        let text = |said: String, known: &str| {
            if said.is_empty() {
                known.to_owned()
            } else {
                said
            }
        };
        Self {
            maker: text(self.maker, &known.maker),
            model: text(self.model, &known.model),
            mount: text(self.mount, &known.mount),
            kind: text(self.kind, known.kind.code()),
            focal_min_mm: self.focal_min_mm.or(Some(known.focal_min_mm)),
            focal_max_mm: self.focal_max_mm.or(Some(known.focal_max_mm)),
            max_aperture: self.max_aperture.or(Some(known.max_aperture)),
            closest_focus_m: self.closest_focus_m.or(Some(known.closest_focus_m)),
        }
    }

    /// The draft, or complaints; `closest_focus` is the name of that field.
    pub(in crate::web) fn check(self, closest_focus: &str, check: &mut Check) -> Option<LensDraft> {
        let maker = check.line("maker", &self.maker, NAME_CHARACTERS);
        let maker = check.required("maker", maker, "the name on the lens");
        let model = check.line("model", &self.model, NAME_CHARACTERS);
        let model = check.required("model", model, "what the maker calls it");
        let mount = check.line("mount", &self.mount, NAME_CHARACTERS);
        let mount = check.required("mount", mount, "what it fits on");
        let kind = Kind::from_code(&self.kind);
        let kind = check.required("kind", kind, "prime, zoom, macro, cine_prime or cine_zoom");
        let focal_min = check.within("focal_min_mm", self.focal_min_mm, &FOCAL_LENGTHS_MM, "mm");
        let focal_min = check.required("focal_min_mm", focal_min, "the marked one, mm");
        let focal_max = self.focal_max_mm.or(focal_min);
        let focal_max = check.within("focal_max_mm", focal_max, &FOCAL_LENGTHS_MM, "mm");
        if let (Some(min), Some(max)) = (focal_min, focal_max)
            && max < min
        {
            check.refuse(
                "focal_max_mm",
                format!("{max} is shorter than the shortest focal length, {min} mm"),
            );
        }
        let max_aperture = check.within("max_aperture", self.max_aperture, &F_NUMBERS, "");
        let max_aperture = check.required("max_aperture", max_aperture, "its smallest f-number");
        let closest = check.within(
            closest_focus,
            self.closest_focus_m.flatten(),
            &FOCUS_DISTANCES_M,
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::errors::FieldError;

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
            assert!((10..100).contains(&errors[0].detail.len()), "{errors:?}");
        }
    }
}
