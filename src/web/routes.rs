//! Every route in one table, grouped by who calls it.

use std::time::Duration;

use axum::extract::DefaultBodyLimit;
use axum::http::{Method, StatusCode, Uri};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, patch, post, put};
use axum::{Router, middleware};
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::compression::predicate::{DefaultPredicate, NotForContentType, Predicate as _};
use tower_http::timeout::TimeoutLayer;

use super::desk::{
    board, changes, filing, frames, lens_changes, lenses, pointing, progress, publish_page,
    publish_upload, publishing, sign_in, sweep, take_away, upload, upload_result, versions,
};
use super::{
    Web, account, api, assets_route, data, errors, headers, health, observe, origin, pages, reads,
    uploads,
};
use crate::app::App;

/// Most bytes of a form or a JSON document. Uploads have limits of their own.
const MAX_DOCUMENT_BYTES: usize = 1 << 20;
/// How long an answer may take where nothing is uploaded.
const ANSWER_PATIENCE: Duration = Duration::from_secs(30);

/// All routes with all layers.
pub fn router(app: App) -> Router {
    let public_url = app.config.public_url();
    let web = Web::new(app.clone());
    let minded = middleware::from_fn_with_state(web.clone(), reads::mind);
    health::recorder();
    // A zip is packed already: packing it once more would only take time.
    let worth_packing =
        DefaultPredicate::new().and(NotForContentType::const_new("application/zip"));
    let patient = TimeoutLayer::with_status_code(StatusCode::SERVICE_UNAVAILABLE, ANSWER_PATIENCE);
    Router::new()
        .merge(
            readers()
                .merge(integrators())
                .merge(open_sweeps())
                .route_layer(minded),
        )
        .route("/static/{*name}", get(assets_route::serve))
        .merge(reviewers())
        .merge(account::routes())
        .merge(watchers())
        .fallback(elsewhere)
        .layer(patient)
        .layer(DefaultBodyLimit::max(MAX_DOCUMENT_BYTES))
        .merge(arrivals())
        .layer(middleware::from_fn(reads::open_to_sites))
        .layer(origin::same_origin_only(&public_url))
        .layer(CatchPanicLayer::custom(panicked))
        .layer(middleware::from_fn_with_state(app.clone(), errors::render))
        .layer(CompressionLayer::new().compress_when(worth_packing))
        .layer(middleware::from_fn_with_state(
            app.clone(),
            headers::protect,
        ))
        .layer(middleware::from_fn(observe::observe))
        .with_state(web)
}

/// Pages and charts, open to all.
fn readers() -> Router<Web> {
    pages::routes()
}

/// The read API and the twins of the pages, open to all, from any site.
fn integrators() -> Router<Web> {
    api::routes().merge(data::routes())
}

/// Published sweeps as pages: for those whom nobody knows they depend on what is published alone.
fn open_sweeps() -> Router<Web> {
    Router::new()
        .route("/sweeps/{id}", get(sweep::show))
        .route("/sweeps/{id}/versions/{version}", get(versions::show))
}

