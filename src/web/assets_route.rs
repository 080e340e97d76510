//! Serves the embedded files.

use axum::extract::{Path, RawQuery};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::{WebError, assets, is_fresh};

/// `GET /static/{name}`: with the right `v` it may be kept for a year, without it is asked about each time.
pub(super) async fn serve(
    Path(name): Path<String>,
    RawQuery(query): RawQuery,
    headers: HeaderMap,
) -> Result<Response, WebError> {
    let (file, kind, version) = assets::find(&name).ok_or_else(|| WebError::no_such("file"))?;
    let etag = format!("\"{version}\"");
    let keep = if query.is_some_and(|query| query == format!("v={version}")) {
        "public, max-age=31536000, immutable"
    } else {
        "no-cache"
    };
    let about = [
        (header::ETAG, etag.clone()),
        (header::CACHE_CONTROL, keep.to_owned()),
    ];
    if is_fresh(&headers, &etag) {
        return Ok((StatusCode::NOT_MODIFIED, about).into_response());
    }
    Ok((
        about,
        [(header::CONTENT_TYPE, kind)],
        file.data.into_owned(),
    )
        .into_response())
}
