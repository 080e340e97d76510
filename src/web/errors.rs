//! Every error that leaves the program, in one place.
//!
//! A handler returns a [`WebError`]; it becomes a response that only carries the problem. The layer [`render`], which
//! knows the request, writes the body: an RFC 9457 document for programs, a page for browsers. Errors that axum or a
//! layer makes by itself (unknown path, wrong method, body too large) take the same way.
//!
//! What went wrong inside is logged once, with the request's id; the answer only has a fixed phrase and that id.

use axum::Json;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Serialize;

use super::observe::RequestId;
use super::pages::{PageFrame, Section};
use super::session::Viewer;
use crate::app::{App, ReceiveError};
use crate::charts::ChartError;
use crate::intake::IntakeError;
use crate::store::StoreError;
use crate::units::OutOfRange;

/// A field of a form, query or document that can't be used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FieldError {
    /// Name of the field as it was sent.
    pub field: String,
    /// What is wrong and what to give instead.
    pub detail: String,
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
    #[error("nothing can be stored at the moment: {0}")]
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

impl From<StoreError> for WebError {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::Busy => Self::Busy { retry_after_s: 5 },
            StoreError::Unwritable(_) => {
                Self::Unwritable("the data folder can't be written".into())
            }
            StoreError::Conflict(what) => Self::Conflict(what),
            StoreError::NewerSchema(_) | StoreError::Damaged(_) | StoreError::Sqlite(_) => {
                Self::inside(error)
            }
        }
    }
}

impl From<IntakeError> for WebError {
    fn from(error: IntakeError) -> Self {
        match error {
            IntakeError::Empty
            | IntakeError::NotAPicture
            | IntakeError::TooLarge { .. }
            | IntakeError::Damaged(_)
            | IntakeError::Archive(_)
            | IntakeError::PassedOver(_)
            | IntakeError::Distances { .. }
            | IntakeError::Name(_) => Self::UnusableFile(error.to_string()),
            IntakeError::TooManyBytes { .. } => Self::TooLarge(error.to_string()),
            IntakeError::Io(cause) => match cause.kind() {
                std::io::ErrorKind::StorageFull
                | std::io::ErrorKind::QuotaExceeded
                | std::io::ErrorKind::ReadOnlyFilesystem => {
                    Self::Unwritable("the data folder is full or can't be written".into())
                }
                _ => Self::inside(cause),
            },
        }
    }
}

impl From<ReceiveError> for WebError {
    fn from(error: ReceiveError) -> Self {
        match error {
            ReceiveError::Intake(error) => error.into(),
            ReceiveError::Store(error) => error.into(),
            ReceiveError::Fault(error) => error.into(),
        }
    }
}

impl From<OutOfRange> for WebError {
    fn from(error: OutOfRange) -> Self {
        Self::field(error.quantity, error.to_string())
    }
}

impl From<ChartError> for WebError {
    fn from(error: ChartError) -> Self {
        Self::field("width", error.to_string())
    }
}

impl From<askama::Error> for WebError {
    fn from(error: askama::Error) -> Self {
        Self::inside(error)
    }
}

impl From<tokio::task::JoinError> for WebError {
    fn from(error: tokio::task::JoinError) -> Self {
        Self::inside(error)
    }
}

/// What a response carries from the handler to [`render`].
#[derive(Debug, Clone)]
struct Problem {
    slug: &'static str,
    title: &'static str,
    detail: String,
    fields: Vec<FieldError>,
}

impl IntoResponse for WebError {
    fn into_response(self) -> Response {
        let (status, slug, title) = self.facts();
        if let Self::Inside(cause) = &self {
            tracing::error!(cause = format!("{cause:#}"), "request failed");
        }
        let retry_after = self.retry_after_s();
        let detail = self.to_string();
        let fields = match self {
            Self::Fields(fields) => fields,
            _ => Vec::new(),
        };
        let mut response = status.into_response();
        if let Some(seconds) = retry_after {
            response
                .headers_mut()
                .insert(header::RETRY_AFTER, HeaderValue::from(seconds));
        }
        if status == StatusCode::UNAUTHORIZED {
            response.headers_mut().insert(
                header::WWW_AUTHENTICATE,
                HeaderValue::from_static("Bearer realm=\"breathmark\""),
            );
        }
        response.extensions_mut().insert(Problem {
            slug,
            title,
            detail,
            fields,
        });
        response
    }
}

/// The RFC 9457 document.
#[derive(Serialize)]
struct ProblemDocument<'a> {
    r#type: String,
    title: &'a str,
    status: u16,
    detail: &'a str,
    instance: &'a str,
    request_id: &'a str,
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    errors: &'a [FieldError],
}

#[derive(askama::Template)]
#[template(path = "error.html")]
struct ErrorPage<'a> {
    page: PageFrame,
    status: u16,
    detail: &'a str,
    fields: &'a [FieldError],
    request_id: &'a str,
    sign_in: bool,
}

/// Whether the client would rather read a page than a document.
fn wants_page(path: &str, headers: &HeaderMap) -> bool {
    let accept = headers
        .get(header::ACCEPT)
        .and_then(|value| value.to_str().ok())
        .unwrap_or("");
    let document = path.starts_with("/api/") || path.ends_with(".json");
    !document && accept.contains("text/html")
}

