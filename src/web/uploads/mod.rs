//! The reviewer API: lenses, uploads, repairs, publishing; with a session or a token.

pub(super) mod files;
pub(super) mod lenses;
pub(super) mod sweeps;

use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{FromRequest, Request};
use serde::de::DeserializeOwned;

use super::WebError;

/// A JSON document with known fields only; what is wrong with it is told with its place.
pub(super) struct Document<T>(pub(super) T);

impl<S, T> FromRequest<S> for Document<T>
where
    T: DeserializeOwned,
    S: Send + Sync,
{
    type Rejection = WebError;

    async fn from_request(request: Request, state: &S) -> Result<Self, WebError> {
        match Json::<T>::from_request(request, state).await {
            Ok(Json(document)) => Ok(Self(document)),
            Err(JsonRejection::JsonDataError(error)) => {
                let text = error.body_text();
                let (field, detail) = text
                    .rsplit_once(": ")
                    .map_or(("body", text.as_str()), |(_, detail)| ("body", detail));
                Err(WebError::field(
                    named_field(detail).unwrap_or(field),
                    detail,
                ))
            }
            Err(JsonRejection::MissingJsonContentType(_)) => Err(WebError::Unreadable(
                "send a JSON document with content-type application/json".into(),
            )),
            Err(JsonRejection::BytesRejection(_)) => Err(WebError::TooLarge(
                "a JSON document has at most 1 MB; send less at once".into(),
            )),
            Err(error) => Err(WebError::Unreadable(format!(
                "the body is no JSON that can be read: {}",
                error.body_text()
            ))),
        }
    }
}

/// The field that a complaint of the JSON reader names between backticks.
fn named_field(detail: &str) -> Option<&str> {
    let named = detail
        .strip_prefix("unknown field `")
        .or_else(|| detail.split_once("missing field `").map(|(_, rest)| rest))?;
    named.split('`').next()
}
