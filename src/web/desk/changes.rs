//! Repairs: frames left out, order, distances, conditions, notes; each queues a new measurement.

use std::collections::BTreeMap;

use axum::Form;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};

use super::{frames, sweep as sweep_page, sweep_to_change};
use crate::app::App;
use crate::intake::{self, IntakeError};
use crate::store::{Said, Sweep, SweepId, now_ms};
use crate::sweep::FrameOrder;
use crate::units::{F_NUMBERS, FNumber, FOCAL_LENGTHS_MM, FocusDistance, SENSOR_SIDES_MM};
use crate::web::WebError;
use crate::web::inputs::{
    CAMERA_CHARACTERS, Check, NOTE_CHARACTERS, Typed, metres, millimetres, switch,
};
use crate::web::place::Place;
use crate::web::session::SignedIn;

/// Heading of a list of distances; may be left out in the form.
pub(super) const DISTANCES_HEADING: &str = "file,distance_m";

/// Field with the number of the frame whose page a form was sent from.
const FROM: &str = "from";

/// The fields of a form by name.
pub(in crate::web) type Sent = Form<BTreeMap<String, String>>;

pub(super) fn typed(Form(sent): Sent) -> Typed {
    sent.into_iter().collect()
}

/// To where the form was sent from: the page of a frame where it says so, else a place on the sweep's page.
fn back(id: SweepId, typed: &Typed, anchor: &str) -> Response {
    let to = match typed.get(FROM).parse::<usize>() {
        Ok(frame) => format!("/sweeps/{id}/frames/{frame}"),
        Err(_) => format!("/sweeps/{id}#{anchor}"),
    };
    Redirect::to(&to).into_response()
}

/// Changes what is said of a sweep and rings the worker.
pub(in crate::web) async fn change(
    app: &App,
    id: SweepId,
    change: impl FnOnce(&mut Said) + Send,
) -> Result<(), WebError> {
    app.store.change_sweep(id, change, now_ms()).await?;
    app.wake.notify_one();
    Ok(())
}

