//! The report of a sweep as a person reads it on a terminal.

use std::fmt::Write;

use super::words;
use crate::sweep::{Asked, Severity, SweepMeasurement, ToleranceOutcome};

/// A bound that stands beside the uncertainty is worth a line from here, percentage points: shifts are shown to a fifth of this.
const WORTH_A_LINE_PCT: f64 = 0.05;

/// One sweep as lines of text: what it is, the verdict, the tolerance distance, findings in words.
#[must_use]
pub fn sweep_table(sweep: &SweepMeasurement, tolerance_pct: f64) -> String {
    let mut text = String::new();
    let mut line = |label: &str, value: &str| {
        // Writing into a string can't fail.
        let _ = writeln!(text, "  {label:<22}{value}");
    };
    line(
        "focal length",
        &sweep
            .focal_length
            .map_or_else(unknown, |f| words::focal_length(f.mm())),
    );
    line(
        "aperture",
        &sweep.f_number.map_or_else(unknown, |stop| stop.to_string()),
    );
    if let Some(lens) = &sweep.lens {
        line("lens", lens);
    }
    let measured = sweep.measured_count();
    let frames = words::count(sweep.frames.len(), "frame");
    line("frames", &format!("{measured} of {frames} measured"));
    if let Some(summary) = &sweep.summary {
        let against = if summary.relative_to_farthest {
            ", against the farthest frame"
        } else {
            ""
        };
        line(
            "worst shift",
            &format!(
                "{} percentage points (k = 2){against}",
                words::shift(summary.worst_shift_pct)
            ),
        );
        for bound in &summary.budget.systematic {
            if bound.pct.abs() > summary.worst_shift_pct.std_error.max(WORTH_A_LINE_PCT) {
                line(
                    "beside that",
                    &format!(
                        "{:.2} percentage points. {}",
                        bound.pct.abs(),
                        bound.part.description()
                    ),
                );
            }
        }
        line("direction", words::direction(summary.direction()));
        if let Some(equivalent) = sweep.equivalent_focal_length_mm() {
            line("frames like", &words::equivalent_focal_length(equivalent));
        }
        let outcome = summary.curve.tolerance_outcome(tolerance_pct);
        line(
            &format!("within {} beyond", words::plain_pct(tolerance_pct)),
            &if outcome == ToleranceOutcome::Within && summary.curve.begins_late() {
                "not exceeded where it was measured".to_owned()
            } else {
                words::tolerance(outcome)
            },
        );
    } else {
        line(
            "worst shift",
            "no result until the findings below are mended",
        );
    }
    let title = format!(
        "{}\n{}\n",
        sweep.name,
        "─".repeat(sweep.name.chars().count().max(8))
    );
    format!("{title}{text}{}", findings(sweep))
}

fn findings(sweep: &SweepMeasurement) -> String {
    if sweep.findings.is_empty() {
        return "  nothing to find fault with\n".to_owned();
    }
    sweep
        .findings
        .iter()
        .fold(String::new(), |mut text, finding| {
            let weight = match finding.severity {
                Severity::Note => "note",
                Severity::Warning => "WARNING",
                Severity::Stop => "STOP",
            };
            let _ = writeln!(text, "  {weight}: {}", finding.message);
            let options: Vec<&str> = finding.code.asks().iter().copied().map(option).collect();
            if !options.is_empty() {
                let _ = writeln!(text, "    Options for that: {}", options.join(", "));
            }
            text
        })
}

/// The option of `breathmark measure` that says it.
const fn option(asked: Asked) -> &'static str {
    match asked {
        Asked::ClosestFocus => "--closest-focus-m",
        Asked::TargetDistance => "--target-distance-m",
        Asked::Distances => "--distances",
        Asked::Order => "--order",
    }
}

fn unknown() -> String {
    "not known".to_owned()
}
