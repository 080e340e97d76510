//! The shooting plan as JSON and CSV, for the same question as the page.

use axum::extract::State;
use axum::response::Response;
use serde::Serialize;

use super::plan::asked;
use crate::app::App;
use crate::optics::{Setup, ShootingPlan};
use crate::web::WebError;
use crate::web::api::{self, LICENCE, Params};
use crate::web::errors::FieldError;

/// The plan of one focal length: what it is for, and what it comes to.
#[derive(Debug, Serialize)]
struct PlanDocument {
    focal_length_mm: f64,
    max_aperture: f64,
    closest_focus_m: f64,
    sensor_width_mm: f64,
    sensor_height_mm: f64,
    picture_width_px: u32,
    /// Magnitude of shift that it is ready for, per cent.
    expected_shift_pct: f64,
    /// From the sensor plane to the targets.
    target_distance_m: f64,
    f_number: f64,
    /// What the picture takes in at the targets with the lens at infinity.
    field_width_m: f64,
    field_height_m: f64,
    /// Between the centres of the targets.
    target_spacing_m: f64,
    target_spacing_px: f64,
    /// Side of a target.
    tape_mm: f64,
    tape_px: f64,
    /// Blur of the targets at closest focus and at infinity.
    blur_near_px: f64,
    blur_far_px: f64,
    frames: u32,
    /// Standard uncertainty of the worst shift to be expected, percentage points.
    expected_u_pct: f64,
    /// Bound on what the moving entrance pupil adds to one side, percentage points.
    perspective_bound_pct: f64,
    /// Shift at which a target would leave the frame; `null` where it has no room even without one.
    leaves_frame_at_pct: Option<f64>,
    /// What to mind, in words.
    notes: Vec<String>,
}

/// What `/plan.json` answers.
#[derive(Debug, Serialize)]
struct PlansDocument {
    /// Slug of the lens that was named; `null` where none was.
    lens: Option<String>,
    /// One for each focal length; none where nothing was asked.
    plans: Vec<PlanDocument>,
    licence: &'static str,
}

impl PlanDocument {
    fn new(setup: &Setup) -> Self {
        let plan = ShootingPlan::for_setup(setup);
        Self {
            focal_length_mm: setup.focal_length.mm(),
            max_aperture: setup.maximum_aperture.n(),
            closest_focus_m: setup.closest_focus.m(),
            sensor_width_mm: setup.sensor_width.mm(),
            sensor_height_mm: setup.sensor_height.mm(),
            picture_width_px: setup.picture_width_px,
            expected_shift_pct: setup.expected_shift_pct,
            target_distance_m: plan.target_distance_m,
            f_number: plan.f_number,
            field_width_m: plan.field_width_m,
            field_height_m: plan.field_height_m,
            target_spacing_m: plan.target_spacing_m,
            target_spacing_px: plan.target_spacing_px,
            tape_mm: plan.tape_mm,
            tape_px: plan.tape_px,
            blur_near_px: plan.blur_near_px,
            blur_far_px: plan.blur_far_px,
            frames: plan.frames,
            expected_u_pct: plan.expected_u_pct,
            perspective_bound_pct: plan.perspective_bound_pct,
            leaves_frame_at_pct: plan.leaves_frame_at_pct,
            notes: plan.notes.iter().map(ToString::to_string).collect(),
        }
    }
}

/// The document of a question, or all that can't be used of it.
async fn document(app: &App, params: Params) -> Result<PlansDocument, WebError> {
    let (form, lens, setups) = asked(app, params).await?;
    let complaints = form.complaints();
    if !complaints.is_empty() {
        let fields = complaints.iter().map(|complaint| FieldError {
            field: complaint.field.unwrap_or(complaint.label).to_owned(),
            detail: complaint.detail.to_owned(),
        });
        return Err(WebError::Fields(fields.collect()));
    }
    Ok(PlansDocument {
        lens: lens.map(|lens| lens.slug),
        plans: setups.iter().map(PlanDocument::new).collect(),
        licence: LICENCE,
    })
}

/// `GET /plan.json`
pub(super) async fn json(State(app): State<App>, params: Params) -> Result<Response, WebError> {
    api::json(&document(&app, params).await?)
}

/// `GET /plan.csv`: one row a focal length, the columns named as in `/plan.json`.
pub(super) async fn csv(State(app): State<App>, params: Params) -> Result<Response, WebError> {
    const COLUMNS: [&str; 22] = [
        "focal_length_mm",
        "max_aperture",
        "closest_focus_m",
        "sensor_width_mm",
        "sensor_height_mm",
        "picture_width_px",
        "expected_shift_pct",
        "target_distance_m",
        "f_number",
        "field_width_m",
        "field_height_m",
        "target_spacing_m",
        "target_spacing_px",
        "tape_mm",
        "tape_px",
        "blur_near_px",
        "blur_far_px",
        "frames",
        "expected_u_pct",
        "perspective_bound_pct",
        "leaves_frame_at_pct",
        "notes",
    ];
    let document = document(&app, params).await?;
    let rows = document.plans.iter().map(|plan| {
        vec![
            plan.focal_length_mm.to_string(),
            plan.max_aperture.to_string(),
            plan.closest_focus_m.to_string(),
            plan.sensor_width_mm.to_string(),
            plan.sensor_height_mm.to_string(),
            plan.picture_width_px.to_string(),
            plan.expected_shift_pct.to_string(),
            plan.target_distance_m.to_string(),
            plan.f_number.to_string(),
            plan.field_width_m.to_string(),
            plan.field_height_m.to_string(),
            plan.target_spacing_m.to_string(),
            plan.target_spacing_px.to_string(),
            plan.tape_mm.to_string(),
            plan.tape_px.to_string(),
            plan.blur_near_px.to_string(),
            plan.blur_far_px.to_string(),
            plan.frames.to_string(),
            plan.expected_u_pct.to_string(),
            plan.perspective_bound_pct.to_string(),
            plan.leaves_frame_at_pct
                .map_or_else(String::new, |pct| pct.to_string()),
            plan.notes.join(" "),
        ]
    });
    Ok(api::csv(api::written(&COLUMNS, rows)?))
}
