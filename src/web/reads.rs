//! The manners of what everybody may read: how often, from where, and whether the reader has it already.
//!
//! An answer is a function of the published content and of its address. So an answer that was made once is kept until the
//! mark of the content changes, and one look at the mark tells whether a reader's copy is still right.

use std::net::IpAddr;
use std::sync::Arc;

use axum::body::{Body, Bytes};
use axum::extract::{FromRequestParts as _, Request, State};
use axum::http::response::Parts;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};
use http_body_util::BodyExt as _;
use sha2::{Digest as _, Sha256};

use super::caller::Caller;
use super::quota::{Quota, Taken};
use super::shelf::Shelf;
use super::{WebError, is_fresh};
use crate::app::App;
use crate::config::Config;
use crate::store::now_ms;

/// Most bytes of answers that are kept.
const MOST_KEPT_BYTES: usize = 48 << 20;
/// Largest answer that is kept.
const LARGEST_KEPT: u64 = 2 << 20;
/// Where the licence of all numbers stands (RFC 8288, RFC 4946).
const LICENCE_LINK: &str = "<https://creativecommons.org/licenses/by/4.0/>; rel=\"license\"";
/// What scripts of other sites may see of an answer, beside what they always may.
const EXPOSED: &str =
    "etag, link, location, ratelimit, ratelimit-policy, retry-after, x-request-id";

/// What the layer remembers; cheap to clone.
#[derive(Debug, Clone)]
pub(super) struct Reads(Arc<Memory>);

#[derive(Debug)]
struct Memory {
    quota: Quota,
    kept: Shelf<Kept>,
}

/// An answer that was made.
#[derive(Debug, Clone)]
struct Kept {
    headers: HeaderMap,
    body: Bytes,
}

impl Reads {
    pub(super) fn new(config: &Config) -> Self {
        Self(Arc::new(Memory {
            quota: Quota::new(config.reads_per_minute),
            kept: Shelf::new(MOST_KEPT_BYTES),
        }))
    }

    /// Counts a read of an address.
    ///
    /// # Errors
    /// `TooFast` where it is one too many.
    pub(super) fn count(&self, from: Option<IpAddr>) -> Result<(), WebError> {
        match self.0.quota.take(from, now_ms()) {
            Some(taken) if taken.refused => Err(too_many(taken)),
            _ => Ok(()),
        }
    }
}

fn too_many(taken: Taken) -> WebError {
    WebError::TooFast {
        detail: "too many reads from one address in a minute; wait as long as Retry-After says, ask for more rows at once with limit, or take all numbers at once from /data/breathmark.zip".to_owned(),
        retry_after_s: taken.reset_s,
    }
}

/// Whether everybody gets the same there, whoever is signed in: documents and pictures, not pages.
fn is_for_programs(path: &str) -> bool {
    // To crawlers a refusal of these means "keep off all of it".
    if ["/robots.txt", "/sitemap.xml"].contains(&path) {
        return false;
    }
    ["/api/", "/charts/", "/data/"]
        .iter()
        .any(|start| path.starts_with(start))
        || path == "/oembed"
        || path.contains('.')
}

/// The layer around every route that everybody may read.
pub(super) async fn mind(
    State(app): State<App>,
    State(reads): State<Reads>,
    request: Request,
    next: Next,
) -> Response {
    if !matches!(*request.method(), Method::GET | Method::HEAD) {
        return next.run(request).await;
    }
    if !is_for_programs(request.uri().path()) {
        if let Some(address) = without_blanks(request.uri()) {
            return Redirect::to(&address).into_response();
        }
        return page(&app, &reads, request, next).await;
    }
    let (mut parts, body) = request.into_parts();
    let caller = Caller::from_request_parts(&mut parts, &app).await;
    let from = caller.ok().and_then(|Caller(address)| address);
    let taken = reads.0.quota.take(from, now_ms());
    let request = Request::from_parts(parts, body);
    let mut response = match taken {
        Some(taken) if taken.refused => too_many(taken).into_response(),
        _ => answered(&app, &reads, request, next).await,
    };
    let headers = response.headers_mut();
    if let Some(taken) = taken {
        taken.tell(headers);
    }
    open(headers);
    if response.status().is_success() || response.status() == StatusCode::NOT_MODIFIED {
        let link = HeaderValue::from_static(LICENCE_LINK);
        response.headers_mut().append(header::LINK, link);
    }
    response
}

