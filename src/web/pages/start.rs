//! The start: what this is, a search field, the lenses that hold the picture best and those newly measured.

use axum::extract::State;
use axum::response::Html;

use super::{PageFrame, Section, filters, html};
use crate::app::App;
use crate::store::RankingSort;
use crate::web::WebError;
use crate::web::api::{Params, RankedDocument, RankingDocument, RankingQuestion, rank};
use crate::web::session::Viewer;

/// Rows of each list.
const ROWS: u32 = 6;

#[derive(askama::Template)]
#[template(path = "pages/start.html")]
struct StartPage {
    page: PageFrame,
    best: RankingDocument,
    newest: Vec<RankedDocument>,
    /// Sweeps that wait to be measured or are being measured, in words.
    waiting: Option<String>,
}

/// `GET /`
pub(super) async fn page(State(app): State<App>, viewer: Viewer) -> Result<Html<String>, WebError> {
    let mut question = RankingQuestion::read(&Params::default())?;
    question.limit = ROWS;
    let best = rank(&app, &question).await?;
    question.sort = RankingSort::Newest;
    let newest = rank(&app, &question).await?.lenses;
    let (waiting, _) = app.store.job_counts().await?;
    html(&StartPage {
        page: PageFrame::new("How much lenses breathe", Section::Start, &viewer).described(
            "Measured lens breathing: how much lenses change their angle of view while they are refocused.",
        )
        .at(&app.config.public_url(), "/"),
        best,
        newest: newest.into_iter().filter(|row| row.measured).collect(),
        waiting: match waiting {
            0 => None,
            1 => Some("1 sweep is".to_owned()),
            several => Some(format!("{several} sweeps are")),
        },
    })
}
