//! How it is measured, in plain words.

use axum::extract::State;
use axum::response::Html;

use super::{PageFrame, Section, filters, html};
use crate::app::App;
use crate::sweep::{ALGORITHM_VERSION, Code, DEFAULT_TOLERANCE_PCT, Part};
use crate::web::WebError;
use crate::web::session::Viewer;

#[derive(askama::Template)]
#[template(path = "pages/method.html")]
struct MethodPage {
    page: PageFrame,
    findings: &'static [Code],
    parts: &'static [Part],
    algorithm_version: u32,
    tolerance_pct: f64,
}

/// `GET /method`
pub(super) async fn page(State(app): State<App>, viewer: Viewer) -> Result<Html<String>, WebError> {
    html(&MethodPage {
        page: PageFrame::new("How it is measured", Section::Method, &viewer)
            .described(
                "How lens breathing is measured here, with formulas, uncertainty and limits.",
            )
            .at(&app.config.public_url(), "/method"),
        findings: Code::ALL,
        parts: Part::ALL,
        algorithm_version: ALGORITHM_VERSION,
        tolerance_pct: DEFAULT_TOLERANCE_PCT,
    })
}
