//! An older version of a published sweep, as it was.

use axum::extract::State;
use axum::response::Html;

use super::{Seen, not_public, sweep as sweep_page};
use crate::app::App;
use crate::store::SweepId;
use crate::web::WebError;
use crate::web::inputs::Typed;
use crate::web::place::Place;
use crate::web::session::Viewer;

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
        return Err(WebError::no_such("version of this sweep"));
    };
    let seen = Seen {
        sweep: published.sweep,
        is_own: false,
        public_version: Some(public.version),
        shown_version: Some(published.version),
    };
    sweep_page::render(&app, &viewer, seen, Typed::default(), Vec::new()).await
}
