//! The shooting plan: a form, the figures, a drawing of the frame.

use axum::response::Html;

use super::{PageFrame, Section, filters, html};
use crate::optics::{Setup, ShootingPlan};
use crate::report::words;
use crate::units::{FNumber, Metres, Millimetres};
use crate::web::WebError;
use crate::web::api::{FOCAL_LENGTHS, Params};
use crate::web::session::Viewer;

#[derive(askama::Template)]
#[template(path = "pages/plan.html")]
struct PlanPage {
    page: PageFrame,
    params: Params,
    plan: Option<Planned>,
}

impl PlanPage {
    fn value(&self, name: &str) -> &str {
        self.params.text(name).unwrap_or_default()
    }
}

/// A plan in words.
struct Planned {
    figures: Vec<(&'static str, String)>,
    notes: Vec<String>,
    drawing: String,
}

/// `GET /plan`
pub(super) async fn page(viewer: Viewer, params: Params) -> Result<Html<String>, WebError> {
    let plan = setup(&params)?.map(|setup| planned(&setup, &ShootingPlan::for_setup(&setup)));
    html(&PlanPage {
        page: PageFrame::new("Plan a shoot", Section::Plan, &viewer).described(
            "How far the targets, how far apart, how large, which aperture, how many frames.",
        ),
        params,
        plan,
    })
}

/// The set-up in a query; `None` while the form is empty.
fn setup(params: &Params) -> Result<Option<Setup>, WebError> {
    let focal = params.number("focal_mm", FOCAL_LENGTHS, "mm")?;
    let aperture = params.number("max_aperture", 0.5..=64.0, "")?;
    let closest = params.number("closest_focus_m", 0.02..=100.0, "m")?;
    let (focal, aperture, closest) = match (focal, aperture, closest) {
        (None, None, None) => return Ok(None),
        (Some(focal), Some(aperture), Some(closest)) => (focal, aperture, closest),
        (None, _, _) => return Err(missing("focal_mm", "the focal length, mm")),
        (_, None, _) => return Err(missing("max_aperture", "the smallest f-number of the lens")),
        (_, _, None) => return Err(missing("closest_focus_m", "the closest focus, m")),
    };
    let mut setup = Setup::new(
        Millimetres::new(focal)?,
        FNumber::new(aperture)?,
        Metres::new(closest)?,
    )?;
    if let Some(distance) = params.number("target_distance_m", 0.1..=100.0, "m")? {
        setup.target_distance = Some(Metres::new(distance)?);
    }
    if let Some(stop) = params.number("f_number", 0.5..=64.0, "")? {
        setup.f_number = Some(FNumber::new(stop)?);
    }
    if let Some(width) = params.number("sensor_width_mm", 1.0..=100.0, "mm")? {
        setup.sensor_width = Millimetres::new(width)?;
        setup.sensor_height = Millimetres::new(width * 2.0 / 3.0)?;
    }
    if let Some(height) = params.number("sensor_height_mm", 1.0..=100.0, "mm")? {
        setup.sensor_height = Millimetres::new(height)?;
    }
    if let Some(width) = params.whole("picture_width_px", 320..=32_768, "px")? {
        setup.picture_width_px = width;
    }
    if let Some(shift) = params.number("expected_shift_pct", 0.0..=50.0, "per cent")? {
        setup.expected_shift_pct = shift;
    }
    Ok(Some(setup))
}

fn missing(field: &str, what: &str) -> WebError {
    WebError::field(field, format!("give {what}"))
}

fn planned(setup: &Setup, plan: &ShootingPlan) -> Planned {
    let per_mille = |metres: f64| format!("{:.0} mm", 1000.0 * metres);
    Planned {
        figures: vec![
            (
                "Targets at",
                format!(
                    "{} from the sensor plane",
                    words::distance(plan.target_distance_m)
                ),
            ),
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
                    "{}, {:.0} px in the picture, centre to centre",
                    per_mille(plan.target_spacing_m),
                    plan.target_spacing_px
                ),
            ),
            (
                "Tape",
                format!(
                    "squares of {:.0} mm, {:.0} px in the picture",
                    plan.tape_mm, plan.tape_px
                ),
            ),
            ("Aperture", format!("f/{:.1}", plan.f_number)),
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
                format!(
                    "at a shift of {} at closest focus; planned for {}",
                    words::signed_pct(plan.leaves_frame_at_pct),
                    words::plain_pct(setup.expected_shift_pct)
                ),
            ),
        ],
        notes: plan.notes.iter().map(ToString::to_string).collect(),
        drawing: drawing(setup, plan),
    }
}

/// The frame with both targets, sharp and at their widest blur, to scale.
fn drawing(setup: &Setup, plan: &ShootingPlan) -> String {
    const WIDTH: f64 = 600.0;
    let scale = WIDTH / f64::from(setup.picture_width_px);
    let height = WIDTH * setup.sensor_height.mm() / setup.sensor_width.mm();
    let middle = height / 2.0;
    let spacing = plan.target_spacing_px * scale;
    let tape = plan.tape_px * scale;
    let near = (plan.blur_near_px * scale + tape) / 2.0;
    let grown = 1.0 + setup.expected_shift_pct / 100.0;
    let target = |side: f64| {
        let (sharp, blurred) = (
            WIDTH / 2.0 + side * spacing / 2.0,
            WIDTH / 2.0 + side * spacing / 2.0 * grown,
        );
        format!(
            "<circle class=\"plan-blur\" cx=\"{blurred:.1}\" cy=\"{middle:.1}\" r=\"{near:.1}\"/>\
             <rect class=\"plan-tape\" x=\"{:.1}\" y=\"{:.1}\" width=\"{tape:.1}\" height=\"{tape:.1}\"/>",
            sharp - tape / 2.0,
            middle - tape / 2.0
        )
    };
    format!(
        "<svg class=\"plan-frame\" role=\"img\" viewBox=\"0 0 {WIDTH} {height:.1}\"><title>The frame with both targets: squares where they are sharp, circles around their widest blur at closest focus</title>\
         <rect class=\"plan-ground\" width=\"{WIDTH}\" height=\"{height:.1}\"/>{}{}</svg>",
        target(-1.0),
        target(1.0)
    )
}
