//! Sweeps of one lens that repeat each other, as one result: for programs and for a terminal.

use std::fmt::Write;

use serde::Serialize;
use utoipa::ToSchema;

use super::{BudgetLineDocument, FindingDocument, words};
use crate::sweep::{Direction, RepeatGroup, SweepMeasurement, ToleranceOutcome};

/// Repeats as one result. `u` fields are standard uncertainties (k = 1).
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct RepeatsDocument {
    /// Places of the sweeps that count in the list `sweeps`, from 0.
    pub sweeps: Vec<usize>,
    /// Their names.
    pub names: Vec<String>,
    /// Places of sweeps that hold pictures of one of these, byte for byte, and so don't count.
    pub same_pictures: Vec<usize>,
    /// Places of sweeps that begin farther off than these or end before infinity, and so don't count.
    pub partial: Vec<usize>,
    /// Lens that the files state.
    pub lens: Option<String>,
    /// Marked focal length, mm.
    pub focal_length_mm: Option<f64>,
    /// Shift of largest magnitude, per cent; positive is tighter.
    pub worst_shift_pct: f64,
    /// Its standard uncertainty, percentage points: of all of them together, wider where they scatter.
    pub worst_shift_u_pct: f64,
    /// Whether that is the mean, weighted by certainty; else it is what the surest sweep says.
    pub is_mean: bool,
    /// Place of the surest sweep, whose curve is used, in the list `sweeps`.
    pub surest: usize,
    /// Whether they differ by more than their uncertainties.
    pub disagree: bool,
    /// `infinity`, or `farthest_frame` where one of them is not known to end at infinity.
    pub relative_to: &'static str,
    /// `tighter`, `wider`, or `none`.
    pub direction: &'static str,
    /// The focal length that the lens frames like at its worst, mm.
    pub equivalent_focal_length_mm: Option<f64>,
    /// Its standard uncertainty, mm: that of the shift.
    pub equivalent_focal_length_u_mm: Option<f64>,
    /// Tolerance that the next fields hold for, per cent.
    pub tolerance_pct: f64,
    /// `within`, `exceeded` or `unknown`.
    pub tolerance_outcome: &'static str,
    /// Farthest focus distance at which the magnitude of shift exceeds the tolerance, m.
    pub tolerance_distance_m: Option<f64>,
    /// Its standard uncertainty, m.
    pub tolerance_distance_u_m: Option<f64>,
    /// Bounds that no scatter shows, the largest of each part.
    pub systematic: Vec<BudgetLineDocument>,
    /// What was noticed of them together.
    pub findings: Vec<FindingDocument>,
}

impl RepeatsDocument {
    /// The document of a group of repeats among `sweeps`; `None` where it names a sweep that is not there.
    #[must_use]
    pub fn new(
        sweeps: &[SweepMeasurement],
        group: &RepeatGroup,
        tolerance_pct: f64,
    ) -> Option<Self> {
        let counted: Option<Vec<&SweepMeasurement>> =
            group.counted.iter().map(|&at| sweeps.get(at)).collect();
        let counted = counted?;
        let surest = counted.get(group.together.combined.surest)?;
        let worst = group.together.worst_shift_pct;
        let outcome = outcome(group, tolerance_pct);
        let distance = outcome.distance_m();
        let focal_length_mm = surest.focal_length.map(|focal| focal.mm());
        let like = surest.frames_like_mm(group.together.worst_shift_pct);
        Some(Self {
            sweeps: group.counted.clone(),
            names: counted.iter().map(|sweep| sweep.name.clone()).collect(),
            same_pictures: group.same_pictures.clone(),
            partial: group.partial.clone(),
            lens: surest.lens.clone(),
            focal_length_mm,
            worst_shift_pct: worst.value,
            worst_shift_u_pct: worst.std_error,
            is_mean: group.together.combined.is_mean,
            surest: group.counted[group.together.combined.surest],
            disagree: group.together.combined.disagree,
            relative_to: if is_to_farthest(&counted) {
                "farthest_frame"
            } else {
                "infinity"
            },
            direction: Direction::of(worst).code(),
            equivalent_focal_length_mm: like.map(|like| like.value),
            equivalent_focal_length_u_mm: like.map(|like| like.std_error),
            tolerance_pct,
            tolerance_outcome: outcome.code(),
            tolerance_distance_m: distance.map(|distance| distance.value),
            tolerance_distance_u_m: distance.map(|distance| distance.std_error),
            systematic: group
                .together
                .systematic
                .iter()
                .map(BudgetLineDocument::new)
                .collect(),
            findings: group
                .together
                .disagreement
                .iter()
                .map(FindingDocument::new)
                .collect(),
        })
    }
}

fn outcome(group: &RepeatGroup, tolerance_pct: f64) -> ToleranceOutcome {
    group.together.curve.tolerance_outcome(tolerance_pct)
}

fn is_to_farthest(counted: &[&SweepMeasurement]) -> bool {
    let summaries = counted.iter().filter_map(|sweep| sweep.summary.as_ref());
    summaries
        .into_iter()
        .any(|summary| summary.relative_to_farthest)
}

/// A group of repeats as lines of text: each with its worst shift, then what they come to.
#[must_use]
pub fn repeats_table(
    sweeps: &[SweepMeasurement],
    group: &RepeatGroup,
    tolerance_pct: f64,
) -> String {
    let counted: Vec<&SweepMeasurement> = group
        .counted
        .iter()
        .filter_map(|&at| sweeps.get(at))
        .collect();
    let Some(surest) = counted.get(group.together.combined.surest) else {
        return String::new();
    };
    let focal = surest.focal_length.map_or_else(String::new, |focal| {
        format!(" at {}", words::focal_length(focal.mm()))
    });
    let title = format!(
        "{}{focal}, {} together",
        surest.lens.as_deref().unwrap_or("The same lens"),
        words::count(counted.len(), "sweep")
    );
    let mut text = format!("{title}\n{}\n", "─".repeat(title.chars().count()));
    let mut line = |label: &str, value: &str| {
        // Writing into a string can't fail.
        let _ = writeln!(text, "  {label:<22}{value}");
    };
    for sweep in &counted {
        if let Some(summary) = &sweep.summary {
            line(&sweep.name, &words::shift(summary.worst_shift_pct));
        }
    }
    for (places, why) in [
        (
            &group.same_pictures,
            "holds the same pictures as one of these",
        ),
        (&group.partial, "covers less of the focus range than these"),
    ] {
        for sweep in places.iter().filter_map(|&at| sweeps.get(at)) {
            line(&sweep.name, &format!("{why}; it does not count"));
        }
    }
    let worst = group.together.worst_shift_pct;
    let against = if is_to_farthest(&counted) {
        ", against the farthest frame"
    } else {
        ""
    };
    line(
        "worst shift",
        &format!(
            "{} percentage points (k = 2){against}; {}",
            words::shift(worst),
            words::taken_together(group.together.combined.is_mean)
        ),
    );
    line("direction", words::direction(Direction::of(worst)));
    if let Some(like) = surest.frames_like_mm(group.together.worst_shift_pct) {
        line("frames like", &words::equivalent_focal_length(like));
    }
    line(
        &format!("within {} beyond", words::plain_pct(tolerance_pct)),
        &words::tolerance(outcome(group, tolerance_pct)),
    );
    match &group.together.disagreement {
        Some(finding) => {
            let _ = writeln!(text, "  WARNING: {}", finding.message);
        }
        None => text.push_str("  they agree within their uncertainties\n"),
    }
    text
}
