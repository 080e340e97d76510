//! Charts by address, at any size and on any ground, and charts inside pages.

use axum::extract::{Path, State};
use axum::http::Uri;
use axum::response::Response;
use serde::Serialize;

use super::chart_notes::{Noted, notes};
use super::chart_shelf::{ChartShelf, Drawing, tag};
use crate::app::App;
use crate::charts::{Axis, Series, ShiftChart, Theme};
use crate::report::words;
use crate::units::FOCAL_LENGTHS_MM;
use crate::web::WebError;
use crate::web::api::{
    self, CompareDocument, CompareQuestion, ComparedDocument, FocalDocument, LensDocument,
    LensHead, Params, PullDocument, PullQuestion,
};

/// Sides of a chart where none are asked for, px.
const USUAL_SIDES: (u32, u32) = (1280, 720);
/// Sizes of charts to take away, px: for video, for large video, for an article.
pub(in crate::web) const TAKEN_SIDES: [(u32, u32); 3] = [(1920, 1080), (3840, 2160), (1200, 675)];
/// Grounds of charts to take away, with the word for each.
pub(in crate::web) const THEMES: [(&str, Theme); 3] = [
    ("light", Theme::Light),
    ("dark", Theme::Dark),
    ("clear", Theme::Clear),
];

/// What a query says of the picture, not of what it shows.
const OF_THE_PICTURE: [&str; 4] = ["width", "height", "theme", "notes"];

/// How a chart is wanted.
#[derive(Debug, Clone, Copy)]
pub(in crate::web) struct Wanted {
    /// What runs along the bottom; `None` for what the lines allow.
    pub(super) axis: Option<Axis>,
    pub(super) theme: Theme,
    pub(super) width: u32,
    pub(super) height: u32,
    pub(super) pull: Option<PullQuestion>,
    /// Whether conditions and source stand under it.
    pub(super) noted: bool,
}

impl Wanted {
    /// On this ground, with these sides in px.
    pub(in crate::web) fn sized(theme: Theme, (width, height): (u32, u32)) -> Self {
        Self {
            axis: None,
            theme,
            width,
            height,
            pull: None,
            noted: true,
        }
    }

    /// As a query asks for it.
    pub(in crate::web) fn read(params: &Params) -> Result<Self, WebError> {
        Ok(Self {
            axis: asked_axis(params)?,
            theme: params.choice("theme", &THEMES)?.unwrap_or_default(),
            width: params
                .whole("width", ShiftChart::WIDTHS, "px")?
                .unwrap_or(USUAL_SIDES.0),
            height: params
                .whole("height", ShiftChart::HEIGHTS, "px")?
                .unwrap_or(USUAL_SIDES.1),
            pull: PullQuestion::read(params)?,
            noted: params
                .choice("notes", &[("on", true), ("off", false)])?
                .unwrap_or(true),
        })
    }

    /// The chart of these lines, with these notes under it where they are wanted.
    pub(in crate::web) fn chart(
        self,
        title: String,
        notes: Vec<String>,
        series: Vec<Series>,
        tolerance_pct: f64,
    ) -> ShiftChart {
        ShiftChart {
            title,
            notes: if self.noted { notes } else { Vec::new() },
            axis: axis_for(self.axis, &series),
            series,
            tolerance_pct,
            theme: self.theme,
            width: self.width,
            height: self.height,
            pull_dioptres: self.pull.map(|pull| (pull.from_dioptres, pull.to_dioptres)),
        }
    }
}

/// What is asked to run along the bottom.
pub(super) fn asked_axis(params: &Params) -> Result<Option<Axis>, WebError> {
    params.choice(
        "axis",
        &[("distance", Axis::Distance), ("travel", Axis::Travel)],
    )
}