/// The address of a page without the fields that a form sends empty; `None` where there are none. So what stands in the
/// address bar, and is passed on, says what was asked and nothing else.
fn without_blanks(uri: &Uri) -> Option<String> {
    let query = uri.query()?;
    let is_said = |pair: &&str| {
        let value = pair.split_once('=').map_or("", |(_, value)| value);
        !value.replace("%20", "+").trim_matches('+').is_empty()
    };
    let said: Vec<&str> = query.split('&').filter(is_said).collect();
    let said = said.join("&");
    match (said.is_empty(), said == query) {
        (true, _) => Some(uri.path().to_owned()),
        (false, true) => None,
        (false, false) => Some(format!("{}?{said}", uri.path())),
    }
}

/// Opens an answer to scripts of other sites.
fn open(headers: &mut HeaderMap) {
    let mut say = |name: HeaderName, value: &'static str| {
        headers.insert(name, HeaderValue::from_static(value));
    };
    say(header::ACCESS_CONTROL_ALLOW_ORIGIN, "*");
    say(header::ACCESS_CONTROL_EXPOSE_HEADERS, EXPOSED);
}

/// The layer that tells browsers that scripts of other sites may read what programs read, with headers of theirs; not
/// that they may write. They may also read that nothing is at an address, or not for their method.
pub(super) async fn open_to_sites(request: Request, next: Next) -> Response {
    let for_programs = is_for_programs(request.uri().path());
    let is_question = request.method() == Method::OPTIONS;
    let headers = request.headers();
    let method = headers.get(header::ACCESS_CONTROL_REQUEST_METHOD);
    let read = method.is_some_and(|method| method == "GET" || method == "HEAD");
    let asked = is_question && headers.contains_key(header::ORIGIN);
    if !(asked && read && for_programs) {
        let mut response = next.run(request).await;
        let nothing = [StatusCode::NOT_FOUND, StatusCode::METHOD_NOT_ALLOWED];
        if for_programs && !is_question && nothing.contains(&response.status()) {
            open(response.headers_mut());
        }
        return response;
    }
    let allowed = [
        (header::ACCESS_CONTROL_ALLOW_ORIGIN, "*"),
        (header::ACCESS_CONTROL_ALLOW_METHODS, "GET, HEAD"),
        (header::ACCESS_CONTROL_ALLOW_HEADERS, "*"),
        (header::ACCESS_CONTROL_MAX_AGE, "86400"),
    ];
    (StatusCode::NO_CONTENT, allowed).into_response()
}

/// A page: like a document for those whom nobody knows; made anew for those who may be signed in, under a tag of their own,
/// so that at least it is not sent again.
async fn page(app: &App, reads: &Reads, request: Request, next: Next) -> Response {
    let personal = [header::COOKIE, header::AUTHORIZATION]
        .iter()
        .any(|name| request.headers().contains_key(name));
    let mut response = if personal {
        let asked = request.headers().clone();
        let mut response = personally_tagged(next.run(request).await).await;
        let private = HeaderValue::from_static("private, no-cache");
        response
            .headers_mut()
            .insert(header::CACHE_CONTROL, private);
        unless_known(&asked, response)
    } else {
        answered(app, reads, request, next).await
    };
    let vary = HeaderValue::from_static("cookie, authorization");
    response.headers_mut().append(header::VARY, vary);
    response
}

/// The answer: what is kept, or what the handler makes; nothing but its head where the reader has it.
async fn answered(app: &App, reads: &Reads, mut request: Request, next: Next) -> Response {
    let key = match key_of(app, request.uri()).await {
        Ok(key) => key,
        Err(error) => return error.into_response(),
    };
    let asked = request.headers().clone();
    if let Some(kept) = reads.0.kept.find(&key) {
        let mut response = kept.body.into_response();
        *response.headers_mut() = kept.headers;
        return unless_known(&asked, response);
    }
    // The whole answer is made, to be kept; whether it has to be sent is judged here.
    request.headers_mut().remove(header::IF_NONE_MATCH);
    *request.method_mut() = Method::GET;
    let response = next.run(request).await;
    if response.status() == StatusCode::OK {
        unless_known(&asked, keep(reads, key, response).await)
    } else {
        response
    }
}

