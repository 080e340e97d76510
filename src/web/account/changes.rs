//! Changes of one's own account.

use std::collections::BTreeMap;

use axum::Form;
use axum::extract::State;
use axum::response::{IntoResponse, Redirect, Response};

use super::InPerson;
use super::page::{self, Fresh, Said, TOKEN_DAYS};
use crate::app::App;
use crate::store::{TokenDraft, TokenScope, now_ms};
use crate::web::caller::Caller;
use crate::web::inputs::{Check, Typed};
use crate::web::{Web, WebError, password, secret};

type Sent = Form<BTreeMap<String, String>>;

/// Most characters of a token's name.
const TOKEN_NAME_CHARACTERS: usize = 64;
/// Most days that a token lasts.
const TOKEN_DAYS_MOST: f64 = 365.0;

/// `POST /account/password`: a new password ends all other sessions.
pub(super) async fn password(
    State(web): State<Web>,
    Caller(from): Caller,
    person: InPerson,
    Form(mut sent): Sent,
) -> Result<Response, WebError> {
    let mut take = |field: &str| sent.remove(field).unwrap_or_default();
    let (current, chosen, again) = (
        take("current_password"),
        take("new_password"),
        take("again"),
    );
    let name = &person.account.name;
    let mut check = Check::default();
    if let Err(error) = password::check(&chosen, name) {
        check.refuse("new_password", error.to_string());
    } else if chosen != again {
        check.refuse("again", "this is not the same as the new password");
    }
    if check.errors.is_empty() {
        let now = now_ms();
        web.door
            .knock(name, from, now)
            .map_err(|retry_after_s| WebError::TooFast {
                detail: "the current password was wrong too often; try again later".into(),
                retry_after_s,
            })?;
        let kept = web.app.store.account(person.account.id).await?;
        let kept = kept.map(|account| account.password_hash);
        if web.door.verify(&current, kept).await? {
            web.door.welcome(name, from);
        } else {
            check.refuse("current_password", "this is not your password");
        }
    }
    if !check.errors.is_empty() {
        return page::show_refused(&web.app, &person, Typed::default(), check.errors).await;
    }
    let hash = web.door.hash(chosen).await?;
    let store = &web.app.store;
    store
        .set_password(person.account.id, &hash, Some(person.session))
        .await?;
    person
        .audit(store, "password changed", name.clone(), String::new())
        .await?;
    let said = Said {
        done: Some("Your password is changed; your other sessions have ended."),
        ..Said::default()
    };
    Ok(page::render(&web.app, &person, said).await?.into_response())
}

/// `POST /account/sessions/end`
pub(super) async fn end_session(
    State(app): State<App>,
    person: InPerson,
    Form(sent): Sent,
) -> Result<Redirect, WebError> {
    let session = key(&sent, "session")?;
    if !app.store.end_session_of(person.account.id, session).await? {
        return Err(WebError::no_such("session"));
    }
    person
        .audit(
            &app.store,
            "session ended",
            format!("session {session}"),
            String::new(),
        )
        .await?;
    Ok(Redirect::to("/account#sessions"))
}

/// `POST /account/sessions/end-others`
pub(super) async fn end_others(
    State(app): State<App>,
    person: InPerson,
) -> Result<Redirect, WebError> {
    let ended = app
        .store
        .end_other_sessions(person.account.id, person.session)
        .await?;
    person
        .audit(
            &app.store,
            "session ended",
            "all other sessions".to_owned(),
            ended.to_string(),
        )
        .await?;
    Ok(Redirect::to("/account#sessions"))
}

/// `POST /account/tokens`: the answer is the only place that ever shows the token.
pub(super) async fn make_token(
    State(app): State<App>,
    person: InPerson,
    Form(sent): Sent,
) -> Result<Response, WebError> {
    let typed: Typed = sent.into_iter().collect();
    let mut check = Check::default();
    let name = check.line("token_name", typed.get("token_name"), TOKEN_NAME_CHARACTERS);
    let name = check.required("token_name", name, "a name that tells what it is for");
    let scope = TokenScope::from_code(typed.get("scope"));
    let scope = check.required("scope", scope, "drafts or publish");
    let days = match check.number("days", typed.get("days")) {
        Some(days) => check.within("days", Some(days), &(1.0..=TOKEN_DAYS_MOST), "days"),
        None => Some(f64::from(TOKEN_DAYS)),
    };
    let (Some(name), Some(scope), Some(days), true) = (name, scope, days, check.errors.is_empty())
    else {
        return page::show_refused(&app, &person, typed, check.errors).await;
    };
    let draft = TokenDraft::lasting(person.account.id, name, scope, days, now_ms());
    let secret = secret::new().map_err(WebError::inside)?;
    app.store
        .add_token(&draft, &secret::digest(&secret), now_ms())
        .await?;
    person
        .audit(
            &app.store,
            "token made",
            draft.name.clone(),
            scope.code().to_owned(),
        )
        .await?;
    let said = Said {
        fresh: Some(Fresh {
            name: draft.name,
            secret,
        }),
        ..Said::default()
    };
    Ok(page::render(&app, &person, said).await?.into_response())
}

/// `POST /account/tokens/revoke`
pub(super) async fn revoke_token(
    State(app): State<App>,
    person: InPerson,
    Form(sent): Sent,
) -> Result<Redirect, WebError> {
    let token = key(&sent, "token")?;
    if !app
        .store
        .revoke_token(person.account.id, token, now_ms())
        .await?
    {
        return Err(WebError::no_such("token"));
    }
    person
        .audit(
            &app.store,
            "token revoked",
            format!("token {token}"),
            String::new(),
        )
        .await?;
    Ok(Redirect::to("/account#tokens"))
}

/// A key that a button sends.
fn key(sent: &BTreeMap<String, String>, what: &str) -> Result<i64, WebError> {
    sent.get(what)
        .and_then(|value| value.parse().ok())
        .ok_or_else(|| WebError::no_such(what))
}
