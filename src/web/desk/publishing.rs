//! Publishing and withdrawing.

use std::collections::BTreeMap;

use axum::Form;
use axum::extract::{Extension, State};
use axum::response::{IntoResponse, Redirect, Response};

use super::changes::{self, Sent};
use super::{is_measuring, publish_page, sweep_to_change};
use crate::app::App;
use crate::report::words;
use crate::store::{Actor, Sweep, SweepId, now_ms};
use crate::sweep::Severity;
use crate::units::FOCAL_LENGTHS_MM;
use crate::web::WebError;
use crate::web::inputs::{Check, NOTE_CHARACTERS, Typed, millimetres};
use crate::web::observe::RequestId;
use crate::web::place::Place;
use crate::web::session::SignedIn;

/// Makes the newest result of a sweep public; the version it became.
///
/// # Errors
/// `Conflict` with the reasons while it can't be published.
pub(in crate::web) async fn publish_sweep(
    app: &App,
    account: &SignedIn,
    id: SweepId,
    request: &RequestId,
) -> Result<u32, WebError> {
    let sweep = sweep_to_change(&app.store, account, id).await?;
    check_scope(account)?;
    let reasons = stops(&sweep);
    if !reasons.is_empty() {
        return Err(WebError::Conflict(reasons.join(" ")));
    }
    Ok(app
        .store
        .publish(id, actor(account, request), now_ms())
        .await?)
}

/// Takes the public version of a sweep back.
///
/// # Errors
/// `Conflict` when none is public.
pub(in crate::web) async fn withdraw_sweep(
    app: &App,
    account: &SignedIn,
    id: SweepId,
    reason: &str,
    request: &RequestId,
) -> Result<(), WebError> {
    sweep_to_change(&app.store, account, id).await?;
    check_scope(account)?;
    Ok(app
        .store
        .withdraw(id, actor(account, request), reason, now_ms())
        .await?)
}

/// Who publishes, for the audit row that the store writes with it.
pub(super) fn actor(account: &SignedIn, request: &RequestId) -> Actor {
    Actor {
        account: account.id,
        request_id: Some(request.0.clone()),
    }
}

/// A token for drafts can't change what is public.
pub(super) fn check_scope(account: &SignedIn) -> Result<(), WebError> {
    if account.may_publish {
        return Ok(());
    }
    Err(WebError::NotAllowed(
        "this token is for drafts only; use one with the scope publish".into(),
    ))
}

/// `POST /sweeps/{id}/publish`
pub(in crate::web) async fn publish(
    State(app): State<App>,
    account: SignedIn,
    Extension(request): Extension<RequestId>,
    Place(id): Place<SweepId>,
) -> Result<Response, WebError> {
    publish_sweep(&app, &account, id, &request).await?;
    Ok(Redirect::to(&format!("/sweeps/{id}/publish")).into_response())
}

/// `POST /sweeps/{id}/withdraw`
pub(in crate::web) async fn withdraw(
    State(app): State<App>,
    account: SignedIn,
    Extension(request): Extension<RequestId>,
    Place(id): Place<SweepId>,
    Form(sent): Form<BTreeMap<String, String>>,
) -> Result<Response, WebError> {
    let typed: Typed = sent.into_iter().collect();
    let mut check = Check::default();
    match withdrawal_reason(typed.get("withdraw_reason"), "withdraw_reason", &mut check) {
        Some(reason) => {
            withdraw_sweep(&app, &account, id, &reason, &request).await?;
            Ok(Redirect::to(&format!("/sweeps/{id}/publish")).into_response())
        }
        None => publish_page::show_refused(&app, &account, id, typed, check.errors).await,
    }
}

/// A reason that stays visible; complaints name `field`.
pub(in crate::web) fn withdrawal_reason(
    text: &str,
    field: &str,
    check: &mut Check,
) -> Option<String> {
    let reason = check.line(field, text, NOTE_CHARACTERS);
    check.required(field, reason, "the reason, which stays visible to readers")
}

/// Whether nobody knows the focal length of what was measured.
pub(super) fn lacks_focal(sweep: &Sweep) -> bool {
    let measurement = sweep.result.as_ref().map(|result| &result.measurement);
    measurement.is_some_and(|measurement| measurement.focal_length.is_none())
}

/// `POST /sweeps/{id}/focal-length`: gives what lacks for publishing, and goes on to where it is measured with it.
pub(in crate::web) async fn give_focal_length(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<SweepId>,
    form: Sent,
) -> Result<Response, WebError> {
    const FIELD: &str = "focal_length_mm";
    sweep_to_change(&app.store, &account, id).await?;
    let typed = changes::typed(form);
    let mut check = Check::default();
    let given = check.number(FIELD, typed.get(FIELD));
    let given = millimetres(FIELD, given, &FOCAL_LENGTHS_MM, &mut check);
    let given = check.required(FIELD, given, "the focal length that is marked on the ring");
    if check.errors.is_empty() {
        changes::change(&app, id, |said| said.settings.focal_length = given).await?;
        return Ok(Redirect::to(&format!("/sweeps/{id}")).into_response());
    }
    publish_page::show_refused(&app, &account, id, typed, check.errors).await
}

/// Why a sweep can't be published now; empty when it can.
pub(super) fn stops(sweep: &Sweep) -> Vec<String> {
    let mut stops = Vec::new();
    if is_measuring(sweep.job.as_ref()) {
        stops.push("It is being measured; wait until that is done.".to_owned());
    }
    let Some(result) = &sweep.result else {
        stops.push("There is no result yet.".to_owned());
        return stops;
    };
    for finding in &result.measurement.findings {
        if finding.severity == Severity::Stop {
            stops.push(format!("{}. {}", finding.code.title(), finding.message));
        }
    }
    if lacks_focal(sweep) {
        stops.push(
            "Its focal length is not known: neither its files nor anybody gave it.".to_owned(),
        );
    }
    stops
}

/// A publishing of a sweep on a page.
pub(super) struct PublicationLine {
    pub(super) version: u32,
    pub(super) published: String,
    pub(super) withdrawn: Option<String>,
}

/// When and why a sweep was taken back, where it was.
pub(super) fn withdrawn(publications: &[PublicationLine]) -> Option<&str> {
    publications.first()?.withdrawn.as_deref()
}

/// The publishings of a sweep, newest first.
pub(super) fn publications(sweep: &Sweep) -> Vec<PublicationLine> {
    sweep
        .publications
        .iter()
        .map(|publication| PublicationLine {
            version: publication.version,
            published: words::moment(publication.published_ms),
            withdrawn: publication
                .withdrawn
                .as_ref()
                .map(|(at, reason)| format!("{}: {reason}", words::moment(*at))),
        })
        .collect()
}
