//! The page of a sweep: verdict, findings, chart, every frame with its found targets, repairs, publishing.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};

use super::changes::DISTANCES_HEADING;
use super::difference::DifferenceView;
use super::doubts::doubts;
use super::overlay::Detail;
use super::publishing::PublicationLine;
use super::repeats::Repeats;
use super::view::{self, FindingView, FrameView};
use super::{Progress, Seen, facts, html, publishing, seen_sweep};
use crate::app::App;
use crate::store::{Conditions, JobState, Lens, Sweep, SweepId, Switch};
use crate::sweep::{FrameOrder, SweepSettings};
use crate::web::WebError;
use crate::web::errors::FieldError;
use crate::web::inputs::Typed;
use crate::web::pages::filters;
use crate::web::pages::frame::{PageFrame, Section};
use crate::web::place::Place;
use crate::web::session::{SignedIn, Viewer};

#[derive(Template)]
#[template(path = "desk/sweep.html")]
struct SweepPage {
    page: PageFrame,
    id: SweepId,
    lens: String,
    slug: String,
    heading: String,
    name: String,
    /// Lenses that it could be filed under instead.
    others: Vec<Lens>,
    is_own: bool,
    public_version: Option<u32>,
    progress: Option<Progress>,
    failure: Option<String>,
    verdict: Option<String>,
    facts: Vec<(&'static str, String)>,
    budget: Vec<(&'static str, &'static str, String)>,
    difference: Option<DifferenceView>,
    findings: Vec<FindingView>,
    /// Nobody knows its focal length, which the viewer can give.
    lacks_focal: bool,
    chart: Option<(String, String)>,
    frames: Vec<FrameView>,
    left_out: Vec<(usize, String, String)>,
    distances: String,
    typed: Typed,
    errors: Vec<FieldError>,
    /// Version that is shown, where it is not the newest.
    shown_version: Option<u32>,
    doubts: Vec<String>,
    has_result: bool,
    repeats: Option<Repeats>,
    publications: Vec<PublicationLine>,
}

impl SweepPage {
    /// When and why it was taken back, where it was.
    fn withdrawn(&self) -> Option<&str> {
        publishing::withdrawn(&self.publications)
    }

    fn error(&self, field: &str) -> Option<&str> {
        FieldError::told(&self.errors, field)
    }

    /// Where its chart is, without the ending.
    fn chart_address(&self) -> String {
        format!("/sweeps/{}/chart", self.id)
    }

    /// What the orders of frames are called in the form.
    #[allow(clippy::unused_self, reason = "templates call methods of their page")]
    fn order_words(&self, order: &FrameOrder) -> &'static str {
        match order {
            FrameOrder::Automatic => {
                "by itself: time, then name, turned round where blur or distances say so"
            }
            FrameOrder::Name => "by file name, as it is",
            FrameOrder::Time => "by capture time, as it is",
            FrameOrder::Reverse => "by capture time and name, last frame first",
        }
    }
}

/// `GET /sweeps/{id}`
pub(in crate::web) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    Place(id): Place<SweepId>,
) -> Result<Html<String>, WebError> {
    let seen = seen_sweep(&app.store, &viewer, id).await?;
    let typed = typed_settings(&seen.sweep);
    render(&app, &viewer, seen, typed, Vec::new()).await
}

