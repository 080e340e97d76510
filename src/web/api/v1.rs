//! `/api/v1`: the routes that other programs rely on.

use axum::Router;
use axum::extract::{Path, State};
use axum::http::{Uri, header};
use axum::response::Response;
use axum::routing::get;

use super::compare::{CompareDocument, CompareQuestion, compare};
use super::counter_scale::counter_scale;
use super::curves::{CurveDocument, CurvesDocument};
use super::documents::{FocalDocument, LICENCE};
use super::near::asked_for;
use super::published::{sweep, sweep_version};
use super::pulls::pull;
use super::query::Params;
use super::ranking::{RankingDocument, RankingQuestion, conditions_asked, rank};
use super::record::LensDocument;
use super::{answer, description};
use crate::app::App;
use crate::units::FOCAL_LENGTHS_MM;
use crate::web::{Web, WebError};

/// The routes of the read API.
pub fn routes() -> Router<Web> {
    Router::new()
        .route("/api/v1/lenses", get(lenses))
        .route("/api/v1/lenses/{slug}", get(lens))
        .route("/api/v1/lenses/{slug}/curves", get(curves))
        .route("/api/v1/lenses/{slug}/pull", get(pull))
        .route("/api/v1/lenses/{slug}/counter-scale", get(counter_scale))
        .route("/api/v1/compare", get(compared))
        .route("/api/v1/sweeps/{id}", get(sweep))
        .route("/api/v1/sweeps/{id}/versions/{version}", get(sweep_version))
        .route("/api/v1/openapi.json", get(description::answer))
}

/// The ranking
#[utoipa::path(
    get,
    path = "/api/v1/lenses",
    tag = "read",
    params(
        ("q" = Option<String>, Query, description = "Words and figures that must all occur in maker, model, mount or focal length"),
        ("mount" = Option<String>, Query, description = "Mount"),
        ("kind" = Option<String>, Query, description = "prime, zoom, macro, cine_prime or cine_zoom"),
        ("focal_mm" = Option<f64>, Query, description = "Focal length that the lens must cover and is ranked, filtered and judged at, mm: by its result at the nearest measured focal length, which `ranked_focal_length_mm` tells; where none is within a factor of 1.25, as not measured. For the whole lens give the same as min_focal_mm and max_focal_mm instead"),
        ("min_focal_mm" = Option<f64>, Query, description = "Focal length that the lens must reach down to, mm: its shortest one is at most this. Lenses that begin above it are left out, not those below"),
        ("max_focal_mm" = Option<f64>, Query, description = "Focal length that the lens must reach up to, mm: its longest one is at least this; not smaller than min_focal_mm"),
        ("conditions" = Option<String>, Query, description = "Conditions, e.g. correction-on.compensation-off; those of most lenses where not given"),
        ("tolerance_pct" = Option<f64>, Query, description = "Tolerance, per cent; 2 where it is not given"),
        ("holds_from_m" = Option<f64>, Query, description = "Only lenses that stay within the tolerance from this distance on, m; those measured against their farthest frame (`relative_to`) can't be said to, and are left out"),
        ("direction" = Option<String>, Query, description = "Only lenses whose picture goes this way where their shift is worst: tighter, wider or none"),
        ("sort" = Option<String>, Query, description = "worst_shift, tolerance_distance, name or newest"),
        ("order" = Option<String>, Query, description = "asc: smallest shift, nearest distance, A, or newest first, as `sort` says; desc: turned round, but what is not measured or unknown stays last"),
        ("limit" = Option<u32>, Query, description = "Most rows, 1 to 200; 50 where not given"),
        ("cursor" = Option<String>, Query, description = "From `next` of the answer before, with the same question; Link rel=next has the whole address"),
    ),
    responses(
        (status = 200, body = RankingDocument, description = "The ranking"),
        (status = 422, description = "Parameters are out of range; the problem document names each", content_type = "application/problem+json"),
    )
)]
pub(in crate::web) async fn lenses(
    State(app): State<App>,
    uri: Uri,
    params: Params,
) -> Result<Response, WebError> {
    let question = params.asked(RankingQuestion::read)?;
    let document = rank(&app, &question).await?;
    let mut answer = answer::json(&document)?;
    if let Some(next) = document.next_link(&app, uri.path(), &params) {
        answer.headers_mut().append(header::LINK, next);
    }
    Ok(answer)
}

/// The record of a lens
#[utoipa::path(
    get,
    path = "/api/v1/lenses/{slug}",
    tag = "read",
    params(
        ("slug" = String, Path, description = "Stable name of the lens"),
        ("conditions" = Option<String>, Query, description = "Conditions that the verdict is to hold for, e.g. correction-on.compensation-off; of those it was measured under, those of most lenses where not given"),
        ("tolerance_pct" = Option<f64>, Query, description = "Tolerance, per cent; 2 where it is not given"),
    ),
    responses(
        (status = 200, body = LensDocument, description = "The record of a lens"),
        (status = 404, description = "There is no such lens", content_type = "application/problem+json"),
        (status = 410, description = "All that was published of it was withdrawn; the reason is in the problem document", content_type = "application/problem+json"),
        (status = 422, description = "Parameters are out of range; the problem document names each", content_type = "application/problem+json"),
    )
)]
pub(super) async fn lens(
    State(app): State<App>,
    uri: Uri,
    Path(slug): Path<String>,
    params: Params,
) -> Result<Response, WebError> {
    let (tolerance_pct, conditions) =
        params.asked(|params| Ok((params.tolerance_pct()?, conditions_asked(params)?)))?;
    let mut document = LensDocument::published(&app, &slug, &uri, tolerance_pct).await?;
    document.lead(conditions)?;
    answer::json(&document)
}

