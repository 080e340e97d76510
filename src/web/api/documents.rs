//! What the outside gets to know of a lens: one document for the page, its twins and the API.
//!
//! Numbers are raw, units are in the names, unknown is `null`; `u` fields are standard uncertainties (k = 1).

use serde::Serialize;
use utoipa::ToSchema;

use super::verdicts::verdict_of;
use crate::optics::{
    angle_of_view_deg, angle_of_view_u_deg, angle_shift_pct, equivalent_focal_length_mm,
};
use crate::report::{BudgetLineDocument, FindingDocument, MeasuredFrom, words};
use crate::store::{ConditionsKey, FocalResult, Kind, Lens, Switch, isolated};
use crate::sweep::{Direction, NearEnd, Part, ToleranceOutcome};
use crate::units::noiseless_m;

/// Licence of all numbers.
pub(in crate::web) const LICENCE: &str = "CC BY 4.0";

/// Width of the picture that angles of view are told for where that of the camera is not known, mm: 36 × 24 mm (ISO 1007).
const ANGLE_ACROSS_MM: f64 = 36.0;

/// A lens, without its results.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct LensHead {
    /// Stable name in addresses.
    pub(in crate::web) slug: String,
    /// Maker.
    pub(in crate::web) maker: String,
    /// Model, without the maker.
    pub(in crate::web) model: String,
    /// Mount.
    pub(in crate::web) mount: String,
    /// `prime`, `zoom`, `macro`, `cine_prime` or `cine_zoom`.
    pub(in crate::web) kind: &'static str,
    /// Shortest marked focal length, mm.
    pub(in crate::web) focal_min_mm: f64,
    /// Longest marked focal length, mm.
    pub(in crate::web) focal_max_mm: f64,
    /// Smallest number on the aperture ring; what it counts says the next field.
    pub(in crate::web) max_aperture: f64,
    /// `f` where the numbers are f-numbers, `T` where they are T-stops: the light that is let through.
    pub(in crate::web) aperture_marking: &'static str,
    /// Marked closest focus from the sensor plane, m.
    pub(in crate::web) closest_focus_m: Option<f64>,
    /// Address of its page.
    pub(in crate::web) url: String,
}

impl LensHead {
    /// The head of a lens on a site with this public address.
    pub(in crate::web) fn new(lens: &Lens, site: &str) -> Self {
        let about = &lens.about;
        Self {
            slug: lens.slug.clone(),
            maker: about.maker.clone(),
            model: about.model.clone(),
            mount: about.mount.clone(),
            kind: about.kind.code(),
            focal_min_mm: about.focal_min_mm,
            focal_max_mm: about.focal_max_mm,
            max_aperture: about.max_aperture,
            aperture_marking: if about.is_marked_in_t_stops() {
                "T"
            } else {
                "f"
            },
            closest_focus_m: about.closest_focus_m,
            url: format!("{site}/lenses/{}", lens.slug),
        }
    }

    /// Maker and model, as they stand in running words.
    pub(in crate::web) fn name(&self) -> String {
        isolated(&format!("{} {}", self.maker, self.model)).into_owned()
    }

    /// Marked closest focus in words.
    pub(in crate::web) fn closest_words(&self) -> Option<String> {
        self.closest_focus_m.map(words::distance_from)
    }

    /// Kind, focal range, aperture and mount in words.
    pub(in crate::web) fn about(&self) -> String {
        format!("{}, {}", self.about_the_glass(), isolated(&self.mount))
    }

    /// Kind, focal range and aperture in words.
    pub(in crate::web) fn about_the_glass(&self) -> String {
        let kind = Kind::from_code(self.kind).map_or(self.kind, Kind::words);
        let range = words::focal_range(self.focal_min_mm, self.focal_max_mm);
        let stop = match self.aperture_marking {
            "T" => format!("T{} (T-stop)", self.max_aperture),
            _ => format!("f/{}", self.max_aperture),
        };
        format!("{kind}, {range}, {stop}")
    }
}

