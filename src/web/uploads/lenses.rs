//! `POST /api/v1/lenses`, `PATCH /api/v1/lenses/{slug}`.

use axum::Json;
use axum::extract::{Extension, State};
use axum::http::{StatusCode, header};
use axum::response::IntoResponse;
use serde::Serialize;

use super::Document;
use crate::app::App;
use crate::store::Lens;
use crate::web::WebError;
use crate::web::arrivals;
use crate::web::desk::lens_changes::correct_lens;
use crate::web::inputs::{Check, LensInput};
use crate::web::observe::RequestId;
use crate::web::place::Place;
use crate::web::session::SignedIn;

/// A lens, as the reviewer API tells of it.
#[derive(Serialize)]
struct LensMade {
    slug: String,
    maker: String,
    model: String,
    mount: String,
    kind: &'static str,
    focal_min_mm: f64,
    focal_max_mm: f64,
    max_aperture: f64,
    closest_focus_m: Option<f64>,
}

impl From<Lens> for LensMade {
    fn from(lens: Lens) -> Self {
        let about = lens.about;
        Self {
            slug: lens.slug,
            maker: about.maker,
            model: about.model,
            mount: about.mount,
            kind: about.kind.code(),
            focal_min_mm: about.focal_min_mm,
            focal_max_mm: about.focal_max_mm,
            max_aperture: about.max_aperture,
            closest_focus_m: about.closest_focus_m,
        }
    }
}

/// Makes a lens.
pub(in crate::web) async fn make(
    State(app): State<App>,
    account: SignedIn,
    Extension(request): Extension<RequestId>,
    Document(input): Document<LensInput>,
) -> Result<impl IntoResponse, WebError> {
    let mut check = Check::default();
    let draft = input.check("closest_focus_m", &mut check);
    let draft = check.finish(draft)?;
    let lens = arrivals::make_lens(&app, &account, &draft, &request).await?;
    let location = format!("/api/v1/lenses/{}", lens.slug);
    Ok((
        StatusCode::CREATED,
        [(header::LOCATION, location)],
        Json(LensMade::from(lens)),
    ))
}

/// Corrects a lens; fields that are not sent stay.
pub(in crate::web) async fn correct(
    State(app): State<App>,
    account: SignedIn,
    Extension(request): Extension<RequestId>,
    Place(slug): Place<String>,
    Document(input): Document<LensInput>,
) -> Result<impl IntoResponse, WebError> {
    let lens = app.store.lens_by_slug(&slug).await?;
    let lens = lens.ok_or_else(|| WebError::no_such("lens"))?;
    let mut check = Check::default();
    let draft = input.over(&lens.about).check("closest_focus_m", &mut check);
    let draft = check.finish(draft)?;
    correct_lens(&app, &account, &lens, &draft, &request).await?;
    let corrected = app.store.lens(lens.id).await?;
    let corrected = corrected.ok_or_else(|| WebError::no_such("lens"))?;
    Ok(Json(LensMade::from(corrected)))
}
