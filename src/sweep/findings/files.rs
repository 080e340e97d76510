//! Findings about the files: how many, of which lens, at which focal length, any missing.

use super::{finding, names};
use crate::measure::Unmeasurable;
use crate::sweep::sequence::places::{Places, Witness, median};
use crate::sweep::sequence::restore::Restored;
use crate::sweep::sequence::runs::Runs;
use crate::sweep::{
    Code, Finding, FrameResult, FrameState, Severity, SweepMeasurement, SweepSettings,
};

/// Fewer measured frames than this give no result.
const FEWEST_FRAMES: usize = 5;
/// Fewer measured frames than this leave gaps in the curve.
const FEW_FRAMES: usize = 12;
/// Stated focal lengths that differ by more than this share are not one setting.
const SAME_FOCAL: f64 = 0.005;

pub(super) fn frame_count(sweep: &SweepMeasurement) -> Option<Finding> {
    let measured = sweep.measured_count();
    let total = sweep.frames.len();
    let failed = sweep
        .frames
        .iter()
        .filter(|frame| matches!(frame.state, FrameState::Failed(_)));
    if measured < FEWEST_FRAMES && total - measured > 0 && failed.clone().count() > 0 {
        let usual = failed
            .clone()
            .find_map(|frame| match &frame.state {
                FrameState::Failed(why @ Unmeasurable::Undecodable(_)) => Some(why.to_string()),
                _ => None,
            })
            .or_else(|| failed.clone().find_map(|frame| frame.state.reason()));
        return Some(finding(
            Code::TargetsNotFound,
            Severity::Stop,
            format!(
                "Two targets were found in {measured} of {total} frames, and {FEWEST_FRAMES} are needed, so there is no \
                 result ({}). Check that two bright targets stand on black, or point at them by hand.",
                usual.unwrap_or_default()
            ),
            names(failed),
        ));
    }
    let (severity, message) = if measured < FEWEST_FRAMES {
        (
            Severity::Stop,
            format!(
                "The sweep has {measured} usable frame{}, and {FEWEST_FRAMES} are needed, so there is no result. Shoot at \
                 least {FEW_FRAMES}, better 24, from closest focus to infinity.",
                if measured == 1 { "" } else { "s" }
            ),
        )
    } else if measured < FEW_FRAMES {
        (
            Severity::Warning,
            format!(
                "Only {measured} frames were measured: the worst shift and the tolerance distance may fall between them. \
                 Shoot at least {FEW_FRAMES}, better 24."
            ),
        )
    } else {
        return None;
    };
    Some(finding(Code::TooFewFrames, severity, message, Vec::new()))
}

/// Most reasons that are told in one finding.
const REASONS_TOLD: usize = 3;

/// Frames without a result: a warning where the nearest of all are among them, also those that were left out, because there
/// the shift is largest as a rule, and where the files were shuffled, because nothing shows then where those frames belong; a note
/// elsewhere, where the curve runs on between its neighbours, and behind the last one, of which another finding tells.
pub(super) fn frames_not_measured(
    sweep: &SweepMeasurement,
    restored: Option<Restored>,
) -> Option<Finding> {
    let is_measured = |frame: &FrameResult| frame.state == FrameState::Measured;
    let first = sweep.frames.iter().position(is_measured)?;
    let last = sweep.frames.iter().rposition(is_measured)?;
    let lost: Vec<&FrameResult> = sweep
        .frames
        .iter()
        .enumerate()
        .filter(|(at, frame)| match frame.state {
            FrameState::Failed(_) => true,
            FrameState::LeftOut(_) => *at < first,
            FrameState::Measured => false,
        })
        .map(|(_, frame)| frame)
        .collect();
    // One frame for each reason; what the others have is told on the page of each.
    let mut reasons: Vec<(String, &str)> = Vec::new();
    for frame in &lost {
        let why = frame.state.reason().unwrap_or_default();
        let reason = match frame.state {
            FrameState::LeftOut(_) if why.is_empty() => "left out".to_owned(),
            FrameState::LeftOut(_) => format!("left out, {why}"),
            _ => why,
        };
        if !reasons.iter().any(|(known, _)| *known == reason) {
            reasons.push((reason, &frame.info.file));
        }
    }
    if reasons.is_empty() {
        return None;
    }
    let why: Vec<String> = reasons
        .iter()
        .take(REASONS_TOLD)
        .map(|(reason, file)| format!("{file}: {reason}"))
        .collect();
    let count = lost.len();
    let frames = if count == 1 {
        "frame has"
    } else {
        "frames have"
    };
    let (severity, effect) = if restored.is_some_and(Restored::was_shuffled) {
        (
            Severity::Warning,
            "The order of the files was none, so nothing shows where in the sweep such frames belong. If the nearest is among them, \
             the worst shift and the tolerance distance lack it; if the last one at infinity is, every shift is against another."
                .to_owned(),
        )
    } else if first > 0 {
        (
            Severity::Warning,
            format!(
                "{} without a result, so worst shift and tolerance distance hold only for what was measured; nearer, \
                 the shift may be larger.",
                match first {
                    1 => "The nearest frame of the sweep is".to_owned(),
                    more => format!("The nearest {more} frames of the sweep are"),
                }
            ),
        )
    } else if matches!(sweep.frames.last()?.state, FrameState::Failed(_)) {
        let between = sweep.frames[..last]
            .iter()
            .any(|frame| matches!(frame.state, FrameState::Failed(_)));
        let rest = if between {
            "; between the others the curve runs on"
        } else {
            ""
        };
        (
            Severity::Note,
            format!(
                "The last frame of the sweep is among them, so the shifts are against one before it{rest}."
            ),
        )
    } else {
        (
            Severity::Note,
            format!(
                "The curve runs on between {} neighbours.",
                if count == 1 { "its" } else { "their" }
            ),
        )
    };
    Some(finding(
        Code::FramesNotMeasured,
        severity,
        format!(
            "{count} {frames} no result ({}). {effect} Send broken files again, or shoot again.",
            why.join("; ")
        ),
        names(lost),
    ))
}

