//! What is known of a sweep as a whole: verdict, chart, facts, uncertainty budget.

use crate::charts::{Axis, Series, ShiftChart, Theme};
use crate::report::{FocalVerdict, MeasuredFrom, OtherWay, words};
use crate::store::{Sweep, Switch};
use crate::sweep::{
    BudgetLine, DEFAULT_TOLERANCE_PCT, DistanceSource, LeftOpen, NearEnd, Part, Perspective,
    SweepMeasurement, ToleranceOutcome, Unseen, farthest_m,
};
use crate::web::WebError;

/// What runs along the bottom of its chart: distance, but travel where no distance is known.
pub(super) fn axis(measurement: &SweepMeasurement) -> Axis {
    if measurement.distance_source == DistanceSource::None {
        Axis::Travel
    } else {
        Axis::Distance
    }
}

/// Lens and focal length, as a sweep is headed.
pub(super) fn heading(sweep: &Sweep) -> String {
    let lens = sweep.lens.about.name();
    let measurement = sweep.result.as_ref().map(|result| &result.measurement);
    match measurement.and_then(|measurement| measurement.focal_length) {
        Some(focal) => format!("{lens} at {}", words::focal_length(focal.mm())),
        None => lens,
    }
}

/// The verdict in a sentence; `None` where there is no result or a stop stands.
pub(super) fn verdict(measurement: &SweepMeasurement) -> Option<String> {
    let summary = measurement.summary.as_ref()?;
    let closest_m = measurement.closest_focus.map(|closest| closest.m());
    let perspective = measurement.focal_length.and_then(|focal| {
        let bound = summary.budget.bound_pct(Part::EntrancePupil);
        Perspective::of(bound, focal.mm(), closest_m)
    });
    let shortfall_pct = summary.budget.bound_pct(Part::ReferenceNotAtInfinity);
    let unseen = Unseen::of(&summary.budget.systematic);
    let open = LeftOpen::new(perspective, shortfall_pct, unseen);
    let verdict = FocalVerdict {
        focal_length_mm: measurement.focal_length.map(|focal| focal.mm()),
        worst_shift_pct: summary.worst_shift_pct,
        perspective_pct: summary.budget.bound_pct(Part::EntrancePupil),
        shortfall_pct,
        unseen_pct: unseen.at_worst_pct(),
        may_reach_m: open.may_reach_m(&summary.curve, DEFAULT_TOLERANCE_PCT),
        other_way: OtherWay::of(&summary.curve, summary.worst_shift_pct),
        measured_from: MeasuredFrom::of(&summary.curve, NearEnd::default()),
        outcome: summary.curve.tolerance_outcome(DEFAULT_TOLERANCE_PCT),
        tolerance_pct: DEFAULT_TOLERANCE_PCT,
        relative_to_farthest: summary.relative_to_farthest,
        measured_to_m: farthest_m(&summary.curve),
        distances_estimated: measurement.distance_source == DistanceSource::Blur,
        // One sweep alone.
        repeats_disagree: false,
    };
    Some(verdict.sentence())
}

/// Sides of the chart, px: beside the facts on wide pages, across narrow ones, so that its type is as large as drawn.
const WIDE_SIDES: (u32, u32) = (560, 380);
const NARROW_SIDES: (u32, u32) = (360, 340);

/// The chart as SVG for wide and for narrow pages; `None` where there is no curve.
pub(super) fn charts(measurement: &SweepMeasurement) -> Result<Option<(String, String)>, WebError> {
    let Some(summary) = &measurement.summary else {
        return Ok(None);
    };
    if summary.curve.points().is_empty() {
        return Ok(None);
    }
    let label = measurement.focal_length.map_or_else(
        || measurement.name.clone(),
        |focal| words::focal_length(focal.mm()),
    );
    let mut chart = ShiftChart {
        title: String::new(),
        notes: Vec::new(),
        series: vec![Series {
            label,
            curve: summary.curve.clone(),
        }],
        tolerance_pct: DEFAULT_TOLERANCE_PCT,
        axis: axis(measurement),
        theme: Theme::Page,
        width: WIDE_SIDES.0,
        height: WIDE_SIDES.1,
        pull_dioptres: None,
    };
    let wide = chart.svg()?;
    (chart.width, chart.height) = NARROW_SIDES;
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
        add(
            "Tolerance distance (2 %)",
            outcome.map(|outcome| tolerance(outcome, measurement.distance_source)),
        );
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
                "{}, algorithm\u{a0}{}",
                words::moment(result.measured_ms),
                result.algorithm_version
            )),
        );
    }
    facts.extend(conditions(sweep));
    facts
}

/// The tolerance distance with its expanded uncertainty, said to be an estimate where it is one.
fn tolerance(outcome: ToleranceOutcome, source: DistanceSource) -> String {
    let Some(distance) = outcome.distance_m() else {
        return words::tolerance(outcome);
    };
    let about = match source {
        DistanceSource::Blur => "about ",
        _ => "",
    };
    let (m, u) = (distance.value, 2.0 * distance.std_error);
    let (told, u) = (words::distance_from_in_full(m), words::uncertainty_of(m, u));
    format!("{about}{told} ± {u} (k = 2)")
}

const fn distance_words(source: DistanceSource) -> &'static str {
    match source {
        DistanceSource::Exif => "from the camera's files",
        DistanceSource::Entered => "given by the reviewer",
        DistanceSource::Blur => "estimated from the blur",
        DistanceSource::None => "not known",
    }
}

/// What is said of the shoot, as terms and what is to say of them.
pub(super) fn conditions(sweep: &Sweep) -> Vec<(&'static str, String)> {
    let conditions = &sweep.conditions;
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
    let target_distance = sweep
        .settings
        .target_distance
        .or(conditions.target_distance);
    if let Some(distance) = target_distance {
        facts.push(("Target distance", words::distance(distance.m())));
    }
    facts
}

/// The line under the random parts of a budget.
pub(super) const TOGETHER: &str =
    "Together: the root of the sum of their squares, half of the stated ±";

/// The uncertainty budget of the worst shift: what it is, whether it is a bound, how much.
pub(super) fn budget(sweep: &Sweep) -> Vec<(&'static str, &'static str, String)> {
    let Some(summary) = sweep
        .result
        .as_ref()
        .and_then(|result| result.measurement.summary.as_ref())
    else {
        return Vec::new();
    };
    let random = summary
        .budget
        .random
        .iter()
        .map(|line| (line, "random, k = 1"));
    let bounds = summary.budget.systematic.iter().map(|line| (line, "bound"));
    let told = |(line, kind): (&BudgetLine, _)| {
        (line.part.description(), kind, format!("{:.4}", line.pct))
    };
    let together = format!("{:.4}", summary.worst_shift_pct.std_error);
    let mut lines: Vec<_> = random.map(told).collect();
    lines.push((TOGETHER, "random, k = 1", together));
    lines.extend(bounds.map(told));
    lines
}

fn switch(switch: Switch) -> String {
    match switch {
        Switch::On => "on",
        Switch::Off => "off",
        Switch::Unknown => "not stated",
    }
    .to_owned()
}