/// Shift against dioptres and travel
#[utoipa::path(
    get,
    path = "/api/v1/lenses/{slug}/curves",
    tag = "read",
    params(
        ("slug" = String, Path, description = "Stable name of the lens"),
        ("focal_mm" = Option<f64>, Query, description = "Focal length, mm; the nearest one that was measured is taken, where it is within a factor of 1.25"),
        ("conditions" = Option<String>, Query, description = "Conditions, e.g. correction-on.compensation-off; all of them where not given"),
    ),
    responses(
        (status = 200, body = CurvesDocument, description = "Shift against dioptres and travel"),
        (status = 404, description = "There is no such lens", content_type = "application/problem+json"),
        (status = 410, description = "All that was published of it was withdrawn; the reason is in the problem document", content_type = "application/problem+json"),
        (status = 422, description = "Parameters are out of range; the problem document names each", content_type = "application/problem+json"),
    )
)]
pub(super) async fn curves(
    State(app): State<App>,
    uri: Uri,
    Path(slug): Path<String>,
    params: Params,
) -> Result<Response, WebError> {
    let (focal_mm, tolerance_pct) = params.asked(|params| {
        let focal_mm = params.number("focal_mm", FOCAL_LENGTHS_MM, "mm")?;
        conditions_asked(params)?;
        Ok((focal_mm, params.tolerance_pct()?))
    })?;
    let record = LensDocument::published(&app, &slug, &uri, tolerance_pct).await?;
    let results = match (focal_mm, params.text("conditions")) {
        (None, None) => record.results.clone(),
        (focal_mm, conditions) => wanted(&record, focal_mm, conditions)?,
    };
    let curves = results.iter().map(CurveDocument::new).collect();
    let document = CurvesDocument {
        lens: record.lens,
        curves,
        licence: LICENCE,
    };
    answer::json(&document)
}

/// The results asked for: under one set of conditions or every one, nearest to a focal length or all of them.
fn wanted(
    record: &LensDocument,
    focal_mm: Option<f64>,
    conditions: Option<&str>,
) -> Result<Vec<FocalDocument>, WebError> {
    if conditions.is_some() {
        let group = record.group_of(conditions)?;
        return asked_for(
            group.map_or_else(Vec::new, |(_, results)| results),
            focal_mm,
        );
    }
    let mut found = Vec::new();
    let mut far = None;
    for (_, results) in record.groups() {
        match asked_for(results, focal_mm) {
            Ok(near) => found.extend(near),
            Err(error) => far = far.or(Some(error)),
        }
    }
    // Only where no set of conditions has it nothing can be answered.
    match far {
        Some(error) if found.is_empty() => Err(error),
        _ => Ok(found),
    }
}

/// Two to four lenses side by side
#[utoipa::path(
    get,
    path = "/api/v1/compare",
    tag = "read",
    params(
        ("lens" = Vec<String>, Query, description = "Stable name of a lens; give it two to four times"),
        ("focal_mm" = Option<f64>, Query, description = "Focal length, mm; each lens is compared at the nearest one that was measured; where not all were measured there, `focal_mm` of the answer tells where they meet, and `matched` says it. Refused where none is within a factor of 1.25"),
        ("conditions" = Option<String>, Query, description = "Conditions to compare under, e.g. correction-on.compensation-off; those of most of the lenses where not given; of several, those that come first in the ranking. Refused where none of the lenses has results under them, with those that there are"),
        ("tolerance_pct" = Option<f64>, Query, description = "Tolerance, per cent; 2 where it is not given"),
        ("from_m" = Option<String>, Query, description = "Where the pull begins: metres, feet as 3 ft, or inf"),
        ("to_m" = Option<String>, Query, description = "Where the pull ends: metres, feet as 3 ft, or inf"),
        ("picture_width_px" = Option<u32>, Query, description = "Picture width for the edge movement, px"),
    ),
    responses(
        (status = 200, body = CompareDocument, description = "Two to four lenses side by side"),
        (status = 404, description = "There is no such lens", content_type = "application/problem+json"),
        (status = 410, description = "All that was published of it was withdrawn; the reason is in the problem document", content_type = "application/problem+json"),
        (status = 422, description = "Parameters are out of range; the problem document names each", content_type = "application/problem+json"),
    )
)]
pub(in crate::web) async fn compared(
    State(app): State<App>,
    params: Params,
) -> Result<Response, WebError> {
    let question = params.asked(CompareQuestion::read_at_least_two)?;
    answer::json(&compare(&app, &question).await?)
}