/// What runs along the bottom: as asked for, else distance; travel where no distance is known, whatever is asked for.
pub(super) fn axis_for(asked: Option<Axis>, series: &[Series]) -> Axis {
    let known = |series: &Series| series.curve.range_dioptres().is_some();
    if series.is_empty() || series.iter().any(known) {
        asked.unwrap_or(Axis::Distance)
    } else {
        Axis::Travel
    }
}

/// The word for what runs along the bottom, as queries have it.
pub(super) fn axis_word(axis: Axis) -> &'static str {
    match axis {
        Axis::Distance => "distance",
        Axis::Travel => "travel",
    }
}

/// Where the read-out of a chart finds the curves of one lens.
#[derive(Debug, Serialize)]
pub(super) struct CurveSource {
    url: String,
    /// What its line is called; `None` where the focal length says enough.
    label: Option<String>,
    conditions: String,
}

impl CurveSource {
    /// All curves of a lens under some conditions.
    pub(super) fn of_lens(slug: &str, conditions: String) -> Self {
        Self {
            url: format!("/api/v1/lenses/{slug}/curves"),
            label: None,
            conditions,
        }
    }

    /// The curves that a comparison shows, labelled as in its chart.
    pub(super) fn of_comparison(document: &CompareDocument) -> Vec<Self> {
        let found = document.lenses.iter().filter_map(|compared| {
            let focal = compared.result.as_ref()?;
            Some(Self {
                url: format!(
                    "/api/v1/lenses/{}/curves?focal_mm={}",
                    compared.lens.slug, focal.focal_length_mm
                ),
                label: Some(compared_label(&compared.lens, focal)),
                conditions: focal.conditions.clone(),
            })
        });
        found.collect()
    }
}

/// Sources for the attribute of a chart, as JSON.
pub(super) fn sources_text(sources: &[CurveSource]) -> Result<String, WebError> {
    serde_json::to_string(sources).map_err(WebError::inside)
}

/// What a line of a comparison is called.
fn compared_label(lens: &LensHead, focal: &FocalDocument) -> String {
    if lens.focal_max_mm > lens.focal_min_mm {
        let at = words::focal_length(focal.focal_length_mm);
        format!("{} at {at}", lens.name())
    } else {
        lens.name()
    }
}

/// A line for every focal length of a lens.
pub(super) fn lens_series(results: &[FocalDocument]) -> Vec<Series> {
    results
        .iter()
        .map(|focal| Series {
            label: words::focal_length(focal.focal_length_mm),
            curve: focal.result.curve.clone(),
        })
        .collect()
}

/// A line for every lens of a comparison that has a result.
pub(super) fn compare_series(document: &CompareDocument) -> Vec<Series> {
    document
        .lenses
        .iter()
        .filter_map(|compared| {
            let focal = compared.result.as_ref()?;
            Some(Series {
                label: compared_label(&compared.lens, focal),
                curve: focal.result.curve.clone(),
            })
        })
        .collect()
}

/// `GET /charts/lens/{slug}.svg|png`
pub(super) async fn lens(
    State(app): State<App>,
    State(shelf): State<ChartShelf>,
    uri: Uri,
    Path(file): Path<String>,
    params: Params,
) -> Result<Response, WebError> {
    let (slug, drawing) = drawing_of(&file)?;
    let (wanted, tolerance_pct, focal_mm) = params.asked(|params| {
        let focal_mm = params.number("focal_mm", FOCAL_LENGTHS_MM, "mm")?;
        Ok((Wanted::read(params)?, params.tolerance_pct()?, focal_mm))
    })?;
    let record = LensDocument::published(&app, slug, &uri, tolerance_pct).await?;
    let group = record
        .group_of(params.text("conditions"))?
        .ok_or_else(|| WebError::no_such("published result of this lens"))?;
    let results = api::asked_for(group.1, focal_mm)?;
    let noted = |focal: &FocalDocument| Noted::new(focal.at(), focal);
    let noted: Vec<Noted> = results.iter().map(noted).collect();
    let mut notes = notes(&noted, Some(&record.lens.url));
    if let Some(question) = wanted.pull {
        let pulls = results
            .iter()
            .map(|focal| (focal.at(), PullDocument::new(focal, question)));
        prepend(&mut notes, unanswered(pulls));
    }
    let asked = focal_mm.zip(results.first());
    if let Some(near) = asked.and_then(|(asked, focal)| focal.at_nearest_to(asked)) {
        notes.insert(0, format!("Here {near}."));
    }
    let chart = wanted.chart(
        record.lens.name(),
        notes,
        lens_series(&results),
        tolerance_pct,
    );
    drawn(&shelf, chart, drawing).await
}

