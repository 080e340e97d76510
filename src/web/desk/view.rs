//! The frames and findings of a sweep in the words and figures of the page.

use std::collections::{HashMap, HashSet};

use super::facts::axis;
use super::overlay::{self, Detail};
use crate::charts::Axis;
use crate::measure::Unmeasurable;
use crate::report::words;
use crate::store::Sweep;
use crate::sweep::{Asked, Finding, FrameResult, FrameState, Severity, SweepMeasurement};

/// A frame on the page.
pub(super) struct FrameView {
    /// Its place among the sweep's files, from 1; part of its address.
    pub(super) number: usize,
    pub(super) file: String,
    pub(super) state: String,
    pub(super) state_class: &'static str,
    pub(super) reason: String,
    pub(super) is_measured: bool,
    pub(super) is_left_out: bool,
    /// There is a picture to show: the file could be read.
    pub(super) has_picture: bool,
    pub(super) is_reference: bool,
    pub(super) is_worst: bool,
    pub(super) has_finding: bool,
    pub(super) focus: String,
    pub(super) separation: String,
    pub(super) shift: String,
    pub(super) blur: String,
    pub(super) targets: String,
    pub(super) overlay: String,
    /// Places that were pointed at by hand, px.
    pub(super) pointed: Vec<(f64, f64)>,
    /// Where it stands along the bottom of the chart: dioptres, or travel from the last frame; empty where that is unknown.
    pub(super) along: String,
    pub(super) width: u32,
    pub(super) height: u32,
}

/// A finding on the page.
pub(super) struct FindingView {
    pub(super) severity: &'static str,
    pub(super) class: &'static str,
    pub(super) code: &'static str,
    pub(super) title: &'static str,
    /// What was seen, what it does to the number and what to do about it.
    pub(super) message: String,
    /// Number and name of each frame that it is about.
    pub(super) frames: Vec<(usize, String)>,
    /// Fields of the sweep's page where what it asks for is given, with their labels.
    pub(super) fields: Vec<(&'static str, &'static str)>,
}

/// The field of the sweep's page for this, with its label.
const fn field(asked: Asked) -> (&'static str, &'static str) {
    match asked {
        Asked::ClosestFocus => ("closest_focus_m", "First frame focused at"),
        Asked::TargetDistance => ("target_distance_m", "Target distance"),
        Asked::Distances => ("distances", "Distances of single frames"),
        Asked::Order => ("order", "Order of the frames"),
    }
}

/// Numbers of the sweep's files, from 1, by name.
pub(super) fn numbers(sweep: &Sweep) -> HashMap<&str, usize> {
    sweep
        .files
        .iter()
        .enumerate()
        .map(|(index, (file, _))| (file.as_str(), index + 1))
        .collect()
}

/// The frames in sweep order; in file order while there is no result.
pub(super) fn frames(sweep: &Sweep, detail: Detail) -> Vec<FrameView> {
    let numbers = numbers(sweep);
    let Some(result) = &sweep.result else {
        return sweep
            .files
            .iter()
            .enumerate()
            .map(|(index, (file, _))| unmeasured(index + 1, file, sweep))
            .collect();
    };
    let measurement = &result.measurement;
    let with_finding: HashSet<&str> = measurement
        .findings
        .iter()
        .filter(|finding| finding.severity > Severity::Note)
        .flat_map(|finding| finding.files.iter().map(String::as_str))
        .collect();
    let summary = measurement.summary.as_ref();
    measurement
        .frames
        .iter()
        .enumerate()
        .filter_map(|(index, frame)| {
            let number = *numbers.get(frame.info.file.as_str())?;
            let mut view = measured(number, frame, measurement, sweep, detail);
            view.is_reference = summary.is_some_and(|summary| summary.reference == index);
            view.is_worst = summary.is_some_and(|summary| summary.worst == index);
            let is_broken = matches!(frame.state, FrameState::Failed(_));
            view.has_finding = is_broken || with_finding.contains(frame.info.file.as_str());
            Some(view)
        })
        .collect()
}

