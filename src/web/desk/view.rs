//! A sweep and its frames in the words and figures of the page.

use std::collections::{HashMap, HashSet};

use super::overlay;
use crate::charts::{Axis, Series, ShiftChart, Theme};
use crate::measure::Unmeasurable;
use crate::report::{FocalVerdict, words};
use crate::store::{Conditions, Sweep, Switch};
use crate::sweep::{
    DEFAULT_TOLERANCE_PCT, DistanceSource, Finding, FrameResult, FrameState, Severity,
    SweepMeasurement,
};
use crate::web::WebError;

/// A frame on the page.
pub(super) struct FrameView {
    /// Its place among the sweep's files, from 1; part of its address.
    pub(super) number: usize,
    pub(super) file: String,
    pub(super) state: String,
    pub(super) state_class: &'static str,
    pub(super) reason: String,
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
    pub(super) width: u32,
    pub(super) height: u32,
}

/// A finding on the page.
pub(super) struct FindingView {
    pub(super) severity: &'static str,
    pub(super) class: &'static str,
    pub(super) title: &'static str,
    pub(super) message: String,
    pub(super) advice: &'static str,
    /// Number and name of each frame that it is about.
    pub(super) frames: Vec<(usize, String)>,
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
pub(super) fn frames(sweep: &Sweep) -> Vec<FrameView> {
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
            let mut view = measured(number, frame, measurement, sweep);
            view.is_reference = summary.is_some_and(|summary| summary.reference == index);
            view.is_worst = summary.is_some_and(|summary| summary.worst == index);
            view.has_finding = with_finding.contains(frame.info.file.as_str());
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
        width: 3,
        height: 2,
    }
}

fn measured(
    number: usize,
    frame: &FrameResult,
    measurement: &SweepMeasurement,
    sweep: &Sweep,
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
    FrameView {
        focus: frame.focus_dioptres.map_or_else(
            || "unknown".to_owned(),
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
        overlay: overlay::svg(frame, size),
        width: size.0,
        height: size.1,
        state: state.to_owned(),
        state_class,
        reason: frame.state.reason().unwrap_or_default(),
        is_left_out: matches!(frame.state, FrameState::LeftOut(_)),
        has_picture: !matches!(
            frame.state,
            FrameState::Failed(Unmeasurable::Undecodable(_))
        ),
        ..unmeasured(number, &frame.info.file, sweep)
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
        title: finding.code.title(),
        message: finding.message.clone(),
        advice: finding.code.advice(),
        frames: finding
            .files
            .iter()
            .filter_map(|file| Some((*numbers.get(file.as_str())?, file.clone())))
            .collect(),
    }
}

/// The verdict in a sentence; `None` where there is no result or a stop stands.
pub(super) fn verdict(measurement: &SweepMeasurement) -> Option<String> {
    let summary = measurement.summary.as_ref()?;
    let verdict = FocalVerdict {
        focal_length_mm: measurement.focal_length.map(|focal| focal.mm()),
        worst_shift_pct: summary.worst_shift_pct,
        outcome: summary.curve.tolerance_outcome(DEFAULT_TOLERANCE_PCT),
        tolerance_pct: DEFAULT_TOLERANCE_PCT,
        relative_to_farthest: summary.relative_to_farthest,
        distances_estimated: measurement.distance_source == DistanceSource::Blur,
    };
    Some(verdict.sentence())
}

/// The chart as SVG for wide and for narrow pages; `None` where there is no curve.
pub(super) fn charts(measurement: &SweepMeasurement) -> Result<Option<(String, String)>, WebError> {
    let Some(summary) = &measurement.summary else {
        return Ok(None);
    };
    if summary.curve.points().is_empty() {
        return Ok(None);
    }
    let axis = if measurement.distance_source == DistanceSource::None {
        Axis::Travel
    } else {
        Axis::Distance
    };
    let label = measurement.focal_length.map_or_else(
        || measurement.name.clone(),
        |focal| words::focal_length(focal.mm()),
    );
    let mut chart = ShiftChart {
        title: String::new(),
        series: vec![Series {
            label,
            curve: summary.curve.clone(),
        }],
        tolerance_pct: DEFAULT_TOLERANCE_PCT,
        axis,
        theme: Theme::Page,
        width: 1040,
        height: 460,
        pull_dioptres: None,
    };
    let wide = chart.svg()?;
    (chart.width, chart.height) = (420, 340);
    Ok(Some((wide, chart.svg()?)))
}

/// What is known of the sweep, as terms and what is to say of them.
pub(super) fn facts(sweep: &Sweep) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    if let Some(result) = &sweep.result {
        let measurement = &result.measurement;
        let outcome = measurement
            .summary
            .as_ref()
            .map(|summary| summary.curve.tolerance_outcome(DEFAULT_TOLERANCE_PCT));
        let mut add = |term, value: Option<String>| {
            if let Some(value) = value {
                facts.push((term, value));
            }
        };
        add(
            "Worst shift",
            measurement.summary.as_ref().map(|summary| {
                format!(
                    "{} ({}, k = 2)",
                    words::shift(summary.worst_shift_pct),
                    words::direction(summary.direction())
                )
            }),
        );
        add(
            "Frames like",
            measurement
                .equivalent_focal_length_mm()
                .map(words::equivalent_focal_length),
        );
        add("Tolerance distance (2 %)", outcome.map(words::tolerance));
        add(
            "Frames",
            Some(format!(
                "{} of {} measured",
                measurement.measured_count(),
                measurement.frames.len()
            )),
        );
        add(
            "Focal length",
            measurement
                .focal_length
                .map(|focal| words::focal_length(focal.mm())),
        );
        add(
            "Aperture",
            measurement.f_number.map(|stop| stop.to_string()),
        );
        add("Camera", measurement.camera.clone());
        add("Lens in the files", measurement.lens.clone());
        add(
            "Distances",
            Some(distance_words(measurement.distance_source).to_owned()),
        );
        add(
            "Measured",
            Some(format!(
                "{}, algorithm {}",
                words::moment(result.measured_ms),
                result.algorithm_version
            )),
        );
    }
    facts.extend(conditions(&sweep.conditions));
    facts
}

