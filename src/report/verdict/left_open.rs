//! What is left open about the tolerance: by perspective, by a reference short of infinity, by what the pictures can't tell, by
//! the uncertainty.
//!
//! The entrance pupil may move towards the targets while focusing, which only ever makes a picture look tighter: the true
//! shift lies between the measured one less a bound and the measured one. What every shift lacks because the reference is short
//! of infinity is known by an estimate at best; it is counted in full where it makes a shift larger, and may make it smaller.

pub(super) mod whole;

use super::tolerance::about;
use super::{FocalVerdict, MAY_BE_LARGER, words};
use crate::sweep::{ToleranceOutcome, is_farther};

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

/// What asks it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Cause {
    /// The reference is short of infinity.
    Reference,
    /// The entrance pupil may move.
    Perspective,
    /// The pictures can't tell all that pulls the targets.
    Pictures,
    /// The worst shift is closer to the tolerance than its expanded uncertainty.
    Uncertainty,
}

/// What may stand between a measured shift and the true one, percentage points.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Open {
    /// By how much perspective may make it look tighter; never below 0.
    perspective: f64,
    /// What it lacks because the reference is short of infinity, with its sign.
    lacks: f64,
    /// What may come to it either way; never below 0.
    either: f64,
}

/// From which distance on the tolerance is surely held.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Surely {
    /// From where it is as measured.
    AsMeasured,
    /// From farther off, in words.
    Beyond(String),
    /// From nowhere on, as far as that is known.
    Nowhere,
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

    /// What about every shift lacks, percentage points, where it is worth a word.
    pub(super) fn lacks(&self) -> Option<f64> {
        self.shortfall_pct
            .filter(|lacks| lacks.abs() >= WORTH_SAYING_PCT)
    }

    /// Whether the reference is short of infinity and nobody knows by how much that is.
    pub(super) fn lacks_unknown(&self) -> bool {
        self.relative_to_farthest && self.shortfall_pct.is_none()
    }

    /// What is left open about the tolerance, and by what; `None` where nothing. Where several things together ask it, the one
    /// that comes first in [`Cause`] of those that take part.
    pub(super) fn asked(&self) -> Option<(Question, Cause)> {
        let (bound, lacks) = (
            self.perspective().unwrap_or(0.0),
            self.lacks().unwrap_or(0.0),
        );
        let (u, unseen) = (2.0 * self.worst_shift_pct.std_error, self.unseen_pct);
        // Each alone, then together.
        let none = Open::default();
        let by_perspective = Open {
            perspective: bound,
            ..none
        };
        let by_reference = Open { lacks, ..none };
        let by_both = Open {
            lacks,
            ..by_perspective
        };
        for (cause, open) in [
            (Cause::Reference, by_reference),
            (Cause::Perspective, by_perspective),
            (Cause::Uncertainty, Open { either: u, ..none }),
            (
                Cause::Pictures,
                Open {
                    either: unseen,
                    ..none
                },
            ),
            (Cause::Reference, by_both),
        ] {
            if let Some(question) = self.question_with(open) {
                return Some((question, cause));
            }
        }
        if self.lacks_unknown() && self.outcome == ToleranceOutcome::Within {
            return Some((Question::MayExceed, Cause::Reference));
        }
        let question = self.question_with(Open {
            either: unseen + u,
            ..by_both
        })?;
        let cause = match (lacks, bound, unseen) {
            (0.0, 0.0, 0.0) => Cause::Uncertainty,
            (0.0, 0.0, _) => Cause::Pictures,
            (0.0, _, _) => Cause::Perspective,
            _ => Cause::Reference,
        };
        Some((question, cause))
    }

    /// What that much leaves open.
    fn question_with(&self, open: Open) -> Option<Question> {
        let worst = self.worst_shift_pct.value;
        let other = self.other_way.map_or(worst, |other| other.shift_pct.value);
        let (widest, tightest) = (worst.min(other), worst.max(other));
        let tolerance = self.tolerance_pct;
        let less = open.perspective - open.lacks.min(0.0) + open.either;
        let more = open.lacks.max(0.0) + open.either;
        match self.outcome {
            ToleranceOutcome::Within => (widest - less < -tolerance || tightest + more > tolerance)
                .then_some(Question::MayExceed),
            ToleranceOutcome::Exceeded { .. } | ToleranceOutcome::Unknown { .. } => {
                let holds = widest + more >= -tolerance && tightest - less <= tolerance;
                holds.then_some(Question::MayHold)
            }
        }
    }

    /// What is left open about the tolerance; `None` where nothing.
    pub(super) fn question(&self) -> Option<Question> {
        self.asked().map(|(question, _)| question)
    }

    /// Why it is open whether the tolerance is held, as a code: `reference` where that turns on what every shift lacks because
    /// the reference is short of infinity, `perspective`, `pictures` where it turns on what these can't tell, `uncertainty`
    /// where the worst shift is closer to the tolerance than its expanded uncertainty (k = 2), or `near_end` where it is held
    /// by what was measured and the nearest frames were not; `None` where it is not open.
    #[must_use]
    pub fn doubt(&self) -> Option<&'static str> {
        let near_end = || {
            let lacks = self.measured_from.is_some_and(|from| from.is_missing());
            (lacks && self.outcome == ToleranceOutcome::Within).then_some("near_end")
        };
        self.asked()
            .map(|(_, cause)| match cause {
                Cause::Reference => "reference",
                Cause::Perspective => "perspective",
                Cause::Pictures => "pictures",
                Cause::Uncertainty => "uncertainty",
            })
            .or_else(near_end)
    }

    /// From where on the tolerance is surely held.
    pub(super) fn surely(&self) -> Surely {
        let Some(most) = self.may_reach_m else {
            return match self.lacks_unknown() {
                true => Surely::Nowhere,
                false => Surely::AsMeasured,
            };
        };
        let ends = self.measured_to_m.filter(|_| self.relative_to_farthest);
        let is_beyond_all = ends.is_some_and(|end| !is_farther(end, most));
        if most.is_infinite() || is_beyond_all || self.lacks_unknown() {
            return Surely::Nowhere;
        }
        let about = about(self.distances_estimated || self.lacks().is_some());
        Surely::Beyond(format!("{about}{}", words::distance_from(most)))
    }

    /// "exceeds" or, where that is left open, "may exceed".
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

    /// What may be hidden of a change that was not seen, after a comma; empty where that is no more than the expanded
    /// uncertainty, or a question of its own.
    pub(super) fn hidden(&self) -> String {
        let u = 2.0 * self.worst_shift_pct.std_error;
        let cause = self.asked().map(|(_, cause)| cause);
        let more = |pct: f64, asks: Cause| pct > u && cause != Some(asks);
        let bound = self.perspective().unwrap_or_default();
        if more(bound, Cause::Perspective) {
            return format!(", but perspective may hide up to {bound:.2} percentage points");
        }
        if more(self.unseen_pct, Cause::Pictures) {
            let unseen = self.unseen_pct;
            return format!(", but the pictures may hide up to {unseen:.2} percentage points");
        }
        String::new()
    }

    /// A sentence on a reference that is short of infinity, after a blank; empty where it is not, or that is nothing.
    fn short_of_infinity(&self) -> String {
        let asks = matches!(self.asked(), Some((_, Cause::Reference)));
        match self.lacks() {
            Some(lacks) if self.relative_to_farthest || asks => format!(
                " The farthest frame is not at infinity: every shift lacks about {} percentage points",
                words::points(lacks)
            ),
            _ if self.relative_to_farthest => {
                format!(" The farthest frame is not at infinity: {MAY_BE_LARGER}")
            }
            _ => String::new(),
        }
    }

    /// What else it takes to leave the tolerance open where perspective up to `bound` and as much as `either` to either side
    /// do not; empty where they do.
    fn and_what_else(&self, bound: f64, either: f64) -> String {
        let asks = |either| {
            let open = Open {
                perspective: bound,
                lacks: 0.0,
                either,
            };
            self.question_with(open).is_some()
        };
        let (u, unseen) = (self.worst_shift_pct.std_error, self.unseen_pct);
        let uncertain = || format!(", and it is uncertain by ± {}", words::expanded(u));
        if asks(either) {
            return String::new();
        }
        if either > 0.0 || unseen <= 0.0 || asks(2.0 * u) {
            return uncertain();
        }
        let untold = format!(", the pictures can't tell {unseen:.2} more");
        match asks(unseen) {
            true => untold,
            false => untold + &uncertain(),
        }
    }

    /// Sentences on what is left open, after a blank; empty where nothing is.
    pub(super) fn caution(&self) -> String {
        let tolerance = words::plain_pct(self.tolerance_pct);
        let mut short = self.short_of_infinity();
        let asked = self.asked();
        let is_said = matches!(asked, Some((_, Cause::Reference)));
        if !short.is_empty() && !is_said {
            short.push('.');
        }
        let Some((question, cause)) = asked else {
            return short;
        };
        let may = question.may(&tolerance);
        let bound = self.perspective().unwrap_or_default();
        let up_to = match (question, self.surely()) {
            (Question::MayExceed, Surely::Beyond(most)) => format!(", up to {most}"),
            _ => String::new(),
        };
        match (cause, question) {
            (Cause::Reference, _) => {
                // Perspective only ever makes a picture look tighter than it is.
                let is_tighter = self.worst_shift_pct.value > 0.0;
                let more = match question {
                    _ if bound <= 0.0 || !short.contains("lacks") => String::new(),
                    Question::MayHold if is_tighter => {
                        format!(", and up to {bound:.2} of it may be perspective")
                    }
                    Question::MayExceed if !is_tighter => {
                        format!(", and perspective may hide up to {bound:.2}")
                    }
                    Question::MayHold | Question::MayExceed => String::new(),
                };
                format!("{short}{more}, so it {may} after all{up_to}.")
            }
            (Cause::Perspective, Question::MayHold) => format!(
                "{short} Up to {bound:.2} percentage points of it may be perspective{}, so it {may} after all.",
                self.and_what_else(bound, 0.0)
            ),
            (Cause::Perspective, Question::MayExceed) => format!(
                "{short} Perspective may hide up to {bound:.2} percentage points{}, so it {may} after all{up_to}.",
                self.and_what_else(bound, 0.0)
            ),
            (Cause::Pictures, _) => format!(
                "{short} What the pictures can't tell may come to {:.2} percentage points{}, so it {may} after all{up_to}.",
                self.unseen_pct,
                self.and_what_else(0.0, self.unseen_pct)
            ),
            (Cause::Uncertainty, _) => format!(
                "{short} Its worst shift is closer to {tolerance} than its uncertainty, so it {may} after all{up_to}."
            ),
        }
    }
}
