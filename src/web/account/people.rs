//! The accounts of all, for operators.

use std::collections::BTreeMap;

use askama::Template;
use axum::Form;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};

use super::Operator;
use crate::app::App;
use crate::store::{AccountId, Role, now_ms};
use crate::web::errors::FieldError;
use crate::web::inputs::{Check, Typed};
use crate::web::pages::frame::{PageFrame, Section};
use crate::web::session::Viewer;
use crate::web::{Web, WebError, password};

/// Most characters of an account's name.
const NAME_CHARACTERS: usize = 64;

struct Person {
    id: AccountId,
    name: String,
    role: Role,
    is_self: bool,
}

#[derive(Template)]
#[template(path = "account/people.html")]
struct PeoplePage {
    page: PageFrame,
    people: Vec<Person>,
    typed: Typed,
    errors: Vec<FieldError>,
}

impl PeoplePage {
    fn error(&self, name: &str) -> Option<&str> {
        FieldError::told(&self.errors, name)
    }
}

/// `GET /account/people`
pub(super) async fn show(
    State(app): State<App>,
    operator: Operator,
) -> Result<Html<String>, WebError> {
    render(&app, &operator, Typed::default(), Vec::new()).await
}

async fn render(
    app: &App,
    Operator(operator): &Operator,
    typed: Typed,
    errors: Vec<FieldError>,
) -> Result<Html<String>, WebError> {
    let page = PeoplePage {
        page: PageFrame::new("Accounts", Section::Account, &Viewer::of(&operator.account)),
        people: app
            .store
            .accounts()
            .await?
            .into_iter()
            .map(|account| Person {
                is_self: account.id == operator.account.id,
                id: account.id,
                name: account.name,
                role: account.role,
            })
            .collect(),
        typed,
        errors,
    };
    Ok(Html(page.render()?))
}

/// `POST /account/people`
pub(super) async fn add(
    State(web): State<Web>,
    operator: Operator,
    Form(mut sent): Form<BTreeMap<String, String>>,
) -> Result<Response, WebError> {
    let chosen = sent.remove("password").unwrap_or_default();
    let typed: Typed = sent.into_iter().collect();
    let mut check = Check::default();
    let name = check.line("name", typed.get("name"), NAME_CHARACTERS);
    let name = check.required("name", name, "the name to sign in with");
    let role = Role::from_code(typed.get("role"));
    let role = check.required("role", role, "reviewer or operator");
    if let Err(error) = password::check(&chosen, typed.get("name")) {
        check.refuse("password", error.to_string());
    }
    let store = &web.app.store;
    if let Some(name) = &name
        && store.account_by_name(name).await?.is_some()
    {
        check.refuse("name", "there is an account of this name; choose another");
    }
    let (Some(name), Some(role), true) = (name, role, check.errors.is_empty()) else {
        let page = render(&web.app, &operator, typed, check.errors).await?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let hash = web.door.hash(chosen).await?;
    store.add_account(&name, role, &hash, now_ms()).await?;
    operator
        .0
        .audit(store, "account added", name, role.code().to_owned())
        .await?;
    Ok(Redirect::to("/account/people").into_response())
}

/// `POST /account/people/role`
pub(super) async fn change_role(
    State(app): State<App>,
    operator: Operator,
    Form(sent): Form<BTreeMap<String, String>>,
) -> Result<Redirect, WebError> {
    let field = |name: &str| sent.get(name).map_or("", String::as_str);
    let account = match field("account").parse() {
        Ok(id) => app.store.account(id).await?,
        Err(_) => None,
    };
    let account = account.ok_or_else(|| WebError::no_such("account"))?;
    let role = Role::from_code(field("role"))
        .ok_or_else(|| WebError::field("role", "give reviewer or operator"))?;
    app.store.set_role(account.id, role).await?;
    operator
        .0
        .audit(
            &app.store,
            "role changed",
            account.name,
            role.code().to_owned(),
        )
        .await?;
    Ok(Redirect::to("/account/people"))
}
