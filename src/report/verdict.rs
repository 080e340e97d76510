//! Sentences made from the numbers: one for a focal length, one or two for a whole lens.

use super::words;
use crate::sweep::{Direction, ToleranceOutcome};
use crate::units::Measured;

/// What one focal length of a lens does, as far as a sentence needs it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FocalVerdict {
    /// Marked focal length, mm; `None` where it is not known.
    pub focal_length_mm: Option<f64>,
    /// Shift of largest magnitude, per cent.
    pub worst_shift_pct: Measured,
    /// What becomes of it at the tolerance.
    pub outcome: ToleranceOutcome,
    /// Tolerance, per cent.
    pub tolerance_pct: f64,
    /// Shifts are relative to the farthest frame, not to infinity.
    pub relative_to_farthest: bool,
    /// The distances are estimated from blur.
    pub distances_estimated: bool,
}

impl FocalVerdict {
    /// A plain sentence to read out, e.g. "At 85 mm the picture gets tighter by 2.05 % when focused close, so it
    /// frames like 86.7 mm; beyond 0.461 m (1.5 ft) the shift stays within 2 %."
    #[must_use]
    pub fn sentence(&self) -> String {
        let place = self.focal_length_mm.map_or_else(
            || "The picture".to_owned(),
            |focal| format!("At {} the picture", words::focal_length(focal)),
        );
        let against = if self.relative_to_farthest {
            " against the farthest frame"
        } else {
            ""
        };
        let direction = Direction::of(self.worst_shift_pct);
        let change = match direction {
            Direction::None => format!(
                "{place} holds its framing: no change of scale{against} beyond {} % could be measured",
                words::expanded(self.worst_shift_pct.std_error)
            ),
            Direction::Tighter | Direction::Wider => {
                let like = self.focal_length_mm.map_or_else(String::new, |focal| {
                    let equivalent = focal * (1.0 + self.worst_shift_pct.value / 100.0);
                    format!(
                        " and frames like {}",
                        words::equivalent_focal_length(equivalent)
                    )
                });
                format!(
                    "{place} gets {} by {:.2} %{against} at its worst{like}",
                    words::direction(direction),
                    self.worst_shift_pct.value.abs()
                )
            }
        };
        format!("{change}; {}.", self.tolerance_clause())
    }

    fn tolerance_clause(&self) -> String {
        let tolerance = words::plain_pct(self.tolerance_pct);
        match (self.outcome, self.outcome.distance_m()) {
            (ToleranceOutcome::Within, _) => {
                format!("it stays within {tolerance} everywhere it was measured")
            }
            (ToleranceOutcome::Unknown { .. }, _) => {
                format!("it exceeds {tolerance}, from which distance on is not known")
            }
            (ToleranceOutcome::Exceeded { .. }, Some(distance)) => format!(
                "beyond {}{} it stays within {tolerance}",
                if self.distances_estimated {
                    "about "
                } else {
                    ""
                },
                words::distance(distance.value)
            ),
            (ToleranceOutcome::Exceeded { .. }, None) => {
                format!("it exceeds {tolerance} at every distance but infinity")
            }
        }
    }
}

/// One or two sentences on a whole lens from the verdicts of its focal lengths; `None` where there is none.
///
/// All verdicts hold for one tolerance. The sentences say direction, size and distance only as far as every focal
/// length that they speak of bears them out.
#[must_use]
pub fn lens_verdict(verdicts: &[FocalVerdict]) -> Option<String> {
    let worst = verdicts.iter().max_by(|a, b| {
        a.worst_shift_pct
            .value
            .abs()
            .total_cmp(&b.worst_shift_pct.value.abs())
    })?;
    if verdicts.len() == 1 {
        return Some(worst.sentence());
    }
    let directions: Vec<Direction> = verdicts
        .iter()
        .map(|verdict| Direction::of(verdict.worst_shift_pct))
        .collect();
    let seen = |direction| directions.contains(&direction);
    let at = worst.focal_length_mm.map_or_else(String::new, |focal| {
        format!(", at {}", words::focal_length(focal))
    });
    let size = format!("{:.2} %{at}", worst.worst_shift_pct.value.abs());
    let first = match (seen(Direction::Tighter), seen(Direction::Wider)) {
        (true, true) => format!(
            "It gets wider at some focal lengths and tighter at others, at most by {size} ({}).",
            words::direction(Direction::of(worst.worst_shift_pct))
        ),
        (true, false) => format!("It gets tighter when focused closer, at most by {size}."),
        (false, true) => format!("It gets wider when focused closer, at most by {size}."),
        (false, false) => {
            "It holds its framing at every focal length that was measured.".to_owned()
        }
    };
    Some(format!("{first} {}", tolerance_sentence(verdicts)))
}