/// Signing in, the desk and the reviewer API.
fn reviewers() -> Router<Web> {
    Router::new()
        .route("/sign-in", get(sign_in::show).post(sign_in::try_to))
        .route("/sign-out", post(sign_in::leave))
        .route("/desk", get(board::show))
        .route("/desk.json", get(board::document))
        .route("/desk/lenses", get(lenses::list).post(lenses::make))
        .route(
            "/desk/lenses/{slug}",
            get(lenses::show).post(lens_changes::correct),
        )
        .route("/desk/lenses/{slug}/merge", post(lens_changes::merge))
        .route("/desk/lenses/{slug}/forget", post(lens_changes::forget))
        .route("/desk/cameras/{id}", post(lens_changes::camera))
        .route("/desk/uploads/{id}", get(upload_result::show))
        .route("/desk/uploads/{id}/discard", post(upload_result::discard))
        .route(
            "/desk/uploads/{id}/publish",
            get(publish_upload::show).post(publish_upload::publish),
        )
        .route(
            "/desk/uploads/{id}/publish/preview",
            get(publish_upload::preview),
        )
        .route("/sweeps/{id}/progress", get(progress::ask))
        .route("/sweeps/{id}/frames/{frame}", get(frames::show))
        .route(
            "/sweeps/{id}/frames/{frame}/original",
            get(frames::download),
        )
        .route("/sweeps/{id}/settings", post(changes::settings))
        .route(
            "/sweeps/{id}/focal-length",
            post(publishing::give_focal_length),
        )
        .route("/sweeps/{id}/distances", post(changes::distances))
        .route("/sweeps/{id}/leave-out", post(changes::leave_out))
        .route("/sweeps/{id}/take-back", post(changes::take_back))
        .route("/sweeps/{id}/point", post(pointing::point))
        .route("/sweeps/{id}/unpoint", post(pointing::unpoint))
        .route("/sweeps/{id}/lens", post(filing::file_under))
        .route("/sweeps/{id}/measure", post(changes::measure_again))
        .route(
            "/sweeps/{id}/publish",
            get(publish_page::show).post(publishing::publish),
        )
        .route(
            "/sweeps/{id}/publish/preview",
            get(publish_page::preview_page),
        )
        .route("/sweeps/{id}/chart.svg", get(take_away::chart_svg))
        .route("/sweeps/{id}/chart.png", get(take_away::chart_png))
        .route("/sweeps/{id}/result.json", get(take_away::json))
        .route("/sweeps/{id}/result.csv", get(take_away::csv))
        .route("/sweeps/{id}/everything.zip", get(take_away::everything))
        .route("/sweeps/{id}/withdraw", post(publishing::withdraw))
        .route("/api/v1/lenses", post(uploads::lenses::make))
        .route("/api/v1/lenses/{slug}", patch(uploads::lenses::correct))
        .route("/api/v1/uploads", post(uploads::files::open))
        .route("/api/v1/uploads/{id}", get(uploads::files::show))
        .route("/api/v1/sweeps/{id}/events", get(progress::events))
        .route("/api/v1/sweeps/{id}", patch(uploads::sweeps::patch))
        .route(
            "/api/v1/sweeps/{id}/publish",
            post(uploads::sweeps::publish),
        )
        .route(
            "/api/v1/sweeps/{id}/withdraw",
            post(uploads::sweeps::withdraw),
        )
}

/// Where files come in and are sorted into sweeps: no time limit as a whole, and limits of their own on size and stalling.
fn arrivals() -> Router<Web> {
    Router::new()
        .route("/desk/upload", get(upload::show).post(upload::take))
        .route("/desk/uploads/{id}/files", post(upload::take_more))
        .route(
            "/api/v1/uploads/{id}/files/{*name}",
            put(uploads::files::put),
        )
        .route("/desk/uploads/{id}/finish", post(upload_result::finish))
        .route("/api/v1/uploads/{id}/finish", post(uploads::files::finish))
        .layer(DefaultBodyLimit::disable())
}

/// Health and figures.
fn watchers() -> Router<Web> {
    Router::new()
        .route("/healthz", get(health::alive))
        .route("/readyz", get(health::ready))
        .route("/metrics", get(health::figures))
}

/// No route is here. With a slash at its end, the address of a page leads on to the one without, with its question; a program
/// that left out a name is told so.
async fn elsewhere(method: Method, uri: Uri) -> Response {
    let for_programs = uri.path().starts_with("/api/v1/");
    let there = without_slash(&uri).filter(|_| method.is_safe() && !for_programs);
    match there {
        Some(there) => Redirect::permanent(&there).into_response(),
        None => StatusCode::NOT_FOUND.into_response(),
    }
}

/// The address without the slash at its end, on this site; `None` where it has none, or where what is left could be read as
/// the name of another site (`//name`, `/\name`).
fn without_slash(uri: &Uri) -> Option<String> {
    let path = uri.path().strip_suffix('/')?;
    let names = path.strip_prefix('/')?;
    let is_plain = |name: &str| !name.is_empty() && !name.contains('\\');
    if !names.split('/').all(is_plain) {
        return None;
    }
    Some(match uri.query() {
        Some(query) => format!("{path}?{query}"),
        None => path.to_owned(),
    })
}

/// A panic in a handler ends that request only.
#[allow(
    clippy::needless_pass_by_value,
    reason = "the layer hands over the panic's value"
)]
fn panicked(panic: Box<dyn std::any::Any + Send + 'static>) -> Response {
    let what = panic
        .downcast_ref::<&str>()
        .map(|text| (*text).to_owned())
        .or_else(|| panic.downcast_ref::<String>().cloned())
        .unwrap_or_else(|| "a panic without a text".to_owned());
    errors::WebError::inside(anyhow::anyhow!("panic: {what}")).into_response()
}