const fn distance_words(source: DistanceSource) -> &'static str {
    match source {
        DistanceSource::Exif => "from the camera's files",
        DistanceSource::Entered => "given by the reviewer",
        DistanceSource::Blur => "estimated from the blur",
        DistanceSource::None => "not known",
    }
}

fn conditions(conditions: &Conditions) -> Vec<(&'static str, String)> {
    let mut facts = vec![
        (
            "Distortion correction",
            switch(conditions.distortion_correction),
        ),
        (
            "Breathing compensation",
            switch(conditions.breathing_compensation),
        ),
        ("Stabilisation", switch(conditions.stabilisation)),
    ];
    if let Some(distance) = conditions.target_distance {
        facts.push(("Target distance", words::distance(distance.m())));
    }
    facts
}

fn switch(switch: Switch) -> String {
    match switch {
        Switch::On => "on",
        Switch::Off => "off",
        Switch::Unknown => "not stated",
    }
    .to_owned()
}

/// Why a sweep can't be published now; empty when it can.
pub(super) fn publishing_stops(sweep: &Sweep) -> Vec<String> {
    let mut stops = Vec::new();
    if super::is_measuring(sweep.job.as_ref()) {
        stops.push("It is being measured; wait until that is done.".to_owned());
    }
    let Some(result) = &sweep.result else {
        stops.push("There is no result yet.".to_owned());
        return stops;
    };
    for finding in &result.measurement.findings {
        if finding.severity == Severity::Stop {
            stops.push(format!(
                "{}. {}",
                finding.code.title(),
                finding.code.advice()
            ));
        }
    }
    if sweep
        .publications
        .iter()
        .any(|publication| publication.withdrawn.is_none() && publication.result == result.id)
    {
        stops.push("This result is public already.".to_owned());
    }
    stops
}
