//! Repairs: frames left out, order, distances, conditions, notes; each queues a new measurement.

use std::collections::BTreeMap;

use axum::Form;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};

use super::{frames, sweep as sweep_page, sweep_to_change};
use crate::app::App;
use crate::intake::{self, IntakeError};
use crate::store::{Said, Sweep, SweepId};
use crate::sweep::{FrameOrder, SweepSettings};
use crate::units::{FNumber, FocusDistance};
use crate::web::inputs::{
    CAMERA_CHARACTERS, Check, ConditionsInput, F_NUMBER, FOCAL_MM, NOTE_CHARACTERS, SENSOR_MM,
    Typed, millimetres,
};
use crate::web::place::Place;
use crate::web::session::SignedIn;
use crate::web::{WebError, now_ms};

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

/// Stores what is said of a sweep now and rings the worker.
pub(in crate::web) async fn change(app: &App, id: SweepId, said: &Said) -> Result<(), WebError> {
    app.store.change_sweep(id, said, now_ms()).await?;
    app.wake.notify_one();
    Ok(())
}

/// Stores what a form changed and goes back to its place; refused fields show the page again with what was typed.
pub(super) async fn apply(
    app: &App,
    account: &SignedIn,
    sweep: &Sweep,
    typed: Typed,
    changed: Result<Said, WebError>,
    anchor: &str,
) -> Result<Response, WebError> {
    match changed {
        Ok(said) => {
            change(app, sweep.id, &said).await?;
            Ok(back(sweep.id, &typed, anchor))
        }
        Err(WebError::Fields(errors)) if typed.get(FROM).is_empty() => {
            sweep_page::show_refused(app, account, sweep.id, typed, errors).await
        }
        Err(WebError::Fields(errors)) => frames::show_refused(account, sweep, typed, errors),
        Err(error) => Err(error),
    }
}

/// What is said of a sweep with other settings.
pub(super) fn with(sweep: &Sweep, change: impl FnOnce(&mut SweepSettings)) -> Said {
    let mut said = sweep.said();
    change(&mut said.settings);
    said
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
    let changed = with_settings(&sweep, &typed, &mut check);
    let changed = check.finish(Some(changed));
    apply(&app, &account, &sweep, typed, changed, "top").await
}

fn with_settings(sweep: &Sweep, typed: &Typed, check: &mut Check) -> Said {
    let mut shoot = typed.clone();
    for (field, position) in sweep_page::switches(&sweep.conditions) {
        if shoot.get(field).is_empty() {
            shoot.set(field, position.code());
        }
    }
    let conditions = ConditionsInput::typed(&shoot, check).check(check);
    let focal_length = check.number("focal_length_mm", typed.get("focal_length_mm"));
    let f_number = check.number("f_number", typed.get("f_number"));
    let sensor_width = check.number("sensor_width_mm", typed.get("sensor_width_mm"));
    let code = typed.get("order");
    let order = FrameOrder::ALL
        .into_iter()
        .find(|order| order.code() == code);
    let order = check.required("order", order, "auto, name, time or reverse");
    let settings = SweepSettings {
        target_distance: conditions.target_distance,
        closest_focus: conditions.closest_focus,
        focal_length: millimetres("focal_length_mm", focal_length, &FOCAL_MM, check),
        f_number: check
            .within("f_number", f_number, &F_NUMBER, "")
            .and_then(|value| FNumber::new(value).ok()),
        camera: check.line("camera", typed.get("camera"), CAMERA_CHARACTERS),
        sensor_width: millimetres("sensor_width_mm", sensor_width, &SENSOR_MM, check),
        order: order.unwrap_or_default(),
        last_not_at_infinity: typed.is("last_not_at_infinity", "on"),
        ..sweep.settings.clone()
    };
    let notes = check.text("notes", typed.get("notes"), NOTE_CHARACTERS);
    Said {
        conditions,
        settings,
        notes: notes.unwrap_or_default(),
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
        .map(|distances| with(&sweep, |settings| settings.distances = distances));
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
        with(&sweep, |settings| {
            settings.left_out.insert(file, reason);
        })
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
        with(&sweep, |settings| {
            settings.left_out.remove(&file);
        })
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
