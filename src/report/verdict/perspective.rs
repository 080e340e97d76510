//! What perspective leaves open. The entrance pupil may move towards the targets while focusing, which only ever makes a
//! picture look tighter: the true shift lies between the measured one less a bound and the measured one.
//!
//! The bound is that of the worst shift; how far off the tolerance may be exceeded is told from the bound along the curve. And
//! what the uncertainty of the worst shift leaves open.

use super::tolerance::about;
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

impl Question {
    /// What it comes to, in words.
    fn may(self, tolerance: &str) -> String {
        match self {
            Self::MayHold => format!("may stay within {tolerance}"),
            Self::MayExceed => format!("may exceed {tolerance}"),
        }
    }
}

/// What is said of a tolerance that is held for certain.
pub(super) const STAYS: &str = "stays";
/// What is said of one that may be held.
pub(super) const MAY_STAY: &str = "may stay";

impl FocalVerdict {
    /// The bound, percentage points, where it is worth a word.
    fn perspective(&self) -> Option<f64> {
        self.perspective_pct
            .filter(|bound| *bound >= WORTH_SAYING_PCT)
    }

    /// What the bound leaves open about the tolerance, else the uncertainty; `None` where nothing.
    pub(super) fn question(&self) -> Option<Question> {
        self.question_of_perspective().or_else(|| {
            let worst = self.worst_shift_pct;
            let close = (worst.value.abs() - self.tolerance_pct).abs() <= 2.0 * worst.std_error;
            close.then_some(match self.outcome {
                ToleranceOutcome::Within => Question::MayExceed,
                _ => Question::MayHold,
            })
        })
    }

    /// Why it is open whether the tolerance is held, as a code: `perspective`, or `uncertainty` where the worst shift is closer to
    /// the tolerance than its expanded uncertainty (k = 2); `None` where it is not open.
    #[must_use]
    pub fn doubt(&self) -> Option<&'static str> {
        if self.question_of_perspective().is_some() {
            return Some("perspective");
        }
        self.question().map(|_| "uncertainty")
    }

    /// Where perspective leaves the tolerance open up to, in words; `None` where that is told by the same figures as what was
    /// measured.
    pub(super) fn may_reach(&self) -> Option<String> {
        let most = words::distance_from(self.may_reach_m?);
        let measured = self.outcome.distance_m();
        measured
            .is_none_or(|measured| words::distance_from(measured.value) != most)
            .then(|| format!("{}{most}", about(self.distances_estimated)))
    }

    /// What perspective leaves open about the tolerance; `None` where nothing.
    fn question_of_perspective(&self) -> Option<Question> {
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

    /// "stays" or, where that is open, "may stay".
    pub(super) fn stays(&self) -> &'static str {
        match self.question() {
            Some(Question::MayExceed) => MAY_STAY,
            _ => STAYS,
        }
    }

    /// What perspective may hide of a change that was not seen, after a comma; empty where that is no more than the expanded
    /// uncertainty, or a question of its own.
    pub(super) fn hidden_by_perspective(&self) -> String {
        let unseen = 2.0 * self.worst_shift_pct.std_error;
        match self.perspective().filter(|bound| *bound > unseen) {
            Some(bound) if self.question_of_perspective().is_none() => {
                format!(", but perspective may hide up to {bound:.2} percentage points")
            }
            _ => String::new(),
        }
    }

    /// A sentence on what is left open, after a blank; empty where nothing is.
    pub(super) fn caution(&self) -> String {
        let tolerance = words::plain_pct(self.tolerance_pct);
        let Some(question) = self.question() else {
            return String::new();
        };
        let may = question.may(&tolerance);
        let bound = self.perspective().unwrap_or_default();
        match (self.question_of_perspective(), self.may_reach()) {
            (Some(Question::MayHold), _) => format!(
                " Up to {bound:.2} percentage points of it may be perspective, so it {may} after all."
            ),
            (Some(Question::MayExceed), Some(up_to)) => format!(
                " Perspective may hide up to {bound:.2} percentage points, so it {may} after all, up to {up_to}."
            ),
            (Some(Question::MayExceed), None) => format!(
                " Perspective may hide up to {bound:.2} percentage points, so it {may} after all."
            ),
            (None, _) => format!(
                " Its worst shift is closer to {tolerance} than its uncertainty, so it {may} after all."
            ),
        }
    }
}

