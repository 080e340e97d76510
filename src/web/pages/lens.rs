//! The page of a lens, with its twins.

use axum::extract::{Path, State};
use axum::http::{StatusCode, Uri};
use axum::response::{IntoResponse, Response};

use super::advice::{Advice, Offer};
use super::charts::{CurveSource, asked_axis, axis_for, axis_word, lens_series, sources_text};
use super::form::{Fields, Form};
use super::frame::{PICTURE_SIDES, PreviewOf};
use super::inline_chart::{InlineChart, Sheet};
use super::measured::Measured;
use super::readings::Readings;
use super::{ChartShelf, PageFrame, Section, bounds, filters, html, json_ld};
use crate::app::App;
use crate::charts::Axis;
use crate::store::ConditionsKey;
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
    /// Where the numbers of the chart are, for the read-out.
    sources: String,
    readings: Readings,
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
        axis_word(self.axis)
    }

    /// Whether one of the results is not relative to infinity.
    fn relative_to_farthest(&self) -> bool {
        self.results
            .iter()
            .any(|focal| focal.relative_to == "farthest_frame")
    }

    /// What zero is on the chart, in words.
    fn zero_words(&self) -> &'static str {
        let farthest = |focal: &FocalDocument| focal.relative_to == "farthest_frame";
        if self.results.iter().all(farthest) {
            "in the farthest frame"
        } else if self.relative_to_farthest() {
            "at infinity, or in the farthest frame where a sweep ends before infinity"
        } else {
            "at infinity"
        }
    }

    /// What stands under the chart.
    fn caption(&self) -> String {
        format!(
            "Shift of the picture scale against focus. Above zero the picture is tighter than {}, below zero wider. The \
             grey band is the tolerance; the haze around a line is its expanded uncertainty (k = 2), where it is wider \
             than the line.",
            self.zero_words()
        )
    }

    /// The picture that angles of view hold for, in words.
    fn across_words(&self) -> String {
        let mut widths: Vec<String> = Vec::new();
        for focal in &self.results {
            let width = format!("{} mm", (focal.angle_across_mm * 10.0).round() / 10.0);
            if !widths.contains(&width) {
                widths.push(width);
            }
        }
        let known = |focal: &FocalDocument| focal.result.sensor_width_mm.is_some();
        let widths = widths.join(" or ");
        if self.results.iter().all(known) {
            format!("for the camera's picture, {widths} wide")
        } else if self.results.iter().any(known) {
            format!("for pictures {widths} wide (36 mm where the camera's is not known)")
        } else {
            format!("for a picture {widths} wide, as the camera's is not known")
        }
    }

    /// How much of the worst shifts perspective may hold, in words.
    fn perspective_words(&self, index: &usize) -> Option<String> {
        bounds::perspective(&self.results, *index > 0)
    }

    /// What the shifts lack where a sweep ends short of infinity, in words.
    fn shortfall_words(&self) -> Option<String> {
        bounds::shortfall(&self.results)
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
    form: Form,
    pull_asked: bool,
    /// The question of the page, for twins and charts.
    query: String,
    /// The record for catalogues.
    data_set: Option<String>,
}

impl LensPage {
    /// What tells the tables of one set of conditions from those of another, for those who hear the page.
    fn told_apart(&self, group: &Group) -> String {
        if self.groups.len() > 1 {
            format!(", {}", group.conditions_words())
        } else {
            String::new()
        }
    }

    /// Whether its change log is about more than one set of conditions.
    fn has_several_conditions(&self) -> bool {
        let log = &self.document.history;
        log.windows(2)
            .any(|pair| pair[0].conditions != pair[1].conditions)
    }

    /// Where its chart is, without the ending.
    fn chart_address(&self) -> String {
        format!("/charts/lens/{}", self.document.lens.slug)
    }

    /// Whether a group says what scale and angle are: the first, and those whose zero is another.
    fn says_angles(&self, index: &usize) -> bool {
        let zero = |index: usize| self.groups.get(index).map(Group::zero_words);
        *index == 0 || zero(*index) != zero(0)
    }

    /// The ranking of lenses with the same mount.
    fn same_mount(&self) -> String {
        format!("/lenses?mount={}", api::encoded(&self.document.lens.mount))
    }

    /// Address of the chart of one focal length, to stand in the page.
    fn chart_alone(&self, group: &Group, focal: &FocalDocument, theme: &str) -> String {
        format!(
            "{}.svg?focal_mm={}&conditions={}&axis={}&tolerance_pct={}&width=420&height=280&theme={theme}&notes=off",
            self.chart_address(),
            focal.focal_length_mm,
            group.conditions.code(),
            group.axis_word(),
            self.document.tolerance_pct,
        )
    }

    /// The question of the page with this axis.
    fn along(&self, axis: &str) -> String {
        self.form.usable().with(&[("axis", Some(axis))])
    }