pub(super) fn mixed_lenses(sweep: &SweepMeasurement) -> Option<Finding> {
    let in_use = |frame: &&FrameResult| !matches!(frame.state, FrameState::LeftOut(_));
    let frames = || sweep.frames.iter().filter(in_use);
    let mut lenses: Vec<&str> = Vec::new();
    for lens in frames().filter_map(|f| f.info.lens.as_deref()) {
        if !lenses.contains(&lens) {
            lenses.push(lens);
        }
    }
    let (first, others) = lenses.split_first()?;
    (!others.is_empty()).then(|| {
        let odd = frames().filter(|f| f.info.lens.as_deref().is_some_and(|lens| lens != *first));
        finding(
            Code::MixedLenses,
            Severity::Stop,
            format!(
                "The files name {} lenses: {}. A result could belong to none of them, so there is none. Sort the files, \
                 or leave the others' frames out, and measure again.",
                lenses.len(),
                lenses.join(", ")
            ),
            names(odd),
        )
    })
}

pub(super) fn focal_length_changed(
    sweep: &SweepMeasurement,
    settings: &SweepSettings,
) -> Option<Finding> {
    let stated: Vec<f64> = sweep
        .frames
        .iter()
        .filter(|frame| !matches!(frame.state, FrameState::LeftOut(_)))
        .filter_map(|frame| frame.info.focal_length.map(|f| f.mm()))
        .collect();
    let low = stated.iter().copied().reduce(f64::min)?;
    let high = stated.iter().copied().reduce(f64::max)?;
    let usual = settings.focal_length.map_or(median(stated)?, |f| f.mm());
    (high > low * (1.0 + SAME_FOCAL)).then(|| {
        let odd = sweep.frames.iter().filter(|frame| {
            frame
                .info
                .focal_length
                .is_some_and(|f| (f.mm() / usual - 1.0).abs() > SAME_FOCAL)
        });
        finding(
            Code::FocalLengthChanged,
            Severity::Warning,
            format!(
                "The files state focal lengths from {low} to {high} mm within the sweep. If the zoom ring slipped, the \
                 shift holds that change. Fix the ring with tape and shoot again."
            ),
            names(odd),
        )
    })
}

/// Several brackets in one, shot without a pause that would part them.
pub(super) fn several_runs(runs: Option<&Runs<String>>) -> Option<Finding> {
    let (seen, files) = match runs? {
        Runs::Anew(begin) => (
            format!(
                "The frames run through the focus {} times: another run from closest focus begins at {}.",
                begin.len() + 1,
                begin.join(", ")
            ),
            begin.clone(),
        ),
        Runs::ToAndFro(sharp) => (
            format!(
                "The targets get sharp {} times, at {}, and are blurred between: the focus ran to infinity and back, or through \
                 its range again.",
                sharp.len(),
                sharp.join(" and ")
            ),
            Vec::new(),
        ),
    };
    Some(finding(
        Code::SeveralRuns,
        Severity::Stop,
        format!(
            "{seen} They are several sweeps, and a result of all together would be that of none, so there is none. Put the frames \
             of each run into a folder of its own and send them again, or leave out all frames but those of one run and measure \
             again."
        ),
        files,
    ))
}

/// Frames that file numbers, times or distances leave out.
pub(super) fn frame_missing(sweep: &SweepMeasurement, places: &Places) -> Option<Finding> {
    let witness = match places.by {
        Witness::Numbers => "file numbers",
        Witness::Times => "capture times",
        Witness::Distances => "focus distances",
        Witness::Order => return None,
    };
    let mut missing = 0;
    let mut files = Vec::new();
    for (k, pair) in sweep.frames.windows(2).enumerate() {
        let here = places.missing_after(k);
        if here > 0 {
            missing += here;
            files.extend(names(pair));
        }
    }
    files.dedup();
    (missing > 0).then(|| {
        finding(
            Code::FrameMissing,
            Severity::Note,
            format!(
                "The {witness} leave out {missing} frame{} between those named here. The curve is less certain there. \
                 Check that every file was copied.",
                if missing == 1 { "" } else { "s" }
            ),
            files,
        )
    })
}
