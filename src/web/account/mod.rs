//! One's own account (password, sessions, tokens), and the accounts of all for operators. Open to those who signed in
//! with their password; a token can't make another token or change a password.

mod changes;
mod page;
mod people;

use axum::Router;
use axum::extract::{FromRef, FromRequestParts};
use axum::http::request::Parts;
use axum::routing::{get, post};

use super::observe::RequestId;
use super::session::SignedIn;
use super::{Web, WebError};
use crate::app::App;
use crate::store::{AuditEntry, Role, Store, now_ms};

/// The routes of this room.
pub(super) fn routes() -> Router<Web> {
    Router::new()
        .route("/account", get(page::show))
        .route("/account/password", post(changes::password))
        .route("/account/sessions/end", post(changes::end_session))
        .route("/account/sessions/end-others", post(changes::end_others))
        .route("/account/tokens", post(changes::make_token))
        .route("/account/tokens/revoke", post(changes::revoke_token))
        .route("/account/people", get(people::show).post(people::add))
        .route("/account/people/role", post(people::change_role))
}

/// Somebody who signed in with their password.
struct InPerson {
    account: SignedIn,
    /// Key of their session.
    session: i64,
    request: RequestId,
}

impl InPerson {
    /// Notes what was done.
    async fn audit(
        &self,
        store: &Store,
        action: &'static str,
        subject: String,
        detail: String,
    ) -> Result<(), WebError> {
        let entry = AuditEntry {
            at_ms: now_ms(),
            account: Some(self.account.id),
            action,
            subject,
            detail,
            request_id: Some(self.request.0.clone()),
        };
        Ok(store.audit(&entry).await?)
    }
}

impl<S> FromRequestParts<S> for InPerson
where
    App: FromRef<S>,
    S: Send + Sync,
{
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, WebError> {
        let account = SignedIn::from_request_parts(parts, state).await?;
        let session = account.session.ok_or_else(|| {
            WebError::NotAllowed("accounts are changed with a password, not with a token".into())
        })?;
        let request = parts
            .extensions
            .get::<RequestId>()
            .cloned()
            .ok_or_else(|| WebError::inside(anyhow::anyhow!("a request without an id")))?;
        Ok(Self {
            account,
            session,
            request,
        })
    }
}

/// An operator who signed in with their password.
struct Operator(InPerson);

impl<S> FromRequestParts<S> for Operator
where
    App: FromRef<S>,
    S: Send + Sync,
{
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, WebError> {
        let person = InPerson::from_request_parts(parts, state).await?;
        if person.account.role == Role::Operator {
            return Ok(Self(person));
        }
        Err(WebError::NotAllowed(
            "the accounts of others are for operators".into(),
        ))
    }
}
