//! What another site needs to show the chart of a lens where somebody pastes the address of its page (oEmbed 1.0, 2008,
//! oembed.com).

use axum::extract::State;
use axum::http::Uri;
use axum::response::Response;
use serde::Serialize;

use super::embed::ASKED;
use crate::app::App;
use crate::charts::ShiftChart;
use crate::web::WebError;
use crate::web::api::{self, Params};

/// Sides of the frame where they are not limited, px.
const FRAME_SIDES: (u32, u32) = (640, 520);
/// Width below which the words above the chart take more lines, and the height that they need then, px.
const NARROW: (u32, u32) = (500, 660);
/// Sides of the picture that stands for it, px.
const PICTURE_SIDES: (u32, u32) = (1200, 630);
/// How long the answer may be kept, s.
const KEPT_S: u32 = 86_400;
/// Sides that can be asked for, px.
const ASKED_SIDES: std::ops::RangeInclusive<u32> = 1..=100_000;

/// The answer, of the type `rich`.
#[derive(Debug, Serialize)]
struct OembedDocument {
    r#type: &'static str,
    version: &'static str,
    title: String,
    provider_name: &'static str,
    provider_url: String,
    cache_age: u32,
    html: String,
    width: u32,
    height: u32,
    #[serde(flatten)]
    picture: Option<Picture>,
}

/// A picture that stands for the frame; left out where the limits leave no room for one.
#[derive(Debug, Serialize)]
struct Picture {
    thumbnail_url: String,
    thumbnail_width: u32,
    thumbnail_height: u32,
}

/// The element that the other site puts into its page.
#[derive(askama::Template)]
#[template(
    source = r#"<iframe src="{{ src }}" width="{{ width }}" height="{{ height }}" title="{{ title }}" loading="lazy"></iframe>"#,
    ext = "html"
)]
struct FrameElement<'a> {
    src: &'a str,
    title: &'a str,
    width: u32,
    height: u32,
}

/// `GET /oembed?url=…`
pub(super) async fn oembed(State(app): State<App>, params: Params) -> Result<Response, WebError> {
    if params.text("format").is_some_and(|format| format != "json") {
        // 501 is what oEmbed 1.0, 2.3.1 asks for where a format is not there.
        return Err(WebError::NotOffered(
            "only JSON is offered; ask with format=json, or without a format".to_owned(),
        ));
    }
    let url = params
        .text("url")
        .ok_or_else(|| WebError::field("url", "give the address of the page of a lens"))?;
    let most_width = params.whole("maxwidth", ASKED_SIDES, "px")?;
    let most_height = params.whole("maxheight", ASKED_SIDES, "px")?;
    let site = app.config.public_url();
    let (slug, question) =
        lens_address(url, &site).ok_or_else(|| WebError::no_such("page to embed"))?;
    let stored = api::lens_by_any_name(&app, &slug).await?;
    let stored = stored.ok_or_else(|| WebError::no_such("lens"))?;
    let stored = api::unless_withdrawn(stored)?;
    let (lens, measured) = (stored.lens, !stored.results.is_empty());
    let within = |(width, height): (u32, u32)| {
        (
            width.min(most_width.unwrap_or(width)),
            height.min(most_height.unwrap_or(height)),
        )
    };
    let is_narrow = most_width.is_some_and(|width| width < NARROW.0);
    let (width, height) = within(if is_narrow {
        (FRAME_SIDES.0, NARROW.1)
    } else {
        FRAME_SIDES
    });
    let asked = if question.is_empty() {
        String::new()
    } else {
        format!("?{question}")
    };
    let title = format!("Breathing of the {} {}", lens.about.maker, lens.about.model);
    let html = askama::Template::render(&FrameElement {
        src: &format!("{site}/embed/lens/{}{asked}", lens.slug),
        title: &title,
        width,
        height,
    })?;
    let (across, down) = within(PICTURE_SIDES);
    // Smaller than charts are drawn there is none.
    let room =
        measured && ShiftChart::WIDTHS.contains(&across) && ShiftChart::HEIGHTS.contains(&down);
    let more = if question.is_empty() {
        String::new()
    } else {
        format!("&{question}")
    };
    let document = OembedDocument {
        r#type: "rich",
        version: "1.0",
        title,
        provider_name: "Breathmark",
        picture: room.then(|| Picture {
            thumbnail_url: format!(
                "{site}/charts/lens/{}.png?width={across}&height={down}{more}",
                lens.slug
            ),
            thumbnail_width: across,
            thumbnail_height: down,
        }),
        provider_url: site,
        cache_age: KEPT_S,
        html,
        width,
        height,
    };
    api::json(&document)
}

/// Slug and question of the address of a lens page, or of its frame, on this site; `None` for any other address.
fn lens_address(url: &str, site: &str) -> Option<(String, String)> {
    let url = url.split('#').next()?;
    let path = url.strip_prefix(site)?;
    let uri: Uri = path.parse().ok()?;
    let slug = ["/lenses/", "/embed/lens/"]
        .into_iter()
        .find_map(|before| uri.path().strip_prefix(before))?
        .trim_end_matches('/');
    let is_slug = !slug.is_empty()
        && slug
            .bytes()
            .all(|byte| byte.is_ascii_alphanumeric() || byte == b'-');
    let given = axum::extract::Query::<Vec<(String, String)>>::try_from_uri(&uri).ok()?;
    let asked = given
        .0
        .into_iter()
        .filter_map(|(name, value)| {
            let known = ASKED.into_iter().find(|asked| *asked == name)?;
            Some((known, value))
        })
        .collect();
    is_slug.then(|| (slug.to_owned(), Params::from_typed(&asked).with(&[])))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_lens_pages_of_this_site_can_be_embedded() {
        let site = "https://lens.example";
        for (url, slug, question) in [
            ("https://lens.example/lenses/ostrel-50", "ostrel-50", ""),
            (
                "https://lens.example/lenses/ostrel-50/#verdict",
                "ostrel-50",
                "",
            ),
            ("https://lens.example/embed/lens/ostrel-50", "ostrel-50", ""),
            (
                "https://lens.example/lenses/ostrel-50?tolerance_pct=1&from_m=3&x=\"",
                "ostrel-50",
                "tolerance_pct=1",
            ),
        ] {
            let found = lens_address(&url.replace('"', "%22"), site);
            assert_eq!(found, Some((slug.to_owned(), question.to_owned())), "{url}");
        }
        for other in [
            "",
            "/lenses/ostrel-50",
            "https://other.example/lenses/ostrel-50",
            "https://lens.example.evil/lenses/ostrel-50",
            "https://lens.example/lenses",
            "https://lens.example/lenses/",
            "https://lens.example/lenses/a/b",
            "https://lens.example/lenses/ostrel-50.json",
            "https://lens.example/desk",
        ] {
            assert_eq!(lens_address(other, site), None, "{other}");
        }
    }
}
