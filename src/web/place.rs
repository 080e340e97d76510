//! The parts of an address, as keys and names: what is none of them is simply not there.

use axum::extract::{FromRequestParts, Path};
use axum::http::request::Parts;
use serde::de::DeserializeOwned;

use super::WebError;

/// The parts of the address; 404 where they can't be what the route asks for.
pub(super) struct Place<T>(pub(super) T);

impl<S, T> FromRequestParts<S> for Place<T>
where
    T: DeserializeOwned + Send,
    S: Send + Sync,
{
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, WebError> {
        match Path::<T>::from_request_parts(parts, state).await {
            Ok(Path(place)) => Ok(Self(place)),
            Err(_) => Err(WebError::no_such("page")),
        }
    }
}
