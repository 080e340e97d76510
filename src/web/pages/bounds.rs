//! What stands under the table of a lens of the bounds that no scatter shows, by focal length.

use crate::report::words;
use crate::sweep::Part;
use crate::web::api::{FocalDocument, PullDocument, ScaleTableDocument};

/// Bound on what shifts lack that is worth a word, percentage points: shifts are shown to a fifth of this.
const WORTH_A_WORD_PCT: f64 = 0.05;

/// Focal lengths with the size of something, e.g. "0.47 at 85 mm, 3.51 at 135 mm".
fn sizes(known: &[(f64, String)]) -> String {
    let each: Vec<String> = known
        .iter()
        .map(|(focal, size)| format!("{size} at {}", words::focal_length(*focal)))
        .collect();
    each.join(", ")
}

/// How much of the worst shifts perspective may hold, in words; what is not known is said so. Where the explanation stood
/// on the page before, only sizes follow, or nothing.
pub(super) fn perspective(results: &[FocalDocument], is_explained: bool) -> Option<String> {
    let mut known = Vec::new();
    let mut unknown = Vec::new();
    for focal in results {
        match focal.perspective_bound_pct {
            Some(bound) => known.push((focal.focal_length_mm, format!("{bound:.2}"))),
            None => unknown.push(focal.at()),
        }
    }
    if is_explained {
        return (!known.is_empty()).then(|| format!("as above, {}.", sizes(&known)));
    }
    let mut text = if known.is_empty() {
        "part of a worst shift may be that the entrance pupil moves towards the targets while focusing, which looks like a \
         tighter picture."
            .to_owned()
    } else {
        format!(
            "up to so many percentage points of a worst shift may be that the entrance pupil moves towards the targets while \
             focusing, which looks like a tighter picture: {}. The ± does not hold it; the true shift lies between the \
             number less this and the number{}.",
            sizes(&known),
            match shortfall(results) {
                Some(_) => ", each with what it lacks short of infinity added",
                None => "",
            }
        )
    };
    if !unknown.is_empty() {
        let at = if known.is_empty() {
            String::new()
        } else {
            format!("at {} ", unknown.join(", "))
        };
        text.push_str(&format!(
            " How much {at}is not known, as the distance of the targets or the closest focus is not stated."
        ));
    }
    Some(text)
}

/// How much of the changes of focus pulls perspective may hold, in words; `None` where nothing is changed.
pub(super) fn perspective_of_pulls(pulls: &[PullDocument]) -> Option<String> {
    let answered = pulls.iter().filter(|pull| pull.outside.is_none());
    let mut known = Vec::new();
    let mut unknown = Vec::new();
    for pull in answered {
        match pull.perspective_bound_pct {
            Some(bound) => known.push((pull.focal_length_mm, format!("{:.2}", bound.abs()))),
            None => unknown.push(pull.at()),
        }
    }
    told(&known, &unknown, "percentage points")
}

/// By how much perspective may make the factors of counter-scale tables wrong, in words; `None` where there are none.
pub(super) fn perspective_of_scales(tables: &[ScaleTableDocument]) -> Option<String> {
    let mut known = Vec::new();
    let mut unknown = Vec::new();
    for table in tables.iter().filter(|table| !table.rows.is_empty()) {
        match table.perspective_pct() {
            Some(bound) => known.push((table.focal_length_mm, format!("{bound:.2}"))),
            None => unknown.push(table.at()),
        }
    }
    told(&known, &unknown, "%")
}

/// "up to 0.12 percentage points at 50 mm, 0.30 at 85 mm; how much at 135 mm is not known."
fn told(known: &[(f64, String)], unknown: &[String], unit: &str) -> Option<String> {
    let mut parts = Vec::new();
    if !known.is_empty() {
        let sizes = sizes(known);
        let (first, rest) = sizes.split_once(' ').unwrap_or((&sizes, ""));
        parts.push(format!("up to {first} {unit} {rest}"));
    }
    if !unknown.is_empty() {
        parts.push(format!("how much at {} is not known", unknown.join(", ")));
    }
    (!parts.is_empty()).then(|| format!("{}.", parts.join("; ")))
}

/// What the shifts may lack where blur alone says that the reference is at infinity, in words; `None` where that is hardly anything.
pub(super) fn assumed_infinity(results: &[FocalDocument]) -> Option<String> {
    let known = lacking(results, |focal| {
        let mut lines = focal.systematic.iter();
        let assumed = lines.find(|line| line.part == Part::AssumedInfinity.code())?;
        Some(assumed.pct).filter(|pct| pct.abs() >= WORTH_A_WORD_PCT)
    })?;
    Some(format!(
        "that the last frame is at infinity is taken from the blur or on trust, which leaves open whether every shift lacks so many \
         percentage points: {known}."
    ))
}

/// Bounds with words of their own under the table; the others are taken together.
const TOLD_APART: [Part; 3] = [
    Part::EntrancePupil,
    Part::AssumedInfinity,
    Part::ReferenceNotAtInfinity,
];

/// What else the pictures leave open of a worst shift, percentage points: the bounds without words of their own, one upon the
/// other; `None` where that is hardly anything.
pub(super) fn left_open_pct(focal: &FocalDocument) -> Option<f64> {
    let lines = focal.systematic.iter();
    let others = lines.filter(|line| TOLD_APART.iter().all(|part| part.code() != line.part));
    let pct: f64 = others.map(|line| line.pct.abs()).sum();
    (pct >= WORTH_A_WORD_PCT).then_some(pct)
}

/// The same of several focal lengths, in words.
pub(super) fn left_open(results: &[FocalDocument]) -> Option<String> {
    let known: Vec<(f64, String)> = results
        .iter()
        .filter_map(|focal| {
            Some((
                focal.focal_length_mm,
                format!("{:.2}", left_open_pct(focal)?),
            ))
        })
        .collect();
    (!known.is_empty()).then(|| {
        format!(
            "a worst shift may be off by up to so many percentage points more, to either side, by what the pictures can't \
             tell: {}. The ± does not hold it; the page of each sweep says what it is.",
            sizes(&known)
        )
    })
}

/// What the shifts lack where a reference is short of infinity and that is known, in words.
pub(super) fn shortfall(results: &[FocalDocument]) -> Option<String> {
    let known = lacking(results, |focal| focal.reference_shortfall_pct)?;
    Some(format!(
        "every shift lacks about so many percentage points, to be added with their sign: {known}."
    ))
}

/// What shifts lack by focal length, percentage points with their signs; `None` where it is none that is shown.
fn lacking(
    results: &[FocalDocument],
    lacks: impl Fn(&FocalDocument) -> Option<f64>,
) -> Option<String> {
    let known: Vec<(f64, String)> = results
        .iter()
        .filter_map(|focal| {
            let size = words::signed_pct(lacks(focal)?);
            let size = size.trim_end_matches(" %");
            (size != "0.00").then(|| (focal.focal_length_mm, size.to_owned()))
        })
        .collect();
    (!known.is_empty()).then(|| sizes(&known))
}
