//! The verdict on a lens in a few words.

use super::tolerance::{Reach, as_far, reach};
use super::{FocalVerdict, MAY_BE_LARGER, is_doubtful, perspective, ways};
use crate::report::{Coverage, words};

/// The verdict on a lens in a few words, for a row of a list; `None` where there is none. E.g. "Tighter; within 2 % beyond
/// 0.97 m (3.2 ft)"; it says so where it is not against infinity, where nearer frames gave no result, and which part of a zoom
/// was not measured.
#[must_use]
pub fn short_verdict(verdicts: &[FocalVerdict], coverage: &Coverage) -> Option<String> {
    let tolerance = words::plain_pct(verdicts.first()?.tolerance_pct);
    let part = coverage.words(verdicts.len());
    let part = part.map_or_else(String::new, |words| format!("; {words}"));
    if verdicts.iter().any(FocalVerdict::is_untold) {
        return Some(format!("Not measured well enough to tell{part}"));
    }
    let way = match ways(verdicts) {
        (true, true) => "Wider and tighter",
        (true, false) => "Tighter",
        (false, true) => "Wider",
        (false, false) if is_doubtful(verdicts) => "No direction to be told",
        (false, false) => "No change seen",
    };
    let open = perspective::in_question(verdicts);
    let holds = match reach(verdicts) {
        Reach::Everywhere => format!("within {tolerance} everywhere it was measured"),
        Reach::Beyond { m, about, most } => {
            // What is in question at all needs no second limit.
            let most = most.filter(|_| open.is_empty());
            let most = most.map_or_else(String::new, |most| {
                format!(
                    ", perhaps only beyond {about}{}",
                    words::distance_from(most)
                )
            });
            format!(
                "within {tolerance} beyond {about}{}{most}{}",
                words::distance_from(m),
                as_far(verdicts)
            )
        }
        Reach::AtInfinityOnly => format!("beyond {tolerance} at every distance"),
        Reach::Unknown => format!("beyond {tolerance}, from which distance on is not known"),
    };
    let farthest = verdicts
        .iter()
        .filter(|verdict| verdict.relative_to_farthest);
    let against = match farthest.count() {
        0 => String::new(),
        all if all == verdicts.len() => {
            format!("; against the farthest frame, not infinity: {MAY_BE_LARGER}")
        }
        _ => format!("; in part against the farthest frame, not infinity: {MAY_BE_LARGER}"),
    };
    let nearer = match verdicts
        .iter()
        .any(|verdict| verdict.measured_from.is_some())
    {
        true => "; not measured at its nearest, where it may shift more",
        false => "",
    };
    Some(format!("{way}; {holds}{open}{nearer}{against}{part}"))
}
