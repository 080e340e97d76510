//! A row of the ranking: one lens, judged at the reader's tolerance.

use serde::Serialize;
use utoipa::ToSchema;

use super::documents::{LensHead, against_farthest, conditions_words, relative_to, timestamp};
use super::judged::{at_focal_length, doubt_of, judged, most_of, strips, verdicts, worst_of};
use crate::report::{Coverage, FocalVerdict, short_verdict, words};
use crate::store::{ConditionsKey, RankedBy, RankedLens};
use crate::sweep::{Direction, NearEnd, ToleranceOutcome};
use crate::units::Measured;

/// One focal length of a row of the ranking.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct StripDocument {
    /// Marked focal length, mm.
    pub(in crate::web) focal_length_mm: f64,
    /// Shift of largest magnitude, per cent.
    pub(in crate::web) worst_shift_pct: f64,
    /// Its standard uncertainty, percentage points.
    pub(in crate::web) worst_shift_u_pct: f64,
    /// `within`, `exceeded` or `unknown`.
    pub(in crate::web) tolerance_outcome: &'static str,
    /// Tolerance distance, m.
    pub(in crate::web) tolerance_distance_m: Option<f64>,
    /// Farthest focus distance, m, at which the tolerance may be exceeded once all is counted that is left open, as in the record
    /// of the lens; `null` where that is no farther than `tolerance_distance_m` by a fiftieth, or not known.
    pub(in crate::web) tolerance_distance_most_m: Option<f64>,
    /// Why it is open whether the tolerance is exceeded at all: `reference`, `perspective`, `pictures`, `uncertainty` or `near_end`, as in
    /// the record of the lens; `null` where it is not open.
    pub(in crate::web) tolerance_doubt: Option<&'static str>,
    /// What the shift is measured against: `infinity`, or `farthest_frame`.
    pub(in crate::web) relative_to: &'static str,
    /// How much of the shift perspective may hold, percentage points: its true value lies between it less this and itself.
    /// `null` where it is not known.
    pub(in crate::web) perspective_bound_pct: Option<f64>,
}

/// A row of the ranking.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct RankedDocument {
    /// The lens.
    pub(in crate::web) lens: LensHead,
    /// Whether something is published under the conditions and near the focal length asked for.
    pub(in crate::web) measured: bool,
    /// Focal length of the result that the row is ranked and judged by, the one nearest to `focal_mm`, mm; `null` where no
    /// focal length was asked for, so that all of them count, or nothing is near.
    pub(in crate::web) ranked_focal_length_mm: Option<f64>,
    /// Shift of largest magnitude over the focal lengths that it is ranked by, per cent.
    pub(in crate::web) worst_shift_pct: Option<f64>,
    /// Its standard uncertainty, percentage points.
    pub(in crate::web) worst_shift_u_pct: Option<f64>,
    /// How much of it perspective may hold, percentage points: its true value lies between it less this and itself; `null`
    /// where it is not known.
    pub(in crate::web) perspective_bound_pct: Option<f64>,
    /// What about it lacks because the reference is short of infinity, percentage points, to be added with its sign; `null` where it
    /// is not known, or does not apply.
    pub(in crate::web) reference_shortfall_pct: Option<f64>,
    /// Focal length at which it happens, mm.
    pub(in crate::web) worst_focal_length_mm: Option<f64>,
    /// `within` (at every focal length that it is ranked by), `exceeded`, or `unknown`.
    pub(in crate::web) tolerance_outcome: Option<&'static str>,
    /// Farthest tolerance distance over the focal lengths that it is ranked by, m.
    pub(in crate::web) tolerance_distance_m: Option<f64>,
    /// Farthest focus distance, m, at which the tolerance may be exceeded once all is counted that is left open, as in the record
    /// of the lens; `null` where that is no farther than `tolerance_distance_m`, or not known.
    pub(in crate::web) tolerance_distance_most_m: Option<f64>,
    /// Why it is open whether the tolerance is exceeded at all: `reference`, `perspective`, `pictures`, `uncertainty` or `near_end`, as in
    /// the record of the lens; `null` where it is not open.
    pub(in crate::web) tolerance_doubt: Option<&'static str>,
    /// The verdict in a few words, with the focal length where it holds for one of several; `null` where nothing was measured.
    pub(in crate::web) verdict: Option<String>,
    /// Shortest focal length that was measured, mm, where the lens goes clearly shorter (by more than a factor of 1.1) and the
    /// row stands for all of it; else `null`.
    pub(in crate::web) nothing_measured_below_mm: Option<f64>,
    /// Longest focal length that was measured, mm, where the lens goes clearly longer and the row stands for all of it; else
    /// `null`.
    pub(in crate::web) nothing_measured_above_mm: Option<f64>,
    /// What the shifts are measured against: `infinity`, or `farthest_frame` where one of the sweeps ends before infinity,
    /// so that the true figures may be larger; `null` where nothing was measured.
    pub(in crate::web) relative_to: Option<&'static str>,
    /// Shift of largest magnitude over all focal lengths, whatever it is ranked by, per cent.
    pub(in crate::web) whole_lens_worst_shift_pct: Option<f64>,
    /// Focal length at which that happens, mm.
    pub(in crate::web) whole_lens_worst_focal_length_mm: Option<f64>,
    /// How many warnings stand.
    pub(in crate::web) warnings: usize,
    /// Worst shift along the zoom, all its focal lengths.
    pub(in crate::web) results: Vec<StripDocument>,
    /// When something of it was published last (RFC 3339, UTC).
    pub(in crate::web) published_at: Option<String>,
    /// Every set of conditions that it has results under, whichever the list is about, in the order of the ranking; empty where
    /// nothing is published of it.
    pub(in crate::web) measured_under: Vec<String>,
    /// The same, for the page.
    #[serde(skip)]
    #[schema(ignore)]
    elsewhere: Vec<ConditionsKey>,
    /// Whether all that it is ranked by was measured well enough to tell.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) is_told: bool,
    /// Whether it focuses nearer than something of it was measured, where it may shift more.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) is_open_nearer: bool,
    /// Tolerance that it was judged by, per cent.
    #[serde(skip)]
    #[schema(ignore)]
    tolerance_pct: f64,
    /// Whether it has more than one focal length.
    #[serde(skip)]
    #[schema(ignore)]
    is_zoom: bool,
    /// Whether one of the distances is an estimate from blur.
    #[serde(skip)]
    #[schema(ignore)]
    estimated: bool,
    /// Whether the sweeps behind the worst shift disagree.
    #[serde(skip)]
    #[schema(ignore)]
    repeats_disagree: bool,
}

