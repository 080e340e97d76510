//! What pages say of the result at one focal length.

use super::documents::{FocalDocument, against_farthest, conditions_words};
use crate::report::words;
use crate::sweep::{Direction, DistanceSource, Severity, ToleranceOutcome};
use crate::units::Measured;

impl FocalDocument {
    /// Focal length in words.
    pub(in crate::web) fn at(&self) -> String {
        words::focal_length(self.focal_length_mm)
    }

    /// The shift of largest magnitude with its expanded uncertainty, in words.
    pub(in crate::web) fn worst_words(&self) -> String {
        words::shift(self.result.worst_shift_pct)
    }

    /// The focal length that it frames like, with its expanded uncertainty, in words.
    pub(in crate::web) fn like_words(&self) -> String {
        words::equivalent_focal_length(Measured::new(
            self.equivalent_focal_length_mm,
            self.equivalent_focal_length_u_mm,
        ))
    }

    /// The horizontal angle of view at infinity and where the shift is worst, with the change, in words.
    pub(in crate::web) fn angle_words(&self) -> String {
        words::angle(
            self.angle_of_view_deg,
            self.angle_of_view_worst_deg,
            Measured::new(self.angle_change_pct, self.angle_change_u_pct),
        )
    }

    /// Closest focus that was measured, in words, and that the lens focuses nearer where frames are missing there.
    pub(in crate::web) fn closest_words(&self) -> String {
        let from = self
            .closest_focus_m
            .map_or_else(|| "not known".to_owned(), words::distance_from);
        match self.focuses_to_m {
            Some(closest) => format!(
                "measured from {from} on; the lens focuses to {}; the shift may be larger nearer",
                words::distance_from(closest)
            ),
            None => from,
        }
    }

    /// Distance to the targets, in words.
    pub(in crate::web) fn target_words(&self) -> String {
        self.target_distance_m
            .map_or_else(|| "not stated".to_owned(), words::metres)
    }

    /// Aperture in words.
    pub(in crate::web) fn aperture_words(&self) -> String {
        let stops: Vec<String> = self.f_numbers.iter().map(|n| format!("f/{n}")).collect();
        match stops.is_empty() {
            true => "not stated".to_owned(),
            false => stops.join(", "),
        }
    }

    /// Which way the picture goes, in words.
    pub(in crate::web) fn direction_words(&self) -> &'static str {
        let seen = Direction::of(self.result.worst_shift_pct);
        words::direction_of_repeats(seen, self.repeats_disagree)
    }

    /// The tolerance distance in words, said to be an estimate where it is one.
    pub(in crate::web) fn tolerance_words(&self) -> String {
        // Beside its uncertainty it has as many decimals.
        let plain = match self.tolerance_distance_m {
            Some(m) => words::distance_from_in_full(m),
            None => words::tolerance(self.outcome),
        };
        if self.outcome == ToleranceOutcome::Within && self.tolerance_doubt.is_some() {
            return "never as measured, in question".to_owned();
        }
        if self.distance_is_estimated() && self.tolerance_distance_m.is_some() {
            format!("about {plain}")
        } else {
            plain
        }
    }

    /// Up to where the tolerance may be exceeded, in words; `None` where that is no farther than what was measured.
    pub(in crate::web) fn tolerance_most_words(&self) -> Option<String> {
        let most = words::distance_from(self.tolerance_distance_most_m?);
        let known = self.tolerance_distance_m.map(words::distance_from);
        (known.as_deref() != Some(most.as_str())).then(|| format!("perhaps up to {most}"))
    }

    /// The expanded uncertainty of the tolerance distance in words, in as many decimals as the distance has; empty where there is
    /// no distance.
    pub(in crate::web) fn tolerance_u_words(&self) -> String {
        match (self.tolerance_distance_m, self.tolerance_distance_u_m) {
            (Some(m), Some(u)) => format!("± {}", words::uncertainty_of(m, 2.0 * u)),
            _ => String::new(),
        }
    }

    /// How much of the worst shift perspective may hold, in words.
    pub(in crate::web) fn perspective_words(&self) -> String {
        self.perspective_bound_pct.map_or_else(
            || "how much is not known".to_owned(),
            |bound| format!("up to {bound:.2} points"),
        )
    }

    /// The conditions in words.
    pub(in crate::web) fn conditions_words(&self) -> String {
        conditions_words(self.result.conditions)
    }

    /// Whether the distances come from blur.
    pub(in crate::web) fn distance_is_estimated(&self) -> bool {
        self.result.distance_source == DistanceSource::Blur
    }

    /// Where the distances come from, in words.
    pub(in crate::web) fn distance_source_words(&self) -> &'static str {
        match self.result.distance_source {
            DistanceSource::Exif => "from the files",
            DistanceSource::Entered => "given by the reviewer",
            DistanceSource::Blur => "estimated from the blur of the targets",
            DistanceSource::None => "not known",
        }
    }

    /// What it is measured against, in words.
    pub(in crate::web) fn reference_words(&self) -> String {
        match (self.relative_to, self.reference_shortfall_pct) {
            ("infinity", _) => "infinity".to_owned(),
            (_, Some(lacks)) => format!(
                "its farthest frame, not infinity: every shift lacks about {}",
                words::points(lacks)
            ),
            _ => "its farthest frame, not infinity: the true figures may be larger".to_owned(),
        }
    }

    /// What is said beside its numbers where they are not against infinity.
    pub(in crate::web) fn reference_note(&self) -> Option<String> {
        (self.relative_to == "farthest_frame")
            .then(|| against_farthest(self.reference_shortfall_pct))
    }

    /// How many warnings stand, and what they are about; `None` where there are none.
    pub(in crate::web) fn warnings_named(&self) -> Option<String> {
        let count = self.warning_words()?;
        let findings = self.result.findings.iter();
        let warnings = findings.filter(|finding| finding.severity == Severity::Warning);
        let mut titles: Vec<&str> = warnings.map(|finding| finding.code.title()).collect();
        titles.dedup();
        Some(format!("{count}: {}", titles.join("; ")))
    }

    /// How many warnings stand, in words; `None` where there are none.
    pub(in crate::web) fn warning_words(&self) -> Option<String> {
        let warnings = self
            .result
            .findings
            .iter()
            .filter(|finding| finding.severity == Severity::Warning)
            .count();
        (warnings > 0).then(|| words::count(warnings, "warning"))
    }
}
