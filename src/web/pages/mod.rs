//! Pages for readers. One document a page, from which the HTML, its JSON and CSV twins and its chart come.

mod advice;
mod bounds;
mod chart_notes;
mod chart_shelf;
mod charts;
mod compare;
mod compare_rows;
mod counter_scale;
mod crawl;
mod embed;
mod feed;
#[expect(unreachable_pub, reason = "the macro makes what it writes public")]
pub(super) mod filters;
mod form;
pub mod frame;
mod guide;
mod guide_examples;
mod inline_chart;
mod json_ld;
mod lens;
mod lens_group;
mod lenses;
mod list_picture;
mod measured;
mod method;
mod oembed;
mod paper;
mod plan;
mod plan_twin;
mod readings;
mod start;

use axum::Router;
use axum::response::Html;
use axum::routing::get;

use super::{Web, WebError, api};

pub(super) use chart_notes::{Noted, notes};
pub use chart_shelf::ChartShelf;
pub(super) use chart_shelf::Drawing;
pub(super) use charts::{TAKEN_SIDES, THEMES, Wanted};
pub use frame::{NavItem, PageFrame, Section};
pub(super) use lens::lens_as_published;

/// The routes of the reader pages, their twins and charts.
pub fn routes() -> Router<Web> {
    Router::new()
        .route("/", get(start::page))
        .route("/lenses", get(lenses::page))
        .route("/lenses.json", get(api::ranked))
        .route("/lenses.csv", get(lenses::csv))
        .route("/lenses/{file}", get(lens::page))
        .route("/lenses/{slug}/counter-scale", get(counter_scale::page))
        .route(
            "/lenses/{slug}/counter-scale.json",
            get(counter_scale::json),
        )
        .route("/lenses/{slug}/counter-scale.csv", get(counter_scale::csv))
        .route("/compare", get(compare::page))
        .route("/compare.json", get(api::compared))
        .route("/compare.csv", get(compare::csv))
        .route("/plan", get(plan::page))
        .route("/plan.json", get(plan_twin::json))
        .route("/plan.csv", get(plan_twin::csv))
        .route("/method", get(method::page))
        .route("/api", get(guide::page))
        .route("/embed/lens/{slug}", get(embed::lens))
        .route("/feed.atom", get(feed::atom))
        .route("/sitemap.xml", get(crawl::sitemap))
        .route("/robots.txt", get(crawl::robots))
        .route("/oembed", get(oembed::oembed))
        .route("/charts/lens/{file}", get(charts::lens))
        .route("/charts/compare.svg", get(charts::compare_svg))
        .route("/charts/compare.png", get(charts::compare_png))
}

/// A template as page.
fn html(template: &impl askama::Template) -> Result<Html<String>, WebError> {
    Ok(Html(template.render()?))
}

/// The date of a timestamp such as `2026-04-03T10:00:00`.
fn date_of(timestamp: &str) -> &str {
    timestamp.get(..10).unwrap_or(timestamp)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_of_timestamps() {
        assert_eq!(date_of("2026-04-03T10:00:00"), "2026-04-03");
        assert_eq!(date_of("soon"), "soon");
    }
}
