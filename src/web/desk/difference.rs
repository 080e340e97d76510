//! What a measurement changed against the one before, in words.

use std::collections::HashMap;

use crate::report::words;
use crate::store::{StoredResult, Sweep};
use crate::sweep::{Difference, ToleranceOutcome};
use crate::units::Measured;

/// Most frames that are listed; the others are counted.
const FRAMES_SHOWN: usize = 24;

/// What changed, as the page shows it.
pub(super) struct DifferenceView {
    /// What the earlier one is, e.g. "measured 2026-11-25, 14:05 UTC, algorithm 1".
    pub(super) before: String,
    pub(super) after: String,
    /// Nothing at all changed.
    pub(super) is_none: bool,
    /// A figure with what it was and what it is.
    pub(super) figures: Vec<(&'static str, String, String)>,
    pub(super) frames: Vec<FrameLine>,
    /// How many changed frames are not listed.
    pub(super) more_frames: usize,
    pub(super) gone: Vec<&'static str>,
    pub(super) new: Vec<&'static str>,
}

/// A frame that changed.
pub(super) struct FrameLine {
    pub(super) number: usize,
    pub(super) file: String,
    pub(super) before: String,
    pub(super) after: String,
}

impl DifferenceView {
    /// What changed from an earlier result to a later one of the same sweep.
    pub(super) fn new(sweep: &Sweep, before: &StoredResult, after: &StoredResult) -> Self {
        let difference = Difference::between(&before.measurement, &after.measurement);
        let numbers = super::view::numbers(sweep);
        let frames: Vec<FrameLine> = lines(&difference, &numbers);
        Self {
            before: made(before),
            after: made(after),
            is_none: difference.is_none(),
            figures: figures(&difference),
            more_frames: frames.len().saturating_sub(FRAMES_SHOWN),
            frames: frames.into_iter().take(FRAMES_SHOWN).collect(),
            gone: difference.gone.iter().map(|code| code.title()).collect(),
            new: difference.new.iter().map(|code| code.title()).collect(),
        }
    }
}

fn made(result: &StoredResult) -> String {
    format!(
        "{}, algorithm {}",
        words::moment(result.measured_ms),
        result.algorithm_version
    )
}

fn figures(difference: &Difference) -> Vec<(&'static str, String, String)> {
    let shift =
        |shift: Option<Measured>| shift.map_or_else(|| "no result".to_owned(), words::shift);
    let tolerance = |outcome: Option<ToleranceOutcome>| {
        outcome.map_or_else(|| "no result".to_owned(), words::tolerance)
    };
    let (worst, outcome) = (difference.worst_shift_pct, difference.tolerance);
    vec![
        ("Worst shift (k = 2)", shift(worst.0), shift(worst.1)),
        (
            "Tolerance distance (2 %)",
            tolerance(outcome.0),
            tolerance(outcome.1),
        ),
        (
            "Frames measured",
            difference.measured.0.to_string(),
            difference.measured.1.to_string(),
        ),
    ]
}

fn lines(difference: &Difference, numbers: &HashMap<&str, usize>) -> Vec<FrameLine> {
    let shift = |shift: Option<Measured>| shift.map_or_else(|| "none".to_owned(), words::shift);
    difference
        .frames
        .iter()
        .filter_map(|frame| {
            Some(FrameLine {
                number: *numbers.get(frame.file.as_str())?,
                file: frame.file.clone(),
                before: shift(frame.shift_pct.0),
                after: shift(frame.shift_pct.1),
            })
        })
        .collect()
}
