//! What is left open of a whole lens, over its focal lengths.

use super::super::{FocalVerdict, MAY_BE_LARGER, which, words};
use super::{Cause, Question};
use crate::sweep::ToleranceOutcome;

/// What perspective may hold of it, percentage points.
fn perspective(verdict: &FocalVerdict) -> f64 {
    verdict.perspective().unwrap_or_default()
}

/// What the pictures can't tell of it, percentage points.
fn unseen(verdict: &FocalVerdict) -> f64 {
    verdict.unseen_pct
}

/// The largest of these bounds, percentage points.
fn largest(verdicts: &[FocalVerdict], bound: fn(&FocalVerdict) -> f64) -> f64 {
    verdicts.iter().map(bound).fold(0.0, f64::max)
}

/// Those of which this is asked.
fn asked(verdicts: &[FocalVerdict], question: Question, cause: Cause) -> Vec<FocalVerdict> {
    let is_asked = |verdict: &&FocalVerdict| verdict.asked() == Some((question, cause));
    verdicts.iter().filter(is_asked).copied().collect()
}

/// Sentences on what is left open at some of so many focal lengths; what is against the farthest frame comes first.
pub(in crate::report::verdict) fn cautions(told: &[FocalVerdict], measured: usize) -> Vec<String> {
    let Some(first) = told.first() else {
        return Vec::new();
    };
    let tolerance = words::plain_pct(first.tolerance_pct);
    let mut sentences: Vec<String> = short_of_infinity(told, measured).into_iter().collect();
    for question in [Question::MayHold, Question::MayExceed] {
        let may = question.may(&tolerance);
        for cause in [
            Cause::Reference,
            Cause::Perspective,
            Cause::Pictures,
            Cause::Uncertainty,
        ] {
            let these = asked(told, question, cause);
            if these.is_empty() {
                continue;
            }
            let at = which(&these, measured);
            let sizes = |bound| sizes(&these, measured, bound);
            sentences.push(match (cause, question) {
                (Cause::Reference, _) => format!("With that it {may} at {at} after all."),
                (Cause::Perspective, Question::MayHold) => format!(
                    "At {at} up to {} percentage points of the shift may be perspective, so it {may} there after all.",
                    sizes(perspective)
                ),
                (Cause::Perspective, Question::MayExceed) => format!(
                    "At {at} perspective may hide up to {} percentage points, so it {may} there after all.",
                    sizes(perspective)
                ),
                (Cause::Pictures, _) => format!(
                    "At {at} what the pictures can't tell may come to {} percentage points, so it {may} there after all.",
                    sizes(unseen)
                ),
                (Cause::Uncertainty, _) => format!(
                    "At {at} the worst shift is closer to {tolerance} than its uncertainty, so it {may} there after all."
                ),
            });
        }
    }
    sentences
}

/// A bound at each of these focal lengths, e.g. "0.64 and 3.51"; the largest where there are many.
fn sizes(verdicts: &[FocalVerdict], measured: usize, bound: fn(&FocalVerdict) -> f64) -> String {
    let each: Vec<String> = verdicts
        .iter()
        .map(|verdict| format!("{:.2}", bound(verdict)))
        .collect();
    match each.split_last() {
        // "Every focal length measured" names none that sizes could stand beside.
        Some((last, rest)) if !rest.is_empty() && verdicts.len() < measured => {
            format!("{} and {last}", rest.join(", "))
        }
        _ => format!("{:.2}", largest(verdicts, bound)),
    }
}

/// What is against the farthest frame, and what that lacks; `None` where nothing is, and no question turns on it.
fn short_of_infinity(told: &[FocalVerdict], measured: usize) -> Option<String> {
    let asks = |verdict: &FocalVerdict| matches!(verdict.asked(), Some((_, Cause::Reference)));
    let is_short = |verdict: &&FocalVerdict| verdict.relative_to_farthest || asks(verdict);
    let short: Vec<FocalVerdict> = told.iter().filter(is_short).copied().collect();
    if short.is_empty() {
        return None;
    }
    let sizes: Option<Vec<String>> = short
        .iter()
        .map(|verdict| verdict.lacks().map(words::points))
        .collect();
    let lacks = match sizes.as_deref() {
        None => MAY_BE_LARGER.to_owned(),
        Some([size]) => format!("every shift lacks about {size} percentage points"),
        Some(sizes) => format!("shifts lack about {} percentage points", sizes.join(", ")),
    };
    Some(format!(
        "At {} this is against the farthest frame, not infinity: {lacks}.",
        which(&short, measured)
    ))
}

/// What is against the farthest frame in a few words, after a semicolon; empty where nothing is.
pub(in crate::report::verdict) fn against_farthest(verdicts: &[FocalVerdict]) -> String {
    let short: Vec<&FocalVerdict> = verdicts
        .iter()
        .filter(|verdict| verdict.relative_to_farthest)
        .collect();
    if short.is_empty() {
        return String::new();
    }
    let sizes: Option<Vec<f64>> = short.iter().map(|verdict| verdict.lacks()).collect();
    let largest = sizes.and_then(|sizes| {
        let by_size = |a: &f64, b: &f64| a.abs().total_cmp(&b.abs());
        sizes.into_iter().max_by(by_size)
    });
    let what = match largest {
        None => MAY_BE_LARGER.to_owned(),
        Some(lacks) if short.len() == 1 => {
            format!("shifts lack about {} points", words::points(lacks))
        }
        Some(lacks) => format!("shifts lack up to about {} points", words::points(lacks)),
    };
    let part = if short.len() == verdicts.len() {
        ""
    } else {
        "in part "
    };
    format!("; {part}against the farthest frame, not infinity: {what}")
}

/// A few words on what is left open of a whole lens; empty where nothing is. Where one focal length exceeds the
/// tolerance for certain, that another may not is no news.
pub(in crate::report::verdict) fn in_question(verdicts: &[FocalVerdict]) -> String {
    let surely = verdicts.iter().any(|verdict| {
        verdict.outcome != ToleranceOutcome::Within && verdict.question() != Some(Question::MayHold)
    });
    let by = |cause: Cause| {
        let mut open = asked(verdicts, Question::MayExceed, cause);
        if !surely {
            open.extend(asked(verdicts, Question::MayHold, cause));
        }
        open
    };
    if !by(Cause::Reference).is_empty() {
        return "; in question: it turns on what is lacking to infinity".to_owned();
    }
    let open = by(Cause::Perspective);
    if !open.is_empty() {
        return format!(
            "; in question: perspective may make up to {:.2} points of difference",
            largest(&open, perspective)
        );
    }
    let open = by(Cause::Pictures);
    if !open.is_empty() {
        return format!(
            "; in question: what the pictures can't tell may make up to {:.2} points of difference",
            largest(&open, unseen)
        );
    }
    match by(Cause::Uncertainty).is_empty() {
        true => String::new(),
        false => "; in question: that close to it, its uncertainty may decide".to_owned(),
    }
}
