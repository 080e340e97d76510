//! What stands under the table of a lens of the bounds that no scatter shows, by focal length.

use crate::report::words;
use crate::web::api::FocalDocument;

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
             number less this and the number.",
            sizes(&known)
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

/// What the shifts lack where a reference is short of infinity and that is known, in words.
pub(super) fn shortfall(results: &[FocalDocument]) -> Option<String> {
    let known: Vec<(f64, String)> = results
        .iter()
        .filter_map(|focal| {
            let lacks = focal.reference_shortfall_pct?;
            let size = words::signed_pct(lacks);
            let size = size.trim_end_matches(" %");
            (size != "0.00").then(|| (focal.focal_length_mm, size.to_owned()))
        })
        .collect();
    (!known.is_empty()).then(|| {
        format!(
            "every shift lacks about so many percentage points, to be added with their sign: {}.",
            sizes(&known)
        )
    })
}
