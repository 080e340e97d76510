//! The page of a sweep: verdict, findings, chart, every frame with its found targets, repairs, publishing.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};

use super::changes::DISTANCES_HEADING;
use super::view::{self, FindingView, FrameView};
use super::{Seen, html, progress_words, seen_sweep};
use crate::app::App;
use crate::report::words;
use crate::store::{JobState, Sweep, SweepId};
use crate::sweep::{FrameOrder, SweepSettings};
use crate::web::WebError;
use crate::web::errors::FieldError;
use crate::web::inputs::Typed;
use crate::web::pages::frame::{PageFrame, Section};
use crate::web::place::Place;
use crate::web::session::{SignedIn, Viewer};

struct PublicationLine {
    version: u32,
    published: String,
    withdrawn: Option<String>,
}

#[derive(Template)]
#[template(path = "desk/sweep.html")]
struct SweepPage {
    page: PageFrame,
    id: SweepId,
    lens: String,
    slug: String,
    heading: String,
    name: String,
    is_own: bool,
    public_version: Option<u32>,
    progress: Option<String>,
    frames_done: u32,
    frames_total: u32,
    failure: Option<String>,
    verdict: Option<String>,
    facts: Vec<(&'static str, String)>,
    findings: Vec<FindingView>,
    chart: Option<(String, String)>,
    frames: Vec<FrameView>,
    left_out: Vec<(usize, String, String)>,
    distances: String,
    typed: Typed,
    errors: Vec<FieldError>,
    publishing_stops: Vec<String>,
    publications: Vec<PublicationLine>,
}

impl SweepPage {
    fn error(&self, field: &str) -> Option<&str> {
        self.errors
            .iter()
            .find(|error| error.field == field)
            .map(|error| error.detail.as_str())
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
    let typed = typed_settings(&seen.sweep.settings, &seen.sweep.notes);
    render(&viewer, seen, typed, Vec::new())
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
    let mut typed = typed_settings(&seen.sweep.settings, &seen.sweep.notes);
    typed.merge(changed);
    let page = render(&viewer, seen, typed, errors)?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

fn render(
    viewer: &Viewer,
    seen: Seen,
    typed: Typed,
    errors: Vec<FieldError>,
) -> Result<Html<String>, WebError> {
    let sweep = &seen.sweep;
    let lens = format!("{} {}", sweep.lens.about.maker, sweep.lens.about.model);
    let measurement = sweep.result.as_ref().map(|result| &result.measurement);
    let focal = measurement
        .and_then(|measurement| measurement.focal_length)
        .map_or_else(String::new, |focal| {
            format!(" at {}", words::focal_length(focal.mm()))
        });
    let job = sweep.job.as_ref().filter(|_| seen.is_own);
    let numbers = view::numbers(sweep);
    let section = if seen.is_own {
        Section::Desk
    } else {
        Section::Lenses
    };
    html(&SweepPage {
        page: PageFrame::new(
            format!("{lens}{focal}: sweep {}", sweep.id),
            section,
            viewer,
        ),
        id: sweep.id,
        heading: format!("{lens}{focal}"),
        slug: sweep.lens.slug.clone(),
        name: sweep.name.clone(),
        is_own: seen.is_own,
        public_version: seen.public_version,
        progress: job.and_then(progress_words),
        frames_done: job.map_or(0, |job| job.frames_done),
        frames_total: job.map_or(0, |job| job.frames_total),
        failure: job
            .filter(|job| job.state == JobState::SetAside)
            .map(|job| {
                job.error
                    .clone()
                    .unwrap_or_else(|| "no reason was recorded".to_owned())
            }),
        verdict: measurement.and_then(view::verdict),
        facts: view::facts(sweep),
        findings: view::findings(sweep),
        chart: measurement.map(view::charts).transpose()?.flatten(),
        frames: view::frames(sweep),
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
        publishing_stops: view::publishing_stops(sweep),
        publications: publications(sweep),
        lens,
    })
}

fn publications(sweep: &Sweep) -> Vec<PublicationLine> {
    sweep
        .publications
        .iter()
        .map(|publication| PublicationLine {
            version: publication.version,
            published: words::moment(publication.published_ms),
            withdrawn: publication
                .withdrawn
                .as_ref()
                .map(|(at, reason)| format!("{}: {reason}", words::moment(*at))),
        })
        .collect()
}

/// The settings as the fields of the form hold them.
fn typed_settings(settings: &SweepSettings, notes: &str) -> Typed {
    let mut typed = Typed::default();
    let mut number = |field: &str, value: Option<f64>| {
        typed.set(
            field,
            value.map_or_else(String::new, |value| value.to_string()),
        );
    };
    number("target_distance_m", settings.target_distance.map(|d| d.m()));
    number("closest_focus_m", settings.closest_focus.map(|d| d.m()));
    number("focal_length_mm", settings.focal_length.map(|f| f.mm()));
    number("f_number", settings.f_number.map(|n| n.n()));
    number("sensor_width_mm", settings.sensor_width.map(|w| w.mm()));
    typed.set("order", settings.order.code());
    if settings.last_not_at_infinity {
        typed.set("last_not_at_infinity", "on");
    }
    typed.set("notes", notes);
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
