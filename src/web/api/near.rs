//! The result at the focal length that is asked for, or near it. What is farther off is refused, never put in its place.

use super::documents::FocalDocument;
use crate::report::words;
use crate::store::NEAR_RATIO;
use crate::web::WebError;

/// The result nearest to a focal length, mm, by ratio; nothing of nothing.
///
/// # Errors
/// None is within [`NEAR_RATIO`] of it; the complaint lists what was measured.
pub(in crate::web) fn nearest(
    results: Vec<FocalDocument>,
    focal_mm: f64,
) -> Result<Vec<FocalDocument>, WebError> {
    let apart = |focal: &FocalDocument| (focal.focal_length_mm / focal_mm).ln().abs();
    let measured: Vec<f64> = results.iter().map(|focal| focal.focal_length_mm).collect();
    let found = results
        .into_iter()
        .min_by(|a, b| apart(a).total_cmp(&apart(b)));
    match found {
        Some(far) if apart(&far) > NEAR_RATIO.ln() => Err(not_near(focal_mm, measured)),
        found => Ok(found.into_iter().collect()),
    }
}

/// The results that are asked for: the one nearest to a focal length, or all of them where none is asked for.
pub(in crate::web) fn asked_for(
    results: Vec<FocalDocument>,
    focal_mm: Option<f64>,
) -> Result<Vec<FocalDocument>, WebError> {
    match focal_mm {
        Some(focal_mm) => nearest(results, focal_mm),
        None => Ok(results),
    }
}

/// The complaint that nothing was measured near a focal length, mm, with what was.
pub(super) fn not_near(focal_mm: f64, measured_mm: impl IntoIterator<Item = f64>) -> WebError {
    let mut measured: Vec<f64> = measured_mm.into_iter().collect();
    measured.sort_by(f64::total_cmp);
    measured.dedup();
    let each: Vec<String> = measured.into_iter().map(words::focal_length).collect();
    WebError::field(
        "focal_mm",
        format!(
            "nothing is measured near {}; measured are {}",
            words::focal_length(focal_mm),
            each.join(", ")
        ),
    )
}

impl FocalDocument {
    /// Its focal length in words beside another one that was asked for, mm; see [`nearest_words`].
    pub(in crate::web) fn at_nearest_to(&self, asked_mm: f64) -> Option<String> {
        nearest_words(self.focal_length_mm, asked_mm)
    }
}

/// "at 50 mm, the nearest measured to 60 mm"; `None` where it is the one that was asked for.
pub(super) fn nearest_words(focal_mm: f64, asked_mm: f64) -> Option<String> {
    let (focal, asked) = (words::focal_length(focal_mm), words::focal_length(asked_mm));
    let other = (focal_mm - asked_mm).abs() > 1e-9;
    other.then(|| format!("at {focal}, the nearest measured to {asked}"))
}