impl RankedDocument {
    /// The row of a lens at this tolerance.
    pub(in crate::web) fn new(ranked: &RankedLens, tolerance_pct: f64, site: &str) -> Self {
        let judge = |result| judged(result, tolerance_pct);
        let judged: Vec<_> = ranked.ranked_results().iter().map(judge).collect();
        let worst = worst_of(ranked.ranked_results());
        let worst_of_all = worst_of(&ranked.results);
        let outcomes = || judged.iter().map(|(_, outcome)| *outcome);
        let unknown = outcomes().any(|outcome| matches!(outcome, ToleranceOutcome::Unknown { .. }));
        let about = &ranked.lens.about;
        let curves = ranked.results.iter().map(|result| &result.curve);
        let near = NearEnd::of(about.closest_focus_m, curves);
        let said = verdicts(&judged, tolerance_pct, near);
        let is_zoom = about.focal_max_mm > about.focal_min_mm;
        // Ranked at one focal length, it stands for that one alone, and says so.
        let coverage = match ranked.ranked_by {
            RankedBy::All => Coverage::of(
                (about.focal_min_mm, about.focal_max_mm),
                ranked.results.iter().map(|result| result.focal_length_mm),
            ),
            RankedBy::One(_) | RankedBy::Nothing => Coverage::default(),
        };
        let farthest = outcomes()
            .filter_map(|outcome| outcome.distance_m())
            .map(|distance| distance.value)
            .max_by(f64::total_cmp);
        Self {
            lens: LensHead::new(&ranked.lens, site),
            measured: worst.is_some(),
            ranked_focal_length_mm: match ranked.ranked_by {
                RankedBy::One(at) => ranked.results.get(at).map(|result| result.focal_length_mm),
                RankedBy::All | RankedBy::Nothing => None,
            },
            worst_shift_pct: worst.map(|result| result.worst_shift_pct.value),
            worst_shift_u_pct: worst.map(|result| result.worst_shift_pct.std_error),
            perspective_bound_pct: worst.and_then(|result| result.perspective_pct),
            reference_shortfall_pct: worst.and_then(|result| result.shortfall_pct),
            worst_focal_length_mm: worst.map(|result| result.focal_length_mm),
            tolerance_outcome: worst.map(|_| {
                if unknown {
                    "unknown"
                } else if outcomes().all(|outcome| outcome == ToleranceOutcome::Within) {
                    "within"
                } else {
                    "exceeded"
                }
            }),
            tolerance_distance_m: farthest.filter(|_| !unknown),
            tolerance_distance_most_m: most_of(&said, farthest).filter(|_| !unknown),
            tolerance_doubt: doubt_of(&said),
            verdict: short_verdict(&said, &coverage).map(|words| match (ranked.ranked_by, worst) {
                (RankedBy::One(_), Some(result)) if ranked.results.len() > 1 || is_zoom => {
                    at_focal_length(result.focal_length_mm, &words)
                }
                _ => words,
            }),
            nothing_measured_below_mm: coverage.nothing_below_mm,
            nothing_measured_above_mm: coverage.nothing_above_mm,
            is_zoom,
            relative_to: worst.map(|_| {
                let mut results = ranked.ranked_results().iter();
                relative_to(results.any(|result| result.relative_to_farthest))
            }),
            whole_lens_worst_shift_pct: worst_of_all.map(|result| result.worst_shift_pct.value),
            whole_lens_worst_focal_length_mm: worst_of_all.map(|result| result.focal_length_mm),
            warnings: ranked
                .ranked_results()
                .iter()
                .map(|result| result.warnings as usize)
                .sum(),
            results: strips(&ranked.results, tolerance_pct, near),
            is_told: !said.iter().any(FocalVerdict::is_untold),
            is_open_nearer: said.iter().any(|said| said.measured_from.is_some()),
            published_at: ranked.published_ms.map(timestamp),
            measured_under: ranked.conditions.iter().map(|key| key.code()).collect(),
            elsewhere: ranked.conditions.clone(),
            tolerance_pct,
            estimated: ranked
                .ranked_results()
                .iter()
                .any(|result| result.estimated),
            repeats_disagree: worst.is_some_and(|result| result.repeats_disagree),
        }
    }

