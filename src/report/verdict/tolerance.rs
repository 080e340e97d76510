//! Where a whole lens exceeds the tolerance, and from where on it holds.

use super::left_open::{MAY_STAY, Question, STAYS, Surely};
use super::{FocalVerdict, which, words};
use crate::sweep::ToleranceOutcome;

/// From where on a lens stays within the tolerance, over all its focal lengths.
pub(super) enum Reach {
    /// It never exceeds it.
    Everywhere,
    /// Beyond this distance, m; "about " where it is an estimate.
    Beyond {
        m: f64,
        about: &'static str,
        surely: Surely,
    },
    /// It exceeds it at every distance.
    AtInfinityOnly,
    /// Nobody knows.
    Unknown,
}

pub(super) fn reach(verdicts: &[FocalVerdict]) -> Reach {
    let mut farthest: Option<f64> = None;
    let mut always = false;
    for verdict in verdicts {
        match (verdict.outcome, verdict.outcome.distance_m()) {
            (ToleranceOutcome::Within, _) => {}
            (ToleranceOutcome::Unknown { .. }, _) => return Reach::Unknown,
            (ToleranceOutcome::Exceeded { .. }, Some(m)) => {
                farthest = Some(farthest.map_or(m.value, |known| known.max(m.value)));
            }
            (ToleranceOutcome::Exceeded { .. }, None) => always = true,
        }
    }
    let estimated = verdicts
        .iter()
        .any(|verdict| verdict.distances_estimated && verdict.outcome != ToleranceOutcome::Within);
    match farthest {
        _ if always => Reach::AtInfinityOnly,
        Some(m) => Reach::Beyond {
            m,
            about: about(estimated),
            surely: surely(verdicts, m),
        },
        None => Reach::Everywhere,
    }
}

/// From where on all of them surely hold the tolerance that they hold beyond a distance, m, as measured.
fn surely(verdicts: &[FocalVerdict], m: f64) -> Surely {
    let mut farthest: Option<(f64, String)> = None;
    for verdict in verdicts {
        match verdict.surely() {
            Surely::Nowhere => return Surely::Nowhere,
            Surely::AsMeasured => {}
            Surely::Beyond(words) => {
                let most = verdict.may_reach_m.unwrap_or(m);
                if most > farthest.as_ref().map_or(m, |(so_far, _)| *so_far) {
                    farthest = Some((most, words));
                }
            }
        }
    }
    match farthest {
        Some((_, most)) if most.trim_start_matches("about ") != words::distance_from(m) => {
            Surely::Beyond(most)
        }
        _ => Surely::AsMeasured,
    }
}

/// What stands before a distance that is an estimate.
pub(super) fn about(estimated: bool) -> &'static str {
    if estimated { "about " } else { "" }
}

/// Where the tolerance is exceeded, and from where on it holds.
pub(super) fn tolerance_sentence(verdicts: &[FocalVerdict]) -> String {
    let tolerance = words::plain_pct(
        verdicts
            .first()
            .map_or(2.0, |verdict| verdict.tolerance_pct),
    );
    let exceeds = exceeding(verdicts, &tolerance);
    match reach(verdicts) {
        Reach::Everywhere => {
            let open = verdicts.iter().any(|verdict| verdict.stays() != STAYS);
            let stays = if open { MAY_STAY } else { STAYS };
            format!("It {stays} within {tolerance} everywhere it was measured.")
        }
        Reach::Beyond { m, about, surely } => {
            let from = format!("{exceeds}; beyond {about}{}", words::distance_from(m));
            match surely {
                Surely::AsMeasured => {
                    format!("{from} it stays within {tolerance} everywhere it was measured.")
                }
                Surely::Beyond(most) => format!(
                    "{from} it may stay within {tolerance}, beyond {most} it does{}.",
                    as_far(verdicts)
                ),
                Surely::Nowhere => {
                    format!("{from} it may stay within {tolerance}{}.", as_far(verdicts))
                }
            }
        }
        Reach::AtInfinityOnly => format!("{exceeds}, at every distance but infinity."),
        Reach::Unknown => {
            format!("{exceeds}; from which distance on is not known for all of them.")
        }
    }
}

/// Where what holds beyond a distance ends, if one of them was not measured to infinity.
pub(super) fn as_far(verdicts: &[FocalVerdict]) -> &'static str {
    match verdicts.iter().any(|verdict| verdict.relative_to_farthest) {
        true => " as far as it was measured",
        false => "",
    }
}

/// Where the tolerance is exceeded, and where it may be.
fn exceeding(verdicts: &[FocalVerdict], tolerance: &str) -> String {
    let (open, surely): (Vec<FocalVerdict>, Vec<FocalVerdict>) = verdicts
        .iter()
        .filter(|verdict| verdict.outcome != ToleranceOutcome::Within)
        .partition(|verdict| verdict.question() == Some(Question::MayHold));
    let at = |these: &[FocalVerdict]| which(these, verdicts.len());
    match (surely.as_slice(), open.as_slice()) {
        (surely, []) => format!("It exceeds {tolerance} at {}", at(surely)),
        ([], open) => format!("It may exceed {tolerance} at {}", at(open)),
        (surely, open) => format!(
            "It exceeds {tolerance} at {} and may exceed it at {}",
            at(surely),
            at(open)
        ),
    }
}