/// The published result at one focal length under one set of conditions.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct FocalDocument {
    /// Marked focal length, mm.
    pub(in crate::web) focal_length_mm: f64,
    /// Conditions that results must share to be ranked together.
    pub(in crate::web) conditions: String,
    /// Distortion correction in the camera: `on`, `off`, `unknown`.
    pub(in crate::web) distortion_correction: &'static str,
    /// Breathing compensation in the camera: `on`, `off`, `unknown`.
    pub(in crate::web) breathing_compensation: &'static str,
    /// Shift of largest magnitude, per cent; positive is tighter.
    pub(in crate::web) worst_shift_pct: f64,
    /// Its standard uncertainty, percentage points.
    pub(in crate::web) worst_shift_u_pct: f64,
    /// Bounds of it that no scatter shows and that its standard uncertainty does not hold, percentage points; the largest of
    /// each part over the sweeps. A part that is not listed is not known, or does not apply.
    pub(in crate::web) systematic: Vec<BudgetLineDocument>,
    /// How much of the worst shift perspective may hold, percentage points: its true value lies between it less this and
    /// itself, with `reference_shortfall_pct` added to both where that is not `null`. `null` where not known.
    pub(in crate::web) perspective_bound_pct: Option<f64>,
    /// What about every shift lacks because the reference is short of infinity, percentage points, to be added with its sign.
    /// `null` where not known, or where it does not apply.
    pub(in crate::web) reference_shortfall_pct: Option<f64>,
    /// `tighter`, `wider`, or `none`.
    pub(in crate::web) direction: &'static str,
    /// The focal length that the lens frames like at its worst, mm.
    pub(in crate::web) equivalent_focal_length_mm: f64,
    /// Its standard uncertainty, mm: that of the shift. The marked focal length itself may be off by 5 %.
    pub(in crate::web) equivalent_focal_length_u_mm: f64,
    /// Horizontal angle of view at infinity of a lens of the marked focal length, degrees, across `angle_across_mm`.
    pub(in crate::web) angle_of_view_deg: f64,
    /// The same where the shift is worst, degrees.
    pub(in crate::web) angle_of_view_worst_deg: f64,
    /// Its standard uncertainty, degrees: that of the shift.
    pub(in crate::web) angle_of_view_worst_u_deg: f64,
    /// Change of the angle from the former to the latter, per cent; negative where the picture gets tighter.
    pub(in crate::web) angle_change_pct: f64,
    /// Its standard uncertainty, percentage points.
    pub(in crate::web) angle_change_u_pct: f64,
    /// Width of the picture that the angles hold for, mm: the camera's where it is known, else 36.
    pub(in crate::web) angle_across_mm: f64,
    /// Tolerance that the next fields hold for, per cent.
    pub(in crate::web) tolerance_pct: f64,
    /// `within`, `exceeded` or `unknown`.
    pub(in crate::web) tolerance_outcome: &'static str,
    /// Farthest focus distance at which the magnitude of shift exceeds the tolerance, m.
    pub(in crate::web) tolerance_distance_m: Option<f64>,
    /// Its standard uncertainty, m.
    pub(in crate::web) tolerance_distance_u_m: Option<f64>,
    /// Where in the sweep the tolerance is exceeded last, 0 at closest focus.
    pub(in crate::web) tolerance_travel: Option<f64>,
    /// Farthest focus distance, m, at which the tolerance may be exceeded once all is counted that is left open: what
    /// perspective may hide, what every shift lacks short of infinity, the bounds in `systematic`, and the expanded uncertainty (k = 2). `null` where that is
    /// farther than `tolerance_distance_m` by less than a fiftieth, or no distance is known from which on it surely holds.
    pub(in crate::web) tolerance_distance_most_m: Option<f64>,
    /// Why it is open whether the tolerance is exceeded at all: `reference` where that turns on what every shift lacks because
    /// the reference is short of infinity (`reference_shortfall_pct`, or not known), `perspective`, `pictures` where it turns on the other bounds in `systematic`, `uncertainty` where the worst
    /// shift is closer to it than its expanded uncertainty (k = 2), or `near_end` where what was measured is within it and the
    /// nearest frames were not; `null` where it is not open.
    pub(in crate::web) tolerance_doubt: Option<&'static str>,
    /// `infinity`, or `farthest_frame`.
    pub(in crate::web) relative_to: &'static str,
    /// `exif`, `entered`, `blur` or `none`.
    pub(in crate::web) distance_source: &'static str,
    /// Closest focus that was measured, m.
    pub(in crate::web) closest_focus_m: Option<f64>,
    /// Closest focus of the lens, m, where nothing was measured between it and `closest_focus_m`, because frames nearer than
    /// that gave no result or none was shot: there the shift may be larger. `null` where nothing nearer is missing.
    pub(in crate::web) focuses_to_m: Option<f64>,
    /// f-number of the sweep whose curve is shown.
    pub(in crate::web) f_number: Option<f64>,
    /// Camera of the sweep whose curve is shown.
    pub(in crate::web) camera: Option<String>,
    /// f-numbers of all sweeps, each once, rising.
    pub(in crate::web) f_numbers: Vec<f64>,
    /// Cameras of all sweeps, each once.
    pub(in crate::web) cameras: Vec<String>,
    /// Columns of the frames, px.
    pub(in crate::web) frame_width_px: Option<u32>,
    /// Distance to the targets, m.
    pub(in crate::web) target_distance_m: Option<f64>,
    /// Whether the sweeps differ by more than their uncertainties; a finding names them, and the uncertainties hold it.
    pub(in crate::web) repeats_disagree: bool,
    /// How many sweeps were combined.
    pub(in crate::web) sweep_count: usize,
    /// Keys of the sweeps.
    pub(in crate::web) sweeps: Vec<i64>,
    /// Keys of public sweeps that hold pictures of one of these, byte for byte, and so are not counted as repeats.
    pub(in crate::web) same_pictures: Vec<i64>,
    /// Keys of public sweeps that cover less of the focus range than these (they begin farther off, or end before infinity), and so
    /// are not averaged with them.
    pub(in crate::web) partial: Vec<i64>,
    /// Who measured.
    pub(in crate::web) reviewers: Vec<String>,
    /// When the sweeps were taken, by the cameras' clocks.
    pub(in crate::web) captured_at: Vec<String>,
    /// Version of the algorithm.
    pub(in crate::web) algorithm_version: u32,
    /// A plain sentence to read out or paste.
    pub(in crate::web) sentence: String,
    /// What was noticed.
    pub(in crate::web) findings: Vec<FindingDocument>,
    /// What it was made from.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) result: FocalResult,
    /// How the near ends of what was measured stand to the mark of its lens.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) near: NearEnd,
    /// What becomes of it at the tolerance.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) outcome: ToleranceOutcome,
}

