//! Two to four lenses on one chart, with their twins.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::charts::axis_word;
use super::charts::{CurveSource, InlineChart, asked_axis, axis_for, compare_series, sources_text};
use super::frame::PICTURE_SIDES;
use super::readings::Readings;
use super::{ChartShelf, PageFrame, Section, filters, html};
use crate::app::App;
use crate::charts::Axis;
use crate::store::RankingSort;
use crate::web::WebError;
use crate::web::api::{
    self, CompareDocument, CompareQuestion, MOST_LENSES, Params, RankingQuestion, compare,
    compare_csv, encoded, rank,
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

/// The chart of all lenses, and the same in numbers.
struct ComparedChart {
    drawn: InlineChart,
    sources: String,
    readings: Readings,
    axis: Axis,
    /// Whether one of the curves can stand against distance.
    has_distances: bool,
}

impl ComparedChart {
    fn axis_word(&self) -> &'static str {
        axis_word(self.axis)
    }
}

#[derive(askama::Template)]
#[template(path = "pages/compare.html")]
struct ComparePage {
    page: PageFrame,
    /// `None` while fewer than two lenses are chosen, or where one of them was withdrawn.
    document: Option<CompareDocument>,
    /// Which lens was withdrawn, and why.
    withdrawn: Option<String>,
    chart: Option<ComparedChart>,
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

    /// Whether more is asked than which lenses.
    fn is_narrowed(&self) -> bool {
        let asked = [
            "focal_mm",
            "tolerance_pct",
            "from_m",
            "to_m",
            "picture_width_px",
        ];
        asked.iter().any(|name| self.params.text(name).is_some())
    }

    /// The public address of the page with its question.
    fn shared(&self) -> String {
        let site = self.page.public.as_ref().map_or("", |public| &public.site);
        format!("{site}/compare?{}", self.query)
    }

    /// The question of the page with this axis.
    fn along(&self, axis: &str) -> String {
        self.params.with(&[("axis", Some(axis))])
    }
}

/// `GET /compare`
pub(super) async fn page(
    State(app): State<App>,
    State(shelf): State<ChartShelf>,
    viewer: Viewer,
    params: Params,
) -> Result<Response, WebError> {
    let question = CompareQuestion::read(&params)?;
    let asked = asked_axis(&params)?;
    let (compared, withdrawn) = if question.lenses.len() < 2 {
        (None, None)
    } else {
        match compare(&app, &question).await {
            Err(WebError::Gone(why)) => (None, Some(why)),
            compared => (Some(compared?), None),
        }
    };
    let (document, chart) = if let Some(document) = compared {
        let series = compare_series(&document);
        let axis = axis_for(asked, &series);
        let chart = ComparedChart {
            sources: sources_text(&CurveSource::of_comparison(&document))?,
            readings: Readings::new(&series, axis),
            has_distances: series.iter().any(|s| s.curve.range_dioptres().is_some()),
            axis,
            drawn: InlineChart::new(&shelf, series, question.tolerance_pct, axis, question.pull)
                .await?,
        };
        (Some(document), Some(chart))
    } else {
        (None, None)
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
    let status = if withdrawn.is_some() {
        StatusCode::GONE
    } else {
        StatusCode::OK
    };
    let page = html(&ComparePage {
        page: public_frame(title, &question, &app.config.public_url(), &viewer),
        choices,
        offers: offers(&app, &question).await?,
        query: params.with(&[]),
        pull_asked: question.pull.is_some(),
        document,
        withdrawn,
        chart,
        params,
    })?;
    Ok((status, page).into_response())
}

/// The frame of the page: a comparison is known by its lenses, and stands for itself by its chart.
fn public_frame(
    title: String,
    question: &CompareQuestion,
    site: &str,
    viewer: &Viewer,
) -> PageFrame {
    let frame = PageFrame::new(title, Section::Compare, viewer)
        .described("Lens breathing of several lenses on one chart.");
    if question.lenses.len() < 2 {
        return frame.at(site, "/compare");
    }
    let lenses: Vec<String> = question
        .lenses
        .iter()
        .map(|slug| format!("lens={}", encoded(slug)))
        .collect();
    let lenses = lenses.join("&");
    let (width, height) = PICTURE_SIDES;
    frame.at(site, &format!("/compare?{lenses}")).pictured(
        &format!("/charts/compare.png?{lenses}&width={width}&height={height}"),
        "The curves of the lenses on one chart".to_owned(),
    )
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
pub(super) async fn csv(State(app): State<App>, params: Params) -> Result<Response, WebError> {
    let question = CompareQuestion::read(&params)?;
    question.at_least_two()?;
    Ok(api::csv(compare_csv(&compare(&app, &question).await?)?))
}