/// The layer that writes the body of every error.
pub(super) async fn render(State(app): State<App>, request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    let query = request.uri().query().map(str::to_owned);
    let safe = matches!(*request.method(), Method::GET | Method::HEAD);
    let page = wants_page(&path, request.headers());
    let id = request
        .extensions()
        .get::<RequestId>()
        .map_or_else(String::new, |id| id.0.clone());
    let headers = request.headers().clone();
    let mut response = next.run(request).await;
    let status = response.status();
    if !status.is_client_error() && !status.is_server_error() {
        return response;
    }
    let problem = match response.extensions_mut().remove::<Problem>() {
        Some(problem) => problem,
        None if has_own_body(&response) => return response,
        None => foreign_problem(status, &path),
    };
    if page && safe && status == StatusCode::UNAUTHORIZED {
        return Redirect::to(&sign_in_address(&path, query.as_deref())).into_response();
    }
    let mut answer = if page {
        // Who is looking only changes the head of the page; where it can't be found out, nobody is.
        let viewer = Viewer::of_request(&app, &headers).await.unwrap_or_default();
        let rendered = askama::Template::render(&ErrorPage {
            page: PageFrame::new(problem.title, Section::Elsewhere, &viewer),
            status: status.as_u16(),
            detail: &problem.detail,
            fields: &problem.fields,
            request_id: &id,
            sign_in: status == StatusCode::UNAUTHORIZED,
        });
        axum::response::Html(rendered.unwrap_or_else(|_| problem.title.to_owned())).into_response()
    } else {
        let mut answer = Json(ProblemDocument {
            r#type: format!("/method#problem-{}", problem.slug),
            title: problem.title,
            status: status.as_u16(),
            detail: &problem.detail,
            instance: &path,
            request_id: &id,
            errors: &problem.fields,
        })
        .into_response();
        answer.headers_mut().insert(
            header::CONTENT_TYPE,
            HeaderValue::from_static("application/problem+json"),
        );
        answer
    };
    *answer.status_mut() = status;
    for kept in [
        header::RETRY_AFTER,
        header::ALLOW,
        header::WWW_AUTHENTICATE,
        header::CONNECTION,
    ] {
        if let Some(value) = response.headers_mut().remove(&kept) {
            answer.headers_mut().insert(kept, value);
        }
    }
    answer
}

/// Pages of our own with an error status (a form shown again) keep their body.
fn has_own_body(response: &Response) -> bool {
    response
        .headers()
        .get(header::CONTENT_TYPE)
        .and_then(|kind| kind.to_str().ok())
        .is_some_and(|kind| !kind.starts_with("text/plain"))
}

/// The problem behind an error that axum or a layer made.
fn foreign_problem(status: StatusCode, path: &str) -> Problem {
    let (slug, title, detail) = match status {
        StatusCode::NOT_FOUND => (
            "not-found",
            "There is no such page",
            format!("nothing is at {path}"),
        ),
        StatusCode::METHOD_NOT_ALLOWED => (
            "method-not-allowed",
            "This can't be done here",
            "the address exists, but not for this method; the Allow header lists those that work"
                .to_owned(),
        ),
        StatusCode::PAYLOAD_TOO_LARGE => (
            "too-large",
            "This is too large",
            "send less in one request".to_owned(),
        ),
        StatusCode::UNSUPPORTED_MEDIA_TYPE => (
            "unsupported-media-type",
            "The content type can't be used",
            "send application/json where a document is asked for".to_owned(),
        ),
        StatusCode::REQUEST_TIMEOUT | StatusCode::SERVICE_UNAVAILABLE => (
            "busy",
            "Busy for a moment",
            "the answer took too long; try again in a moment".to_owned(),
        ),
        status if status.is_server_error() => (
            "inside",
            "Something went wrong",
            "something went wrong inside the program".to_owned(),
        ),
        _ => (
            "unreadable",
            "The request can't be read",
            "the address, the query or the body is not as it should be".to_owned(),
        ),
    };
    Problem {
        slug,
        title,
        detail,
        fields: Vec::new(),
    }
}

/// The sign-in page that leads back to where somebody was.
pub(super) fn sign_in_address(path: &str, query: Option<&str>) -> String {
    let mut target = path.to_owned();
    if let Some(query) = query {
        target.push('?');
        target.push_str(query);
    }
    format!("/sign-in?next={}", percent_encode(&target))
}

/// A text as the value of one query parameter (RFC 3986: everything but unreserved characters is encoded).
pub(super) fn percent_encode(text: &str) -> String {
    let mut encoded = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            encoded.push(char::from(byte));
        } else {
            encoded.push_str(&format!("%{byte:02X}"));
        }
    }
    encoded
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_browsers_outside_the_api_get_pages() {
        let mut headers = HeaderMap::new();
        assert!(!wants_page("/lenses", &headers));
        headers.insert(
            header::ACCEPT,
            HeaderValue::from_static("text/html,application/xhtml+xml"),
        );
        assert!(wants_page("/lenses", &headers));
        assert!(!wants_page("/api/v1/lenses", &headers));
        assert!(!wants_page("/lenses.json", &headers));
    }

    #[test]
    fn the_way_back_is_one_parameter() {
        assert_eq!(
            sign_in_address("/desk/upload", Some("lens=a&x=1")),
            "/sign-in?next=/desk/upload%3Flens%3Da%26x%3D1"
        );
    }

    #[test]
    fn causes_stay_inside() {
        let secret = WebError::inside(anyhow::anyhow!("/home/secret/path"));
        assert!(!secret.to_string().contains("secret"));
    }
}