    /// Whether a sweep of the change log is public, so that its frames and versions can be seen.
    fn is_public(&self, sweep: &i64) -> bool {
        let mut results = self.document.results.iter();
        results.any(|focal| focal.sweeps.contains(sweep) || focal.same_pictures.contains(sweep))
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
    /// What was probably meant.
    meant: Option<Offer>,
}

/// `GET /lenses/{slug}`, `/lenses/{slug}.json`, `/lenses/{slug}.csv`
pub(super) async fn page(
    State(app): State<App>,
    State(shelf): State<ChartShelf>,
    uri: Uri,
    Path(file): Path<String>,
    viewer: Viewer,
    params: Params,
) -> Result<Response, WebError> {
    let (slug, twin) = match file.rsplit_once('.') {
        Some((slug, "json")) => (slug, Some(Twin::Json)),
        Some((slug, "csv")) => (slug, Some(Twin::Csv)),
        _ => (file.as_str(), None),
    };
    let mut form = Form::new(params, FIELDS, &["axis"]);
    let asked = match twin {
        None => form.ask(Asked::read)?,
        Some(_) => form.usable().asked(Asked::read)?,
    };
    let stored = match api::stored_lens(&app, slug, &uri).await {
        Err(WebError::NotFound(_)) if twin.is_none() => return unknown(&app, slug, &viewer).await,
        stored => stored?,
    };
    let stored = match twin {
        Some(_) => api::unless_withdrawn(stored)?,
        None => stored,
    };
    let document = LensDocument::new(stored, asked.tolerance_pct, &app.config.public_url())
        .with_pull(asked.pull);
    match twin {
        Some(Twin::Json) => return api::json(&document),
        Some(Twin::Csv) => {
            return Ok(api::csv(lens_csv(&document)?));
        }
        None => {}
    }
    let site = app.config.public_url();
    let mut page = lens_page(&shelf, &site, &viewer, document, asked, form).await?;
    if !page.document.withdrawn.is_empty() {
        page.form.answers(StatusCode::GONE);
    }
    page.form.answer(&page)
}

/// The page of a lens as it will be once sweeps are published, for their reviewer: the same struct, the same template.
pub(in crate::web) async fn lens_as_published(
    shelf: &ChartShelf,
    site: &str,
    viewer: &Viewer,
    document: LensDocument,
    preview_of: PreviewOf,
) -> Result<Response, WebError> {
    let asked = Asked {
        tolerance_pct: document.tolerance_pct,
        pull: None,
        axis: None,
    };
    let form = Form::new(Params::default(), FIELDS, &[]);
    let mut page = lens_page(shelf, site, viewer, document, asked, form).await?;
    page.page.preview_of = Some(preview_of);
    page.page.public = None;
    Ok(html(&page)?.into_response())
}

/// What a reader asks of the page.
#[derive(Debug, Clone, Copy)]
struct Asked {
    tolerance_pct: f64,
    pull: Option<PullQuestion>,
    axis: Option<Axis>,
}

impl Asked {
    fn read(params: &Params) -> Result<Self, WebError> {
        Ok(Self {
            tolerance_pct: params.tolerance_pct()?,
            pull: PullQuestion::read(params)?,
            axis: asked_axis(params)?,
        })
    }
}

/// The fields of the form.
const FIELDS: Fields = &[
    ("tolerance_pct", "Tolerance, %"),
    ("from_m", "Focus pull from, m"),
    ("to_m", "Focus pull to, m"),
    ("picture_width_px", "Picture width, px"),
];

/// The frame of the page, with how it is known outside: address, picture, embedding.
fn public_frame(document: &LensDocument, site: &str, viewer: &Viewer) -> PageFrame {
    let slug = &document.lens.slug;
    let name = document.lens.name();
    let frame =
        PageFrame::new(name.clone(), Section::Lenses, viewer).at(site, &format!("/lenses/{slug}"));
    if !document.withdrawn.is_empty() {
        return frame;
    }
    let frame = frame.embeddable();
    if document.results.is_empty() {
        return frame;
    }
    let (width, height) = PICTURE_SIDES;
    frame.pictured(
        &format!("/charts/lens/{slug}.png?width={width}&height={height}"),
        format!("Shift of the picture scale of the {name} against focus distance"),
    )
}

async fn lens_page(
    shelf: &ChartShelf,
    site: &str,
    viewer: &Viewer,
    document: LensDocument,
    asked: Asked,
    mut form: Form,
) -> Result<LensPage, WebError> {
    let Asked {
        tolerance_pct,
        pull,
        axis,
    } = asked;
    let mut groups = Vec::new();
    let grouped = document.groups();
    let sheet = if grouped.len() > 1 || pull.is_some() {
        Sheet::Crowded
    } else {
        Sheet::Full
    };
    for (conditions, results) in grouped {
        let series = lens_series(&results);
        let axis = axis_for(axis, &series);
        groups.push(Group {
            conditions,
            axis,
            verdict: verdict(&results).unwrap_or_default(),
            sources: sources_text(&[CurveSource::of_lens(&document.lens.slug, conditions.code())])?,
            readings: Readings::new(&series, axis),
            chart: InlineChart::new(shelf, series, tolerance_pct, axis, pull, sheet).await?,
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
        let state = if document.withdrawn.is_empty() {
            "not measured yet"
        } else {
            "withdrawn"
        };
        format!("Breathing of the {}: {state}.", document.lens.name())
    });
    form.fill("tolerance_pct", tolerance_pct.to_string());
    Ok(LensPage {
        page: public_frame(&document, site, viewer).described(description),
        data_set: json_ld::data_set(&document, site),
        query: form.usable().with(&[]),
        pull_asked: pull.is_some(),
        document,
        groups,
        form,
    })
}

/// A page that says that there is no such lens and offers a search for what was meant.
pub(super) async fn unknown(app: &App, slug: &str, viewer: &Viewer) -> Result<Response, WebError> {
    let words: String = slug.replace(['-', '_'], " ").chars().take(80).collect();
    let advice = Advice::on(app, &Params::of_one("q", &words)).await?;
    let page = html(&UnknownLensPage {
        page: PageFrame::new("There is no such lens", Section::Elsewhere, viewer),
        words,
        meant: advice.meant,
    })?;
    Ok((StatusCode::NOT_FOUND, page).into_response())
}
