//! What search engines ask for: which pages there are, and which are none of theirs.

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::date_of;
use crate::app::App;
use crate::web::WebError;
use crate::web::api::{self, timestamp};

/// Pages of the site beside those of lenses.
const PAGES: [&str; 6] = ["/", "/lenses", "/compare", "/plan", "/method", "/api"];
/// Most lenses that are listed: with the pages above they stay within the 50,000 addresses of one sitemap.
const MOST_LENSES: u32 = 49_990;

/// A page of the sitemap.
struct Listed {
    address: String,
    changed: Option<String>,
}

#[derive(askama::Template)]
#[template(path = "pages/sitemap.xml")]
struct Sitemap {
    pages: Vec<Listed>,
}

/// `GET /sitemap.xml` (sitemaps.org protocol 0.9): the pages of the site and of every lens that was measured.
pub(super) async fn sitemap(State(app): State<App>) -> Result<Response, WebError> {
    let site = app.config.public_url();
    let lenses = app.store.measured_slugs(MOST_LENSES).await?;
    let pages = PAGES
        .iter()
        .map(|page| Listed {
            address: format!("{site}{page}"),
            changed: None,
        })
        .chain(lenses.into_iter().map(|(slug, published_ms)| Listed {
            address: format!("{site}/lenses/{slug}"),
            changed: Some(date_of(&timestamp(published_ms)).to_owned()),
        }))
        .collect();
    let body = askama::Template::render(&Sitemap { pages })?;
    Ok(api::tagged("application/xml; charset=utf-8", body.into()))
}

/// `GET /robots.txt` (RFC 9309)
pub(super) async fn robots(State(app): State<App>) -> Response {
    let site = app.config.public_url();
    let rules = format!(
        "User-agent: *\nDisallow: /desk\nDisallow: /sweeps/\nDisallow: /account\nDisallow: /sign-in\nAllow: /\n\n\
         Sitemap: {site}/sitemap.xml\n"
    );
    ([(header::CONTENT_TYPE, "text/plain; charset=utf-8")], rules).into_response()
}
