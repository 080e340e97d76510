//! Pages for readers. One document a page, from which the HTML, its JSON and CSV twins and its chart come.

mod chart_shelf;
mod charts;
mod compare;
pub mod frame;
mod guide;
mod lens;
mod lenses;
mod method;
mod plan;
mod start;

use axum::Router;
use axum::response::Html;
use axum::routing::get;

use super::{Web, WebError};

pub use chart_shelf::ChartShelf;
pub use frame::{NavItem, PageFrame, Section};

/// The routes of the reader pages, their twins and charts.
pub fn routes() -> Router<Web> {
    Router::new()
        .route("/", get(start::page))
        .route("/lenses", get(lenses::page))
        .route("/lenses.json", get(lenses::json))
        .route("/lenses.csv", get(lenses::csv))
        .route("/lenses/{file}", get(lens::page))
        .route("/compare", get(compare::page))
        .route("/compare.json", get(compare::json))
        .route("/compare.csv", get(compare::csv))
        .route("/plan", get(plan::page))
        .route("/method", get(method::page))
        .route("/api", get(guide::page))
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

/// A sentence with its numbers tied to their units, so that no line breaks between them.
fn tied(sentence: &str) -> String {
    const TIE: char = '\u{a0}';
    let mut tied = String::with_capacity(sentence.len());
    let mut words = sentence.split(' ').peekable();
    while let Some(word) = words.next() {
        tied.push_str(word);
        let unit = words
            .peek()
            .map(|next| next.trim_end_matches(['.', ',', ';', ')', ':']));
        let number = word.ends_with(|last: char| last.is_ascii_digit());
        match unit {
            Some("%" | "mm" | "m" | "ft" | "px") if number => tied.push(TIE),
            Some(_) => tied.push(' '),
            None => {}
        }
    }
    tied
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_their_units() {
        assert_eq!(
            tied("by 2 %, beyond 0.5 m (1.6 ft) it holds."),
            "by 2\u{a0}%, beyond 0.5\u{a0}m (1.6\u{a0}ft) it holds."
        );
        assert_eq!(date_of("2026-04-03T10:00:00"), "2026-04-03");
        assert_eq!(date_of("soon"), "soon");
    }
}
