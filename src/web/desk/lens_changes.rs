//! Lenses and cameras put right: corrections, doubles made one, names forgotten. By operators, and by whoever is the only
//! one that has to do with them.

use axum::Form;
use axum::extract::{Extension, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::lenses::{Sent, at_fields, drafted, known_lens, lens_page, list_page, typed_lens};
use super::publishing::{actor, check_scope};
use crate::app::App;
use crate::report::words;
use crate::store::{Lens, LensDraft, Role, StoreError, now_ms};
use crate::units::SENSOR_SIDES_MM;
use crate::web::WebError;
use crate::web::inputs::{Check, Typed};
use crate::web::observe::RequestId;
use crate::web::place::Place;
use crate::web::session::SignedIn;

/// Corrects a lens, for the form and the API.
pub(in crate::web) async fn correct_lens(
    app: &App,
    account: &SignedIn,
    lens: &Lens,
    draft: &LensDraft,
    request: &RequestId,
) -> Result<(), WebError> {
    check_scope(account)?;
    check_is_theirs(app, account, lens).await?;
    let by = actor(account, request);
    Ok(app.store.correct_lens(lens, draft, by, now_ms()).await?)
}

/// What others have published of a lens is not changed under their hands.
async fn check_is_theirs(app: &App, account: &SignedIn, lens: &Lens) -> Result<(), WebError> {
    if account.role == Role::Operator || app.store.is_lens_of_one(lens.id, account.id).await? {
        return Ok(());
    }
    Err(WebError::NotAllowed(
        "other reviewers made this lens or have sweeps of it; ask an operator to change it".into(),
    ))
}

/// `POST /desk/lenses/{slug}`
pub(in crate::web) async fn correct(
    State(app): State<App>,
    account: SignedIn,
    Extension(request): Extension<RequestId>,
    Place(slug): Place<String>,
    Form(sent): Sent,
) -> Result<Response, WebError> {
    let lens = known_lens(&app, &slug).await?;
    let typed: Typed = sent.into_iter().collect();
    let corrected = match drafted(&typed) {
        Ok(draft) => correct_lens(&app, &account, &lens, &draft, &request).await,
        Err(refused) => Err(refused),
    };
    let errors = match corrected {
        Ok(()) => return Ok(Redirect::to("/desk/lenses").into_response()),
        Err(error) => at_fields(error)?,
    };
    let page = lens_page(&app, &account, lens, typed, errors).await?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

/// How far the ends of two ranges may lie apart for one lens: marked focal lengths may be off by 5 %.
const RANGE_SLACK: f64 = 0.05;

/// Why two lenses can't be one.
fn unlike(from: &LensDraft, into: &LensDraft) -> Option<String> {
    let apart = |a: f64, b: f64| (a - b).abs() > RANGE_SLACK * a.max(b);
    let (what, one, other) = if from.mount.to_lowercase() != into.mount.to_lowercase() {
        ("mount", from.mount.clone(), into.mount.clone())
    } else if apart(from.focal_min_mm, into.focal_min_mm)
        || apart(from.focal_max_mm, into.focal_max_mm)
    {
        let range = |lens: &LensDraft| words::focal_range(lens.focal_min_mm, lens.focal_max_mm);
        ("focal length", range(from), range(into))
    } else {
        return None;
    };
    Some(format!(
        "this lens has the {what} {one} and that one {other}; correct the one that is wrong first, if they are the same"
    ))
}

/// `POST /desk/lenses/{slug}/merge`: this lens goes into another. For operators, and for whoever shot all of it.
pub(in crate::web) async fn merge(
    State(app): State<App>,
    account: SignedIn,
    Extension(request): Extension<RequestId>,
    Place(slug): Place<String>,
    Form(sent): Sent,
) -> Result<Response, WebError> {
    check_scope(&account)?;
    let from = known_lens(&app, &slug).await?;
    check_is_theirs(&app, &account, &from).await?;
    let typed: Typed = sent.into_iter().collect();
    let mut check = Check::default();
    let into = app.store.lens_by_slug(typed.get("same_as")).await?;
    let into = into.filter(|into| into.id != from.id);
    match &into {
        None => check.refuse("same_as", "choose the lens that this one is"),
        Some(into) => {
            if let Some(reason) = unlike(&from.about, &into.about) {
                check.refuse("same_as", reason);
            }
        }
    }
    if !typed.is("sure", "on") {
        check.refuse("sure", "tick that they are one lens; it can't be undone");
    }
    let (Some(into), true) = (into, check.errors.is_empty()) else {
        let mut shown = typed_lens(&from.about);
        shown.set("same_as", typed.get("same_as"));
        let page = lens_page(&app, &account, from, shown, check.errors).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let by = actor(&account, &request);
    app.store.merge_lenses(&from, &into, by, now_ms()).await?;
    Ok(Redirect::to(&format!("/desk/lenses/{}", into.slug)).into_response())
}

/// `POST /desk/lenses/{slug}/forget`: a name that files have is no longer taken for this lens.
pub(in crate::web) async fn forget(
    State(app): State<App>,
    account: SignedIn,
    Place(slug): Place<String>,
    Form(sent): Sent,
) -> Result<Response, WebError> {
    let lens = known_lens(&app, &slug).await?;
    check_is_theirs(&app, &account, &lens).await?;
    let typed: Typed = sent.into_iter().collect();
    app.store
        .forget_lens_name(lens.id, typed.get("name"))
        .await?;
    Ok(Redirect::to(&format!("/desk/lenses/{slug}")).into_response())
}

/// `POST /desk/cameras/{id}`: how wide its picture area is.
pub(in crate::web) async fn camera(
    State(app): State<App>,
    account: SignedIn,
    Extension(request): Extension<RequestId>,
    Place(id): Place<i64>,
    Form(sent): Sent,
) -> Result<Response, WebError> {
    check_scope(&account)?;
    if account.role != Role::Operator && !app.store.is_camera_of_one(id, account.id).await? {
        return Err(WebError::NotAllowed(
            "other reviewers have sweeps of this camera; ask an operator to change it, or give the width with your sweep".into(),
        ));
    }
    let typed: Typed = sent.into_iter().collect();
    let mut check = Check::default();
    let width = check.number("sensor_width_mm", typed.get("sensor_width_mm"));
    let width = check.within("sensor_width_mm", width, &SENSOR_SIDES_MM, "mm");
    if !check.errors.is_empty() {
        let page = list_page(&app, &account, typed, check.errors).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    match app
        .store
        .set_sensor_width(id, width, actor(&account, &request), now_ms())
        .await
    {
        Ok(()) => Ok(Redirect::to("/desk/lenses#cameras").into_response()),
        Err(StoreError::Conflict(_)) => Err(WebError::no_such("camera")),
        Err(error) => Err(error.into()),
    }
}
