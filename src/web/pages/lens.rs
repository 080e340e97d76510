//! The page of a lens, with its twins.

use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::charts::{InlineChart, asked_axis, axis_for, lens_series};
use super::measured::Measured;
use super::{ChartShelf, PageFrame, Section, filters, html};
use crate::app::App;
use crate::charts::Axis;
use crate::store::{ConditionsKey, SweepId};
use crate::web::WebError;
use crate::web::api::{
    self, FocalDocument, LensDocument, Params, PullDocument, PullQuestion, Twin, conditions_words,
    lens_csv, verdict,
};
use crate::web::session::Viewer;

/// The results under one set of conditions.
struct Group {
    conditions: ConditionsKey,
    axis: Axis,
    results: Vec<FocalDocument>,
    verdict: String,
    chart: InlineChart,
    pulls: Vec<PullDocument>,
    measured: Measured,
}

impl Group {
    fn conditions_words(&self) -> String {
        conditions_words(self.conditions)
    }

    /// Whether one of the curves can stand against distance.
    fn has_distances(&self) -> bool {
        self.results
            .iter()
            .any(|focal| focal.result.curve.range_dioptres().is_some())
    }

    fn axis_word(&self) -> &'static str {
        match self.axis {
            Axis::Distance => "distance",
            Axis::Travel => "travel",
        }
    }

    /// Whether one of the results is not relative to infinity.
    fn relative_to_farthest(&self) -> bool {
        self.results
            .iter()
            .any(|focal| focal.relative_to == "farthest_frame")
    }

    fn has_findings(&self) -> bool {
        self.results.iter().any(|focal| !focal.findings.is_empty())
    }
}

#[derive(askama::Template)]
#[template(path = "pages/lens.html")]
struct LensPage {
    page: PageFrame,
    document: LensDocument,
    groups: Vec<Group>,
    params: Params,
    pull_asked: bool,
    /// The question of the page, for twins and charts.
    query: String,
}

impl LensPage {
    fn value(&self, name: &str) -> &str {
        self.params.text(name).unwrap_or_default()
    }

    /// Where the numbers of the charts are, for the read-out.
    fn curves_address(&self) -> String {
        format!("/api/v1/lenses/{}/curves", self.document.lens.slug)
    }

    /// Where its chart is, without the ending.
    fn chart_address(&self) -> String {
        format!("/charts/lens/{}", self.document.lens.slug)
    }

    /// The question of the page with this axis.
    fn along(&self, axis: &str) -> String {
        self.params.with(&[("axis", Some(axis))])
    }

    /// When something was published last, a date.
    fn published_on(&self) -> &str {
        self.document
            .history
            .first()
            .and_then(|entry| entry.at.get(..10))
            .unwrap_or_default()
    }
}

#[derive(askama::Template)]
#[template(path = "pages/lens_unknown.html")]
struct UnknownLensPage {
    page: PageFrame,
    words: String,
}

/// `GET /lenses/{slug}`, `/lenses/{slug}.json`, `/lenses/{slug}.csv`
pub(super) async fn page(
    State(app): State<App>,
    State(shelf): State<ChartShelf>,
    Path(file): Path<String>,
    viewer: Viewer,
    headers: HeaderMap,
    params: Params,
) -> Result<Response, WebError> {
    let (slug, twin) = match file.rsplit_once('.') {
        Some((slug, "json")) => (slug, Some(Twin::Json)),
        Some((slug, "csv")) => (slug, Some(Twin::Csv)),
        _ => (file.as_str(), None),
    };
    let tolerance_pct = params.tolerance_pct()?;
    let pull = PullQuestion::read(&params)?;
    let asked = asked_axis(&params)?;
    let Some(stored) = app.store.lens_page(slug).await? else {
        if let Some(now) = app.store.slug_after_merge(slug).await? {
            let ending = file.strip_prefix(slug).unwrap_or_default();
            return Ok(moved(&format!("/lenses/{now}{ending}"), &params));
        }
        return match twin {
            Some(_) => Err(WebError::no_such("lens")),
            None => unknown(slug, &viewer),
        };
    };
    let document = LensDocument::new(stored, tolerance_pct, &app.config.public_url());
    match twin {
        Some(Twin::Json) => return api::json(&headers, &document),
        Some(Twin::Csv) => {
            return Ok(api::csv(
                &headers,
                lens_csv(&document.lens, &document.results)?,
            ));
        }
        None => {}
    }
    let asked = Asked {
        tolerance_pct,
        pull,
        axis: asked,
    };
    let page = lens_page(&shelf, &viewer, document, asked, params).await?;
    Ok(html(&page)?.into_response())
}

/// The page of a lens as it will be once a sweep is published, for its reviewer: the same struct, the same template.
pub(in crate::web) async fn lens_as_published(
    shelf: &ChartShelf,
    viewer: &Viewer,
    document: LensDocument,
    sweep: SweepId,
) -> Result<Response, WebError> {
    let asked = Asked {
        tolerance_pct: document.tolerance_pct,
        pull: None,
        axis: None,
    };
    let mut page = lens_page(shelf, viewer, document, asked, Params::default()).await?;
    page.page.preview_of = Some(sweep);
    Ok(html(&page)?.into_response())
}

/// What a reader asks of the page.
#[derive(Debug, Clone, Copy)]
struct Asked {
    tolerance_pct: f64,
    pull: Option<PullQuestion>,
    axis: Option<Axis>,
}

async fn lens_page(
    shelf: &ChartShelf,
    viewer: &Viewer,
    document: LensDocument,
    asked: Asked,
    params: Params,
) -> Result<LensPage, WebError> {
    let Asked {
        tolerance_pct,
        pull,
        axis,
    } = asked;
    let mut groups = Vec::new();
    for (conditions, results) in document.groups() {
        let series = lens_series(&results);
        let axis = axis_for(axis, &series);
        groups.push(Group {
            conditions,
            axis,
            verdict: verdict(&results).unwrap_or_default(),
            chart: InlineChart::new(shelf, series, tolerance_pct, axis, pull).await?,
            pulls: pull.map_or_else(Vec::new, |question| {
                results
                    .iter()
                    .map(|focal| PullDocument::new(focal, question))
                    .collect()
            }),
            measured: Measured::new(&results),
            results,
        });
    }
    let description = document.verdict.clone().unwrap_or_else(|| {
        format!(
            "Breathing of the {}: not measured yet.",
            document.lens.name()
        )
    });
    Ok(LensPage {
        page: PageFrame::new(document.lens.name(), Section::Lenses, viewer).described(description),
        query: params.with(&[]),
        pull_asked: pull.is_some(),
        document,
        groups,
        params,
    })
}

/// To where a lens is since it was merged into another, with the same question.
fn moved(to: &str, params: &Params) -> Response {
    let query = params.with(&[]);
    let to = if query.is_empty() {
        to.to_owned()
    } else {
        format!("{to}?{query}")
    };
    (StatusCode::MOVED_PERMANENTLY, [(header::LOCATION, to)]).into_response()
}

/// A page that says that there is no such lens and offers a search for what was meant.
fn unknown(slug: &str, viewer: &Viewer) -> Result<Response, WebError> {
    let words: String = slug.replace(['-', '_'], " ").chars().take(80).collect();
    let page = html(&UnknownLensPage {
        page: PageFrame::new("There is no such lens", Section::Elsewhere, viewer),
        words,
    })?;
    Ok((StatusCode::NOT_FOUND, page).into_response())
}
