//! An older version of a published sweep, as it was.

use axum::extract::State;
use axum::response::Html;

use super::{Seen, not_public, sweep as sweep_page};
use crate::app::App;
use crate::store::{Store, SweepId};
use crate::web::WebError;
use crate::web::inputs::Typed;
use crate::web::place::Place;
use crate::web::session::Viewer;

/// Why a version can't be read: it was withdrawn, for a reason that stays visible, or there is none.
async fn not_readable(store: &Store, id: SweepId, version: u32) -> Result<WebError, WebError> {
    let sweep = store.sweep(id).await?;
    let publications = sweep.map_or_else(Vec::new, |sweep| sweep.publications);
    let withdrawn = publications
        .into_iter()
        .find(|publication| publication.version == version)
        .and_then(|publication| publication.withdrawn);
    Ok(match withdrawn {
        Some((_, reason)) => WebError::Gone(format!(
            "version {version} was withdrawn: {reason}; the version that is public now is at /sweeps/{id}"
        )),
        None => WebError::no_such("version of this sweep"),
    })
}

/// `GET /sweeps/{id}/versions/{version}`: open to all as long as the sweep is public.
pub(in crate::web) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    Place((id, version)): Place<(SweepId, u32)>,
) -> Result<Html<String>, WebError> {
    let Some(public) = app.store.published_sweep(id).await? else {
        return Err(not_public(&app.store, id).await?);
    };
    let Some(published) = app.store.published_version(id, version).await? else {
        return Err(not_readable(&app.store, id, version).await?);
    };
    let seen = Seen {
        sweep: published.sweep,
        is_own: false,
        public_version: Some(public.version),
        shown_version: Some(published.version),
    };
    sweep_page::render(&app, &viewer, seen, Typed::default(), Vec::new()).await
}
