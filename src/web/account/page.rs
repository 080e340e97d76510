//! The page of one's own account.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};

use super::InPerson;
use crate::app::App;
use crate::report::words::moment;
use crate::store::{Role, SessionRow, TokenRow, TokenScope, now_ms};
use crate::web::WebError;
use crate::web::errors::FieldError;
use crate::web::inputs::Typed;
use crate::web::pages::frame::{PageFrame, Section};
use crate::web::session::{Viewer, ages};

/// Days that a token lasts where nothing else is typed.
pub(super) const TOKEN_DAYS: u32 = 90;

struct SessionLine {
    id: i64,
    client: String,
    since: String,
    seen: String,
    is_this: bool,
}

struct TokenLine {
    id: i64,
    name: String,
    scope: &'static str,
    made: String,
    ends: String,
    used: String,
    /// `None` while it works.
    over: Option<String>,
}

/// A token that was just made.
pub(super) struct Fresh {
    pub(super) name: String,
    pub(super) secret: String,
}

#[derive(Template)]
#[template(path = "account/account.html")]
struct AccountPage {
    page: PageFrame,
    role: &'static str,
    is_operator: bool,
    done: Option<&'static str>,
    sessions: Vec<SessionLine>,
    tokens: Vec<TokenLine>,
    fresh: Option<Fresh>,
    typed: Typed,
    errors: Vec<FieldError>,
}

impl AccountPage {
    fn error(&self, name: &str) -> Option<&str> {
        FieldError::told(&self.errors, name)
    }
}

/// What the page shows beside the account itself.
#[derive(Default)]
pub(super) struct Said {
    /// What was just done.
    pub(super) done: Option<&'static str>,
    /// The token that was just made.
    pub(super) fresh: Option<Fresh>,
    /// Fields as they were typed; never passwords.
    pub(super) typed: Typed,
    /// What is wrong with them.
    pub(super) errors: Vec<FieldError>,
}

/// `GET /account`
pub(super) async fn show(
    State(app): State<App>,
    person: InPerson,
) -> Result<Html<String>, WebError> {
    render(&app, &person, Said::default()).await
}

/// The page with what is wrong with a form.
pub(super) async fn show_refused(
    app: &App,
    person: &InPerson,
    typed: Typed,
    errors: Vec<FieldError>,
) -> Result<Response, WebError> {
    let said = Said {
        typed,
        errors,
        ..Said::default()
    };
    let page = render(app, person, said).await?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

/// The page as it stands now.
pub(super) async fn render(
    app: &App,
    person: &InPerson,
    said: Said,
) -> Result<Html<String>, WebError> {
    let now = now_ms();
    let (created_after_ms, seen_after_ms) = ages(&app.config, now);
    let account = &person.account;
    let sessions = app.store.sessions(account.id).await?;
    let tokens = app.store.tokens(account.id).await?;
    let page = AccountPage {
        page: PageFrame::new("Account", Section::Account, &Viewer::of(account)),
        role: account.role.code(),
        is_operator: account.role == Role::Operator,
        done: said.done,
        sessions: sessions
            .into_iter()
            .filter(|row| row.created_ms > created_after_ms && row.seen_ms > seen_after_ms)
            .map(|row| session_line(row, person.session))
            .collect(),
        tokens: tokens.into_iter().map(|row| token_line(row, now)).collect(),
        fresh: said.fresh,
        typed: said.typed,
        errors: said.errors,
    };
    Ok(Html(page.render()?))
}

fn session_line(row: SessionRow, this: i64) -> SessionLine {
    SessionLine {
        id: row.id,
        client: row.client,
        since: moment(row.created_ms),
        seen: moment(row.seen_ms),
        is_this: row.id == this,
    }
}

fn token_line(row: TokenRow, now: i64) -> TokenLine {
    let over = match row.revoked_ms {
        Some(at) => Some(format!("revoked {}", moment(at))),
        None if row.expires_ms <= now => Some("over".to_owned()),
        None => None,
    };
    TokenLine {
        id: row.id,
        name: row.name,
        scope: match row.scope {
            TokenScope::Drafts => "uploads and drafts",
            TokenScope::Publish => "uploads, drafts, publishing",
        },
        made: moment(row.created_ms),
        ends: moment(row.expires_ms),
        used: row.used_ms.map_or_else(|| "never".to_owned(), moment),
        over,
    }
}