/// Stores what a form changed and goes back to its place; refused fields show the page again with what was typed.
pub(super) async fn apply(
    app: &App,
    account: &SignedIn,
    sweep: &Sweep,
    typed: Typed,
    changed: Result<impl FnOnce(&mut Said) + Send, WebError>,
    anchor: &str,
) -> Result<Response, WebError> {
    match changed {
        Ok(changed) => {
            change(app, sweep.id, changed).await?;
            Ok(back(sweep.id, &typed, anchor))
        }
        Err(WebError::Fields(errors)) if typed.get(FROM).is_empty() => {
            sweep_page::show_refused(app, account, sweep.id, typed, errors).await
        }
        Err(WebError::Fields(errors)) => frames::show_refused(account, sweep, typed, errors),
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
    let sweep = sweep_to_change(&app.store, &account, id).await?;
    let typed = typed(form);
    let mut check = Check::default();
    let changed = settings_of(&typed, &mut check);
    let changed = check.finish(Some(changed));
    apply(&app, &account, &sweep, typed, changed, "top").await
}

/// What the form of settings changes: all that it shows; a switch that was not sent stays where it is.
fn settings_of(typed: &Typed, check: &mut Check) -> impl FnOnce(&mut Said) + Send + use<> {
    let mut position = |field: &str| {
        let code = Some(typed.get(field)).filter(|code| !code.is_empty())?;
        Some(switch(field, code, check))
    };
    let correction = position("distortion_correction");
    let compensation = position("breathing_compensation");
    let stabilisation = position("stabilisation");
    let mut distance = |field: &str| {
        let m = check.distance(field, typed.get(field));
        metres(field, m, check)
    };
    let target_distance = distance("target_distance_m");
    let closest_focus = distance("closest_focus_m");
    let focal_length = check.number("focal_length_mm", typed.get("focal_length_mm"));
    let focal_length = millimetres("focal_length_mm", focal_length, &FOCAL_LENGTHS_MM, check);
    let f_number = check.number("f_number", typed.get("f_number"));
    let f_number = check.within("f_number", f_number, &F_NUMBERS, "");
    let sensor_width = check.number("sensor_width_mm", typed.get("sensor_width_mm"));
    let sensor_width = millimetres("sensor_width_mm", sensor_width, &SENSOR_SIDES_MM, check);
    let camera = check.line("camera", typed.get("camera"), CAMERA_CHARACTERS);
    let order = FrameOrder::from_code(typed.get("order"));
    let order = check.required("order", order, "auto, name, time or reverse");
    let last_not_at_infinity = typed.is("last_not_at_infinity", "on");
    let notes = check.text("notes", typed.get("notes"), NOTE_CHARACTERS);
    move |said| {
        let (shoot, own) = (&mut said.conditions, &mut said.settings);
        for (now, given) in [
            (&mut shoot.distortion_correction, correction),
            (&mut shoot.breathing_compensation, compensation),
            (&mut shoot.stabilisation, stabilisation),
        ] {
            *now = given.unwrap_or(*now);
        }
        // Both speak of these, and the sweep's own word goes first.
        (shoot.target_distance, own.target_distance) = (target_distance, target_distance);
        (shoot.closest_focus, own.closest_focus) = (closest_focus, closest_focus);
        own.focal_length = focal_length;
        own.f_number = f_number.and_then(|n| FNumber::new(n).ok());
        own.sensor_width = sensor_width;
        own.camera = camera;
        own.order = order.unwrap_or_default();
        own.last_not_at_infinity = last_not_at_infinity;
        said.notes = notes.unwrap_or_default();
    }
}

/// `POST /sweeps/{id}/distances`: lines of file name and distance, as text.
pub(in crate::web) async fn distances(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<SweepId>,
    form: Sent,
) -> Result<Response, WebError> {
    let sweep = sweep_to_change(&app.store, &account, id).await?;
    let typed = typed(form);
    let mut check = Check::default();
    let given = read_distances(&sweep, typed.get("distances"), &mut check);
    let changed = check
        .finish(Some(given))
        .map(|distances| |said: &mut Said| said.settings.distances = distances);
    apply(&app, &account, &sweep, typed, changed, "top").await
}

/// The distances in these lines, all of files that the sweep has; no line takes all given distances back.
fn read_distances(
    sweep: &Sweep,
    lines: &str,
    check: &mut Check,
) -> BTreeMap<String, FocusDistance> {
    if lines.is_empty() || lines.trim() == DISTANCES_HEADING {
        return BTreeMap::new();
    }
    let has_heading = lines.starts_with("file");
    let with_heading = if has_heading {
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
            let error = match error {
                // Lines count as they were typed, not with the heading that was put before them.
                IntakeError::Distances { line, problem } if !has_heading => {
                    IntakeError::Distances {
                        line: line.saturating_sub(1),
                        problem,
                    }
                }
                other => other,
            };
            check.refuse("distances", error.to_string());
            BTreeMap::new()
        }
    }
}

/// The file whose number a form names.
pub(super) fn named_file(sweep: &Sweep, typed: &Typed, check: &mut Check) -> Option<String> {
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
    let sweep = sweep_to_change(&app.store, &account, id).await?;
    let typed = typed(form);
    let mut check = Check::default();
    let file = named_file(&sweep, &typed, &mut check);
    let reason = check.line("reason", typed.get("reason"), NOTE_CHARACTERS);
    let reason = check.required("reason", reason, "a few words why, for you and for readers");
    let changed = check.finish(file.zip(reason)).map(|(file, reason)| {
        |said: &mut Said| {
            said.settings.left_out.insert(file, reason);
        }
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
    let sweep = sweep_to_change(&app.store, &account, id).await?;
    let typed = typed(form);
    let mut check = Check::default();
    let file = named_file(&sweep, &typed, &mut check);
    let changed = check.finish(file).map(|file| {
        move |said: &mut Said| {
            said.settings.left_out.remove(&file);
        }
    });
    apply(&app, &account, &sweep, typed, changed, "left-out").await
}

/// `POST /sweeps/{id}/measure`: once more, also after it was set aside.
pub(in crate::web) async fn measure_again(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<SweepId>,
) -> Result<Response, WebError> {
    let sweep = sweep_to_change(&app.store, &account, id).await?;
    let set_aside = sweep
        .job
        .is_some_and(|job| job.state == crate::store::JobState::SetAside);
    if set_aside {
        app.store.retry_job(id, now_ms()).await?;
    } else {
        app.store.queue_measurement(id, now_ms()).await?;
    }
    app.wake.notify_one();
    Ok(Redirect::to(&format!("/sweeps/{id}#top")).into_response())
}