impl FocalDocument {
    /// The documents of results of a lens, at this tolerance.
    pub(in crate::web) fn of_lens(
        lens: &Lens,
        results: Vec<FocalResult>,
        tolerance_pct: f64,
    ) -> Vec<Self> {
        let near: Vec<NearEnd> = results
            .iter()
            .map(|result| {
                let alike = results.iter().filter(|r| r.conditions == result.conditions);
                NearEnd::of(lens.about.closest_focus_m, alike.map(|r| &r.curve))
            })
            .collect();
        let each = results.into_iter().zip(near);
        each.map(|(result, near)| Self::new(result, tolerance_pct, near))
            .collect()
    }

    /// The document of a result, at this tolerance.
    pub(in crate::web) fn new(result: FocalResult, tolerance_pct: f64, near: NearEnd) -> Self {
        let outcome = result.curve.tolerance_outcome(tolerance_pct);
        let distance = outcome.distance_m();
        let said = verdict_of(&result, outcome, tolerance_pct, near);
        let across_mm = result.sensor_width_mm.unwrap_or(ANGLE_ACROSS_MM);
        let worst = result.worst_shift_pct;
        let like_mm = equivalent_focal_length_mm(result.focal_length_mm, worst);
        let angle_deg = angle_of_view_deg(across_mm, result.focal_length_mm);
        let worst_deg = angle_of_view_deg(across_mm, like_mm.value);
        let worst_u_deg = angle_of_view_u_deg(worst_deg, worst.std_error / (100.0 + worst.value));
        Self {
            focal_length_mm: result.focal_length_mm,
            conditions: result.conditions.code(),
            distortion_correction: result.conditions.distortion_correction.code(),
            breathing_compensation: result.conditions.breathing_compensation.code(),
            worst_shift_pct: result.worst_shift_pct.value,
            worst_shift_u_pct: result.worst_shift_pct.std_error,
            perspective_bound_pct: result.bound_pct(Part::EntrancePupil),
            reference_shortfall_pct: result.bound_pct(Part::ReferenceNotAtInfinity),
            systematic: result
                .systematic
                .iter()
                .map(BudgetLineDocument::new)
                .collect(),
            direction: Direction::of(result.worst_shift_pct).code(),
            equivalent_focal_length_mm: like_mm.value,
            equivalent_focal_length_u_mm: like_mm.std_error,
            angle_of_view_deg: angle_deg,
            angle_of_view_worst_deg: worst_deg,
            angle_of_view_worst_u_deg: worst_u_deg,
            angle_change_pct: angle_shift_pct(worst.value, across_mm, result.focal_length_mm),
            angle_change_u_pct: 100.0 * worst_u_deg / angle_deg,
            angle_across_mm: across_mm,
            tolerance_pct,
            tolerance_outcome: outcome.code(),
            tolerance_distance_m: distance.map(|distance| distance.value),
            tolerance_distance_u_m: distance.map(|distance| distance.std_error),
            tolerance_travel: match outcome {
                ToleranceOutcome::Within => None,
                ToleranceOutcome::Exceeded { travel, .. }
                | ToleranceOutcome::Unknown { travel } => Some(travel),
            },
            tolerance_distance_most_m: said.may_reach_m.filter(|most| most.is_finite()),
            tolerance_doubt: said.doubt(),
            relative_to: relative_to(result.relative_to_farthest),
            distance_source: result.distance_source.code(),
            closest_focus_m: said
                .measured_from
                .map_or(result.closest_focus_m, |from| from.m)
                .map(noiseless_m),
            focuses_to_m: said
                .measured_from
                .filter(MeasuredFrom::is_missing)
                .and(near.unreached_m().or(result.closest_focus_m))
                .map(noiseless_m),
            f_number: result.f_number,
            camera: result.camera.clone(),
            f_numbers: result.f_numbers.clone(),
            cameras: result.cameras.clone(),
            frame_width_px: result.picture_width_px,
            target_distance_m: result.target_distance_m,
            repeats_disagree: result.repeats_disagree,
            sweep_count: result.sweeps.len(),
            sweeps: result.sweeps.clone(),
            same_pictures: result.same_pictures.clone(),
            partial: result.partial.clone(),
            reviewers: result.reviewers.clone(),
            captured_at: result.captured_at.clone(),
            algorithm_version: result.algorithm_version,
            sentence: words::with_disagreement(said.sentence(), result.repeats_disagree),
            findings: result.findings.iter().map(FindingDocument::new).collect(),
            near,
            outcome,
            result,
        }
    }
}