/// What an answer depends on, but for the program itself.
async fn key_of(app: &App, uri: &Uri) -> Result<String, WebError> {
    let mark = app.store.content().await?.mark;
    // The start says how many sweeps wait, which is no content.
    let waiting = match uri.path() {
        "/" => app.store.job_counts().await?.0,
        _ => 0,
    };
    let address = uri.path_and_query().map_or("/", |all| all.as_str());
    Ok(format!("{mark} {waiting} {address}"))
}

/// An answer whose size is known and bearable, as its head and all its bytes; else as it is, or the error that it ended in.
async fn whole(response: Response) -> Result<(Parts, Bytes), Box<Response>> {
    use axum::body::HttpBody as _;
    let size = response.body().size_hint().exact();
    if size.is_none_or(|size| size > LARGEST_KEPT) {
        return Err(Box::new(response));
    }
    let (parts, body) = response.into_parts();
    match body.collect().await {
        Ok(body) => Ok((parts, body.to_bytes())),
        Err(error) => Err(Box::new(WebError::inside(error).into_response())),
    }
}

/// Tags a page that was made for one person. The tag is none that anybody else's page has.
async fn personally_tagged(response: Response) -> Response {
    if response.status() != StatusCode::OK {
        return response;
    }
    let (mut parts, body) = match whole(response).await {
        Ok(whole) => whole,
        Err(response) => return *response,
    };
    let tag = format!("\"{}-own\"", hex::encode(&Sha256::digest(&body)[..12]));
    if let Ok(tag) = HeaderValue::from_str(&tag) {
        parts.headers.insert(header::ETAG, tag);
    }
    Response::from_parts(parts, body.into())
}

/// Tags an answer whose size is known and bearable, and keeps it.
async fn keep(reads: &Reads, key: String, response: Response) -> Response {
    let (mut parts, body) = match whole(response).await {
        Ok(whole) => whole,
        Err(response) => return *response,
    };
    let tag = format!("\"{}\"", hex::encode(&Sha256::digest(&body)[..12]));
    if let Ok(tag) = HeaderValue::from_str(&tag) {
        parts.headers.entry(header::ETAG).or_insert(tag);
    }
    // Caches may keep it, but have to ask each time.
    let ask = HeaderValue::from_static("public, no-cache");
    parts.headers.entry(header::CACHE_CONTROL).or_insert(ask);
    let kept = Kept {
        headers: parts.headers.clone(),
        body: body.clone(),
    };
    reads.0.kept.put(key, kept, body.len() + 512);
    Response::from_parts(parts, body.into())
}

/// The answer, or 304 where the reader's copy has its tag.
fn unless_known(asked: &HeaderMap, mut response: Response) -> Response {
    let tag = response.headers().get(header::ETAG);
    let known = tag
        .and_then(|tag| tag.to_str().ok())
        .is_some_and(|tag| is_fresh(asked, tag));
    if known {
        *response.status_mut() = StatusCode::NOT_MODIFIED;
        *response.body_mut() = Body::empty();
        response.headers_mut().remove(header::CONTENT_LENGTH);
        response.headers_mut().remove(header::CONTENT_TYPE);
    }
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn empty_fields_go_from_the_address() {
        for (asked, told) in [
            ("/lenses?q=85&mount=&kind=", Some("/lenses?q=85")),
            ("/lenses?q=+%20&mount=", Some("/lenses")),
            (
                "/compare?lens=a&lens=b&lens=&lens=",
                Some("/compare?lens=a&lens=b"),
            ),
            ("/lenses?", Some("/lenses")),
            ("/lenses?q", Some("/lenses")),
            ("/lenses?q=a%3D+b&sort=name", None),
            ("/lenses", None),
        ] {
            let uri: Uri = asked.parse().expect("an address");
            assert_eq!(without_blanks(&uri).as_deref(), told, "{asked}");
        }
    }

    #[test]
    fn pages_are_told_from_what_programs_read() {
        for page in [
            "/",
            "/lenses",
            "/lenses/ostrel-50",
            "/compare",
            "/api",
            "/method",
        ] {
            assert!(!is_for_programs(page), "{page}");
        }
        for document in [
            "/api/v1/lenses",
            "/lenses.json",
            "/lenses/ostrel-50.csv",
            "/charts/lens/ostrel-50.svg",
            "/data/breathmark.zip",
        ] {
            assert!(is_for_programs(document), "{document}");
        }
    }
}
