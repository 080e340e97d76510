//! Lenses and cameras: what there is, corrections, doubles made one.

use std::collections::BTreeMap;

use askama::Template;
use axum::Form;
use axum::extract::{Extension, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};

use super::html;
use super::publishing::{actor, check_scope};
use crate::app::App;
use crate::store::{Camera, Lens, LensDraft, LensRowOfDesk, Role, StoreError};
use crate::web::errors::FieldError;
use crate::web::inputs::{Check, LensInput, MARKED_CLOSEST_FOCUS, SENSOR_MM, Typed};
use crate::web::observe::RequestId;
use crate::web::pages::frame::{PageFrame, Section};
use crate::web::place::Place;
use crate::web::session::{SignedIn, Viewer};
use crate::web::{WebError, now_ms};

#[derive(Template)]
#[template(path = "desk/lenses.html")]
struct LensesPage {
    page: PageFrame,
    lenses: Vec<LensRowOfDesk>,
    cameras: Vec<Camera>,
    typed: Typed,
    errors: Vec<FieldError>,
}

#[derive(Template)]
#[template(path = "desk/lens.html")]
struct LensPage {
    page: PageFrame,
    lens: Lens,
    others: Vec<Lens>,
    names: Vec<String>,
    typed: Typed,
    errors: Vec<FieldError>,
}

impl LensPage {
    fn error(&self, field: &str) -> Option<&str> {
        self.errors
            .iter()
            .find(|error| error.field == field)
            .map(|error| error.detail.as_str())
    }
}

type Sent = Form<BTreeMap<String, String>>;

/// `GET /desk/lenses`
pub(in crate::web) async fn list(
    State(app): State<App>,
    account: SignedIn,
) -> Result<Html<String>, WebError> {
    list_page(&app, &account, Typed::default(), Vec::new()).await
}

async fn list_page(
    app: &App,
    account: &SignedIn,
    typed: Typed,
    errors: Vec<FieldError>,
) -> Result<Html<String>, WebError> {
    html(&LensesPage {
        page: PageFrame::new("Lenses and cameras", Section::Desk, &Viewer::of(account)),
        lenses: app.store.lenses_of_desk().await?,
        cameras: app.store.cameras().await?,
        typed,
        errors,
    })
}

async fn known_lens(app: &App, slug: &str) -> Result<Lens, WebError> {
    let lens = app.store.lens_by_slug(slug).await?;
    lens.ok_or_else(|| WebError::no_such("lens"))
}

/// `GET /desk/lenses/{slug}`
pub(in crate::web) async fn show(
    State(app): State<App>,
    account: SignedIn,
    Place(slug): Place<String>,
) -> Result<Html<String>, WebError> {
    let lens = known_lens(&app, &slug).await?;
    let typed = typed_lens(&lens.about);
    lens_page(&app, &account, lens, typed, Vec::new()).await
}

async fn lens_page(
    app: &App,
    account: &SignedIn,
    lens: Lens,
    typed: Typed,
    errors: Vec<FieldError>,
) -> Result<Html<String>, WebError> {
    let mut others = app.store.all_lenses().await?;
    others.retain(|other| other.id != lens.id);
    let names = app.store.lens_names().await?;
    html(&LensPage {
        page: PageFrame::new(
            format!("Correct {}", lens.about.name()),
            Section::Desk,
            &Viewer::of(account),
        ),
        names: names
            .into_iter()
            .filter(|(_, slug)| *slug == lens.slug)
            .map(|(name, _)| name)
            .collect(),
        lens,
        others,
        typed,
        errors,
    })
}

fn typed_lens(about: &LensDraft) -> Typed {
    let mut typed = Typed::default();
    for (field, text) in [
        ("maker", &about.maker),
        ("model", &about.model),
        ("mount", &about.mount),
    ] {
        typed.set(field, text);
    }
    typed.set("kind", about.kind.code());
    typed.set("focal_min_mm", about.focal_min_mm.to_string());
    typed.set("focal_max_mm", about.focal_max_mm.to_string());
    typed.set("max_aperture", about.max_aperture.to_string());
    let closest = about.closest_focus_m;
    typed.set(
        MARKED_CLOSEST_FOCUS,
        closest.map_or_else(String::new, |m| m.to_string()),
    );
    typed
}

/// Corrects a lens, for the form and the API.
pub(in crate::web) async fn correct_lens(
    app: &App,
    account: &SignedIn,
    lens: &Lens,
    draft: &LensDraft,
    request: &RequestId,
) -> Result<(), WebError> {
    check_scope(account)?;
    let by = actor(account, request);
    Ok(app.store.correct_lens(lens, draft, by, now_ms()).await?)
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
    let mut check = Check::default();
    let draft = LensInput::typed(&typed, &mut check).check(MARKED_CLOSEST_FOCUS, &mut check);
    let corrected = match check.finish(draft) {
        Ok(draft) => correct_lens(&app, &account, &lens, &draft, &request).await,
        Err(refused) => Err(refused),
    };
    let errors = match corrected {
        Ok(()) => return Ok(Redirect::to("/desk/lenses").into_response()),
        Err(WebError::Fields(errors)) => errors,
        Err(WebError::Conflict(detail)) => vec![FieldError {
            field: "model".into(),
            detail,
        }],
        Err(other) => return Err(other),
    };
    let page = lens_page(&app, &account, lens, typed, errors).await?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
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
    let typed: Typed = sent.into_iter().collect();
    let Some(into) = app.store.lens_by_slug(typed.get("into")).await? else {
        let mut check = Check::default();
        check.refuse("into", "choose the lens that this one is");
        let page = lens_page(
            &app,
            &account,
            from.clone(),
            typed_lens(&from.about),
            check.errors,
        )
        .await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    if account.role != Role::Operator && !app.store.is_lens_of_one(from.id, account.id).await? {
        return Err(WebError::NotAllowed(
            "other reviewers have sweeps of this lens; ask an operator to merge it".into(),
        ));
    }
    let by = actor(&account, &request);
    app.store.merge_lenses(&from, &into, by, now_ms()).await?;
    Ok(Redirect::to(&format!("/desk/lenses/{}", into.slug)).into_response())
}

/// `POST /desk/lenses/{slug}/forget`: a name that files have is no longer taken for this lens.
pub(in crate::web) async fn forget(
    State(app): State<App>,
    _account: SignedIn,
    Place(slug): Place<String>,
    Form(sent): Sent,
) -> Result<Response, WebError> {
    let lens = known_lens(&app, &slug).await?;
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
    Place(id): Place<i64>,
    Form(sent): Sent,
) -> Result<Response, WebError> {
    let typed: Typed = sent.into_iter().collect();
    let mut check = Check::default();
    let width = check.number("sensor_width_mm", typed.get("sensor_width_mm"));
    let width = check.within("sensor_width_mm", width, &SENSOR_MM, "mm");
    if !check.errors.is_empty() {
        let page = list_page(&app, &account, typed, check.errors).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    }
    match app.store.set_sensor_width(id, width).await {
        Ok(()) => Ok(Redirect::to("/desk/lenses#cameras").into_response()),
        Err(StoreError::Conflict(_)) => Err(WebError::no_such("camera")),
        Err(error) => Err(error.into()),
    }
}
