//! One frame: its page with the found targets drawn on, its picture re-encoded, its original for those who work on it.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use serde::Deserialize;

use super::archive::safe_name;
use super::overlay::{self, Detail};
use super::pictures::For;
use super::view::{self, FrameView};
use super::{Progress, check_own, html, may_see, pointing, seen_sweep};
use crate::app::App;
use crate::store::{Store, Sweep, SweepId};
use crate::web::caller::Caller;
use crate::web::errors::FieldError;
use crate::web::inputs::Typed;
use crate::web::pages::frame::{PageFrame, Section};
use crate::web::place::Place;
use crate::web::session::{SignedIn, Viewer};
use crate::web::{Web, WebError, is_fresh};

/// Longest sides that pictures are made in, px.
const SIDES_PX: [u32; 4] = [320, 960, 1920, 3840];

/// Width that the picture is shown in where targets are pointed at without script, CSS px.
const POINTING_WIDTH: u32 = 960;

#[derive(Template)]
#[template(path = "desk/frame.html")]
struct FramePage {
    page: PageFrame,
    id: SweepId,
    lens: String,
    frame: FrameView,
    place: usize,
    count: usize,
    previous: Option<usize>,
    next: Option<usize>,
    next_with_finding: Option<usize>,
    is_own: bool,
    progress: Option<Progress>,
    /// How many times the uncertainty is enlarged in the drawing.
    enlarged: Option<f64>,
    /// Width and height of the picture to point at, CSS px; `None` before the frames are measured.
    pointing: Option<(u32, u32)>,
    /// Mark of a first place that waits for the second.
    mark: String,
    typed: Typed,
    errors: Vec<FieldError>,
}

impl FramePage {
    fn error(&self, field: &str) -> Option<&str> {
        FieldError::told(&self.errors, field)
    }

    /// Whether the part for pointing stands open: somebody is in the middle of it.
    fn is_pointing(&self) -> bool {
        !self.mark.is_empty()
            || ["x1", "y1", "x2", "y2"]
                .iter()
                .any(|field| self.error(field).is_some())
    }
}

/// What the address of a frame asks for: a size of its picture, or a first place that waits for the second, px.
#[derive(Default, Deserialize)]
pub(in crate::web) struct Asked {
    side: Option<String>,
    x1: Option<f64>,
    y1: Option<f64>,
}

/// `GET /sweeps/{id}/frames/{n}` is the frame's page, `GET /sweeps/{id}/frames/{n}.jpg?side=` its picture.
pub(in crate::web) async fn show(
    State(web): State<Web>,
    viewer: Viewer,
    Caller(address): Caller,
    Place((id, name)): Place<(SweepId, String)>,
    Query(asked): Query<Asked>,
    headers: HeaderMap,
) -> Result<Response, WebError> {
    match name.strip_suffix(".jpg") {
        Some(number) => {
            let (_, is_own) = may_see(&web.app.store, &viewer, id).await?;
            let side = side_px(asked.side.as_deref())?;
            let (_, sha256) = original(&web.app.store, id, number).await?;
            let whom = if is_own {
                For::Owner
            } else {
                For::Reader(address)
            };
            picture(&web, whom, sha256, side, &headers).await
        }
        None => {
            let seen = seen_sweep(&web.app.store, &viewer, id).await?;
            let mut typed = Typed::default();
            if let Some((x, y)) = asked.x1.zip(asked.y1) {
                typed.set("x1", x.to_string());
                typed.set("y1", y.to_string());
            }
            let page = page(&viewer, &seen.sweep, &name, seen.is_own, typed, Vec::new())?;
            Ok(page.into_response())
        }
    }
}

