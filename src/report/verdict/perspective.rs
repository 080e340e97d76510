//! What perspective leaves open. The entrance pupil may move towards the targets while focusing, which only ever makes a
//! picture look tighter: the true shift lies between the measured one less a bound and the measured one.
//!
//! The bound is that of the worst shift. Farther off it is smaller, so what is said to be in question may be less so; it is
//! never more.

use super::{FocalVerdict, which, words};
use crate::sweep::ToleranceOutcome;

/// A bound below this is not seen in two decimals, percentage points.
const WORTH_SAYING_PCT: f64 = 0.005;

/// How the true shift may stand to the tolerance, where that is not how the measured one does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Question {
    /// It was exceeded as measured, and may not be.
    MayHold,
    /// It was held as measured, and may not be.
    MayExceed,
}

impl FocalVerdict {
    /// The bound, percentage points, where it is worth a word.
    fn perspective(&self) -> Option<f64> {
        self.perspective_pct
            .filter(|bound| *bound >= WORTH_SAYING_PCT)
    }

    /// What the bound leaves open about the tolerance; `None` where nothing.
    pub(super) fn question(&self) -> Option<Question> {
        let bound = self.perspective()?;
        let worst = self.worst_shift_pct.value;
        let other = self.other_way.map_or(worst, |other| other.shift_pct.value);
        let (widest, tightest) = (worst.min(other), worst.max(other));
        let tolerance = self.tolerance_pct;
        match self.outcome {
            ToleranceOutcome::Within => {
                (widest - bound < -tolerance).then_some(Question::MayExceed)
            }
            ToleranceOutcome::Exceeded { .. } | ToleranceOutcome::Unknown { .. } => {
                let holds = widest >= -tolerance && tightest - bound <= tolerance;
                (worst > 0.0 && holds).then_some(Question::MayHold)
            }
        }
    }

    /// "exceeds" or, where perspective leaves that open, "may exceed".
    pub(super) fn exceeds(&self) -> &'static str {
        match self.question() {
            Some(Question::MayHold) => "may exceed",
            _ => "exceeds",
        }
    }

    /// A sentence on what is left open, after a blank; empty where nothing is.
    pub(super) fn caution(&self) -> String {
        let tolerance = words::plain_pct(self.tolerance_pct);
        match self.question().zip(self.perspective()) {
            Some((Question::MayHold, bound)) => format!(
                " Up to {bound:.2} percentage points of it may be perspective, so it may stay within {tolerance} after all."
            ),
            Some((Question::MayExceed, bound)) => format!(
                " Perspective may hide up to {bound:.2} percentage points, so it may exceed {tolerance} after all."
            ),
            None => String::new(),
        }
    }
}

/// The largest bound of these, percentage points.
fn largest(verdicts: &[FocalVerdict]) -> f64 {
    let bounds = verdicts.iter().filter_map(FocalVerdict::perspective);
    bounds.fold(0.0, f64::max)
}

fn asked(verdicts: &[FocalVerdict], question: Question) -> Vec<FocalVerdict> {
    let is_asked = |verdict: &&FocalVerdict| verdict.question() == Some(question);
    verdicts.iter().filter(is_asked).copied().collect()
}

/// Sentences on what perspective leaves open at some of so many focal lengths.
pub(super) fn cautions(told: &[FocalVerdict], measured: usize) -> Vec<String> {
    let Some(first) = told.first() else {
        return Vec::new();
    };
    let tolerance = words::plain_pct(first.tolerance_pct);
    let mut sentences = Vec::new();
    let hold = asked(told, Question::MayHold);
    if !hold.is_empty() {
        sentences.push(format!(
            "At {} up to {:.2} percentage points of the shift may be perspective, so it may stay within {tolerance} \
             there after all.",
            which(&hold, measured),
            largest(&hold)
        ));
    }
    let exceed = asked(told, Question::MayExceed);
    if !exceed.is_empty() {
        sentences.push(format!(
            "At {} perspective may hide up to {:.2} percentage points, so it may exceed {tolerance} there after all.",
            which(&exceed, measured),
            largest(&exceed)
        ));
    }
    sentences
}

