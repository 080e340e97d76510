//! A sweep that is of another lens than it was filed under.

use axum::extract::{Extension, State};
use axum::response::{IntoResponse, Redirect, Response};

use super::changes::{self, Sent};
use super::publishing::actor;
use super::{sweep as sweep_page, sweep_to_change};
use crate::app::App;
use crate::store::{Lens, Said, SweepId, now_ms};
use crate::web::WebError;
use crate::web::inputs::Check;
use crate::web::observe::RequestId;
use crate::web::place::Place;
use crate::web::session::SignedIn;

/// Files a sweep under another lens, with what else changes of it, and rings the worker, for the form and the API.
///
/// # Errors
/// `Conflict` while it is public.
pub(in crate::web) async fn move_sweep(
    app: &App,
    account: &SignedIn,
    sweep: SweepId,
    into: &Lens,
    change: impl FnOnce(&mut Said) + Send,
    request: &RequestId,
) -> Result<(), WebError> {
    let by = actor(account, request);
    app.store
        .move_sweep(sweep, into, change, by, now_ms())
        .await?;
    app.wake.notify_one();
    Ok(())
}

/// `POST /sweeps/{id}/lens`
pub(in crate::web) async fn file_under(
    State(app): State<App>,
    account: SignedIn,
    Extension(request): Extension<RequestId>,
    Place(id): Place<SweepId>,
    form: Sent,
) -> Result<Response, WebError> {
    sweep_to_change(&app.store, &account, id).await?;
    let typed = changes::typed(form);
    let mut check = Check::default();
    let moved = match app.store.lens_by_slug(typed.get("into")).await? {
        Some(into) => move_sweep(&app, &account, id, &into, |_| {}, &request).await,
        None => {
            check.refuse("into", "choose the lens that this sweep is of");
            Ok(())
        }
    };
    match moved {
        Err(WebError::Conflict(reason)) => check.refuse("into", reason),
        other => other?,
    }
    if check.errors.is_empty() {
        return Ok(Redirect::to(&format!("/sweeps/{id}")).into_response());
    }
    sweep_page::show_refused(&app, &account, id, typed, check.errors).await
}
