//! Unsafe methods are only taken from pages of this site (or from programs, which send neither Sec-Fetch-Site nor Origin).

use axum::response::{IntoResponse, Response};
use tower_http::csrf::{CsrfLayer, ProtectionError};

use super::WebError;

/// The layer; the public address counts as this site whatever Host a proxy sends.
pub(super) fn same_origin_only(
    public_url: &str,
) -> CsrfLayer<impl Fn(ProtectionError) -> Response + Clone + Send + Sync + 'static> {
    let layer = CsrfLayer::new();
    let layer = match layer.clone().add_trusted_origin(public_url) {
        Ok(with_public_url) => with_public_url,
        Err(_) => layer,
    };
    layer.with_rejection_response(|_| {
        WebError::NotAllowed("the request came from another site; use the forms of this one".into())
            .into_response()
    })
}
