//! Documents as answers: media type, open to other sites, with a tag of their content. Whether a reader has them already
//! is judged by the layer around all reads.

use axum::body::Bytes;
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use sha2::{Digest as _, Sha256};

use crate::web::WebError;

/// What a page can be had as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::web) enum Twin {
    /// A JSON object.
    Json,
    /// Comma-separated rows.
    Csv,
}

/// A JSON object as answer.
pub(in crate::web) fn json(document: &impl Serialize) -> Result<Response, WebError> {
    let body = serde_json::to_vec(document).map_err(WebError::inside)?;
    Ok(tagged("application/json", body.into()))
}

/// Rows as answer.
pub(in crate::web) fn csv(rows: String) -> Response {
    tagged("text/csv; charset=utf-8; header=present", rows.into())
}

/// Bytes as answer, with a strong tag of their content.
pub(in crate::web) fn tagged(kind: &'static str, body: Bytes) -> Response {
    let tag = format!("\"{}\"", hex::encode(&Sha256::digest(&body)[..12]));
    with_tag(kind, body, &tag)
}

/// Bytes as answer under a tag that is known already.
pub(in crate::web) fn with_tag(kind: &'static str, body: Bytes, tag: &str) -> Response {
    let mut response = ([(header::CONTENT_TYPE, kind)], body).into_response();
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
