//! Documents as answers: media type, open to other sites, with a tag of their content for conditional requests.

use axum::body::Bytes;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use sha2::{Digest as _, Sha256};

use crate::web::{WebError, is_fresh};

/// What a page can be had as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::web) enum Twin {
    /// A JSON object.
    Json,
    /// Comma-separated rows.
    Csv,
}

/// A JSON object as answer.
pub(in crate::web) fn json(
    headers: &HeaderMap,
    document: &impl Serialize,
) -> Result<Response, WebError> {
    let body = serde_json::to_vec(document).map_err(WebError::inside)?;
    Ok(tagged(headers, "application/json", body.into()))
}

/// Rows as answer.
pub(in crate::web) fn csv(headers: &HeaderMap, rows: String) -> Response {
    tagged(
        headers,
        "text/csv; charset=utf-8; header=present",
        rows.into(),
    )
}

/// Bytes as answer, with a strong tag of their content; 304 where the client has them already.
pub(in crate::web) fn tagged(headers: &HeaderMap, kind: &'static str, body: Bytes) -> Response {
    let tag = format!("\"{}\"", hex::encode(&Sha256::digest(&body)[..12]));
    with_tag(headers, kind, body, &tag)
}

/// Bytes as answer under a tag that is known already.
pub(in crate::web) fn with_tag(
    headers: &HeaderMap,
    kind: &'static str,
    body: Bytes,
    tag: &str,
) -> Response {
    let mut response = if is_fresh(headers, tag) {
        StatusCode::NOT_MODIFIED.into_response()
    } else {
        ([(header::CONTENT_TYPE, kind)], body).into_response()
    };
    let about = response.headers_mut();
    if let Ok(tag) = HeaderValue::from_str(tag) {
        about.insert(header::ETAG, tag);
    }
    about.insert(
        header::CACHE_CONTROL,
        HeaderValue::from_static("public, no-cache"),
    );
    about.insert(
        header::ACCESS_CONTROL_ALLOW_ORIGIN,
        HeaderValue::from_static("*"),
    );
    response
}