fn unmeasured(number: usize, file: &str, sweep: &Sweep) -> FrameView {
    FrameView {
        number,
        file: file.to_owned(),
        state: "not measured yet".into(),
        state_class: "tag",
        reason: String::new(),
        is_measured: false,
        is_left_out: sweep.settings.left_out.contains_key(file),
        has_picture: true,
        is_reference: false,
        is_worst: false,
        has_finding: false,
        focus: String::new(),
        separation: String::new(),
        shift: String::new(),
        blur: String::new(),
        targets: String::new(),
        overlay: String::new(),
        pointed: sweep
            .settings
            .pointed_at
            .get(file)
            .cloned()
            .unwrap_or_default(),
        along: String::new(),
        width: 3,
        height: 2,
    }
}

fn measured(
    number: usize,
    frame: &FrameResult,
    measurement: &SweepMeasurement,
    sweep: &Sweep,
    detail: Detail,
) -> FrameView {
    let size = measurement.picture_size_px.unwrap_or((3, 2));
    let (state, state_class) = match &frame.state {
        FrameState::Measured => ("measured", "tag tag-good"),
        FrameState::LeftOut(_) => ("left out", "tag"),
        FrameState::Failed(_) => ("not measured", "tag tag-warning"),
    };
    let blurs: Vec<String> = frame
        .blur_px
        .iter()
        .map(|blur| blur.map_or_else(|| "–".to_owned(), |px| format!("{px:.1}")))
        .collect();
    let unmeasured = unmeasured(number, &frame.info.file, sweep);
    let along = match axis(measurement) {
        Axis::Distance => frame.focus_dioptres.map(|setting| setting.value),
        Axis::Travel => Some(1.0 - frame.travel),
    };
    FrameView {
        focus: frame.focus_dioptres.map_or_else(
            || "distance not known".to_owned(),
            |setting| words::focus(setting.value),
        ),
        separation: frame.separation_px.map_or_else(String::new, |px| {
            format!("{:.2} ± {:.2} px", px.value, 2.0 * px.std_error)
        }),
        shift: frame.shift_pct.map_or_else(String::new, words::shift),
        blur: if frame.blur_px.iter().all(Option::is_none) {
            String::new()
        } else {
            format!("{} px", blurs.join(" and "))
        },
        targets: overlay::words(frame),
        overlay: overlay::svg(frame, &unmeasured.pointed, size, detail),
        along: along.map_or_else(String::new, |at| at.to_string()),
        width: size.0,
        height: size.1,
        state: state.to_owned(),
        state_class,
        reason: frame.state.reason().unwrap_or_default(),
        is_measured: frame.state == FrameState::Measured,
        is_left_out: matches!(frame.state, FrameState::LeftOut(_)),
        has_picture: !matches!(
            frame.state,
            FrameState::Failed(Unmeasurable::Undecodable(_))
        ),
        ..unmeasured
    }
}

/// The findings, heaviest first as they come.
pub(super) fn findings(sweep: &Sweep) -> Vec<FindingView> {
    let numbers = numbers(sweep);
    let Some(result) = &sweep.result else {
        return Vec::new();
    };
    result
        .measurement
        .findings
        .iter()
        .map(|finding| finding_view(finding, &numbers))
        .collect()
}

fn finding_view(finding: &Finding, numbers: &HashMap<&str, usize>) -> FindingView {
    let (severity, class) = match finding.severity {
        Severity::Stop => ("Stop", "notice notice-stop"),
        Severity::Warning => ("Warning", "notice notice-warning"),
        Severity::Note => ("Note", "notice"),
    };
    FindingView {
        severity,
        class,
        code: finding.code.code(),
        title: finding.code.title(),
        message: finding.message.clone(),
        frames: finding
            .files
            .iter()
            .filter_map(|file| Some((*numbers.get(file.as_str())?, file.clone())))
            .collect(),
        fields: finding.code.asks().iter().copied().map(field).collect(),
    }
}
