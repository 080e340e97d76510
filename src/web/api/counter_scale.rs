//! The counter-scale table of a lens: focus setting → factor that holds the framing, for post to key in.

use axum::extract::{Path, State};
use axum::http::Uri;
use axum::response::Response;
use serde::Serialize;
use utoipa::ToSchema;

use super::answer;
use super::documents::{FocalDocument, LICENCE, LensHead, conditions_words};
use super::near::{asked_for, nearest_words};
use super::query::Params;
use super::record::LensDocument;
use super::scale_question::{ScaleQuestion, Steps};
use super::verdicts::perspective_of;
use crate::app::App;
use crate::report::{self, CounterScale, FindingDocument, Place, Setting, words};
use crate::sweep::{DEFAULT_TOLERANCE_PCT, ShiftCurve};
use crate::units::distance_m;
use crate::web::WebError;

/// A lens setting. Distances are `null` at infinity; both distance and dioptres are `null` where unknown.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct SettingDocument {
    /// Focus distance from the sensor plane, m.
    pub(in crate::web) focus_distance_m: Option<f64>,
    /// Focus setting, dioptres; 0 at infinity.
    pub(in crate::web) focus_dioptres: Option<f64>,
    /// Place in the sweep, 0 at closest focus, 1 at the last frame.
    pub(in crate::web) travel: f64,
    /// Shift, per cent; positive is tighter.
    pub(in crate::web) shift_pct: f64,
}

/// The factor at one setting.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct ScaleRowDocument {
    /// Where.
    #[serde(flatten)]
    pub(in crate::web) setting: SettingDocument,
    /// Factor by which the picture is enlarged about its centre to hold the framing: (1 + shift at the reference) ÷
    /// (1 + shift here).
    pub(in crate::web) scale: f64,
    /// Its standard uncertainty.
    pub(in crate::web) scale_u: f64,
    /// How much of it perspective may hold, per cent of the factor: the true one lies between it and it enlarged by this; negative
    /// where the true one may be smaller. `null` where not known.
    pub(in crate::web) perspective_bound_pct: Option<f64>,
}

/// The factors at one focal length.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct ScaleTableDocument {
    /// Marked focal length, mm.
    pub(in crate::web) focal_length_mm: f64,
    /// The setting whose framing is held; `null` where it was not measured.
    pub(in crate::web) reference: Option<SettingDocument>,
    /// Why there are no rows.
    pub(in crate::web) outside: Option<String>,
    /// Closest focus that was measured, m; no row is closer.
    pub(in crate::web) closest_focus_m: Option<f64>,
    /// Farthest focus that was measured, m; no row is farther. `null` where that is infinity, or not known.
    pub(in crate::web) farthest_focus_m: Option<f64>,
    /// `infinity`, or `farthest_frame` where the sweep ended before it.
    pub(in crate::web) relative_to: &'static str,
    /// `exif`, `entered`, `blur` or `none`.
    pub(in crate::web) distance_source: &'static str,
    /// What was noticed in the sweeps that the factors come from.
    pub(in crate::web) findings: Vec<FindingDocument>,
    /// How many of them are warnings, in words.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) warning_words: Option<String>,
    /// What was not measured, in words.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) limits: Vec<String>,
    /// The factors, closest focus first.
    pub(in crate::web) rows: Vec<ScaleRowDocument>,
}

/// The counter-scale table of a lens.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct CounterScaleDocument {
    /// The lens.
    pub(in crate::web) lens: LensHead,
    /// Conditions that it was shot under.
    pub(in crate::web) conditions: String,
    /// Focal length that was asked for, mm; each table tells the one that it is of.
    pub(in crate::web) asked_focal_mm: Option<f64>,
    /// The framing that is held: `farthest` (the last frame, infinity as a rule), `tightest`, or `distance`.
    pub(in crate::web) hold: &'static str,
    /// The distance whose framing is held, m; `null` at infinity and where none was asked for.
    pub(in crate::web) hold_m: Option<f64>,
    /// Whether that distance was given in feet or inches.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) held_in_feet: bool,
    /// Step of the rows in distance, m.
    pub(in crate::web) step_m: Option<f64>,
    /// Step of the rows in travel.
    pub(in crate::web) step_travel: Option<f64>,
    /// A table for each focal length.
    pub(in crate::web) tables: Vec<ScaleTableDocument>,
    /// Licence of the numbers.
    pub(in crate::web) licence: &'static str,
    /// The conditions that something is published under, as code and in words.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) choices: Vec<(String, String)>,
    /// The conditions in words.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) conditions_words: String,
    /// How the rows run.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) steps: Steps,
    /// The places of the rows over all focal lengths.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) places: Vec<Place>,
}