/// The largest bound of these, percentage points.
fn largest(verdicts: &[FocalVerdict]) -> f64 {
    let bounds = verdicts.iter().filter_map(FocalVerdict::perspective);
    bounds.fold(0.0, f64::max)
}

/// Those that perspective leaves this open of.
fn asked(verdicts: &[FocalVerdict], question: Question) -> Vec<FocalVerdict> {
    let is_asked = |verdict: &&FocalVerdict| verdict.question_of_perspective() == Some(question);
    verdicts.iter().filter(is_asked).copied().collect()
}

/// Those whose uncertainty leaves this open.
fn close(verdicts: &[FocalVerdict], question: Question) -> Vec<FocalVerdict> {
    let is_close = |verdict: &&FocalVerdict| {
        verdict.doubt() == Some("uncertainty") && verdict.question() == Some(question)
    };
    verdicts.iter().filter(is_close).copied().collect()
}

/// Sentences on what is left open at some of so many focal lengths.
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
    for question in [Question::MayHold, Question::MayExceed] {
        let close = close(told, question);
        if !close.is_empty() {
            sentences.push(format!(
                "At {} the worst shift is closer to {tolerance} than its uncertainty, so it {} there after all.",
                which(&close, measured),
                question.may(&tolerance)
            ));
        }
    }
    sentences
}

/// A few words on what is left open of a whole lens; empty where nothing is. Where one focal length exceeds the
/// tolerance for certain, that another may not is no news.
pub(super) fn in_question(verdicts: &[FocalVerdict]) -> String {
    let surely = verdicts.iter().any(|verdict| {
        verdict.outcome != ToleranceOutcome::Within && verdict.question() != Some(Question::MayHold)
    });
    let mut open = asked(verdicts, Question::MayExceed);
    if !surely {
        open.extend(asked(verdicts, Question::MayHold));
    }
    if !open.is_empty() {
        return format!(
            "; in question: perspective may make up to {:.2} points of difference",
            largest(&open)
        );
    }
    let mut open = close(verdicts, Question::MayExceed);
    if !surely {
        open.extend(close(verdicts, Question::MayHold));
    }
    if open.is_empty() {
        String::new()
    } else {
        "; in question: that close to it, its uncertainty may decide".to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{WHOLE, exceeded, verdict};
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
                "it may stay within 2 % everywhere it was measured. Perspective may hide up to 0.47 percentage points, so it \
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
        let words = lens_verdict(&zoom, &WHOLE).expect("three focal lengths");
        for part in [
            "It exceeds 2 % at 135 mm and may exceed it at 85 mm; beyond 1 m (3 ft 3.4 in) it stays within 2 % everywhere it was measured.",
            "At 85 mm up to 0.47 percentage points of the shift may be perspective, so it may stay within 2 % there after all.",
            "At 28 mm perspective may hide up to 0.47 percentage points, so it may exceed 2 % there after all.",
        ] {
            assert!(words.contains(part), "{words}");
        }
        let open = "; in question: perspective may make up to 0.47 points of difference";
        for (lens, is_open) in [(&zoom[..2], true), (&zoom[1..], false), (&zoom[2..], false)] {
            let row = short_verdict(lens, &WHOLE).expect("a verdict");
            assert_eq!(row.ends_with(open), is_open, "{row}");
        }
        let alone = lens_verdict(&[zoom[1], verdict(50.0, 0.5, within)], &WHOLE)
            .expect("two focal lengths");
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
