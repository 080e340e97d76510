//! What is said of results in sentences.

use super::documents::{FocalDocument, LensHead};
use crate::report::{
    Coverage, FocalVerdict, MeasuredFrom, OtherWay, lens_verdict, short_verdict, words,
};
use crate::store::FocalResult;
use crate::sweep::{
    DistanceSource, LeftOpen, NearEnd, Part, Perspective, ToleranceOutcome, Unseen, farthest_m,
};

/// What a sentence needs of a result.
pub(super) fn verdict_of(
    result: &FocalResult,
    outcome: ToleranceOutcome,
    tolerance_pct: f64,
    near: NearEnd,
) -> FocalVerdict {
    let shortfall_pct = result.bound_pct(Part::ReferenceNotAtInfinity);
    let unseen = Unseen::of(&result.systematic);
    let open = LeftOpen::new(perspective_of(result), shortfall_pct, unseen);
    FocalVerdict {
        focal_length_mm: Some(result.focal_length_mm),
        worst_shift_pct: result.worst_shift_pct,
        perspective_pct: result.bound_pct(Part::EntrancePupil),
        shortfall_pct,
        unseen_pct: unseen.at_worst_pct(),
        may_reach_m: open.may_reach_m(&result.curve, tolerance_pct),
        other_way: OtherWay::of(&result.curve, result.worst_shift_pct),
        measured_from: MeasuredFrom::of(&result.curve, near),
        outcome,
        tolerance_pct,
        relative_to_farthest: result.relative_to_farthest,
        measured_to_m: farthest_m(&result.curve),
        distances_estimated: result.distance_source == DistanceSource::Blur,
        repeats_disagree: result.repeats_disagree,
    }
}

/// What perspective leaves open of a result; `None` where that is not known.
pub(super) fn perspective_of(result: &FocalResult) -> Option<Perspective> {
    let bound = result.bound_pct(Part::EntrancePupil);
    Perspective::of(bound, result.focal_length_mm, result.closest_focus_m)
}

/// Which part of a lens these results leave out; nothing where they are not meant to stand for all of it.
pub(in crate::web) fn coverage(results: &[FocalDocument], of: Option<&LensHead>) -> Coverage {
    let measured = results.iter().map(|focal| focal.focal_length_mm);
    of.map_or_else(Coverage::default, |lens| {
        Coverage::of((lens.focal_min_mm, lens.focal_max_mm), measured)
    })
}

/// What is said of these results, and that repeats disagree where they do.
fn said_of(
    results: &[FocalDocument],
    of: Option<&LensHead>,
    say: fn(&[FocalVerdict], &Coverage) -> Option<String>,
) -> Option<String> {
    let verdicts: Vec<FocalVerdict> = results
        .iter()
        .map(|focal| {
            let (outcome, tolerance_pct) = (focal.outcome, focal.tolerance_pct);
            verdict_of(&focal.result, outcome, tolerance_pct, focal.near)
        })
        .collect();
    let disagree = results.iter().any(|focal| focal.repeats_disagree);
    say(&verdicts, &coverage(results, of))
        .map(|verdict| words::with_disagreement(verdict, disagree))
}

/// One or two sentences on these results together, and which part of the lens they leave out where they stand for all of it;
/// `None` where there are none.
pub(in crate::web) fn verdict(results: &[FocalDocument], of: Option<&LensHead>) -> Option<String> {
    said_of(results, of, lens_verdict)
}

/// What [`verdict`] says, in a few words.
pub(in crate::web) fn brief_verdict(
    results: &[FocalDocument],
    of: Option<&LensHead>,
) -> Option<String> {
    said_of(results, of, short_verdict)
}
