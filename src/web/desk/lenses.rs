//! Lenses and cameras: what there is; a lens that is new.

use std::collections::BTreeMap;

use askama::Template;
use axum::Form;
use axum::extract::{Extension, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};

use super::html;
use crate::app::App;
use crate::store::{Camera, Lens, LensDraft, LensRowOfDesk};
use crate::web::WebError;
use crate::web::arrivals;
use crate::web::errors::FieldError;
use crate::web::inputs::{Check, LensInput, MARKED_CLOSEST_FOCUS, Typed};
use crate::web::observe::RequestId;
use crate::web::pages::frame::{PageFrame, Section};
use crate::web::place::Place;
use crate::web::session::{SignedIn, Viewer};

#[derive(Template)]
#[template(path = "desk/lenses.html")]
struct LensesPage {
    page: PageFrame,
    lenses: Vec<LensRowOfDesk>,
    cameras: Vec<Camera>,
    typed: Typed,
    errors: Vec<FieldError>,
}

impl LensesPage {
    fn error(&self, field: &str) -> Option<&str> {
        FieldError::told(&self.errors, field)
    }
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
        FieldError::told(&self.errors, field)
    }
}

pub(super) type Sent = Form<BTreeMap<String, String>>;

/// `GET /desk/lenses`
pub(in crate::web) async fn list(
    State(app): State<App>,
    account: SignedIn,
) -> Result<Html<String>, WebError> {
    list_page(&app, &account, Typed::default(), Vec::new()).await
}

pub(super) async fn list_page(
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

pub(super) async fn known_lens(app: &App, slug: &str) -> Result<Lens, WebError> {
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

pub(super) async fn lens_page(
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

pub(super) fn typed_lens(about: &LensDraft) -> Typed {
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

/// The lens that a form describes.
pub(super) fn drafted(typed: &Typed) -> Result<LensDraft, WebError> {
    let mut check = Check::default();
    let draft = LensInput::typed(typed, &mut check).check(MARKED_CLOSEST_FOCUS, &mut check);
    check.finish(draft)
}

/// What stands at the fields of the form of a lens when it is refused. A name that is taken stands at the model.
pub(super) fn at_fields(error: WebError) -> Result<Vec<FieldError>, WebError> {
    match error {
        WebError::Fields(errors) => Ok(errors),
        WebError::Conflict(detail) => Ok(vec![FieldError {
            field: "model".into(),
            detail,
        }]),
        other => Err(other),
    }
}

/// `POST /desk/lenses`: a lens of which nothing is uploaded yet.
pub(in crate::web) async fn make(
    State(app): State<App>,
    account: SignedIn,
    Extension(request): Extension<RequestId>,
    Form(sent): Sent,
) -> Result<Response, WebError> {
    let typed: Typed = sent.into_iter().collect();
    let made = match drafted(&typed) {
        Ok(draft) => arrivals::make_lens(&app, &account, &draft, &request).await,
        Err(refused) => Err(refused),
    };
    let errors = match made {
        Ok(lens) => {
            return Ok(Redirect::to(&format!("/desk/lenses/{}", lens.slug)).into_response());
        }
        Err(error) => at_fields(error)?,
    };
    let page = list_page(&app, &account, typed, errors).await?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}
