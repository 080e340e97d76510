//! What a chart that is taken away says of itself: how it was measured, what its numbers are against, where it is from.

use crate::store::ConditionsKey;
use crate::sweep::DistanceSource;
use crate::web::api::{FocalDocument, LICENCE, conditions_words};

/// What has to be said of one line of a chart.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::web) struct Noted {
    /// What the line is called.
    pub(in crate::web) label: String,
    /// Corrections in the camera.
    pub(in crate::web) conditions: ConditionsKey,
    /// f-number.
    pub(in crate::web) f_number: Option<f64>,
    /// Whether its shifts are against the farthest frame, not infinity.
    pub(in crate::web) against_farthest: bool,
    /// Where its distances come from.
    pub(in crate::web) distances: DistanceSource,
}

impl Noted {
    /// A line with this label.
    pub(super) fn new(label: String, focal: &FocalDocument) -> Self {
        Self {
            label,
            conditions: focal.result.conditions,
            f_number: focal.f_number,
            against_farthest: focal.relative_to == "farthest_frame",
            distances: focal.result.distance_source,
        }
    }
}

/// The notes of a chart with these lines: what they share is said once, the source comes last. `address` is where the
/// numbers are, `None` where they are not public.
pub(in crate::web) fn notes(lines: &[Noted], address: Option<&str>) -> Vec<String> {
    let mut notes = Vec::new();
    let each = |of: &dyn Fn(&Noted) -> String| {
        let mut told: Vec<(String, Vec<&str>)> = Vec::new();
        for line in lines {
            let words = of(line);
            match told.iter_mut().find(|(known, _)| *known == words) {
                Some((_, labels)) => labels.push(&line.label),
                None => told.push((words, vec![&line.label])),
            }
        }
        told
    };
    let conditions = each(&|line| conditions_words(line.conditions));
    let aperture = aperture(lines);
    match &conditions[..] {
        [] => {}
        [(words, _)] => notes.push(sentence(&format!("{words}, {aperture}"))),
        several => {
            notes.extend(
                several
                    .iter()
                    .map(|(words, labels)| format!("{}: {words}.", labels.join(", "))),
            );
            notes.push(sentence(&aperture));
        }
    }
    let against = |line: &Noted| line.against_farthest;
    let words = "against the farthest frame, not infinity: the true figures may be larger";
    notes.extend(about(lines, against, words));
    let estimated = |line: &Noted| line.distances == DistanceSource::Blur;
    notes.extend(about(
        lines,
        estimated,
        "distances are estimated from the blur of the targets",
    ));
    notes.push(match address {
        Some(address) => format!(
            "Breathmark · {} · {}",
            without_scheme(address),
            LICENCE.replace(' ', "\u{a0}")
        ),
        None => "Breathmark · a draft, not published".to_owned(),
    });
    notes
}

/// A note about the lines that something holds for: without naming them where it holds for all, `None` where for none.
fn about(lines: &[Noted], holds: impl Fn(&Noted) -> bool, words: &str) -> Option<String> {
    let labels: Vec<&str> = lines
        .iter()
        .filter(|line| holds(line))
        .map(|line| line.label.as_str())
        .collect();
    match labels.len() {
        0 => None,
        all if all == lines.len() => Some(sentence(words)),
        _ => Some(format!("{}: {words}.", labels.join(", "))),
    }
}

/// The apertures in words.
fn aperture(lines: &[Noted]) -> String {
    let mut stops: Vec<f64> = lines.iter().filter_map(|line| line.f_number).collect();
    stops.sort_by(f64::total_cmp);
    let known = match (stops.first(), stops.last()) {
        (Some(low), Some(high)) if low < high => format!("f/{low}\u{a0}to\u{a0}f/{high}"),
        (Some(stop), _) => format!("f/{stop}"),
        _ => return "aperture not stated".to_owned(),
    };
    if stops.len() < lines.len() {
        format!("{known}, in part not stated")
    } else {
        known
    }
}

/// The words with a capital and a full stop.
fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().map(|first| {
        if words.starts_with("f/") {
            first.to_string()
        } else {
            first.to_uppercase().to_string()
        }
    });
    format!("{}{}.", first.unwrap_or_default(), letters.as_str())
}

fn without_scheme(address: &str) -> &str {
    address.split_once("://").map_or(address, |(_, rest)| rest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::Switch;

    fn line(label: &str) -> Noted {
        Noted {
            label: label.to_owned(),
            conditions: ConditionsKey {
                distortion_correction: Switch::On,
                breathing_compensation: Switch::Off,
            },
            f_number: Some(8.0),
            against_farthest: false,
            distances: DistanceSource::Exif,
        }
    }

    #[test]
    fn what_all_lines_share_is_said_once() {
        let told = notes(
            &[line("28 mm"), line("50 mm")],
            Some("https://lens.example/lenses/x"),
        );
        assert_eq!(
            told,
            [
                "Distortion correction on, breathing compensation off, f/8.",
                "Breathmark · lens.example/lenses/x · CC\u{a0}BY\u{a0}4.0",
            ]
        );
    }

    #[test]
    fn what_holds_for_some_lines_names_them() {
        let mut short = line("28 mm");
        short.against_farthest = true;
        short.distances = DistanceSource::Blur;
        short.f_number = None;
        let mut other = line("85 mm");
        other.conditions.breathing_compensation = Switch::On;
        other.f_number = Some(5.6);
        let told = notes(&[short.clone(), line("50 mm"), other], None);
        assert_eq!(
            told,
            [
                "28 mm, 50 mm: distortion correction on, breathing compensation off.",
                "85 mm: distortion correction on, breathing compensation on.",
                "f/5.6\u{a0}to\u{a0}f/8, in part not stated.",
                "28 mm: against the farthest frame, not infinity: the true figures may be larger.",
                "28 mm: distances are estimated from the blur of the targets.",
                "Breathmark · a draft, not published",
            ]
        );
        let alone = notes(&[short], None);
        assert_eq!(
            alone[0],
            "Distortion correction on, breathing compensation off, aperture not stated."
        );
        assert_eq!(
            alone[1],
            "Against the farthest frame, not infinity: the true figures may be larger."
        );
    }
}
