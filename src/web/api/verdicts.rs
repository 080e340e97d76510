//! What is said of results in sentences.

use super::documents::FocalDocument;
use crate::report::{FocalVerdict, OtherWay, lens_verdict, short_verdict, words};
use crate::store::FocalResult;
use crate::sweep::{DistanceSource, Part, ToleranceOutcome};

/// What a sentence needs of a result.
pub(super) fn verdict_of(
    result: &FocalResult,
    outcome: ToleranceOutcome,
    tolerance_pct: f64,
) -> FocalVerdict {
    FocalVerdict {
        focal_length_mm: Some(result.focal_length_mm),
        worst_shift_pct: result.worst_shift_pct,
        perspective_pct: result.bound_pct(Part::EntrancePupil),
        other_way: OtherWay::of(&result.curve, result.worst_shift_pct),
        outcome,
        tolerance_pct,
        relative_to_farthest: result.ends_before_infinity(),
        distances_estimated: result.distance_source == DistanceSource::Blur,
    }
}

/// What is said of these results, and that repeats disagree where they do.
fn said_of(
    results: &[FocalDocument],
    say: fn(&[FocalVerdict]) -> Option<String>,
) -> Option<String> {
    let verdicts: Vec<FocalVerdict> = results
        .iter()
        .map(|focal| verdict_of(&focal.result, focal.outcome, focal.tolerance_pct))
        .collect();
    let disagree = results.iter().any(|focal| focal.repeats_disagree);
    say(&verdicts).map(|verdict| words::with_disagreement(verdict, disagree))
}

/// One or two sentences on these results together; `None` where there are none.
pub(in crate::web) fn verdict(results: &[FocalDocument]) -> Option<String> {
    said_of(results, lens_verdict)
}

/// What [`verdict`] says, in a few words.
pub(in crate::web) fn brief_verdict(results: &[FocalDocument]) -> Option<String> {
    said_of(results, short_verdict)
}
