//! The shooting plan: a form, the figures of every focal length, a drawing of the frame for each; one sheet in print.

use axum::extract::State;
use axum::response::Response;

use super::form::{Fields, Form};
use super::{PageFrame, Section, filters};
use crate::app::App;
use crate::optics::{Setup, ShootingPlan};
use crate::report::words;
use crate::store::Lens;
use crate::units::{
    F_NUMBERS, FNumber, FOCAL_LENGTHS_MM, FOCUS_DISTANCES_M, Metres, Millimetres, SENSOR_SIDES_MM,
};
use crate::web::WebError;
use crate::web::api::{Params, lens_by_any_name};
use crate::web::session::Viewer;

/// Most focal lengths on one sheet.
const FOCAL_LENGTHS_AT_ONCE: usize = 12;

#[derive(askama::Template)]
#[template(path = "pages/plan.html")]
struct PlanPage {
    page: PageFrame,
    /// Name and slug of the lens that is planned for, where one was named.
    lens: Option<(String, String)>,
    form: Form,
    /// The question of the page, for its twins.
    query: String,
    sheets: Vec<Sheet>,
}

/// The plan of one focal length in words.
struct Sheet {
    focal: String,
    figures: Vec<(&'static str, String)>,
    notes: Vec<String>,
    drawing: String,
}

/// The fields of the form.
const FIELDS: Fields = &[
    ("focal_mm", "Focal lengths, mm"),
    ("max_aperture", "Smallest f-number"),
    ("closest_focus_m", "Closest focus, m or ft"),
    ("target_distance_m", "Targets at, m or ft"),
    ("f_number", "Shot at f-number"),
    ("sensor_width_mm", "Sensor width, mm"),
    ("sensor_height_mm", "Sensor height, mm"),
    ("picture_width_px", "Picture width, px"),
    ("expected_shift_pct", "Planned shift, %"),
];

/// `GET /plan`
pub(super) async fn page(
    State(app): State<App>,
    viewer: Viewer,
    params: Params,
) -> Result<Response, WebError> {
    let query = params.with(&[]);
    let (form, lens, setups) = asked(&app, params).await?;
    let page = PlanPage {
        page: PageFrame::new("Plan a shoot", Section::Plan, &viewer)
            .described(
                "How far the targets, how far apart, how large, which aperture, how many frames.",
            )
            .at(&app.config.public_url(), "/plan"),
        lens: lens.map(|lens| {
            (
                format!("{} {}", lens.about.maker, lens.about.model),
                lens.slug,
            )
        }),
        form,
        query,
        sheets: setups
            .iter()
            .map(|setup| sheet(setup, &ShootingPlan::for_setup(setup)))
            .collect(),
    };
    page.form.answer(&page)
}

/// What is asked: the form with its complaints, the lens that is named, the set-ups of all that can be used.
pub(super) async fn asked(
    app: &App,
    params: Params,
) -> Result<(Form, Option<Lens>, Vec<Setup>), WebError> {
    let several = params.all("focal_mm").join(" ");
    let params = params.and("focal_mm", &several);
    let mut form = Form::new(params, FIELDS, &["lens"]);
    let lens = match form.usable().text("lens") {
        Some(slug) => lens_by_any_name(app, slug).await?.map(|page| page.lens),
        None => None,
    };
    match &lens {
        Some(lens) => fill(&mut form, lens),
        None if form.usable().has("lens") => {
            form.refuse(WebError::field(
                "lens",
                "there is no such lens; plan without it",
            ))?;
        }
        None => {}
    }
    let setups = form.ask_whole(setups)?.unwrap_or_default();
    Ok((form, lens, setups))
}

/// What the lens says of itself, where nothing else was typed.
fn fill(form: &mut Form, lens: &Lens) {
    let about = &lens.about;
    let (min, max) = (about.focal_min_mm, about.focal_max_mm);
    let focal = if min < max {
        format!("{min} {max}")
    } else {
        min.to_string()
    };
    form.assume("focal_mm", focal);
    form.assume("max_aperture", about.max_aperture.to_string());
    if let Some(closest) = about.closest_focus_m {
        form.assume("closest_focus_m", closest.to_string());
    }
}

/// The set-ups in a query, one a focal length; none while the form is empty.
fn setups(params: &Params) -> Result<Vec<Setup>, WebError> {
    let focal = params.numbers("focal_mm", FOCAL_LENGTHS_MM, "mm", FOCAL_LENGTHS_AT_ONCE)?;
    let aperture = params.number("max_aperture", F_NUMBERS, "")?;
    let closest = params
        .length("closest_focus_m", FOCUS_DISTANCES_M)?
        .map(|closest| closest.m);
    let (aperture, closest) = match (focal.is_empty(), aperture, closest) {
        (true, None, None) => return Ok(Vec::new()),
        (false, Some(aperture), Some(closest)) => (aperture, closest),
        (true, _, _) => return Err(missing("focal_mm", "the focal lengths, mm")),
        (_, None, _) => return Err(missing("max_aperture", "the smallest f-number of the lens")),
        (_, _, None) => return Err(missing("closest_focus_m", "the closest focus, m")),
    };
    focal
        .into_iter()
        .map(|focal| setup(params, focal, aperture, closest))
        .collect()
}

fn setup(params: &Params, focal: f64, aperture: f64, closest: f64) -> Result<Setup, WebError> {
    let mut setup = Setup::new(
        Millimetres::new(focal)?,
        FNumber::new(aperture)?,
        Metres::new(closest)?,
    )?;
    if let Some(distance) = params.length("target_distance_m", FOCUS_DISTANCES_M)? {
        setup.target_distance = Some(Metres::new(distance.m)?);
    }
    if let Some(stop) = params.number("f_number", F_NUMBERS, "")? {
        setup.f_number = Some(FNumber::new(stop)?);
    }
    if let Some(width) = params.number("sensor_width_mm", SENSOR_SIDES_MM, "mm")? {
        setup.sensor_width = Millimetres::new(width)?;
        setup.sensor_height = Millimetres::new(width * 2.0 / 3.0)?;
    }
    if let Some(height) = params.number("sensor_height_mm", SENSOR_SIDES_MM, "mm")? {
        setup.sensor_height = Millimetres::new(height)?;
    }
    if let Some(width) = params.whole("picture_width_px", 320..=32_768, "px")? {
        setup.picture_width_px = width;
    }
    if let Some(shift) = params.number("expected_shift_pct", 0.0..=50.0, "per cent")? {
        setup.expected_shift_pct = shift;
    }
    match setup.check() {
        Ok(()) => Ok(setup),
        Err(impossible) => {
            let field = match impossible.parameter() {
                "focal_length_mm" => "focal_mm",
                other => other,
            };
            Err(WebError::field(field, impossible.to_string()))
        }
    }
}

fn missing(field: &str, what: &str) -> WebError {
    WebError::field(field, format!("give {what}"))
}

fn sheet(setup: &Setup, plan: &ShootingPlan) -> Sheet {
    let per_mille = |metres: f64| format!("{:.0} mm", 1000.0 * metres);
    let inset_m = (plan.field_width_m - plan.target_spacing_m) / 2.0;
    Sheet {
        focal: words::focal_length(setup.focal_length.mm()),
        figures: vec![
            ("Targets at", words::distance(plan.target_distance_m)),
            (
                "Picture there",
                format!(
                    "{} wide, {} high",
                    per_mille(plan.field_width_m),
                    per_mille(plan.field_height_m)
                ),
            ),
            (
                "Targets apart",
                format!(
                    "{} ({:.0} px)",
                    per_mille(plan.target_spacing_m),
                    plan.target_spacing_px
                ),
            ),
            ("Moved in", format!("{} from each edge", per_mille(inset_m))),
            (
                "Tape",
                format!("{:.0} mm square ({:.0} px)", plan.tape_mm, plan.tape_px),
            ),
            ("Aperture", words::f_number(plan.f_number)),
            (
                "Blur",
                format!(
                    "{:.0} px at closest focus, {:.0} px at infinity",
                    plan.blur_near_px, plan.blur_far_px
                ),
            ),
            ("Frames", format!("{} or more", plan.frames)),
            (
                "Expected uncertainty",
                format!(
                    "± {} % (k = 2), and up to {:.2} % to one side from the moving entrance pupil",
                    words::expanded(plan.expected_u_pct),
                    plan.perspective_bound_pct
                ),
            ),
            (
                "A target leaves the frame",
                plan.leaves_frame_at_pct.map_or_else(
                    || "at closest focus, even without a shift".to_owned(),
                    |pct| {
                        format!(
                            "at a shift of {} at closest focus; planned for {}",
                            words::signed_pct(pct),
                            words::plain_pct(setup.expected_shift_pct)
                        )
                    },
                ),
            ),
        ],
        notes: plan.notes.iter().map(ToString::to_string).collect(),
        drawing: drawing(setup, plan),
    }
}

/// The frame to scale with both targets: at infinity, and at closest focus with the shift that is planned for.
fn drawing(setup: &Setup, plan: &ShootingPlan) -> String {
    const WIDTH: f64 = 600.0;
    let scale = WIDTH / f64::from(setup.picture_width_px);
    let height = WIDTH * setup.sensor_height.mm() / setup.sensor_width.mm();
    let middle = height / 2.0;
    let half = plan.target_spacing_px * scale / 2.0;
    let tape = plan.tape_px * scale;
    let radius = |blur_px: f64| (blur_px * scale + tape) / 2.0;
    let grown = 1.0 + setup.expected_shift_pct / 100.0;
    let target = |side: f64| {
        let (far, near) = (WIDTH / 2.0 + side * half, WIDTH / 2.0 + side * half * grown);
        format!(
            "<circle class=\"plan-near\" cx=\"{near:.1}\" cy=\"{middle:.1}\" r=\"{:.1}\"/>\
             <circle class=\"plan-far\" cx=\"{far:.1}\" cy=\"{middle:.1}\" r=\"{:.1}\"/>\
             <rect class=\"plan-tape\" x=\"{:.1}\" y=\"{:.1}\" width=\"{tape:.1}\" height=\"{tape:.1}\"/>",
            radius(plan.blur_near_px),
            radius(plan.blur_far_px),
            far - tape / 2.0,
            middle - tape / 2.0
        )
    };
    let focal = words::focal_length(setup.focal_length.mm());
    format!(
        "<svg class=\"plan-frame\" role=\"img\" viewBox=\"0 0 {WIDTH} {height:.1}\"><title>The frame at {focal}: both targets as squares, their blur at infinity as a solid line, at closest focus as a dashed one</title>\
         <rect class=\"plan-ground\" width=\"{WIDTH}\" height=\"{height:.1}\"/>{}{}</svg>",
        target(-1.0),
        target(1.0)
    )
}
