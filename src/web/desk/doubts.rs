//! What speaks against a sweep being what it is said to be: another lens in its files, a focal length that the lens does
//! not have, pictures that came before.

use std::collections::BTreeSet;

use crate::report::words;
use crate::store::{Lens, Store, Sweep, SweepId};
use crate::web::WebError;
use crate::web::session::Viewer;

/// How far a focal length in a file may lie outside the marked range: files round to whole millimetres, and marked focal
/// lengths may be off by 5 %.
const FOCAL_SLACK: f64 = 0.05;

/// The doubts about a sweep, each with what to do about it.
pub(super) async fn doubts(
    store: &Store,
    viewer: &Viewer,
    sweep: &Sweep,
) -> Result<Vec<String>, WebError> {
    let mut doubts = Vec::new();
    if let Some(result) = &sweep.result {
        let measurement = &result.measurement;
        if let Some(name) = measurement.lens.as_deref() {
            let known = store.lens_called(name).await?;
            doubts.extend(other_lens(&sweep.lens, name, known.as_ref()));
        }
        let focal_mm = measurement.focal_length.map(|focal| focal.mm());
        doubts.extend(focal_mm.and_then(|focal_mm| outside_range(&sweep.lens, focal_mm)));
    }
    let same: Vec<SweepId> = store
        .sweeps_with_same_pictures(sweep.id)
        .await?
        .into_iter()
        .filter(|other| other.is_public || viewer.may_work_on(other.account))
        .map(|other| other.id)
        .collect();
    doubts.extend(same_pictures(&same));
    Ok(doubts)
}

/// A doubt where the files name a lens that is known to be another, or whose name shares no word with the chosen one.
fn other_lens(chosen: &Lens, name: &str, known: Option<&Lens>) -> Option<String> {
    let mend = "If that is right, file the sweep under that lens; if only the name is odd, publish it as it is.";
    match known {
        Some(known) if known.id == chosen.id => None,
        Some(known) => Some(format!(
            "The files name the lens “{name}”, which so far was {}, but this sweep is filed under {}. {mend}",
            known.about.name(),
            chosen.about.name()
        )),
        None if shares_a_word(&chosen.about.name(), name) => None,
        None => Some(format!(
            "The files name the lens “{name}”, and no word of that is in {}. {mend}",
            chosen.about.name()
        )),
    }
}

fn shares_a_word(one: &str, other: &str) -> bool {
    let (one, other) = (name_words(one), name_words(other));
    other.is_empty() || one.intersection(&other).next().is_some()
}

/// The words of a name that tell lenses apart: at least three letters or digits, in lower case.
fn name_words(name: &str) -> BTreeSet<String> {
    name.to_lowercase()
        .split(|character: char| !character.is_alphanumeric())
        .filter(|word| word.chars().count() >= 3)
        .map(str::to_owned)
        .collect()
}

fn outside_range(lens: &Lens, focal_mm: f64) -> Option<String> {
    let (shortest, longest) = (lens.about.focal_min_mm, lens.about.focal_max_mm);
    let fits = (shortest * (1.0 - FOCAL_SLACK)..=longest * (1.0 + FOCAL_SLACK)).contains(&focal_mm);
    let range = if longest > shortest {
        format!(
            "{} to {}",
            words::focal_length(shortest),
            words::focal_length(longest)
        )
    } else {
        words::focal_length(shortest)
    };
    (!fits).then(|| {
        format!(
            "The focal length is {}, and {} has {range}. Correct the marked focal length of the sweep, or the lens.",
            words::focal_length(focal_mm),
            lens.about.name()
        )
    })
}

fn same_pictures(others: &[SweepId]) -> Option<String> {
    let named: Vec<String> = others.iter().map(|id| format!("sweep {id}")).collect();
    (!named.is_empty()).then(|| {
        format!(
            "It holds the same pictures, byte for byte, as {}. Only one of them counts in the record of the lens: pictures \
             sent twice are no repeat.",
            named.join(", ")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::{Kind, LensDraft};

    fn lens(id: i64, model: &str, focal: (f64, f64)) -> Lens {
        Lens {
            id,
            slug: format!("lens-{id}"),
            about: LensDraft {
                maker: "Ostrel".to_owned(),
                model: model.to_owned(),
                mount: "Harrow lock".to_owned(),
                kind: Kind::Zoom,
                focal_min_mm: focal.0,
                focal_max_mm: focal.1,
                max_aperture: 4.0,
                closest_focus_m: None,
            },
            created_ms: 0,
        }
    }

    #[test]
    fn names_are_doubted_only_with_reason() {
        let chosen = lens(1, "Deep 24-105 f/4", (24.0, 105.0));
        let other = lens(2, "Tern 50", (50.0, 50.0));
        for (name, known, doubted) in [
            ("OSTREL 24-105mm F4", None, false),
            ("Deep 24-105", None, false),
            ("50", None, false),
            ("Tindra Sound 85", None, true),
            ("Tindra Sound 85", Some(&chosen), false),
            ("Ostrel Tern", Some(&other), true),
        ] {
            assert_eq!(
                other_lens(&chosen, name, known).is_some(),
                doubted,
                "{name}"
            );
        }
    }

    #[test]
    fn a_focal_length_that_the_lens_has_not_is_doubted() {
        let zoom = lens(1, "Deep", (24.0, 105.0));
        for (focal_mm, doubted) in [(23.0, false), (110.0, false), (22.0, true), (135.0, true)] {
            assert_eq!(
                outside_range(&zoom, focal_mm).is_some(),
                doubted,
                "{focal_mm}"
            );
        }
    }
}
