//! Two to four lenses on one chart, with their twins.

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::{Html, Response};

use super::charts::{InlineChart, asked_axis, axis_for, compare_series};
use super::{ChartShelf, PageFrame, Section, filters, html};
use crate::app::App;
use crate::store::RankingSort;
use crate::web::WebError;
use crate::web::api::{
    self, CompareDocument, CompareQuestion, MOST_LENSES, Params, RankingQuestion, compare,
    compare_csv, rank,
};
use crate::web::session::Viewer;

/// Most lenses that the form offers.
const MOST_OFFERED: u32 = 500;

/// A field of the form in which a lens is chosen.
struct Choice {
    number: usize,
    chosen: String,
}

/// A lens that can be chosen.
struct Offer {
    slug: String,
    name: String,
}

#[derive(askama::Template)]
#[template(path = "pages/compare.html")]
struct ComparePage {
    page: PageFrame,
    /// `None` while fewer than two lenses are chosen.
    document: Option<CompareDocument>,
    chart: Option<InlineChart>,
    choices: Vec<Choice>,
    offers: Vec<Offer>,
    params: Params,
    query: String,
    pull_asked: bool,
}

impl ComparePage {
    fn value(&self, name: &str) -> &str {
        self.params.text(name).unwrap_or_default()
    }
}

/// `GET /compare`
pub(super) async fn page(
    State(app): State<App>,
    State(shelf): State<ChartShelf>,
    viewer: Viewer,
    params: Params,
) -> Result<Html<String>, WebError> {
    let question = CompareQuestion::read(&params)?;
    let asked = asked_axis(&params)?;
    let (document, chart) = if question.lenses.len() < 2 {
        (None, None)
    } else {
        let document = compare(&app, &question).await?;
        let series = compare_series(&document);
        let axis = axis_for(asked, &series);
        let chart =
            InlineChart::new(&shelf, series, question.tolerance_pct, axis, question.pull).await?;
        (Some(document), Some(chart))
    };
    let choices = (0..MOST_LENSES)
        .map(|number| Choice {
            number: number + 1,
            chosen: question.lenses.get(number).cloned().unwrap_or_default(),
        })
        .collect();
    let title = document.as_ref().map_or_else(
        || "Compare lenses".to_owned(),
        |document| {
            let names: Vec<String> = document.lenses.iter().map(|l| l.lens.name()).collect();
            names.join(" and ")
        },
    );
    html(&ComparePage {
        page: PageFrame::new(title, Section::Compare, &viewer)
            .described("Lens breathing of several lenses on one chart."),
        choices,
        offers: offers(&app, &question).await?,
        query: params.with(&[]),
        pull_asked: question.pull.is_some(),
        document,
        chart,
        params,
    })
}

/// The lenses by name, those that were chosen among them.
async fn offers(app: &App, question: &CompareQuestion) -> Result<Vec<Offer>, WebError> {
    let mut by_name = RankingQuestion::read(&Params::default())?;
    by_name.sort = RankingSort::Name;
    by_name.limit = MOST_OFFERED;
    let mut offers: Vec<Offer> = rank(app, &by_name)
        .await?
        .lenses
        .into_iter()
        .map(|row| Offer {
            name: row.lens.name(),
            slug: row.lens.slug,
        })
        .collect();
    for slug in &question.lenses {
        if !offers.iter().any(|offer| offer.slug == *slug) {
            offers.push(Offer {
                slug: slug.clone(),
                name: slug.clone(),
            });
        }
    }
    Ok(offers)
}

/// `GET /compare.csv`
pub(super) async fn csv(
    State(app): State<App>,
    headers: HeaderMap,
    params: Params,
) -> Result<Response, WebError> {
    let question = CompareQuestion::read(&params)?;
    question.at_least_two()?;
    Ok(api::csv(
        &headers,
        compare_csv(&compare(&app, &question).await?)?,
    ))
}