    /// Where it was measured, if not as the list asks: codes and words of the conditions.
    pub(in crate::web) fn under_others(&self) -> Vec<(String, String)> {
        let each = self.elsewhere.iter().filter(|_| self.results.is_empty());
        each.map(|key| (key.code(), conditions_words(*key)))
            .collect()
    }

    /// The worst shift with its uncertainty.
    fn worst(&self) -> Option<Measured> {
        Some(Measured::new(
            self.worst_shift_pct?,
            self.worst_shift_u_pct?,
        ))
    }

    /// The worst shift with its expanded uncertainty, in words; `None` where nothing was measured.
    pub(in crate::web) fn worst_words(&self) -> Option<String> {
        self.worst().map(words::shift)
    }

    /// The focal length of the worst shift in words, where the lens has several.
    pub(in crate::web) fn worst_at(&self) -> Option<String> {
        self.worst_focal_length_mm
            .filter(|_| self.is_zoom || self.results.len() > 1)
            .map(words::focal_length)
    }

    /// Which part of the lens was not measured, in words; `None` where nothing is missing of what the row stands for.
    pub(in crate::web) fn coverage_words(&self) -> Option<String> {
        let coverage = Coverage {
            nothing_below_mm: self.nothing_measured_below_mm,
            nothing_above_mm: self.nothing_measured_above_mm,
        };
        coverage.words(self.results.len())
    }

    /// The worst shift of the whole lens in words, where the row is ranked by one focal length of several.
    pub(in crate::web) fn whole_lens_words(&self) -> Option<String> {
        self.ranked_focal_length_mm?;
        let at = self.whole_lens_worst_focal_length_mm?;
        let shift = self.whole_lens_worst_shift_pct?;
        (self.results.len() > 1).then(|| {
            let (shift, at) = (words::signed_pct(shift), words::focal_length(at));
            format!("whole lens {shift}, at {at}")
        })
    }

    /// The focal lengths that were measured, in words, where none of them is near the one asked for.
    pub(in crate::web) fn measured_elsewhere(&self) -> Option<String> {
        let at = self
            .results
            .iter()
            .map(|result| words::focal_length(result.focal_length_mm));
        let at: Vec<String> = at.collect();
        (!self.measured && !at.is_empty()).then(|| at.join(", "))
    }

    /// What is said beside its numbers where one of them is not against infinity.
    pub(in crate::web) fn reference_note(&self) -> Option<String> {
        (self.relative_to == Some("farthest_frame"))
            .then(|| against_farthest(self.reference_shortfall_pct))
    }

    /// How many warnings stand, in words; `None` where there are none.
    pub(in crate::web) fn warning_words(&self) -> Option<String> {
        (self.warnings > 0).then(|| words::count(self.warnings, "warning"))
    }

    /// Which way the picture goes where it is worst, in words.
    pub(in crate::web) fn direction_words(&self) -> &'static str {
        self.worst().map_or("", |worst| {
            words::direction_of_repeats(Direction::of(worst), self.repeats_disagree)
        })
    }

    /// The tolerance distance in words, said to be an estimate where it is one.
    pub(in crate::web) fn tolerance_words(&self) -> String {
        match (self.tolerance_outcome, self.tolerance_distance_m) {
            (Some("within"), _) if self.tolerance_doubt.is_some() => {
                "never as measured, in question".to_owned()
            }
            (Some("within"), _) => "never exceeded".to_owned(),
            (Some("exceeded"), Some(distance)) => {
                let about = if self.estimated { "about " } else { "" };
                format!("{about}{}", words::distance_from(distance))
            }
            (Some(_), _) => "distance unknown".to_owned(),
            (None, _) => String::new(),
        }
    }

    /// Worst shift along the zoom, as a picture.
    pub(in crate::web) fn strip(&self) -> String {
        let shifts: Vec<(f64, f64)> = self
            .results
            .iter()
            .map(|result| (result.focal_length_mm, result.worst_shift_pct))
            .collect();
        crate::charts::strip_svg(&shifts, self.tolerance_pct)
    }
}
