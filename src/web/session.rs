//! Who is looking: the session behind a cookie, the account behind an API token, or nobody.

use axum::extract::{FromRef, FromRequestParts};
use axum::http::request::Parts;
use axum::http::{HeaderMap, header};
use axum_extra::extract::cookie::{Cookie, CookieJar, SameSite};

use super::WebError;
use super::secret::digest;
use crate::app::App;
use crate::config::Config;
use crate::store::{AccountId, Role, TokenScope, now_ms};

/// After this long without a note, using a session is noted again, ms.
const NOTE_USE_EVERY_MS: i64 = 60_000;

/// Who is looking at a page: an account, or nobody.
#[derive(Debug, Clone, Default)]
pub struct Viewer {
    /// The account that is signed in.
    pub account: Option<SignedIn>,
}

/// An account that is signed in.
#[derive(Debug, Clone)]
pub struct SignedIn {
    /// Key.
    pub id: AccountId,
    /// Name.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// Whether they may publish and withdraw: not with a token for drafts only.
    pub may_publish: bool,
    /// Key of the session that they signed in with; `None` for a script with a token.
    pub session: Option<i64>,
}

impl Viewer {
    /// The viewer that this account is.
    #[must_use]
    pub fn of(account: &SignedIn) -> Self {
        Self {
            account: Some(account.clone()),
        }
    }

    /// Who sends a request with these headers. A session that is over is nobody; a token that is over is an error.
    pub(super) async fn of_request(app: &App, headers: &HeaderMap) -> Result<Self, WebError> {
        if let Some(secret) = bearer(headers) {
            return by_token(app, secret).await.map(Self::of_owned);
        }
        let jar = CookieJar::from_headers(headers);
        let Some(secret) = Cookies::of(&app.config).ok().and_then(|cookies| {
            jar.get(cookies.name())
                .map(|cookie| cookie.value().to_owned())
        }) else {
            return Ok(Self::default());
        };
        let now = now_ms();
        let (created_after_ms, seen_after_ms) = ages(&app.config, now);
        let session = app
            .store
            .session(&digest(&secret), created_after_ms, seen_after_ms)
            .await?;
        let Some(session) = session else {
            return Ok(Self::default());
        };
        if now - session.seen_ms > NOTE_USE_EVERY_MS {
            app.store.touch_session(session.id, now).await?;
        }
        Ok(Self::of_owned(SignedIn {
            id: session.account.id,
            name: session.account.name,
            role: session.account.role,
            may_publish: true,
            session: Some(session.id),
        }))
    }

    fn of_owned(account: SignedIn) -> Self {
        Self {
            account: Some(account),
        }
    }

    /// Name of the account that is signed in.
    #[must_use]
    pub fn name(&self) -> Option<&str> {
        self.account.as_ref().map(|account| account.name.as_str())
    }

    /// Whether drafts of `owner` may be seen and changed.
    #[must_use]
    pub fn may_work_on(&self, owner: AccountId) -> bool {
        self.account
            .as_ref()
            .is_some_and(|account| account.may_work_on(owner))
    }
}

impl SignedIn {
    /// Whose drafts alone may be seen: one's own; `None` for an operator, who sees all.
    #[must_use]
    pub fn confined_to(&self) -> Option<AccountId> {
        match self.role {
            Role::Operator => None,
            Role::Reviewer => Some(self.id),
        }
    }

    /// Whether drafts of `owner` may be seen and changed: one's own, and all for an operator.
    #[must_use]
    pub fn may_work_on(&self, owner: AccountId) -> bool {
        self.confined_to().is_none_or(|own| own == owner)
    }
}

impl<S> FromRequestParts<S> for Viewer
where
    App: FromRef<S>,
    S: Send + Sync,
{
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, WebError> {
        Self::of_request(&App::from_ref(state), &parts.headers).await
    }
}

/// When a session must have been made, and when seen, to be alive at `now_ms`; both ms since 1970 UTC, exclusive.
pub(super) fn ages(config: &Config, now_ms: i64) -> (i64, i64) {
    (
        now_ms - i64::from(config.session_max_d) * 86_400_000,
        now_ms - i64::from(config.session_idle_h) * 3_600_000,
    )
}