/// A few words on what perspective leaves open of a whole lens; empty where nothing is. Where one focal length exceeds the
/// tolerance for certain, that another may not is no news.
pub(super) fn in_question(verdicts: &[FocalVerdict]) -> String {
    let surely = verdicts.iter().any(|verdict| {
        verdict.outcome != ToleranceOutcome::Within && verdict.question() != Some(Question::MayHold)
    });
    let mut open = asked(verdicts, Question::MayExceed);
    if !surely {
        open.extend(asked(verdicts, Question::MayHold));
    }
    if open.is_empty() {
        return String::new();
    }
    format!(
        "; in question: perspective may make up to {:.2} points of difference",
        largest(&open)
    )
}

#[cfg(test)]
mod tests {
    use super::super::tests::{exceeded, verdict};
    use super::super::{lens_verdict, short_verdict};
    use super::*;

    /// 2.05 % of which 0.47 may be perspective is 1.58 to 2.05 %; −1.9 % is −2.37 to −1.9 %; 4.3 % less 0.47 exceeds 2 % still, and
    /// so does −2.5 %.
    #[test]
    fn what_perspective_leaves_open_is_not_said_flatly() {
        let bounded = |focal, shift, outcome| FocalVerdict {
            perspective_pct: Some(0.47),
            ..verdict(focal, shift, outcome)
        };
        let within = ToleranceOutcome::Within;
        let unknown = ToleranceOutcome::Unknown { travel: 0.4 };
        for (verdict, end) in [
            (
                bounded(85.0, 2.05, exceeded(2.0)),
                "beyond 0.5 m (1 ft 7.7 in) it stays within 2 %. Up to 0.47 percentage points of it may be perspective, so it may \
                 stay within 2 % after all.",
            ),
            (
                bounded(85.0, 2.05, unknown),
                "it may exceed 2 %, from which distance on is not known. Up to 0.47 percentage points of it may be \
                 perspective, so it may stay within 2 % after all.",
            ),
            (
                bounded(85.0, -1.9, within),
                "it stays within 2 % everywhere it was measured. Perspective may hide up to 0.47 percentage points, so it \
                 may exceed 2 % after all.",
            ),
            (
                bounded(85.0, 4.3, unknown),
                "it exceeds 2 %, from which distance on is not known.",
            ),
            (
                bounded(85.0, -2.5, unknown),
                "it exceeds 2 %, from which distance on is not known.",
            ),
            (
                bounded(85.0, 1.9, within),
                "it stays within 2 % everywhere it was measured.",
            ),
        ] {
            let sentence = verdict.sentence();
            assert!(sentence.ends_with(&format!("; {end}")), "{sentence}");
        }
        let zoom = [
            bounded(28.0, -1.9, within),
            bounded(85.0, 2.05, exceeded(1.0)),
            bounded(135.0, 4.3, exceeded(2.0)),
        ];
        let words = lens_verdict(&zoom).expect("three focal lengths");
        for part in [
            "It exceeds 2 % at 135 mm and may exceed it at 85 mm; beyond 1 m (3 ft 3.4 in) it stays within 2 % everywhere.",
            "At 85 mm up to 0.47 percentage points of the shift may be perspective, so it may stay within 2 % there after all.",
            "At 28 mm perspective may hide up to 0.47 percentage points, so it may exceed 2 % there after all.",
        ] {
            assert!(words.contains(part), "{words}");
        }
        let open = "; in question: perspective may make up to 0.47 points of difference";
        for (lens, is_open) in [(&zoom[..2], true), (&zoom[1..], false), (&zoom[2..], false)] {
            let row = short_verdict(lens).expect("a verdict");
            assert_eq!(row.ends_with(open), is_open, "{row}");
        }
        let alone =
            lens_verdict(&[zoom[1], verdict(50.0, 0.5, within)]).expect("two focal lengths");
        assert!(
            alone.contains("It may exceed 2 % at 85 mm; beyond 1 m"),
            "{alone}"
        );
    }

    /// Nothing that is told in two decimals, or not known, is a word.
    #[test]
    fn a_bound_that_is_not_seen_or_not_known_leaves_nothing_open() {
        for bound in [None, Some(0.0), Some(0.004)] {
            let mut close = verdict(85.0, 2.001, exceeded(2.0));
            let plain = close.sentence();
            close.perspective_pct = bound;
            assert_eq!(close.sentence(), plain);
        }
    }
}
