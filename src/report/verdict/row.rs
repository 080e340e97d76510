//! The verdict on a lens in a few words.

use super::left_open::{Surely, whole};
use super::tolerance::{Reach, as_far, reach};
use super::{FocalVerdict, Way, ways};
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
        (false, false) if verdicts.iter().any(|verdict| verdict.way() == Way::Untold) => {
            "No direction to be told"
        }
        (false, false) => "No change seen",
    };
    let open = whole::in_question(verdicts);
    let holds = match reach(verdicts) {
        Reach::Everywhere => {
            let perhaps = if open.is_empty() { "" } else { "perhaps " };
            format!("{perhaps}within {tolerance} everywhere it was measured")
        }
        Reach::Beyond { m, about, surely } => {
            // What is in question at all needs no second limit.
            let (perhaps, most) = match surely {
                Surely::Beyond(most) if open.is_empty() => {
                    ("", format!(", perhaps only beyond {most}"))
                }
                Surely::Nowhere => ("perhaps ", String::new()),
                _ => ("", String::new()),
            };
            format!(
                "{perhaps}within {tolerance} beyond {about}{}{most}{}",
                words::distance_from(m),
                as_far(verdicts)
            )
        }
        Reach::AtInfinityOnly => format!("beyond {tolerance} at every distance"),
        Reach::Unknown => format!("beyond {tolerance}, from which distance on is not known"),
    };
    let against = whole::against_farthest(verdicts);
    let mut from = verdicts.iter().filter_map(|verdict| verdict.measured_from);
    let nearer = match from.next() {
        Some(first) if first.is_missing() || from.any(|from| from.is_missing()) => {
            "; not measured at its nearest, where it may shift more"
        }
        Some(_) => "; not measured as near at every focal length",
        None => "",
    };
    Some(format!("{way}; {holds}{open}{nearer}{against}{part}"))
}
