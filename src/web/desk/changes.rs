//! Repairs: frames left out, order, distances, notes; each queues a new measurement.

use std::collections::BTreeMap;

use axum::Form;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};

use super::{own_sweep, sweep as sweep_page};
use crate::app::App;
use crate::intake;
use crate::store::{Sweep, SweepId};
use crate::sweep::{FrameOrder, SweepSettings};
use crate::units::{FNumber, FocusDistance};
use crate::web::inputs::{
    Check, F_NUMBER, FOCAL_MM, NOTE_CHARACTERS, SENSOR_MM, Typed, metres, millimetres,
};
use crate::web::place::Place;
use crate::web::session::SignedIn;
use crate::web::{WebError, now_ms};

/// Heading of a list of distances; may be left out in the form.
pub(super) const DISTANCES_HEADING: &str = "file,distance_m";

/// The fields of a form by name.
type Sent = Form<BTreeMap<String, String>>;

fn typed(Form(sent): Sent) -> Typed {
    sent.into_iter().collect()
}

fn back(id: SweepId, anchor: &str) -> Response {
    Redirect::to(&format!("/sweeps/{id}#{anchor}")).into_response()
}

/// Stores changed settings and rings the worker.
pub(in crate::web) async fn change(
    app: &App,
    id: SweepId,
    settings: &SweepSettings,
    notes: &str,
) -> Result<(), WebError> {
    app.store
        .change_sweep(id, settings, notes, now_ms())
        .await?;
    app.wake.notify_one();
    Ok(())
}

/// Stores what a form changed and goes back to its place on the page; refused fields show the page again with what was
/// typed.
async fn apply(
    app: &App,
    account: &SignedIn,
    sweep: &Sweep,
    typed: Typed,
    changed: Result<(SweepSettings, String), WebError>,
    anchor: &str,
) -> Result<Response, WebError> {
    match changed {
        Ok((settings, notes)) => {
            change(app, sweep.id, &settings, &notes).await?;
            Ok(back(sweep.id, anchor))
        }
        Err(WebError::Fields(errors)) => {
            sweep_page::show_refused(app, account, sweep.id, typed, errors).await
        }
        Err(error) => Err(error),
    }
}

/// `POST /sweeps/{id}/settings`
pub(in crate::web) async fn settings(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<SweepId>,
    form: Sent,
) -> Result<Response, WebError> {
    let sweep = own_sweep(&app.store, &account, id).await?;
    let typed = typed(form);
    let mut check = Check::default();
    let changed = with_settings(&sweep, &typed, &mut check);
    let changed = check.finish(Some(changed));
    apply(&app, &account, &sweep, typed, changed, "top").await
}

fn with_settings(sweep: &Sweep, typed: &Typed, check: &mut Check) -> (SweepSettings, String) {
    let target_distance = check.number("target_distance_m", typed.get("target_distance_m"));
    let closest_focus = check.number("closest_focus_m", typed.get("closest_focus_m"));
    let focal_length = check.number("focal_length_mm", typed.get("focal_length_mm"));
    let f_number = check.number("f_number", typed.get("f_number"));
    let sensor_width = check.number("sensor_width_mm", typed.get("sensor_width_mm"));
    let code = typed.get("order");
    let order = FrameOrder::ALL
        .into_iter()
        .find(|order| order.code() == code);
    let order = check.required("order", order, "auto, name, time or reverse");
    let settings = SweepSettings {
        target_distance: metres("target_distance_m", target_distance, check),
        closest_focus: metres("closest_focus_m", closest_focus, check),
        focal_length: millimetres("focal_length_mm", focal_length, &FOCAL_MM, check),
        f_number: check
            .within("f_number", f_number, &F_NUMBER, "")
            .and_then(|value| FNumber::new(value).ok()),
        sensor_width: millimetres("sensor_width_mm", sensor_width, &SENSOR_MM, check),
        order: order.unwrap_or_default(),
        last_not_at_infinity: typed.is("last_not_at_infinity", "on"),
        ..sweep.settings.clone()
    };
    let notes = check.text("notes", typed.get("notes"), NOTE_CHARACTERS);
    (settings, notes.unwrap_or_default())
}

