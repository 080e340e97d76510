//! Signing in and out.

use std::net::IpAddr;

use askama::Template;
use axum::Form;
use axum::extract::{Extension, Query, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum_extra::extract::cookie::{Cookie, CookieJar};
use serde::Deserialize;

use super::html;
use crate::store::{AuditEntry, now_ms};
use crate::web::caller::Caller;
use crate::web::observe::RequestId;
use crate::web::pages::frame::{PageFrame, Section};
use crate::web::secret::{self, digest};
use crate::web::session::{Cookies, Viewer, ages};
use crate::web::{Web, WebError};

/// Longer names than any account has are not looked up.
const NAME_CHARACTERS: usize = 64;
/// Most characters that are kept of what a browser says of itself.
const CLIENT_CHARACTERS: usize = 120;

#[derive(Template)]
#[template(path = "desk/sign_in.html")]
struct SignInPage {
    page: PageFrame,
    name: String,
    next: String,
    refused: Option<String>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(in crate::web) struct Next {
    next: String,
}

/// `GET /sign-in`
pub(in crate::web) async fn show(
    viewer: Viewer,
    Query(query): Query<Next>,
) -> Result<Response, WebError> {
    let next = local_path(&query.next);
    if viewer.account.is_some() {
        return Ok(Redirect::to(&next).into_response());
    }
    page(StatusCode::OK, String::new(), next, None)
}

fn page(
    status: StatusCode,
    name: String,
    next: String,
    refused: Option<String>,
) -> Result<Response, WebError> {
    let page = PageFrame::new("Sign in", Section::Elsewhere, &Viewer::default());
    let body = html(&SignInPage {
        page,
        name,
        next,
        refused,
    })?;
    Ok((status, body).into_response())
}

#[derive(Deserialize)]
pub(in crate::web) struct Tried {
    #[serde(default)]
    name: String,
    #[serde(default)]
    password: String,
    #[serde(default)]
    next: String,
}

/// `POST /sign-in`: the same work and the same words for an unknown name and a wrong password.
pub(in crate::web) async fn try_to(
    State(web): State<Web>,
    Caller(from): Caller,
    Extension(request): Extension<RequestId>,
    headers: HeaderMap,
    jar: CookieJar,
    Form(tried): Form<Tried>,
) -> Result<Response, WebError> {
    let cookies = Cookies::of(&web.app.config)?;
    let next = local_path(&tried.next);
    let name: String = tried
        .name
        .trim()
        .chars()
        .take(NAME_CHARACTERS + 1)
        .collect();
    let now = now_ms();
    if let Err(seconds) = web.door.knock(&name, from, now) {
        audit(&web, None, "sign-in slowed", &name, &request, now).await?;
        let minutes = seconds.div_ceil(60);
        let refused = format!("Too many tries. Try again in {minutes} min.");
        let mut response = page(StatusCode::TOO_MANY_REQUESTS, name, next, Some(refused))?;
        response
            .headers_mut()
            .insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        return Ok(response);
    }
    let account = if name.chars().count() <= NAME_CHARACTERS {
        web.app.store.account_by_name(&name).await?
    } else {
        None
    };
    let kept = account
        .as_ref()
        .map(|account| account.password_hash.clone());
    let matches = web.door.verify(&tried.password, kept).await?;
    let Some(account) = account.filter(|_| matches) else {
        audit(&web, None, "sign-in refused", &name, &request, now).await?;
        let refused = "Name or password is wrong.".to_owned();
        return page(StatusCode::UNAUTHORIZED, name, next, Some(refused));
    };
    web.door.welcome(&name, from);
    if let Some(old) = jar.get(cookies.name()) {
        web.app.store.end_session(&digest(old.value())).await?;
    }
    let (created_after_ms, seen_after_ms) = ages(&web.app.config, now);
    let secret = secret::new().map_err(WebError::inside)?;
    web.app
        .store
        .sweep_sessions(created_after_ms, seen_after_ms)
        .await?;
    web.app
        .store
        .add_session(account.id, &digest(&secret), &client(&headers, from), now)
        .await?;
    audit(
        &web,
        Some(account.id),
        "sign-in",
        &account.name,
        &request,
        now,
    )
    .await?;
    Ok((jar.add(cookies.carry(secret)), Redirect::to(&next)).into_response())
}

/// `POST /sign-out`: the session ends on the server.
pub(in crate::web) async fn leave(
    State(web): State<Web>,
    jar: CookieJar,
) -> Result<Response, WebError> {
    let Ok(cookies) = Cookies::of(&web.app.config) else {
        return Ok(Redirect::to("/").into_response());
    };
    if let Some(cookie) = jar.get(cookies.name()) {
        web.app.store.end_session(&digest(cookie.value())).await?;
    }
    let mut gone: Cookie<'static> = cookies.carry(String::new());
    gone.make_removal();
    let mut response = Redirect::to("/").into_response();
    if let Ok(value) = HeaderValue::from_str(&gone.to_string()) {
        response.headers_mut().append(header::SET_COOKIE, value);
    }
    Ok(response)
}

async fn audit(
    web: &Web,
    account: Option<crate::store::AccountId>,
    action: &'static str,
    name: &str,
    request: &RequestId,
    now: i64,
) -> Result<(), WebError> {
    let entry = AuditEntry {
        at_ms: now,
        account,
        action,
        subject: printable(name, NAME_CHARACTERS),
        detail: String::new(),
        request_id: Some(request.0.clone()),
    };
    Ok(web.app.store.audit(&entry).await?)
}

/// Browser and address, for the list of sessions.
fn client(headers: &HeaderMap, from: Option<IpAddr>) -> String {
    let agent = headers
        .get(header::USER_AGENT)
        .and_then(|agent| agent.to_str().ok())
        .unwrap_or("unknown client");
    let agent = printable(agent, CLIENT_CHARACTERS);
    from.map_or_else(|| agent.clone(), |from| format!("{agent} at {from}"))
}

/// The text without control characters, so that no line of a log can be forged.
fn printable(text: &str, most: usize) -> String {
    text.chars()
        .filter(|character| !character.is_control())
        .take(most)
        .collect()
}

/// A path of this site, or the desk: never another host.
fn local_path(next: &str) -> String {
    let local = next.starts_with('/')
        && !next.starts_with("//")
        && !next.contains('\\')
        && !next.chars().any(char::is_control);
    if local {
        next.to_owned()
    } else {
        "/desk".to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_on_never_leaves_the_site() {
        for outside in [
            "",
            "https://elsewhere.example",
            "//elsewhere.example",
            "/\\elsewhere.example",
            "javascript:alert(1)",
            "/x\r\nset-cookie: a=b",
        ] {
            assert_eq!(local_path(outside), "/desk", "{outside}");
        }
        assert_eq!(local_path("/sweeps/3?a=b"), "/sweeps/3?a=b");
    }

    #[test]
    fn what_is_logged_is_one_line() {
        assert_eq!(printable("mara\r\nsign-in ok", 64), "marasign-in ok");
    }
}