impl CounterScaleDocument {
    /// The table that a question asks for.
    pub(in crate::web) fn new(
        record: LensDocument,
        question: &ScaleQuestion,
    ) -> Result<Self, WebError> {
        let choices = record
            .groups()
            .iter()
            .map(|(key, _)| (key.code(), conditions_words(*key)))
            .collect();
        let (conditions, results) = record
            .group_of(question.conditions.as_deref())?
            .unwrap_or_default();
        let results = asked_for(results, question.focal_mm)?;
        let curves: Vec<&ShiftCurve> = results.iter().map(|focal| &focal.result.curve).collect();
        let steps = question.steps_for(&curves);
        let places = steps.places(&curves);
        let (hold, hold_m) = question.hold_codes();
        Ok(Self {
            lens: record.lens,
            conditions: conditions.code(),
            choices,
            conditions_words: conditions_words(conditions),
            asked_focal_mm: question.focal_mm,
            hold,
            hold_m,
            held_in_feet: question.held_in_feet,
            step_m: steps.metres(),
            step_travel: steps.travel(),
            tables: results
                .iter()
                .map(|focal| ScaleTableDocument::new(focal, question, &places))
                .collect(),
            licence: LICENCE,
            steps,
            places,
        })
    }
}

impl CounterScaleDocument {
    /// That its focal length is not the one asked for, in words; `None` where it is.
    pub(in crate::web) fn nearest_words(&self) -> Option<String> {
        let asked = self.asked_focal_mm?;
        let focal = self.tables.first()?.focal_length_mm;
        nearest_words(focal, asked)
    }
}

impl ScaleTableDocument {
    fn new(focal: &FocalDocument, question: &ScaleQuestion, places: &[Place]) -> Self {
        let curve = &focal.result.curve;
        let reference = report::reference(curve, question.held);
        let perspective = perspective_of(&focal.result);
        // What is open of a factor is what is open of the pull from the held setting to here.
        let bound = |held: Setting, row: &CounterScale| {
            let (from, to) = held.dioptres.zip(row.setting.dioptres)?;
            Some(perspective?.of_pull_pct(from, to))
        };
        let rows: Vec<ScaleRowDocument> = reference
            .iter()
            .flat_map(|held| {
                let rows = report::counter_scales(curve, *held, places).into_iter();
                rows.flatten()
                    .map(|row| ScaleRowDocument::new(row, bound(*held, &row)))
            })
            .collect();
        let outside = match &reference {
            Err(why) => Some(why.clone()),
            Ok(_) if rows.is_empty() => Some(report::outside(curve, f64::MAX)),
            Ok(_) => None,
        };
        let (far, near) = curve.range_dioptres().unzip();
        let ends_near = far.filter(|far| metres(Some(*far)).is_some());
        let limits = match &outside {
            Some(why) => vec![why.clone()],
            None => {
                let closest = near.map(report::not_closer);
                let farthest = ends_near.map(report::not_farther);
                closest.into_iter().chain(farthest).collect()
            }
        };
        Self {
            focal_length_mm: focal.focal_length_mm,
            reference: reference.ok().map(SettingDocument::new),
            outside,
            closest_focus_m: metres(near),
            farthest_focus_m: metres(far),
            findings: focal.findings.clone(),
            warning_words: focal.warning_words(),
            limits,
            relative_to: focal.relative_to,
            distance_source: focal.distance_source,
            rows,
        }
    }

    /// Focal length in words.
    pub(in crate::web) fn at(&self) -> String {
        words::focal_length(self.focal_length_mm)
    }

    /// By how much perspective may make the factors wrong at most, per cent; `None` where not known.
    pub(in crate::web) fn perspective_pct(&self) -> Option<f64> {
        let bounds = self.rows.iter().map(|row| row.perspective_bound_pct);
        let each: Option<Vec<f64>> = bounds.collect();
        Some(
            each?
                .into_iter()
                .fold(0.0, |most, bound| bound.abs().max(most)),
        )
    }

