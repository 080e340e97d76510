//! Every error that leaves the program, in one place.
//!
//! A handler returns a [`WebError`]; it becomes a response that only carries the problem. The layer `render`, which
//! knows the request, writes the body: an RFC 9457 document for programs, a page for browsers. Errors that axum or a
//! layer makes by itself (unknown path, wrong method, body too large) take the same way.
//!
//! What went wrong inside is logged once, with the request's id; the answer only has a fixed phrase and that id.

mod answer;
mod causes;

use axum::http::StatusCode;
use serde::Serialize;

pub(super) use answer::render;

/// A field of a form, query or document that can't be used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FieldError {
    /// Name of the field as it was sent.
    pub field: String,
    /// What is wrong and what to give instead.
    pub detail: String,
}

impl FieldError {
    /// What is wrong with a field, where something is.
    pub fn told<'a>(errors: &'a [Self], field: &str) -> Option<&'a str> {
        let error = errors.iter().find(|error| error.field == field);
        error.map(|error| error.detail.as_str())
    }
}

/// Why a request can't be answered as it was asked.
#[derive(Debug, thiserror::Error)]
pub enum WebError {
    /// The request can't be read at all.
    #[error("{0}")]
    Unreadable(String),
    /// Nobody is signed in. Browsers are led to the sign-in page.
    #[error("sign in first, or send an API token")]
    NotSignedIn,
    /// Signed in, but this is not theirs to do; also requests sent by other sites.
    #[error("{0}")]
    NotAllowed(String),
    /// There is no such thing, or it is not for this viewer to know of.
    #[error("{0}")]
    NotFound(String),
    /// It has another address now.
    #[error("it is at {0} now")]
    Moved(String),
    /// It was there and was withdrawn.
    #[error("{0}")]
    Gone(String),
    /// It contradicts what is there.
    #[error("{0}")]
    Conflict(String),
    /// Too many bytes.
    #[error("{0}")]
    TooLarge(String),
    /// Fields out of range or otherwise unusable.
    #[error("{}", fields_in_words(.0))]
    Fields(Vec<FieldError>),
    /// A file that can't be used.
    #[error("{0}")]
    UnusableFile(String),
    /// Too many requests.
    #[error("{detail}")]
    TooFast {
        /// What is too fast.
        detail: String,
        /// When to try again, s.
        retry_after_s: u64,
    },
    /// Busy for the moment.
    #[error("the server is busy; try again in a moment")]
    Busy {
        /// When to try again, s.
        retry_after_s: u64,
    },
    /// The data folder can't be written.
    #[error(
        "{0}; nothing that was acknowledged is lost. Make room on the disk of the data folder, then send it again"
    )]
    Unwritable(String),
    /// A defect or damage inside; the cause goes to the log only.
    #[error("something went wrong inside the program")]
    Inside(#[source] anyhow::Error),
}

impl WebError {
    /// One unusable field.
    pub fn field(field: impl Into<String>, detail: impl Into<String>) -> Self {
        Self::Fields(vec![FieldError {
            field: field.into(),
            detail: detail.into(),
        }])
    }

    /// There is no such thing as `what`, e.g. "sweep".
    #[must_use]
    pub fn no_such(what: &str) -> Self {
        Self::NotFound(format!("there is no such {what}"))
    }

    /// A defect or damage inside.
    pub fn inside(cause: impl Into<anyhow::Error>) -> Self {
        Self::Inside(cause.into())
    }

    /// The one place where an error gets its status code, stable type and title.
    fn facts(&self) -> (StatusCode, &'static str, &'static str) {
        match self {
            Self::Unreadable(_) => (
                StatusCode::BAD_REQUEST,
                "unreadable",
                "The request can't be read",
            ),
            Self::NotSignedIn => (
                StatusCode::UNAUTHORIZED,
                "not-signed-in",
                "Nobody is signed in",
            ),
            Self::NotAllowed(_) => (StatusCode::FORBIDDEN, "not-allowed", "This is not allowed"),
            Self::NotFound(_) => (StatusCode::NOT_FOUND, "not-found", "There is no such page"),
            Self::Moved(_) => (
                StatusCode::MOVED_PERMANENTLY,
                "moved",
                "This has another address",
            ),
            Self::Gone(_) => (StatusCode::GONE, "gone", "This was withdrawn"),
            Self::Conflict(_) => (
                StatusCode::CONFLICT,
                "conflict",
                "It contradicts what is there",
            ),
            Self::TooLarge(_) => (
                StatusCode::PAYLOAD_TOO_LARGE,
                "too-large",
                "This is too large",
            ),
            Self::Fields(_) => (
                StatusCode::UNPROCESSABLE_ENTITY,
                "invalid-fields",
                "A field can't be used",
            ),
            Self::UnusableFile(_) => (
                StatusCode::UNPROCESSABLE_ENTITY,
                "unusable-file",
                "The file can't be used",
            ),
            Self::TooFast { .. } => (StatusCode::TOO_MANY_REQUESTS, "too-fast", "Too many tries"),
            Self::Busy { .. } => (StatusCode::SERVICE_UNAVAILABLE, "busy", "Busy for a moment"),
            Self::Unwritable(_) => (
                StatusCode::INSUFFICIENT_STORAGE,
                "unwritable",
                "Nothing can be stored",
            ),
            Self::Inside(_) => (
                StatusCode::INTERNAL_SERVER_ERROR,
                "inside",
                "Something went wrong",
            ),
        }
    }

    fn retry_after_s(&self) -> Option<u64> {
        match self {
            Self::TooFast { retry_after_s, .. } | Self::Busy { retry_after_s } => {
                Some(*retry_after_s)
            }
            _ => None,
        }
    }
}

fn fields_in_words(fields: &[FieldError]) -> String {
    fields
        .iter()
        .map(|field| format!("{}: {}", field.field, field.detail))
        .collect::<Vec<_>>()
        .join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn causes_stay_inside() {
        let secret = WebError::inside(anyhow::anyhow!("/home/secret/path"));
        assert!(!secret.to_string().contains("secret"));
    }
}
