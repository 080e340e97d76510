//! One layer around everything: gives each request an id, logs it in one line, counts and times it.

use std::time::Instant;

use axum::extract::{MatchedPath, Request};
use axum::http::{HeaderName, HeaderValue};
use axum::middleware::Next;
use axum::response::Response;
use tracing::Instrument as _;

/// Id of a request: in the log, in error answers, in audit rows and in the header `x-request-id`. Never the client's.
#[derive(Debug, Clone)]
pub(crate) struct RequestId(pub(crate) String);

const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// The layer.
pub(super) async fn observe(mut request: Request, next: Next) -> Response {
    let id = uuid::Uuid::now_v7().simple().to_string();
    let route = request
        .extensions()
        .get::<MatchedPath>()
        .map_or_else(|| "unmatched".to_owned(), |path| path.as_str().to_owned());
    let method = known_method(request.method());
    request.extensions_mut().insert(RequestId(id.clone()));
    let span = tracing::info_span!("request", id, method, route);
    let started = Instant::now();
    let mut response = next.run(request).instrument(span.clone()).await;
    let status = response.status();
    let seconds = started.elapsed().as_secs_f64();
    span.in_scope(|| {
        tracing::info!(
            status = status.as_u16(),
            ms = format!("{:.1}", seconds * 1000.0)
        );
    });
    let labels = [
        ("method", method.to_owned()),
        ("route", route),
        ("status", status.as_str().to_owned()),
    ];
    metrics::counter!("breathmark_http_requests_total", &labels).increment(1);
    metrics::histogram!("breathmark_http_request_seconds", &labels).record(seconds);
    if let Ok(value) = HeaderValue::from_str(&id) {
        response.headers_mut().insert(REQUEST_ID, value);
    }
    response
}

/// Methods by name; anything else under one word, so that nobody can fill the log or the metrics with names of theirs.
fn known_method(method: &axum::http::Method) -> &'static str {
    match method.as_str() {
        "GET" => "GET",
        "HEAD" => "HEAD",
        "POST" => "POST",
        "PUT" => "PUT",
        "PATCH" => "PATCH",
        "DELETE" => "DELETE",
        "OPTIONS" => "OPTIONS",
        _ => "OTHER",
    }
}
