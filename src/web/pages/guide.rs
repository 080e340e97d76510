//! The guide for programs.

use axum::extract::State;
use axum::response::Html;

use super::{PageFrame, Section, html};
use crate::app::App;
use crate::store::NEAR_RATIO;
use crate::web::WebError;
use crate::web::api::{Params, RankingQuestion, rank};
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
    example: Example,
}

/// The lens that the examples ask for.
struct Example {
    /// Whether there is one.
    found: bool,
    slug: String,
    mount: String,
    focal_mm: f64,
}

impl Example {
    /// The first lens of the ranking.
    async fn of(app: &App) -> Result<Self, WebError> {
        let mut question = RankingQuestion::read(&Params::default())?;
        question.limit = 1;
        let rows = rank(app, &question).await?.lenses;
        let first = rows.into_iter().find(|row| row.measured);
        Ok(first.map_or_else(
            || Self {
                found: false,
                slug: "SLUG".to_owned(),
                mount: "MOUNT".to_owned(),
                focal_mm: 50.0,
            },
            |row| Self {
                found: true,
                focal_mm: row.worst_focal_length_mm.unwrap_or(50.0),
                slug: row.lens.slug,
                mount: row.lens.mount,
            },
        ))
    }
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
        example: Example::of(&app).await?,
        reads_per_minute: app.config.reads_per_minute,
    })
}
