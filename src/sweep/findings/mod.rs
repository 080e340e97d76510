//! What is remarkable about a measured sweep. Codes, titles and advice stand in `finding`; here is when and with which figures.

mod disagreement;
mod distances;
mod files;
mod light;
mod motion;
mod pictures;

use super::evidence::Evidence;
use super::{Code, Finding, FrameResult, Severity, SweepMeasurement, SweepSettings};

/// A shift or a part of one in words, per cent or percentage points: two decimals, its sign in any case, a true minus.
fn signed(pct: f64) -> String {
    format!("{pct:+.2}").replace('-', "−")
}

/// Finds everything, heaviest first, then in the order of the codes; a stop takes the verdict away.
pub(super) fn raise(sweep: &mut SweepMeasurement, settings: &SweepSettings, evidence: &Evidence) {
    let mut findings: Vec<Finding> = [
        files::frame_count(sweep),
        files::mixed_lenses(sweep),
        files::focal_length_changed(sweep, settings),
        files::several_runs(evidence.standing.runs.as_ref()),
        files::frame_missing(sweep, &evidence.standing.places),
        files::frames_not_measured(sweep, evidence.standing.restored),
        distances::not_at_infinity(sweep, evidence),
        distances::order_uncertain(sweep, evidence),
        distances::unknown(sweep, settings, evidence),
        disagreement::disagrees(sweep, settings, evidence),
        motion::slipped(sweep, evidence.slip.as_ref()),
        motion::target_moved(sweep, evidence),
        motion::camera_moved(sweep, evidence),
        pictures::clipped(sweep),
        pictures::saturated(sweep),
        pictures::faint(sweep),
        light::uneven_exposure(sweep, &evidence.exposures),
        pictures::close_together(sweep),
        pictures::blur_vignetted(sweep, evidence),
        pictures::other_light(sweep, evidence),
        pictures::uneven_background(sweep, evidence),
        pictures::sensor_dust(sweep, evidence),
    ]
    .into_iter()
    .flatten()
    .collect();
    findings.sort_by(|a, b| b.severity.cmp(&a.severity).then(a.code.cmp(&b.code)));
    // One finding a code: the first is the weightier one.
    findings.dedup_by_key(|finding| finding.code);
    sweep.findings = findings;
    if sweep.is_stopped() {
        sweep.summary = None;
        // No distances for a result that is not there.
        sweep
            .findings
            .retain(|finding| finding.code != Code::DistanceUnknown);
    }
}

/// A finding about some frames, or the whole sweep where there are none.
fn finding(code: Code, severity: Severity, message: String, files: Vec<String>) -> Finding {
    Finding {
        code,
        severity,
        message,
        files,
    }
}

/// Names of the files of some frames.
fn names<'a>(frames: impl IntoIterator<Item = &'a FrameResult>) -> Vec<String> {
    frames
        .into_iter()
        .map(|frame| frame.info.file.clone())
        .collect()
}

/// A standard uncertainty of a shift, percentage points, as pages state it: expanded, and never rounded to 0.
fn expanded(u_pct: f64) -> String {
    format!(
        "± {:.3} percentage points (k = 2)",
        (2.0 * u_pct).max(0.001)
    )
}

/// Standard uncertainty of the worst shift, percentage points.
fn worst_u(sweep: &SweepMeasurement) -> Option<f64> {
    Some(sweep.summary.as_ref()?.worst_shift_pct.std_error)
}