/// What shifts are measured against, as a code.
pub(in crate::web) const fn relative_to(farthest: bool) -> &'static str {
    if farthest {
        "farthest_frame"
    } else {
        "infinity"
    }
}

/// What stands beside a number that is not against infinity, with what it lacks, percentage points, where that is known.
pub(in crate::web) fn against_farthest(shortfall_pct: Option<f64>) -> String {
    let what = shortfall_pct.map_or_else(
        || "may be larger".to_owned(),
        |lacks| format!("lacks about {}", words::points(lacks)),
    );
    format!("against the farthest frame, not infinity: {what}")
}

/// Conditions in words, e.g. "distortion correction on, breathing compensation off".
pub(in crate::web) fn conditions_words(conditions: ConditionsKey) -> String {
    let position = |switch: Switch| match switch {
        Switch::On => "on",
        Switch::Off => "off",
        Switch::Unknown => "not stated",
    };
    format!(
        "distortion correction {}, breathing compensation {}",
        position(conditions.distortion_correction),
        position(conditions.breathing_compensation)
    )
}

/// A point in time (RFC 3339, UTC, whole seconds) from ms since 1970.
pub(in crate::web) fn timestamp(ms: i64) -> String {
    let seconds = ms.div_euclid(1000);
    time::OffsetDateTime::from_unix_timestamp(seconds)
        .ok()
        .and_then(|at| {
            at.format(&time::format_description::well_known::Rfc3339)
                .ok()
        })
        .unwrap_or_default()
}
