//! The answer to an error: headers at once, the body by the layer that knows the request.

use axum::Json;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use serde::Serialize;

use super::{FieldError, ProblemKind, WebError, kinds};
use crate::app::App;
use crate::web::api::encoded;
use crate::web::headers::FRAMED_CONTENT_SECURITY_POLICY;
use crate::web::observe::RequestId;
use crate::web::pages::{PageFrame, Section};
use crate::web::quota;
use crate::web::session::Viewer;

/// What a response carries from the handler to [`render`].
#[derive(Debug, Clone)]
struct Problem {
    kind: ProblemKind,
    detail: String,
    fields: Vec<FieldError>,
}

impl IntoResponse for WebError {
    fn into_response(self) -> Response {
        let kind = self.kind();
        let status = kind.status;
        if let Self::Inside(cause) = &self {
            tracing::error!(cause = format!("{cause:#}"), "request failed");
        }
        let retry_after = self.retry_after_s();
        let detail = self.to_string();
        let mut response = status.into_response();
        let fields = match self {
            Self::Fields(fields) => fields,
            Self::Moved(to) => {
                if let Ok(to) = HeaderValue::from_str(&to) {
                    response.headers_mut().insert(header::LOCATION, to);
                }
                Vec::new()
            }
            _ => Vec::new(),
        };
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
            kind,
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

/// The same in a frame on another site: without what belongs to a page of its own, all links leading out of the frame.
#[derive(askama::Template)]
#[template(path = "framed_error.html")]
struct FramedErrorPage<'a> {
    title: &'a str,
    detail: &'a str,
    fields: &'a [FieldError],
    /// The public address of the site.
    site: &'a str,
}

/// What to do with a form whose session has ended.
const SIGN_IN_AND_SEND_AGAIN: &str = "Nothing was changed: you are signed out. Sign in in another tab, then go back here \
     and send the form again; the browser still has what you typed.";

/// Where pages are that other sites may frame.
const FRAMED: &str = "/embed/";

/// Whether errors at this address are documents, whatever the client would rather have.
fn is_document(path: &str) -> bool {
    path.starts_with("/api/") || path.ends_with(".json")
}

/// Whether the client would rather read a page than a document.
fn wants_page(path: &str, headers: &HeaderMap) -> bool {
    let accept = headers
        .get(header::ACCEPT)
        .and_then(|value| value.to_str().ok())
        .unwrap_or("");
    !is_document(path) && accept.contains("text/html")
}

/// The layer that writes the body of every error.
pub(in crate::web) async fn render(
    State(app): State<App>,
    request: Request,
    next: Next,
) -> Response {
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
    // A form that was sent after its session ended: what was typed is still in the browser.
    let is_lost_form = page && status == StatusCode::UNAUTHORIZED;
    let framed = path.starts_with(FRAMED);
    let mut answer = if page && framed {
        as_page(
            &FramedErrorPage {
                title: problem.kind.title,
                detail: &problem.detail,
                fields: &problem.fields,
                site: &app.config.public_url(),
            },
            problem.kind,
        )
    } else if page {
        // Who is looking only changes the head of the page; where it can't be found out, nobody is.
        let viewer = Viewer::of_request(&app, &headers).await.unwrap_or_default();
        let error_page = ErrorPage {
            page: PageFrame::new(problem.kind.title, Section::Elsewhere, &viewer),
            status: status.as_u16(),
            detail: if is_lost_form {
                SIGN_IN_AND_SEND_AGAIN
            } else {
                &problem.detail
            },
            fields: &problem.fields,
            request_id: &id,
            sign_in: status == StatusCode::UNAUTHORIZED,
        };
        as_page(&error_page, problem.kind)
    } else {
        let mut answer = Json(ProblemDocument {
            r#type: problem.kind.address(),
            title: problem.kind.title,
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
    if !is_document(&path) {
        let vary = HeaderValue::from_static("accept");
        answer.headers_mut().append(header::VARY, vary);
    }
    *answer.status_mut() = status;
    if framed {
        // The frame on the other site shows what is wrong, as it shows what is not measured.
        answer.headers_mut().insert(
            header::CONTENT_SECURITY_POLICY,
            HeaderValue::from_static(FRAMED_CONTENT_SECURITY_POLICY),
        );
    }
    for kept in [
        header::RETRY_AFTER,
        header::ALLOW,
        header::WWW_AUTHENTICATE,
        header::CONNECTION,
        header::ACCESS_CONTROL_ALLOW_ORIGIN,
        header::ACCESS_CONTROL_EXPOSE_HEADERS,
        quota::POLICY,
        quota::LEFT,
    ] {
        if let Some(value) = response.headers_mut().remove(&kept) {
            answer.headers_mut().insert(kept, value);
        }
    }
    answer
}

/// A page; where it can't be made, its bare title.
fn as_page(page: &impl askama::Template, kind: ProblemKind) -> Response {
    let rendered = page.render().unwrap_or_else(|_| kind.title.to_owned());
    axum::response::Html(rendered).into_response()
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
    let (kind, detail) = match status {
        StatusCode::NOT_FOUND => (kinds::NOT_FOUND, format!("nothing is at {path}")),
        StatusCode::METHOD_NOT_ALLOWED => (
            kinds::METHOD_NOT_ALLOWED,
            "the address exists, but not for this method; the Allow header lists those that work"
                .to_owned(),
        ),
        StatusCode::PAYLOAD_TOO_LARGE => (kinds::TOO_LARGE, "send less in one request".to_owned()),
        StatusCode::UNSUPPORTED_MEDIA_TYPE => (
            kinds::UNSUPPORTED_MEDIA_TYPE,
            "send application/json where a document is asked for".to_owned(),
        ),
        StatusCode::REQUEST_TIMEOUT | StatusCode::SERVICE_UNAVAILABLE => (
            kinds::BUSY,
            "the answer took too long; try again in a moment".to_owned(),
        ),
        status if status.is_server_error() => (
            kinds::INSIDE,
            "something went wrong inside the program".to_owned(),
        ),
        _ => (
            kinds::UNREADABLE,
            "the address, the query or the body is not as it should be".to_owned(),
        ),
    };
    Problem {
        kind,
        detail,
        fields: Vec::new(),
    }
}

/// The sign-in page that leads back to where somebody was.
fn sign_in_address(path: &str, query: Option<&str>) -> String {
    let mut target = path.to_owned();
    if let Some(query) = query {
        target.push('?');
        target.push_str(query);
    }
    // Slashes may stand in a query (RFC 3986, 3.4), and people read the address.
    format!("/sign-in?next={}", encoded(&target).replace("%2F", "/"))
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
}
