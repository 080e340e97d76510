//! What becomes of the focal lengths of a row of the ranking, and what is said of them.

use super::documents::relative_to;
use super::ranked::StripDocument;
use crate::report::{FocalVerdict, MeasuredFrom, OtherWay, words};
use crate::store::RankedResult;
use crate::sweep::{NearEnd, ToleranceOutcome, farthest_m};

/// A verdict that holds for one focal length of several, mm: "At 50 mm tighter; within 2 % everywhere it was measured".
pub(super) fn at_focal_length(focal_mm: f64, verdict: &str) -> String {
    let mut letters = verdict.chars();
    let first: String = letters
        .next()
        .into_iter()
        .flat_map(char::to_lowercase)
        .collect();
    format!(
        "At {} {first}{}",
        words::focal_length(focal_mm),
        letters.as_str()
    )
}

/// A result with its outcome at a tolerance.
pub(super) fn judged(
    result: &RankedResult,
    tolerance_pct: f64,
) -> (&RankedResult, ToleranceOutcome) {
    (result, result.curve.tolerance_outcome(tolerance_pct))
}

/// Every focal length of a lens at a tolerance.
pub(super) fn strips(
    results: &[RankedResult],
    tolerance_pct: f64,
    near: NearEnd,
) -> Vec<StripDocument> {
    let judged: Vec<_> = results.iter().map(|r| judged(r, tolerance_pct)).collect();
    let said = verdicts(&judged, tolerance_pct, near);
    judged
        .iter()
        .zip(said)
        .map(|((result, outcome), said)| StripDocument {
            focal_length_mm: result.focal_length_mm,
            worst_shift_pct: result.worst_shift_pct.value,
            worst_shift_u_pct: result.worst_shift_pct.std_error,
            tolerance_outcome: outcome.code(),
            tolerance_distance_m: outcome.distance_m().map(|distance| distance.value),
            tolerance_distance_most_m: said.may_reach_m.filter(|most| most.is_finite()),
            tolerance_doubt: said.doubt(),
            relative_to: relative_to(result.relative_to_farthest),
            perspective_bound_pct: result.perspective_pct,
        })
        .collect()
}

/// The farthest distance at which one of them may exceed the tolerance, m, where that is farther than what was measured.
pub(super) fn most_of(said: &[FocalVerdict], measured_m: Option<f64>) -> Option<f64> {
    let most = said.iter().filter_map(|verdict| verdict.may_reach_m);
    let most = most
        .max_by(f64::total_cmp)
        .filter(|most| most.is_finite())?;
    measured_m
        .is_none_or(|measured| most > measured)
        .then_some(most)
}

/// Why it is open whether the tolerance is exceeded: where none exceeds it, the first doubt; where some do, only if all of
/// those are in doubt.
pub(super) fn doubt_of(said: &[FocalVerdict]) -> Option<&'static str> {
    let exceeds = |verdict: &&FocalVerdict| verdict.outcome != ToleranceOutcome::Within;
    let surely = |verdict: &FocalVerdict| verdict.doubt().is_none();
    if said.iter().filter(exceeds).any(surely) {
        return None;
    }
    said.iter().find_map(FocalVerdict::doubt)
}

/// The result whose shift is of largest magnitude.
pub(super) fn worst_of(results: &[RankedResult]) -> Option<&RankedResult> {
    let size = |result: &RankedResult| result.worst_shift_pct.value.abs();
    results.iter().max_by(|a, b| size(a).total_cmp(&size(b)))
}

/// What the verdict in a few words needs of each focal length.
pub(super) fn verdicts(
    judged: &[(&RankedResult, ToleranceOutcome)],
    tolerance_pct: f64,
    near: NearEnd,
) -> Vec<FocalVerdict> {
    judged
        .iter()
        .map(|(result, outcome)| FocalVerdict {
            focal_length_mm: Some(result.focal_length_mm),
            worst_shift_pct: result.worst_shift_pct,
            perspective_pct: result.perspective_pct,
            shortfall_pct: result.shortfall_pct,
            unseen_pct: result.unseen.at_worst_pct(),
            may_reach_m: result.left_open().may_reach_m(&result.curve, tolerance_pct),
            other_way: OtherWay::of(&result.curve, result.worst_shift_pct),
            measured_from: MeasuredFrom::of(&result.curve, near),
            outcome: *outcome,
            tolerance_pct,
            relative_to_farthest: result.relative_to_farthest,
            measured_to_m: farthest_m(&result.curve),
            distances_estimated: result.estimated,
            repeats_disagree: result.repeats_disagree,
        })
        .collect()
}