/// The page of the frame that a form was sent from, with what was typed and what is wrong.
pub(super) fn show_refused(
    account: &SignedIn,
    sweep: &Sweep,
    typed: Typed,
    errors: Vec<FieldError>,
) -> Result<Response, WebError> {
    let viewer = Viewer::of(account);
    let number = typed.get("frame").to_owned();
    let page = page(&viewer, sweep, &number, true, typed, errors)?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

fn page(
    viewer: &Viewer,
    sweep: &Sweep,
    name: &str,
    is_own: bool,
    typed: Typed,
    errors: Vec<FieldError>,
) -> Result<Html<String>, WebError> {
    let number: usize = name.parse().map_err(|_| WebError::no_such("frame"))?;
    let mut frames = view::frames(sweep, Detail::Large);
    let place = frames
        .iter()
        .position(|frame| frame.number == number)
        .ok_or_else(|| WebError::no_such("frame"))?;
    let neighbour = |index: Option<usize>| Some(frames.get(index?)?.number);
    let previous = neighbour(place.checked_sub(1));
    let next = neighbour(place.checked_add(1));
    let next_with_finding = frames
        .iter()
        .skip(place + 1)
        .chain(frames.iter().take(place))
        .find(|frame| frame.has_finding)
        .map(|frame| frame.number);
    let count = frames.len();
    let frame = frames.swap_remove(place);
    let section = if is_own {
        Section::Desk
    } else {
        Section::Lenses
    };
    let size = pointing::picture_size(sweep);
    let first = ["x1", "y1"].map(|field| typed.get(field).parse::<f64>().ok());
    let mark = match (size, first) {
        (Some(size), [Some(x), Some(y)]) if x.is_finite() && y.is_finite() => {
            overlay::mark((x, y), size)
        }
        _ => String::new(),
    };
    let measured = sweep.result.as_ref().and_then(|result| {
        let mut frames = result.measurement.frames.iter();
        frames.find(|measured| measured.info.file == frame.file)
    });
    html(&FramePage {
        page: PageFrame::new(
            format!("{} of sweep {}", frame.file, sweep.id),
            section,
            viewer,
        ),
        id: sweep.id,
        lens: sweep.lens.about.name(),
        progress: Progress::of(sweep, is_own),
        enlarged: measured
            .and_then(|measured| overlay::enlargement(&measured.targets, frame.width)),
        pointing: size.filter(|_| is_own).map(|(width, height)| {
            let shown = f64::from(height) * f64::from(POINTING_WIDTH) / f64::from(width);
            (POINTING_WIDTH, shown.round() as u32)
        }),
        mark,
        frame,
        place: place + 1,
        count,
        previous,
        next,
        next_with_finding,
        is_own,
        typed,
        errors,
    })
}

fn side_px(asked: Option<&str>) -> Result<u32, WebError> {
    let Some(asked) = asked else {
        return Ok(SIDES_PX[1]);
    };
    asked
        .parse()
        .ok()
        .filter(|side| SIDES_PX.contains(side))
        .ok_or_else(|| WebError::field("side", "give 320, 960, 1920 or 3840 (px)"))
}

/// File name and hash of the frame of this number.
async fn original(store: &Store, id: SweepId, number: &str) -> Result<(String, String), WebError> {
    let found = match number.parse() {
        Ok(number) => store.frame_original(id, number).await?,
        Err(_) => None,
    };
    found.ok_or_else(|| WebError::no_such("frame"))
}

/// The picture made anew of its pixels alone. Nothing of the file's metadata leaves the server this way.
async fn picture(
    web: &Web,
    whom: For,
    sha256: String,
    side: u32,
    headers: &HeaderMap,
) -> Result<Response, WebError> {
    let etag = format!("\"{}-{side}\"", sha256.get(..32).unwrap_or(&sha256));
    let keep = match whom {
        For::Owner => "private, max-age=3600",
        For::Reader(_) => "public, max-age=3600",
    };
    let about = [
        (header::ETAG, etag.clone()),
        (header::CACHE_CONTROL, keep.to_owned()),
    ];
    if is_fresh(headers, &etag) {
        return Ok((StatusCode::NOT_MODIFIED, about).into_response());
    }
    let jpeg = web
        .pictures
        .picture(&web.app, &web.reads, whom, sha256, side)
        .await?;
    Ok((about, [(header::CONTENT_TYPE, "image/jpeg")], jpeg).into_response())
}

/// `GET /sweeps/{id}/frames/{n}/original`: the file as it came, for those who work on the sweep only.
pub(in crate::web) async fn download(
    State(app): State<App>,
    account: SignedIn,
    Place((id, number)): Place<(SweepId, String)>,
) -> Result<Response, WebError> {
    check_own(&app.store, &account, id).await?;
    let (file, sha256) = original(&app.store, id, &number).await?;
    let name = safe_name(&file);
    let originals = app.originals.clone();
    let bytes = tokio::task::spawn_blocking(move || originals.read(&sha256)).await??;
    Ok((
        [
            (header::CONTENT_TYPE, "application/octet-stream".to_owned()),
            (
                header::CONTENT_DISPOSITION,
                format!("attachment; filename=\"{name}\""),
            ),
            (header::CACHE_CONTROL, "private, no-store".to_owned()),
        ],
        bytes,
    )
        .into_response())
}
