//! The focus pulls of a lens as programs get them.

use axum::extract::{Path, State};
use axum::http::Uri;
use axum::response::Response;
use serde::Serialize;
use utoipa::ToSchema;

use super::answer;
use super::documents::{LICENCE, LensHead};
use super::near::asked_for;
use super::pull::{PullDocument, PullQuestion};
use super::query::Params;
use super::ranking::conditions_asked;
use super::record::LensDocument;
use crate::app::App;
use crate::sweep::DEFAULT_TOLERANCE_PCT;
use crate::units::FOCAL_LENGTHS_MM;
use crate::web::WebError;
use crate::web::errors::FieldError;

/// Focus pulls of a lens.
#[derive(Debug, Serialize, ToSchema)]
pub(in crate::web) struct PullsDocument {
    /// The lens.
    lens: LensHead,
    /// Conditions that the results were measured under, as in the ranking; `null` where nothing is published.
    conditions: Option<String>,
    /// Focal length that was asked for, mm; each pull tells the one that it is read at.
    asked_focal_mm: Option<f64>,
    /// The focus pull at the nearest focal length, or at every one where none was asked for.
    pulls: Vec<PullDocument>,
    /// Licence of the numbers.
    licence: &'static str,
}

/// What a focus pull does to the framing
#[utoipa::path(
    get,
    path = "/api/v1/lenses/{slug}/pull",
    tag = "read",
    params(
        ("slug" = String, Path, description = "Stable name of the lens"),
        ("conditions" = Option<String>, Query, description = "Conditions, e.g. correction-on.compensation-off; of those it was measured under, those of most lenses where not given"),
        ("focal_mm" = Option<f64>, Query, description = "Focal length, mm; the nearest one that was measured is taken, where it is within a factor of 1.25"),
        ("from_m" = String, Query, description = "Where the pull begins: metres, feet as 3 ft, or inf"),
        ("to_m" = String, Query, description = "Where the pull ends: metres, feet as 3 ft, or inf"),
        ("picture_width_px" = Option<u32>, Query, description = "Picture width for the edge movement, px"),
    ),
    responses(
        (status = 200, body = PullsDocument, description = "What a focus pull does to the framing"),
        (status = 404, description = "There is no such lens", content_type = "application/problem+json"),
        (status = 410, description = "All that was published of it was withdrawn; the reason is in the problem document", content_type = "application/problem+json"),
        (status = 422, description = "Parameters are out of range; the problem document names each", content_type = "application/problem+json"),
    )
)]
pub(super) async fn pull(
    State(app): State<App>,
    uri: Uri,
    Path(slug): Path<String>,
    params: Params,
) -> Result<Response, WebError> {
    answer::json(&pulls(&app, &slug, &uri, &params).await?)
}

/// The pulls that a query asks for.
pub(in crate::web) async fn pulls(
    app: &App,
    slug: &str,
    here: &Uri,
    params: &Params,
) -> Result<PullsDocument, WebError> {
    let (question, focal_mm) = params.asked(|params| {
        conditions_asked(params)?;
        let focal_mm = params.number("focal_mm", FOCAL_LENGTHS_MM, "mm")?;
        let question = PullQuestion::read(params)?.ok_or_else(neither_end)?;
        Ok((question, focal_mm))
    })?;
    let record = LensDocument::published(app, slug, here, DEFAULT_TOLERANCE_PCT).await?;
    let (conditions, results) = match record.group_of(params.text("conditions"))? {
        Some((key, results)) => (Some(key.code()), results),
        None => (None, Vec::new()),
    };
    let results = asked_for(results, focal_mm)?;
    Ok(PullsDocument {
        lens: record.lens,
        conditions,
        asked_focal_mm: focal_mm,
        pulls: results
            .iter()
            .map(|focal| PullDocument::new(focal, question))
            .collect(),
        licence: LICENCE,
    })
}

/// The complaint where neither begin nor end of a pull is given.
fn neither_end() -> WebError {
    let ends = [("from_m", "begins"), ("to_m", "ends")];
    WebError::Fields(
        ends.map(|(field, what)| FieldError {
            field: field.to_owned(),
            detail: format!("give where the pull {what}, m, or “inf”"),
        })
        .into(),
    )
}
