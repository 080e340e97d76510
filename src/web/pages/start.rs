//! The start: what this is, a search field, the lenses that hold the picture best and those newly measured.

use axum::extract::State;
use axum::response::Html;

use super::list_picture::list_picture;
use super::{PageFrame, Section, filters, html};
use crate::app::App;
use crate::store::RankingSort;
use crate::web::WebError;
use crate::web::api::{
    ConditionsDocument, Params, RankedDocument, RankingDocument, RankingQuestion, rank,
};
use crate::web::session::Viewer;

/// Rows of each list.
const ROWS: u32 = 6;

#[derive(askama::Template)]
#[template(path = "pages/start.html")]
struct StartPage {
    page: PageFrame,
    best: RankingDocument,
    /// With the conditions that each was measured under, code and words: a list by date compares nothing.
    newest: Vec<(RankedDocument, ConditionsDocument)>,
    /// The conditions of the list of the best, as code.
    usual: String,
    /// Sweeps that wait to be measured or are being measured, in words.
    waiting: Option<String>,
}

/// What was published last, under whatever conditions.
async fn newest(
    app: &App,
    mut question: RankingQuestion,
) -> Result<Vec<(RankedDocument, ConditionsDocument)>, WebError> {
    question.sort = RankingSort::Newest;
    let mut newest = Vec::new();
    for (key, _) in app.store.conditions_in_use().await? {
        question.conditions = Some(key);
        let ranked = rank(app, &question).await?;
        let rows = ranked.lenses.into_iter().filter(|row| row.measured);
        newest.extend(rows.map(|row| (row, ranked.conditions.clone())));
    }
    // Times of one form stand in the order of their letters.
    newest.sort_by(|(a, _), (b, _)| b.published_at.cmp(&a.published_at));
    newest.truncate(ROWS as usize);
    Ok(newest)
}

/// `GET /`
pub(super) async fn page(State(app): State<App>, viewer: Viewer) -> Result<Html<String>, WebError> {
    let mut question = RankingQuestion::read(&Params::default())?;
    question.limit = ROWS;
    let newest = newest(&app, question.clone()).await?;
    // Some may be passed over.
    question.limit = 4 * ROWS;
    let best = rank(&app, &question).await?;
    let usual = best.conditions.code.clone();
    let (waiting, _) = app.store.job_counts().await?;
    let best = RankingDocument {
        // What can't be told is not among the best, however few there are, nor what may shift more nearer than it was
        // measured.
        lenses: best
            .lenses
            .into_iter()
            .filter(|row| row.is_told && !row.is_open_nearer)
            .take(ROWS as usize)
            .collect(),
        ..best
    };
    html(&StartPage {
        page: PageFrame::new("How much lenses breathe", Section::Start, &viewer).described(
            "Measured lens breathing: how much lenses change their angle of view while they are refocused.",
        )
        .at(&app.config.public_url(), "/")
        .pictured_by(list_picture(&best, &best.lenses)),
        best,
        newest,
        usual,
        waiting: match waiting {
            0 => None,
            1 => Some("1 sweep is".to_owned()),
            several => Some(format!("{several} sweeps are")),
        },
    })
}
