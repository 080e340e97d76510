//! What was noticed of several sweeps, as findings of the result that they come to together.

use crate::store::SweepId;
use crate::sweep::{Code, DistanceSource, Finding};

/// A sweep with where its distances come from and what was noticed of it.
pub(super) type OfSweep = (SweepId, DistanceSource, Vec<Finding>);

/// The findings of these sweeps, each once, with the sweeps that it is of named where there are several: what one of them lacks
/// is said of it alone. `shown` is where the distances of the result come from.
pub(super) fn of_repeats(sweeps: Vec<OfSweep>, shown: DistanceSource) -> Vec<Finding> {
    let several = sweeps.len() > 1;
    let mut found: Vec<(Finding, Vec<SweepId>)> = Vec::new();
    for (sweep, own, findings) in sweeps {
        for finding in findings {
            let finding = match finding.code {
                Code::DistanceUnknown
                    if own == DistanceSource::None && shown != DistanceSource::None =>
                {
                    without_distances(finding)
                }
                _ => finding,
            };
            match found.iter_mut().find(|(known, _)| *known == finding) {
                Some((_, sweeps)) if !sweeps.contains(&sweep) => sweeps.push(sweep),
                Some(_) => {}
                None => found.push((finding, vec![sweep])),
            }
        }
    }
    found
        .into_iter()
        .map(|(finding, sweeps)| match several {
            true => Finding {
                message: format!("{}: {}", named(&sweeps), finding.message),
                ..finding
            },
            false => finding,
        })
        .collect()
}

/// What is said of a sweep without distances whose repeats have some: the result has a tolerance distance all the same.
fn without_distances(finding: Finding) -> Finding {
    Finding {
        message: "No focus distances are known of it; those of its repeats stand for it, and the shift itself is not affected. \
                  Give distances for some of its frames to have it count in them, too."
            .to_owned(),
        ..finding
    }
}

/// "Sweep 45", "Sweeps 44 and 45".
fn named(sweeps: &[SweepId]) -> String {
    let names: Vec<String> = sweeps.iter().map(SweepId::to_string).collect();
    match names.split_last() {
        Some((last, [])) => format!("Sweep {last}"),
        Some((last, rest)) => format!("Sweeps {} and {last}", rest.join(", ")),
        None => "A sweep".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::Severity;

    fn finding(code: Code, message: &str) -> Finding {
        Finding {
            code,
            severity: Severity::Note,
            message: message.to_owned(),
            files: Vec::new(),
        }
    }

    #[test]
    fn what_was_noticed_is_said_of_the_sweeps_that_it_is_of() {
        let unknown = || {
            finding(
                Code::DistanceUnknown,
                "No focus distances are known, so there is no tolerance distance.",
            )
        };
        let missing = |which: &str| finding(Code::FrameMissing, which);
        let (exif, none) = (DistanceSource::Exif, DistanceSource::None);
        let messages = |sweeps: Vec<OfSweep>, shown| -> Vec<String> {
            let found = of_repeats(sweeps, shown);
            found.into_iter().map(|finding| finding.message).collect()
        };
        // One sweep needs no name, and lacks what it lacks.
        assert_eq!(
            messages(vec![(45, none, vec![unknown()])], none),
            [unknown().message]
        );
        let told = messages(
            vec![
                (44, exif, vec![missing("Frame 7 is missing.")]),
                (45, none, vec![unknown(), missing("Frame 7 is missing.")]),
                (46, exif, vec![missing("Frame 9 is missing.")]),
            ],
            exif,
        );
        assert_eq!(told[0], "Sweeps 44 and 45: Frame 7 is missing.");
        assert!(
            told[1]
                .starts_with("Sweep 45: No focus distances are known of it; those of its repeats")
        );
        assert!(!told[1].contains("no tolerance distance"), "{}", told[1]);
        assert_eq!(told[2], "Sweep 46: Frame 9 is missing.");
        // Where none has any, there is none.
        let told = messages(
            vec![(44, none, vec![unknown()]), (45, none, vec![unknown()])],
            none,
        );
        assert_eq!(told, [format!("Sweeps 44 and 45: {}", unknown().message)]);
    }
}
