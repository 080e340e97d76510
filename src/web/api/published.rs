//! Published sweeps as programs get them, with all their frames, version by version.

use axum::extract::{Path, State};
use axum::response::Response;
use serde::Serialize;
use utoipa::ToSchema;

use super::answer;
use super::documents::{LICENCE, LensHead, timestamp};
use super::query::Params;
use crate::app::App;
use crate::report::SweepDocument;
use crate::store::{PublishedSweep, SweepId};
use crate::web::WebError;

/// A published sweep.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct PublishedSweepDocument {
    /// Key of the sweep.
    id: i64,
    /// The lens.
    lens: LensHead,
    /// Version, 1 for the first.
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
        ("tolerance_pct" = Option<f64>, Query, description = "Tolerance, per cent; 2 where it is not given"),
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
    let published = public_version(&app, id).await?;
    answer::json(&document_of(&app, id, &published, tolerance_pct)?)
}

/// The public version of a sweep, or why there is none.
async fn public_version(app: &App, id: SweepId) -> Result<PublishedSweep, WebError> {
    if let Some(published) = app.store.published_sweep(id).await? {
        return Ok(published);
    }
    Err(match app.store.withdrawal(id).await? {
        Some(withdrawal) => WebError::Gone(format!(
            "this sweep was withdrawn: {}; its lens is at /lenses/{}",
            withdrawal.reason, withdrawal.lens_slug
        )),
        None => WebError::no_such("published sweep"),
    })
}

/// A version of a published sweep, as it was
#[utoipa::path(
    get,
    path = "/api/v1/sweeps/{id}/versions/{version}",
    tag = "read",
    params(
        ("id" = i64, Path, description = "Key of the sweep"),
        ("version" = u32, Path, description = "Version, 1 for the first; the history of a lens tells them"),
        ("tolerance_pct" = Option<f64>, Query, description = "Tolerance, per cent; 2 where it is not given"),
    ),
    responses(
        (status = 200, body = PublishedSweepDocument, description = "A version of a published sweep, as it was"),
        (status = 404, description = "There is no such published sweep, or no such version of it", content_type = "application/problem+json"),
        (status = 410, description = "It was withdrawn; the reason is in the problem document", content_type = "application/problem+json"),
        (status = 422, description = "Parameters are out of range; the problem document names each", content_type = "application/problem+json"),
    )
)]
pub(super) async fn sweep_version(
    State(app): State<App>,
    Path((id, version)): Path<(String, String)>,
    params: Params,
) -> Result<Response, WebError> {
    let id: SweepId = id.parse().map_err(|_| WebError::no_such("sweep"))?;
    let no_such = || WebError::no_such("version of this sweep");
    let version: u32 = version.parse().map_err(|_| no_such())?;
    let tolerance_pct = params.tolerance_pct()?;
    public_version(&app, id).await?;
    if let Some(published) = app.store.published_version(id, version).await? {
        return answer::json(&document_of(&app, id, &published, tolerance_pct)?);
    }
    let sweep = app.store.sweep(id).await?;
    let publications = sweep.map_or_else(Vec::new, |sweep| sweep.publications);
    let mut these = publications.into_iter().filter(|p| p.version == version);
    Err(match these.next().and_then(|p| p.withdrawn) {
        Some((_, reason)) => WebError::Gone(format!(
            "version {version} was withdrawn: {reason}; the version that is public now is at /api/v1/sweeps/{id}"
        )),
        None => no_such(),
    })
}

fn document_of(
    app: &App,
    id: SweepId,
    published: &PublishedSweep,
    tolerance_pct: f64,
) -> Result<PublishedSweepDocument, WebError> {
    let result = published
        .sweep
        .result
        .as_ref()
        .ok_or_else(|| WebError::no_such("published sweep"))?;
    Ok(PublishedSweepDocument {
        id,
        lens: LensHead::new(&published.sweep.lens, &app.config.public_url()),
        version: published.version,
        algorithm_version: result.algorithm_version,
        measured_at: timestamp(result.measured_ms),
        reviewer: published.sweep.reviewer.clone(),
        sweep: SweepDocument::new(&result.measurement, tolerance_pct),
        licence: LICENCE,
    })
}