/// The secret of an `Authorization: Bearer` header.
fn bearer(headers: &HeaderMap) -> Option<&str> {
    let value = headers.get(header::AUTHORIZATION)?.to_str().ok()?;
    let (scheme, secret) = value.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| secret.trim())
}

/// The account of an API token that is alive.
async fn by_token(app: &App, secret: &str) -> Result<SignedIn, WebError> {
    let now = now_ms();
    let token = app
        .store
        .live_token(&digest(secret), now)
        .await?
        .ok_or(WebError::NotSignedIn)?;
    if token
        .used_ms
        .is_none_or(|used| now - used > NOTE_USE_EVERY_MS)
    {
        app.store.touch_token(token.id, now).await?;
    }
    Ok(SignedIn {
        id: token.account.id,
        name: token.account.name,
        role: token.account.role,
        may_publish: token.scope == TokenScope::Publish,
        session: None,
    })
}

impl<S> FromRequestParts<S> for SignedIn
where
    App: FromRef<S>,
    S: Send + Sync,
{
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, WebError> {
        let viewer = Viewer::from_request_parts(parts, state).await?;
        viewer.account.ok_or(WebError::NotSignedIn)
    }
}

/// How session cookies are made, by the site's public address.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Cookies {
    /// Over https: `__Host-` and Secure.
    Secure,
    /// On this machine only, over http: plain.
    Loopback,
}

/// Signing in over plain http from elsewhere would show the session to everybody on the way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Unprotected;

impl From<Unprotected> for WebError {
    fn from(_: Unprotected) -> Self {
        Self::NotAllowed(
            "signing in needs https: set BREATHMARK_PUBLIC_URL to the site's https address, or listen on 127.0.0.1"
                .into(),
        )
    }
}

impl Cookies {
    /// The kind of cookie that these settings allow.
    pub(super) fn of(config: &Config) -> Result<Self, Unprotected> {
        let url = config.public_url();
        if url.starts_with("https://") {
            return Ok(Self::Secure);
        }
        let host = url.trim_start_matches("http://");
        let host = host.split('/').next().unwrap_or(host);
        let host = host
            .strip_prefix('[')
            .and_then(|rest| rest.split(']').next())
            .unwrap_or_else(|| host.split(':').next().unwrap_or(host));
        let loopback = host == "localhost"
            || host
                .parse::<std::net::IpAddr>()
                .is_ok_and(|address| address.is_loopback());
        if loopback {
            Ok(Self::Loopback)
        } else {
            Err(Unprotected)
        }
    }

    /// Name of the cookie.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Secure => "__Host-breathmark",
            Self::Loopback => "breathmark",
        }
    }

    /// The cookie that carries a secret.
    pub(super) fn carry(self, secret: String) -> Cookie<'static> {
        Cookie::build((self.name(), secret))
            .path("/")
            .http_only(true)
            .same_site(SameSite::Lax)
            .secure(self == Self::Secure)
            .build()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::Parser as _;

    #[derive(clap::Parser)]
    struct Settings {
        #[command(flatten)]
        config: Config,
    }

    fn cookies(arguments: &[&str]) -> Result<Cookies, Unprotected> {
        let arguments = [&["breathmark"], arguments].concat();
        Cookies::of(&Settings::parse_from(arguments).config)
    }

    #[test]
    fn plain_cookies_only_on_this_machine() {
        assert_eq!(
            cookies(&["--listen", "127.0.0.1:80"]),
            Ok(Cookies::Loopback)
        );
        assert_eq!(cookies(&["--listen", "[::1]:80"]), Ok(Cookies::Loopback));
        assert_eq!(cookies(&["--listen", "0.0.0.0:80"]), Err(Unprotected));
        let public = |url| cookies(&["--public-url", url]);
        assert_eq!(public("https://lens.example"), Ok(Cookies::Secure));
        assert_eq!(public("http://lens.example"), Err(Unprotected));
        assert_eq!(public("http://localhost:8317/"), Ok(Cookies::Loopback));
        assert_eq!(public("http://127.0.0.1.lens.example"), Err(Unprotected));
    }

    #[test]
    fn secure_cookies_are_bound_to_the_host() {
        let text = Cookies::Secure.carry("s".into()).to_string();
        assert_eq!(
            text,
            "__Host-breathmark=s; HttpOnly; SameSite=Lax; Secure; Path=/"
        );
    }
}