/// `GET /charts/compare.svg`
pub(super) async fn compare_svg(
    state: State<App>,
    shelf: State<ChartShelf>,
    params: Params,
) -> Result<Response, WebError> {
    compared(state, shelf, params, Drawing::Svg).await
}

/// `GET /charts/compare.png`
pub(super) async fn compare_png(
    state: State<App>,
    shelf: State<ChartShelf>,
    params: Params,
) -> Result<Response, WebError> {
    compared(state, shelf, params, Drawing::Png).await
}

async fn compared(
    State(app): State<App>,
    State(shelf): State<ChartShelf>,
    params: Params,
    drawing: Drawing,
) -> Result<Response, WebError> {
    let (wanted, question) = params.asked(|params| {
        let question = CompareQuestion::read_at_least_two(params)?;
        Ok((Wanted::read(params)?, question))
    })?;
    let document = api::compare(&app, &question).await?;
    let noted = |compared: &ComparedDocument| {
        let focal = compared.result.as_ref()?;
        Some(Noted::new(compared_label(&compared.lens, focal), focal))
    };
    let noted: Vec<Noted> = document.lenses.iter().filter_map(noted).collect();
    let pulled = |compared: &ComparedDocument| {
        let label = compared_label(&compared.lens, compared.result.as_ref()?);
        Some((label, compared.pull.clone()?))
    };
    let mut missing = unanswered(document.lenses.iter().filter_map(pulled));
    let unmeasured = document
        .lenses
        .iter()
        .filter(|compared| compared.result.is_none());
    missing.extend(unmeasured.map(|compared| format!("{}: not measured.", compared.lens.name())));
    let asked = params.without(&OF_THE_PICTURE).with(&[]);
    let address = format!("{}/compare?{asked}", app.config.public_url());
    let mut notes = notes(&noted, Some(&address));
    prepend(&mut notes, missing);
    let chart = wanted.chart(
        String::new(),
        notes,
        compare_series(&document),
        question.tolerance_pct,
    );
    drawn(&shelf, chart, drawing).await
}

/// Why pulls can't be read from their lines, one note a line that one can't be read from.
fn unanswered(pulls: impl Iterator<Item = (String, PullDocument)>) -> Vec<String> {
    let why = pulls.filter_map(|(label, pull)| {
        let why = pull.outside.as_ref()?;
        Some(format!("{label}, pull {}: {why}.", pull.way()))
    });
    why.collect()
}

fn prepend(notes: &mut Vec<String>, first: Vec<String>) {
    notes.splice(0..0, first);
}

async fn drawn(
    shelf: &ChartShelf,
    chart: ShiftChart,
    drawing: Drawing,
) -> Result<Response, WebError> {
    let tag = tag(&chart, drawing);
    let bytes = shelf.draw(chart, drawing).await?;
    Ok(api::with_tag(drawing.media_type(), bytes, &tag))
}

/// Slug and drawing of a file name such as `ostrel-50.svg`.
fn drawing_of(file: &str) -> Result<(&str, Drawing), WebError> {
    match file.rsplit_once('.') {
        Some((slug, "svg")) => Ok((slug, Drawing::Svg)),
        Some((slug, "png")) => Ok((slug, Drawing::Png)),
        _ => Err(WebError::NotFound(
            "charts end in .svg or .png: /charts/lens/{slug}.svg".to_owned(),
        )),
    }
}
