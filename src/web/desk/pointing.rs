//! Pointing at the targets of a frame by hand: by a click on the picture, or by numbers.
//!
//! A browser sends a click on `<input type="image">` as `place.x` and `place.y`, CSS pixels of the picture as it was shown.
//! The first of two places waits in the address of the page, so nothing half done is ever stored.

use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};

use super::changes::{self, Sent, apply, named_file};
use super::sweep_to_change;
use crate::app::App;
use crate::store::{Said, Sweep, SweepId};
use crate::web::WebError;
use crate::web::inputs::{Check, Typed, target_places};
use crate::web::place::Place;
use crate::web::session::SignedIn;

/// Why nothing can be pointed at yet.
pub(in crate::web) const UNMEASURED: &str =
    "the size of the frames is not known before they are measured; wait for that and point then";

/// Columns and rows of the frames, where they were measured.
pub(in crate::web) fn picture_size(sweep: &Sweep) -> Option<(u32, u32)> {
    sweep.result.as_ref()?.measurement.picture_size_px
}

/// `POST /sweeps/{id}/point`
pub(in crate::web) async fn point(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<SweepId>,
    form: Sent,
) -> Result<Response, WebError> {
    let sweep = sweep_to_change(&app.store, &account, id).await?;
    let typed = changes::typed(form);
    let mut check = Check::default();
    let file = named_file(&sweep, &typed, &mut check);
    let size = picture_size(&sweep);
    if size.is_none() {
        check.refuse("x1", UNMEASURED);
    }
    let first = pair("x1", "y1", &typed, &mut check);
    let clicked = size.and_then(|size| clicked(&typed, size, &mut check));
    let second = match clicked {
        Some(place) if first.is_none() && check.errors.is_empty() => {
            return Ok(waiting(id, typed.get("frame"), place));
        }
        Some(place) => Some(place),
        None => pair("x2", "y2", &typed, &mut check),
    };
    let first = check.required("x1", first, "x and y of the first target in px");
    let second = check.required("x2", second, "x and y of the second target in px");
    let places = match (first, second, size) {
        (Some(first), Some(second), Some(size)) => {
            target_places("x1", &[first, second], size, &mut check)
        }
        _ => None,
    };
    let changed = check.finish(file.zip(places)).map(|(file, places)| {
        |said: &mut Said| {
            said.settings.pointed_at.insert(file, places);
        }
    });
    apply(&app, &account, &sweep, typed, changed, "frames").await
}

/// `POST /sweeps/{id}/unpoint`: the targets of a frame are looked for again.
pub(in crate::web) async fn unpoint(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<SweepId>,
    form: Sent,
) -> Result<Response, WebError> {
    let sweep = sweep_to_change(&app.store, &account, id).await?;
    let typed = changes::typed(form);
    let mut check = Check::default();
    let file = named_file(&sweep, &typed, &mut check);
    let changed = check.finish(file).map(|file| {
        move |said: &mut Said| {
            said.settings.pointed_at.remove(&file);
        }
    });
    apply(&app, &account, &sweep, typed, changed, "frames").await
}

/// Two numbers that make a place; `None` where one is missing.
fn pair(x: &str, y: &str, typed: &Typed, check: &mut Check) -> Option<(f64, f64)> {
    let x = check.number(x, typed.get(x));
    let y = check.number(y, typed.get(y));
    x.zip(y)
}

/// The place that a click on the shown picture means, px of the picture; an integer is a pixel's centre.
fn clicked(typed: &Typed, (width, _): (u32, u32), check: &mut Check) -> Option<(f64, f64)> {
    let (x, y) = pair("place.x", "place.y", typed, check)?;
    let shown = check.number("shown_width", typed.get("shown_width"));
    let shown = shown.filter(|shown| *shown >= 1.0);
    let shown = check.required("shown_width", shown, "how wide the picture was shown, px")?;
    let scale = f64::from(width) / shown;
    let place = |shown: f64| ((shown + 0.5) * scale - 0.5).max(0.0);
    Some((place(x), place(y)))
}

/// Back to the frame, with the first place in the address.
fn waiting(id: SweepId, frame: &str, (x, y): (f64, f64)) -> Response {
    Redirect::to(&format!(
        "/sweeps/{id}/frames/{frame}?x1={x:.1}&y1={y:.1}#point"
    ))
    .into_response()
}