fn tolerance_sentence(verdicts: &[FocalVerdict]) -> String {
    let tolerance = words::plain_pct(
        verdicts
            .first()
            .map_or(2.0, |verdict| verdict.tolerance_pct),
    );
    let outside: Vec<&FocalVerdict> = verdicts
        .iter()
        .filter(|verdict| verdict.outcome != ToleranceOutcome::Within)
        .collect();
    if outside.is_empty() {
        return format!("It stays within {tolerance} everywhere it was measured.");
    }
    let distances: Option<Vec<f64>> = outside
        .iter()
        .map(|verdict| verdict.outcome.distance_m().map(|m| m.value))
        .collect();
    let which = if outside.len() == verdicts.len() {
        "every focal length measured".to_owned()
    } else {
        list(
            &outside
                .iter()
                .filter_map(|verdict| verdict.focal_length_mm)
                .collect::<Vec<_>>(),
        )
    };
    match distances {
        Some(distances) => {
            let farthest = distances.into_iter().fold(0.0, f64::max);
            let about = if outside.iter().any(|verdict| verdict.distances_estimated) {
                "about "
            } else {
                ""
            };
            format!(
                "It exceeds {tolerance} at {which}; beyond {about}{} it stays within {tolerance} everywhere.",
                words::distance(farthest)
            )
        }
        None => {
            format!(
                "It exceeds {tolerance} at {which}; from which distance on is not known for all of them."
            )
        }
    }
}

/// Focal lengths as a list, e.g. `100 and 135 mm`.
fn list(focal_lengths_mm: &[f64]) -> String {
    let names: Vec<String> = focal_lengths_mm
        .iter()
        .map(|focal| {
            words::focal_length(*focal)
                .trim_end_matches(" mm")
                .to_owned()
        })
        .collect();
    match names.split_last() {
        None => "some focal lengths".to_owned(),
        Some((last, [])) => format!("{last} mm"),
        Some((last, rest)) => format!("{} and {last} mm", rest.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn verdict(focal_mm: f64, shift_pct: f64, outcome: ToleranceOutcome) -> FocalVerdict {
        FocalVerdict {
            focal_length_mm: Some(focal_mm),
            worst_shift_pct: Measured::new(shift_pct, 0.01),
            outcome,
            tolerance_pct: 2.0,
            relative_to_farthest: false,
            distances_estimated: false,
        }
    }

    fn exceeded(dioptres: f64) -> ToleranceOutcome {
        ToleranceOutcome::Exceeded {
            dioptres: Measured::new(dioptres, 0.01),
            travel: 0.3,
        }
    }

    /// 85 mm at +2.0 % frames like 86.7 mm, 105 mm at +3.8 % like 109 mm (common practice, no source).
    #[test]
    fn a_focal_length_in_one_sentence() {
        assert_eq!(
            verdict(85.0, 2.05, exceeded(2.0)).sentence(),
            "At 85 mm the picture gets tighter by 2.05 % at its worst and frames like 86.7 mm; \
             beyond 0.5 m (1.6 ft) it stays within 2 %."
        );
        assert_eq!(
            verdict(28.0, -1.4, ToleranceOutcome::Within).sentence(),
            "At 28 mm the picture gets wider by 1.40 % at its worst and frames like 27.6 mm; \
             it stays within 2 % everywhere it was measured."
        );
        assert_eq!(
            verdict(50.0, 0.004, ToleranceOutcome::Within).sentence(),
            "At 50 mm the picture holds its framing: no change of scale beyond 0.02 % could be measured; \
             it stays within 2 % everywhere it was measured."
        );
        let unknown = verdict(105.0, 3.8, ToleranceOutcome::Unknown { travel: 0.4 }).sentence();
        assert!(unknown.contains("frames like 109.0 mm"), "{unknown}");
        assert!(
            unknown.ends_with("from which distance on is not known."),
            "{unknown}"
        );
    }

    #[test]
    fn what_was_not_at_infinity_and_what_was_estimated_is_said() {
        let mut careful = verdict(50.0, 3.0, exceeded(1.0));
        careful.relative_to_farthest = true;
        careful.distances_estimated = true;
        let sentence = careful.sentence();
        assert!(
            sentence.contains("against the farthest frame"),
            "{sentence}"
        );
        assert!(sentence.contains("beyond about 1 m"), "{sentence}");
    }

    #[test]
    fn a_lens_in_two_sentences() {
        let within = ToleranceOutcome::Within;
        for (verdicts, words) in [
            (
                vec![
                    verdict(28.0, -1.4, within),
                    verdict(100.0, 2.4, exceeded(1.25)),
                    verdict(135.0, 4.3, exceeded(0.5)),
                ],
                "It gets wider at some focal lengths and tighter at others, at most by 4.30 %, at 135 mm (tighter). \
                 It exceeds 2 % at 100 and 135 mm; beyond 2 m (6.6 ft) it stays within 2 % everywhere.",
            ),
            (
                vec![verdict(24.0, 0.5, within), verdict(70.0, 1.0, within)],
                "It gets tighter when focused closer, at most by 1.00 %, at 70 mm. \
                 It stays within 2 % everywhere it was measured.",
            ),
            (
                vec![verdict(24.0, 0.01, within), verdict(70.0, -0.01, within)],
                "It holds its framing at every focal length that was measured. \
                 It stays within 2 % everywhere it was measured.",
            ),
            (
                vec![
                    verdict(24.0, -3.0, ToleranceOutcome::Unknown { travel: 0.2 }),
                    verdict(70.0, -2.5, exceeded(1.0)),
                ],
                "It gets wider when focused closer, at most by 3.00 %, at 24 mm. \
                 It exceeds 2 % at every focal length measured; from which distance on is not known for all of them.",
            ),
        ] {
            assert_eq!(lens_verdict(&verdicts).as_deref(), Some(words));
        }
        assert_eq!(lens_verdict(&[]), None);
    }
}
