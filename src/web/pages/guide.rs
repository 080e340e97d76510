//! The guide for programs.

use axum::extract::State;
use axum::response::Html;

use super::guide_examples::Examples;
use super::{PageFrame, Section, html};
use crate::app::App;
use crate::store::NEAR_RATIO;
use crate::web::WebError;
use crate::web::errors::{PROBLEM_KINDS, ProblemKind};
use crate::web::session::Viewer;

#[derive(askama::Template)]
#[template(path = "pages/guide.html")]
struct GuidePage {
    page: PageFrame,
    site: String,
    /// Reads of one address a minute; 0 is without limit.
    reads_per_minute: u32,
    /// How near a measured focal length has to be to the one asked for.
    near_ratio: f64,
    problems: &'static [ProblemKind],
    examples: Examples,
}

/// `GET /api`
pub(super) async fn page(State(app): State<App>, viewer: Viewer) -> Result<Html<String>, WebError> {
    let site = app.config.public_url();
    html(&GuidePage {
        page: PageFrame::new("Numbers for programs", Section::Api, &viewer)
            .described("The read API: JSON, CSV and charts by address.")
            .at(&site, "/api"),
        site,
        near_ratio: NEAR_RATIO,
        problems: PROBLEM_KINDS,
        examples: Examples::of(&app).await?,
        reads_per_minute: app.config.reads_per_minute,
    })
}