/// The page with forms as they were typed and what is wrong with them.
pub(super) async fn show_refused(
    app: &App,
    account: &SignedIn,
    id: SweepId,
    changed: Typed,
    errors: Vec<FieldError>,
) -> Result<Response, WebError> {
    let viewer = Viewer::of(account);
    let seen = seen_sweep(&app.store, &viewer, id).await?;
    let mut typed = typed_settings(&seen.sweep);
    typed.merge(changed);
    let page = render(app, &viewer, seen, typed, errors).await?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

pub(super) async fn render(
    app: &App,
    viewer: &Viewer,
    seen: Seen,
    typed: Typed,
    errors: Vec<FieldError>,
) -> Result<Html<String>, WebError> {
    let sweep = &seen.sweep;
    let lens = sweep.lens.about.name();
    let measurement = sweep.result.as_ref().map(|result| &result.measurement);
    let job = sweep.job.as_ref().filter(|_| seen.is_own);
    let numbers = view::numbers(sweep);
    let progress = Progress::of(sweep, seen.is_own);
    let before = if seen.is_own && progress.is_none() {
        app.store.previous_result(sweep.id).await?
    } else {
        None
    };
    let doubts = if seen.is_own {
        doubts(&app.store, viewer, sweep).await?
    } else {
        Vec::new()
    };
    let repeats = if seen.is_own {
        Repeats::of(&app.store, viewer, sweep).await?
    } else {
        None
    };
    let mut others = Vec::new();
    if seen.is_own && seen.public_version.is_none() {
        others = app.store.all_lenses().await?;
        others.retain(|lens| lens.id != sweep.lens.id);
    }
    let section = if seen.is_own {
        Section::Desk
    } else {
        Section::Lenses
    };
    html(&SweepPage {
        page: PageFrame::new(
            format!("{}: sweep {}", facts::heading(sweep), sweep.id),
            section,
            viewer,
        ),
        id: sweep.id,
        heading: facts::heading(sweep),
        slug: sweep.lens.slug.clone(),
        name: sweep.name.clone(),
        others,
        is_own: seen.is_own,
        public_version: seen.public_version,
        progress,
        failure: job
            .filter(|job| job.state == JobState::SetAside)
            .map(|job| {
                job.error
                    .clone()
                    .unwrap_or_else(|| "no reason was recorded".to_owned())
            }),
        verdict: measurement.and_then(facts::verdict),
        facts: facts::facts(sweep),
        budget: facts::budget(sweep),
        difference: before
            .as_ref()
            .zip(sweep.result.as_ref())
            .map(|(before, after)| DifferenceView::new(sweep, before, after)),
        findings: view::findings(sweep),
        lacks_focal: seen.is_own && publishing::lacks_focal(sweep),
        chart: measurement.map(facts::charts).transpose()?.flatten(),
        frames: view::frames(sweep, Detail::Small),
        left_out: sweep
            .settings
            .left_out
            .iter()
            .filter_map(|(file, reason)| {
                Some((*numbers.get(file.as_str())?, file.clone(), reason.clone()))
            })
            .collect(),
        distances: given_distances(&sweep.settings),
        typed,
        errors,
        shown_version: seen.shown_version,
        doubts,
        has_result: measurement.is_some(),
        repeats,
        publications: publishing::publications(sweep),
        lens,
    })
}

/// What is said of the camera, by the names of the form.
pub(super) fn switches(conditions: &Conditions) -> [(&'static str, Switch); 3] {
    [
        ("distortion_correction", conditions.distortion_correction),
        ("breathing_compensation", conditions.breathing_compensation),
        ("stabilisation", conditions.stabilisation),
    ]
}

/// What is said of the sweep as the fields of the form hold it.
fn typed_settings(sweep: &Sweep) -> Typed {
    let (settings, conditions) = (&sweep.settings, &sweep.conditions);
    let mut typed = Typed::default();
    for (field, position) in switches(conditions) {
        typed.set(field, position.code());
    }
    let mut number = |field: &str, value: Option<f64>| {
        typed.set(
            field,
            value.map_or_else(String::new, |value| value.to_string()),
        );
    };
    let target_distance = settings.target_distance.or(conditions.target_distance);
    number("target_distance_m", target_distance.map(|d| d.m()));
    let closest_focus = settings.closest_focus.or(conditions.closest_focus);
    number("closest_focus_m", closest_focus.map(|d| d.m()));
    number("focal_length_mm", settings.focal_length.map(|f| f.mm()));
    number("f_number", settings.f_number.map(|n| n.n()));
    number("sensor_width_mm", settings.sensor_width.map(|w| w.mm()));
    typed.set("order", settings.order.code());
    if settings.last_not_at_infinity {
        typed.set("last_not_at_infinity", "on");
    }
    typed.set("camera", settings.camera.clone().unwrap_or_default());
    typed.set("notes", sweep.notes.clone());
    typed
}

/// The distances that were given, as the lines that they are given in.
fn given_distances(settings: &SweepSettings) -> String {
    if settings.distances.is_empty() {
        return String::new();
    }
    let lines: String = settings
        .distances
        .iter()
        .map(|(file, distance)| match distance.metres() {
            Some(metres) => format!("{file},{}\n", metres.m()),
            None => format!("{file},inf\n"),
        })
        .collect();
    format!("{DISTANCES_HEADING}\n{lines}")
}
