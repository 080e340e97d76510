//! What pages say of the result at one focal length.

use super::documents::{AGAINST_FARTHEST, FocalDocument};
use crate::report::words;
use crate::sweep::{Direction, DistanceSource, Severity};
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

    /// Closest focus that was measured, in words.
    pub(in crate::web) fn closest_words(&self) -> String {
        self.closest_focus_m
            .map_or_else(|| "not known".to_owned(), words::distance_from)
    }

    /// Distance to the targets, in words.
    pub(in crate::web) fn target_words(&self) -> String {
        self.target_distance_m
            .map_or_else(|| "not stated".to_owned(), words::metres)
    }

    /// Aperture in words.
    pub(in crate::web) fn aperture_words(&self) -> String {
        self.f_number
            .map_or_else(|| "not stated".to_owned(), |stop| format!("f/{stop}"))
    }

    /// Which way the picture goes, in words.
    pub(in crate::web) fn direction_words(&self) -> &'static str {
        let seen = Direction::of(self.result.worst_shift_pct);
        words::direction_of_repeats(seen, self.repeats_disagree)
    }

    /// The tolerance distance in words, said to be an estimate where it is one.
    pub(in crate::web) fn tolerance_words(&self) -> String {
        let plain = words::tolerance(self.outcome);
        if self.distance_is_estimated() && self.tolerance_distance_m.is_some() {
            format!("about {plain}")
        } else {
            plain
        }
    }

    /// The expanded uncertainty of the tolerance distance in words; empty where there is no distance.
    pub(in crate::web) fn tolerance_u_words(&self) -> String {
        self.tolerance_distance_u_m
            .map_or_else(String::new, |u| format!("± {}", words::metres(2.0 * u)))
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
    pub(in crate::web) fn reference_words(&self) -> &'static str {
        match self.relative_to {
            "infinity" => "infinity",
            _ => "its farthest frame, not infinity: the true figures may be larger",
        }
    }

    /// What is said beside its numbers where they are not against infinity.
    pub(in crate::web) fn reference_note(&self) -> Option<&'static str> {
        (self.relative_to == "farthest_frame").then_some(AGAINST_FARTHEST)
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