    /// The row at a place, if it was measured.
    pub(in crate::web) fn row_at(&self, place: Place) -> Option<&ScaleRowDocument> {
        self.rows.iter().find(|row| match place {
            Place::Dioptres(at) => row
                .setting
                .focus_dioptres
                .is_some_and(|d| (d - at).abs() < 1e-9),
            Place::Travel(at) => (row.setting.travel - at).abs() < 1e-9,
        })
    }
}

impl SettingDocument {
    fn new(setting: Setting) -> Self {
        Self {
            focus_distance_m: metres(setting.dioptres),
            focus_dioptres: setting.dioptres,
            travel: setting.travel,
            shift_pct: setting.shift_pct.value,
        }
    }

    /// Where it is in words: distance where it is known, else travel.
    pub(in crate::web) fn words(&self) -> String {
        match (self.focus_dioptres, self.focus_distance_m) {
            (Some(_), Some(m)) => words::distance(m),
            (Some(_), None) => "infinity".to_owned(),
            (None, _) => format!("travel {:.2}", self.travel),
        }
    }
}

impl ScaleRowDocument {
    fn new(row: CounterScale, perspective_bound_pct: Option<f64>) -> Self {
        Self {
            perspective_bound_pct,
            setting: SettingDocument::new(row.setting),
            scale: row.scale.value,
            scale_u: row.scale.std_error,
        }
    }

    /// The factor with its expanded uncertainty (k = 2), four decimals: a fifth of a pixel at the edge of 4000 px.
    pub(in crate::web) fn words(&self) -> String {
        if self.scale_u <= 0.0 {
            return format!("{:.4}", self.scale);
        }
        format!("{:.4} ± {:.4}", self.scale, (2.0 * self.scale_u).max(1e-4))
    }
}

/// A setting as a distance, m; `None` at infinity and where it is not known.
fn metres(dioptres: Option<f64>) -> Option<f64> {
    dioptres.and_then(distance_m)
}

/// The table of a lens, as page, twins and API have it; `None` where there is no such lens.
pub(in crate::web) async fn counter_scale_of(
    app: &App,
    slug: &str,
    here: &Uri,
    question: &ScaleQuestion,
) -> Result<CounterScaleDocument, WebError> {
    let record = LensDocument::published(app, slug, here, DEFAULT_TOLERANCE_PCT).await?;
    CounterScaleDocument::new(record, question)
}

/// The counter-scale table of a lens
#[utoipa::path(
    get,
    path = "/api/v1/lenses/{slug}/counter-scale",
    tag = "read",
    params(
        ("slug" = String, Path, description = "Stable name of the lens"),
        ("focal_mm" = Option<f64>, Query, description = "Focal length, mm; the nearest one that was measured is taken, where it is within a factor of 1.25"),
        ("hold_m" = Option<String>, Query, description = "Whose framing is held: metres, feet as 3 ft, inf, or tightest; that of the last frame, as a rule infinity, where not given"),
        ("step_m" = Option<String>, Query, description = "Step of the rows in distance: metres, or feet as 1 ft; 0.25 m where not given"),
        ("far_m" = Option<String>, Query, description = "Distance where the steps end, before infinity: metres, or feet as 30 ft; 10 m where not given"),
        ("step_travel" = Option<f64>, Query, description = "Step of the rows in travel, 0.005 to 1, instead of distance"),
        ("conditions" = Option<String>, Query, description = "Conditions, e.g. correction-on.compensation-off; of those it was measured under, those of most lenses where not given"),
    ),
    responses(
        (status = 200, body = CounterScaleDocument, description = "The counter-scale table of a lens"),
        (status = 404, description = "There is no such lens", content_type = "application/problem+json"),
        (status = 410, description = "All that was published of it was withdrawn; the reason is in the problem document", content_type = "application/problem+json"),
        (status = 422, description = "Parameters are out of range; the problem document names each", content_type = "application/problem+json"),
    )
)]
pub(in crate::web) async fn counter_scale(
    State(app): State<App>,
    uri: Uri,
    Path(slug): Path<String>,
    params: Params,
) -> Result<Response, WebError> {
    let question = params.asked(ScaleQuestion::read)?;
    let document = counter_scale_of(&app, &slug, &uri, &question).await?;
    answer::json(&document)
}
