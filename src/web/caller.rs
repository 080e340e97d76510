//! Where a request comes from, for whoever counts tries.

use std::net::{IpAddr, SocketAddr};

use axum::extract::{ConnectInfo, FromRef, FromRequestParts};
use axum::http::HeaderMap;
use axum::http::request::Parts;

use super::WebError;
use crate::app::App;

/// Address of whoever sent a request; `None` where the connection has none.
///
/// Behind the proxy of the settings it is the last address that the proxy wrote into `X-Forwarded-For`; what anybody
/// else writes there is not believed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Caller(pub(super) Option<IpAddr>);

impl Caller {
    fn of(peer: Option<IpAddr>, proxy: Option<IpAddr>, headers: &HeaderMap) -> Self {
        if proxy.is_none() || peer.map(|peer| peer.to_canonical()) != proxy {
            return Self(peer);
        }
        let forwarded = headers
            .get_all("x-forwarded-for")
            .iter()
            .next_back()
            .and_then(|value| value.to_str().ok())
            .and_then(|value| value.rsplit(',').next())
            .and_then(|address| address.trim().parse().ok());
        Self(forwarded.or(peer))
    }
}

impl<S> FromRequestParts<S> for Caller
where
    App: FromRef<S>,
    S: Send + Sync,
{
    type Rejection = WebError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, WebError> {
        let peer = parts
            .extensions
            .get::<ConnectInfo<SocketAddr>>()
            .map(|ConnectInfo(peer)| peer.ip());
        let proxy = App::from_ref(state).config.trusted_proxy;
        Ok(Self::of(peer, proxy, &parts.headers))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn caller(peer: &str, proxy: Option<&str>, forwarded: &[&str]) -> String {
        let address = |text: &str| text.parse::<IpAddr>().expect("an address");
        let mut headers = HeaderMap::new();
        for value in forwarded {
            headers.append("x-forwarded-for", value.parse().expect("a header"));
        }
        let Caller(found) = Caller::of(Some(address(peer)), proxy.map(address), &headers);
        found.expect("the connection has one").to_string()
    }

    #[test]
    fn only_the_proxy_of_the_settings_is_believed_and_only_its_own_word() {
        let proxy = Some("127.0.0.1");
        assert_eq!(caller("127.0.0.1", proxy, &["192.0.2.7"]), "192.0.2.7");
        assert_eq!(
            caller("::ffff:127.0.0.1", proxy, &["192.0.2.7"]),
            "192.0.2.7"
        );
        // What came before was written by the client.
        assert_eq!(
            caller("127.0.0.1", proxy, &["10.0.0.1, 192.0.2.7"]),
            "192.0.2.7"
        );
        assert_eq!(
            caller("127.0.0.1", proxy, &["10.0.0.1", "2001:db8::1"]),
            "2001:db8::1"
        );
        assert_eq!(caller("192.0.2.9", proxy, &["10.0.0.1"]), "192.0.2.9");
        assert_eq!(caller("127.0.0.1", None, &["10.0.0.1"]), "127.0.0.1");
        for unusable in [&["unknown"][..], &[""], &[]] {
            assert_eq!(caller("127.0.0.1", proxy, unusable), "127.0.0.1");
        }
    }
}
