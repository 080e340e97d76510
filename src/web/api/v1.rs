//! `/api/v1`: the routes that other programs rely on.

use axum::Router;
use axum::extract::{Path, State};
use axum::http::{Uri, header};
use axum::response::Response;
use axum::routing::get;
use serde::Serialize;
use utoipa::ToSchema;

use super::compare::{CompareDocument, CompareQuestion, compare};
use super::counter_scale::counter_scale;
use super::curves::{CurveDocument, CurvesDocument};
use super::documents::{FocalDocument, LICENCE, LensHead};
use super::pulls::pull;
use super::query::{FOCAL_LENGTHS, Params};
use super::ranking::{RankingDocument, RankingQuestion, rank};
use super::record::LensDocument;
use super::{answer, description, documents};
use crate::app::App;
use crate::report::SweepDocument;
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
        ("min_focal_mm" = Option<f64>, Query, description = "The lens must reach down to this, mm"),
        ("max_focal_mm" = Option<f64>, Query, description = "The lens must reach up to this, mm"),
        ("conditions" = Option<String>, Query, description = "Conditions, e.g. correction-on.compensation-off; those of most lenses where not given"),
        ("tolerance_pct" = Option<f64>, Query, description = "Tolerance, per cent, 0.1 to 20; 2 where it is not given"),
        ("holds_from_m" = Option<f64>, Query, description = "Only lenses that stay within the tolerance from this distance on, m; those measured against their farthest frame (`relative_to`) can't be said to, and are left out"),
        ("direction" = Option<String>, Query, description = "Only lenses whose picture goes this way where their shift is worst: tighter, wider or none"),
        ("sort" = Option<String>, Query, description = "worst_shift, tolerance_distance, name or newest"),
        ("order" = Option<String>, Query, description = "asc or desc"),
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
        ("tolerance_pct" = Option<f64>, Query, description = "Tolerance, per cent, 0.1 to 20; 2 where it is not given"),
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
    let tolerance_pct = params.tolerance_pct()?;
    answer::json(&LensDocument::published(&app, &slug, &uri, tolerance_pct).await?)
}

/// Shift against dioptres and travel
#[utoipa::path(
    get,
    path = "/api/v1/lenses/{slug}/curves",
    tag = "read",
    params(
        ("slug" = String, Path, description = "Stable name of the lens"),
        ("focal_mm" = Option<f64>, Query, description = "Focal length, mm; the nearest one that was measured is taken"),
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
    let (wanted, tolerance_pct) = params.asked(|params| {
        let wanted = params.number("focal_mm", FOCAL_LENGTHS, "mm")?;
        Ok((wanted, params.tolerance_pct()?))
    })?;
    let record = LensDocument::published(&app, &slug, &uri, tolerance_pct).await?;
    let results = match wanted {
        Some(focal_mm) => nearest_of_each_group(&record, focal_mm),
        None => record.results.clone(),
    };
    let curves = results.iter().map(CurveDocument::new).collect();
    let document = CurvesDocument {
        lens: record.lens,
        curves,
        licence: LICENCE,
    };
    answer::json(&document)
}

/// The result nearest to a focal length under each set of conditions.
fn nearest_of_each_group(record: &LensDocument, focal_mm: f64) -> Vec<FocalDocument> {
    record
        .groups()
        .into_iter()
        .filter_map(|(_, results)| nearest(results, focal_mm))
        .collect()
}

/// The result nearest to a focal length, by ratio.
pub(in crate::web) fn nearest(results: Vec<FocalDocument>, focal_mm: f64) -> Option<FocalDocument> {
    let apart = |focal: &FocalDocument| (focal.focal_length_mm / focal_mm).ln().abs();
    results
        .into_iter()
        .min_by(|a, b| apart(a).total_cmp(&apart(b)))
}

/// Two to four lenses side by side
#[utoipa::path(
    get,
    path = "/api/v1/compare",
    tag = "read",
    params(
        ("lens" = Vec<String>, Query, description = "Stable name of a lens; give it two to four times"),
        ("focal_mm" = Option<f64>, Query, description = "Focal length, mm; the nearest one that was measured is taken"),
        ("conditions" = Option<String>, Query, description = "Conditions to compare under, e.g. correction-on.compensation-off; those of most of the lenses where not given"),
        ("tolerance_pct" = Option<f64>, Query, description = "Tolerance, per cent, 0.1 to 20; 2 where it is not given"),
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

#[derive(Debug, Serialize, ToSchema)]
pub(super) struct PublishedSweepDocument {
    /// Key of the sweep.
    id: i64,
    /// The lens.
    lens: LensHead,
    /// Version that is public, 1 for the first.
    version: u32,
    /// Version of the algorithm that made the numbers.
    algorithm_version: u32,
    /// When it was measured (RFC 3339, UTC).
    measured_at: String,
    /// Who measured.
    reviewer: String,
    /// The sweep with all its frames.
    sweep: SweepDocument,
    /// Licence of the numbers.
    licence: &'static str,
}

/// A published sweep with all its frames
#[utoipa::path(
    get,
    path = "/api/v1/sweeps/{id}",
    tag = "read",
    params(
        ("id" = i64, Path, description = "Key of the sweep"),
        ("tolerance_pct" = Option<f64>, Query, description = "Tolerance, per cent, 0.1 to 20; 2 where it is not given"),
    ),
    responses(
        (status = 200, body = PublishedSweepDocument, description = "A published sweep with all its frames"),
        (status = 404, description = "There is no such published sweep", content_type = "application/problem+json"),
        (status = 410, description = "It was withdrawn; the reason is in the problem document", content_type = "application/problem+json"),
        (status = 422, description = "Parameters are out of range; the problem document names each", content_type = "application/problem+json"),
    )
)]
pub(super) async fn sweep(
    State(app): State<App>,
    Path(id): Path<String>,
    params: Params,
) -> Result<Response, WebError> {
    let id: i64 = id.parse().map_err(|_| WebError::no_such("sweep"))?;
    let tolerance_pct = params.tolerance_pct()?;
    let Some(published) = app.store.published_sweep(id).await? else {
        return Err(match app.store.withdrawal(id).await? {
            Some(withdrawal) => WebError::Gone(format!(
                "this sweep was withdrawn: {}; its lens is at /lenses/{}",
                withdrawal.reason, withdrawal.lens_slug
            )),
            None => WebError::no_such("published sweep"),
        });
    };
    let result = published
        .sweep
        .result
        .as_ref()
        .ok_or_else(|| WebError::no_such("published sweep"))?;
    let document = PublishedSweepDocument {
        id,
        lens: LensHead::new(&published.sweep.lens, &app.config.public_url()),
        version: published.version,
        algorithm_version: result.algorithm_version,
        measured_at: documents::timestamp(result.measured_ms),
        reviewer: published.sweep.reviewer.clone(),
        sweep: SweepDocument::new(&result.measurement, tolerance_pct),
        licence: LICENCE,
    };
    answer::json(&document)
}
