//! The headers that every answer has, errors included, and conditional requests.

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::Response;

use crate::app::App;

/// What pages may load and do: only from here, no inline script, style or handler.
macro_rules! content_security_policy {
    ($frame_ancestors:literal) => {
        concat!(
            "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
             form-action 'self'; base-uri 'none'; frame-ancestors ",
            $frame_ancestors
        )
    };
}

/// The policy of every answer that does not bring its own: nobody may frame it.
const CONTENT_SECURITY_POLICY: &str = content_security_policy!("'none'");

/// The policy of pages that are made for frames on other sites.
pub(super) const FRAMED_CONTENT_SECURITY_POLICY: &str = content_security_policy!("*");

const PERMISSIONS_POLICY: &str = "accelerometer=(), camera=(), display-capture=(), geolocation=(), gyroscope=(), \
     magnetometer=(), microphone=(), midi=(), payment=(), usb=()";

/// The layer. Headers that a handler set itself are kept.
pub(super) async fn protect(State(app): State<App>, request: Request, next: Next) -> Response {
    let signed_in = request.headers().contains_key(header::COOKIE)
        || request.headers().contains_key(header::AUTHORIZATION);
    let is_packed_itself = is_packed_itself(request.uri().path());
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    let framed = headers
        .get(header::CONTENT_SECURITY_POLICY)
        .is_some_and(|policy| policy == FRAMED_CONTENT_SECURITY_POLICY);
    let mut default = |name: HeaderName, value: &'static str| {
        headers
            .entry(name)
            .or_insert(HeaderValue::from_static(value));
    };
    default(header::CONTENT_SECURITY_POLICY, CONTENT_SECURITY_POLICY);
    // For browsers that know no frame-ancestors; it can only forbid, so pages for frames go without.
    if !framed {
        default(header::X_FRAME_OPTIONS, "DENY");
    }
    default(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    default(header::REFERRER_POLICY, "strict-origin-when-cross-origin");
    default(
        HeaderName::from_static("permissions-policy"),
        PERMISSIONS_POLICY,
    );
    default(
        HeaderName::from_static("cross-origin-opener-policy"),
        "same-origin",
    );
    // What one person sees must not be shown to the next one by a shared cache.
    default(
        header::CACHE_CONTROL,
        if signed_in {
            "private, no-cache"
        } else {
            "no-cache"
        },
    );
    if app.config.public_url().starts_with("https://") {
        default(
            header::STRICT_TRANSPORT_SECURITY,
            "max-age=31536000; includeSubDomains",
        );
    }
    match_compression(&mut response, is_packed_itself);
    response
}

/// Whether what is at this address is packed already, so that it has one representation whatever a client accepts.
fn is_packed_itself(path: &str) -> bool {
    [".png", ".jpg", ".zip"]
        .iter()
        .any(|ending| path.ends_with(ending))
}

/// A packed answer is another representation: its ETag is only weakly the same (RFC 9110, 8.8.1), and caches must know
/// that it varies, on 304 as well, unless there only is one.
fn match_compression(response: &mut Response, is_packed_itself: bool) {
    let packed = response.headers().contains_key(header::CONTENT_ENCODING);
    let unchanged = response.status() == StatusCode::NOT_MODIFIED && !is_packed_itself;
    let headers = response.headers_mut();
    if packed
        && let Some(tag) = headers
            .get(header::ETAG)
            .and_then(|tag| tag.to_str().ok())
            .filter(|tag| !tag.starts_with("W/"))
        && let Ok(weak) = HeaderValue::from_str(&format!("W/{tag}"))
    {
        headers.insert(header::ETAG, weak);
    }
    if (packed || unchanged) && !varies_by_encoding(headers) {
        headers.append(header::VARY, HeaderValue::from_static("accept-encoding"));
    }
}

fn varies_by_encoding(headers: &HeaderMap) -> bool {
    headers
        .get_all(header::VARY)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .any(|value| value.to_ascii_lowercase().contains("accept-encoding"))
}

/// Whether the client's copy (If-None-Match) is the version that `etag` names, so that 304 is the answer.
///
/// `etag` is quoted; weak and strong count as the same (RFC 9110, 13.1.2).
#[must_use]
pub fn is_fresh(request: &HeaderMap, etag: &str) -> bool {
    let wanted = etag.trim_start_matches("W/");
    request
        .get_all(header::IF_NONE_MATCH)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(','))
        .map(str::trim)
        .any(|tag| tag == "*" || tag.trim_start_matches("W/") == wanted)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weak_and_strong_tags_match() {
        let mut headers = HeaderMap::new();
        assert!(!is_fresh(&headers, "\"a\""));
        headers.insert(
            header::IF_NONE_MATCH,
            HeaderValue::from_static("\"b\", W/\"a\""),
        );
        assert!(is_fresh(&headers, "\"a\""));
        assert!(!is_fresh(&headers, "\"c\""));
    }
}