/// `POST /sweeps/{id}/distances`: lines of file name and distance, as text.
pub(in crate::web) async fn distances(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<SweepId>,
    form: Sent,
) -> Result<Response, WebError> {
    let sweep = own_sweep(&app.store, &account, id).await?;
    let typed = typed(form);
    let mut check = Check::default();
    let given = read_distances(&sweep, typed.get("distances"), &mut check);
    let changed = check.finish(Some(given)).map(|distances| {
        let settings = SweepSettings {
            distances,
            ..sweep.settings.clone()
        };
        (settings, sweep.notes.clone())
    });
    apply(&app, &account, &sweep, typed, changed, "top").await
}

/// The distances in these lines, all of files that the sweep has; no line takes all given distances back.
fn read_distances(
    sweep: &Sweep,
    lines: &str,
    check: &mut Check,
) -> BTreeMap<String, FocusDistance> {
    if lines.is_empty() {
        return BTreeMap::new();
    }
    let with_heading = if lines.starts_with("file") {
        lines.to_owned()
    } else {
        format!("{DISTANCES_HEADING}\n{lines}")
    };
    match intake::distances::read(with_heading.as_bytes()) {
        Ok(distances) => {
            for file in distances.keys() {
                if !sweep.files.iter().any(|(known, _)| known == file) {
                    let shown: String = file.chars().take(60).collect();
                    check.refuse("distances", format!("the sweep has no frame “{shown}”"));
                }
            }
            distances
        }
        Err(error) => {
            check.refuse("distances", error.to_string());
            BTreeMap::new()
        }
    }
}

/// The file whose number a form names.
fn named_file(sweep: &Sweep, typed: &Typed, check: &mut Check) -> Option<String> {
    let file = typed
        .get("frame")
        .parse::<usize>()
        .ok()
        .and_then(|number| sweep.files.get(number.checked_sub(1)?))
        .map(|(file, _)| file.clone());
    check.required("frame", file, "the number of one of the sweep's frames")
}

/// `POST /sweeps/{id}/leave-out`
pub(in crate::web) async fn leave_out(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<SweepId>,
    form: Sent,
) -> Result<Response, WebError> {
    let sweep = own_sweep(&app.store, &account, id).await?;
    let typed = typed(form);
    let mut check = Check::default();
    let file = named_file(&sweep, &typed, &mut check);
    let reason = check.line("reason", typed.get("reason"), NOTE_CHARACTERS);
    let reason = check.required("reason", reason, "a few words why, for you and for readers");
    let changed = check.finish(file.zip(reason)).map(|(file, reason)| {
        let mut settings = sweep.settings.clone();
        settings.left_out.insert(file, reason);
        (settings, sweep.notes.clone())
    });
    apply(&app, &account, &sweep, typed, changed, "left-out").await
}

/// `POST /sweeps/{id}/take-back`
pub(in crate::web) async fn take_back(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<SweepId>,
    form: Sent,
) -> Result<Response, WebError> {
    let sweep = own_sweep(&app.store, &account, id).await?;
    let mut check = Check::default();
    let file = named_file(&sweep, &typed(form), &mut check);
    let file = check.finish(file)?;
    let mut settings = sweep.settings.clone();
    settings.left_out.remove(&file);
    change(&app, id, &settings, &sweep.notes).await?;
    Ok(back(id, "left-out"))
}

/// `POST /sweeps/{id}/measure`: once more, also after it was set aside.
pub(in crate::web) async fn measure_again(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<SweepId>,
) -> Result<Response, WebError> {
    let sweep = own_sweep(&app.store, &account, id).await?;
    let set_aside = sweep
        .job
        .is_some_and(|job| job.state == crate::store::JobState::SetAside);
    if set_aside {
        app.store.retry_job(id, now_ms()).await?;
    } else {
        app.store.queue_measurement(id, now_ms()).await?;
    }
    app.wake.notify_one();
    Ok(back(id, "top"))
}
