//! The page of a lens, with its twins.

use axum::extract::{Path, State};
use axum::http::{StatusCode, Uri};
use axum::response::{IntoResponse, Response};

use super::advice::{Advice, Offer};
use super::charts::asked_axis;
use super::form::{Fields, Form};
use super::frame::{PICTURE_SIDES, PreviewOf};
use super::lens_group::Group;
use super::paper::{LeftOut, Sheet};
use super::{ChartShelf, PageFrame, Section, filters, html, json_ld, paper};
use crate::app::App;
use crate::charts::Axis;
use crate::store::ConditionsKey;
use crate::units::FOCAL_LENGTHS_MM;
use crate::web::WebError;
use crate::web::api::{self, FocalDocument, LensDocument, Params, PullQuestion, Twin, lens_csv};
use crate::web::session::Viewer;

#[derive(askama::Template)]
#[template(path = "pages/lens.html")]
struct LensPage {
    page: PageFrame,
    document: LensDocument,
    groups: Vec<Group>,
    form: Form,
    pull_asked: bool,
    /// How its printed sheet is set.
    sheet: Sheet,
    /// What is said of the focal length that is asked for; `None` where none is.
    at_asked: Option<String>,
    /// The question of the page, for twins and charts.
    query: String,
    /// Its address with what its verdict turns on.
    cited: String,
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

    /// Whether the printed sheet holds this set of conditions.
    fn prints(&self, index: &usize) -> bool {
        *index < self.sheet.sets
    }

    /// Whether it holds all of them.
    fn prints_all(&self) -> bool {
        self.sheet.sets >= self.groups.len()
    }

    /// How a set of conditions is set on paper.
    fn section_class(&self, index: &usize) -> String {
        let mut class = match self.sheet.sets > 1 {
            true => "conditions".to_owned(),
            false => "record".to_owned(),
        };
        let left_out = self.sheet.left_out;
        for (is_so, name) in [
            (!self.prints(index), "no-print"),
            (self.sheet.is_dense, "dense"),
            (left_out >= LeftOut::Noticed, "leaves-noticed"),
            (left_out >= LeftOut::Details, "leaves-details"),
            (left_out >= LeftOut::Chart, "leaves-chart"),
            (left_out >= LeftOut::Notes, "leaves-notes"),
        ] {
            if is_so {
                class.push(' ');
                class.push_str(name);
            }
        }
        class
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

    /// Whether what the results of a group share stands in the first group already, as a sheet of paper need not repeat.
    fn is_said_above(&self, index: &usize) -> bool {
        let shared = |index: usize| self.groups.get(index).map(|group| &group.measured.shared);
        *index > 0 && shared(*index) == shared(0)
    }

    /// The counter-scale table of a set of conditions, held where the pull begins, in its unit.
    fn counter_scale(&self, group: &Group) -> String {
        let mut query = Params::default();
        if self.groups.len() > 1 {
            query = query.and("conditions", &group.conditions.code());
        }
        let usable = self.form.usable();
        if let Some(from) = usable.text("from_m").filter(|_| self.pull_asked) {
            query = query.and("hold_m", from);
        }
        let address = format!("/lenses/{}/counter-scale", self.document.lens.slug);
        match query.with(&[]) {
            empty if empty.is_empty() => address,
            query => format!("{address}?{query}"),
        }
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
    let mut form = Form::new(params, FIELDS, KEPT);
    let mut asked = match twin {
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
    let mut document = LensDocument::of(&app, stored, asked.tolerance_pct)
        .await?
        .with_pull(asked.pull);
    if let Err(error) = document.lead(asked.conditions) {
        match twin {
            None => form.refuse(error)?,
            Some(_) => return Err(error),
        }
    }
    if let Err(error) = document.sentence_at(asked.focal_mm) {
        match twin {
            None => form.refuse(error)?,
            Some(_) => return Err(error),
        }
        asked.focal_mm = None;
    }
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
        conditions: None,
        focal_mm: None,
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
    /// The conditions that come first.
    conditions: Option<ConditionsKey>,
    /// A focal length to be told of first, mm.
    focal_mm: Option<f64>,
}

impl Asked {
    fn read(params: &Params) -> Result<Self, WebError> {
        Ok(Self {
            tolerance_pct: params.tolerance_pct()?,
            pull: PullQuestion::read(params)?,
            axis: asked_axis(params)?,
            conditions: api::conditions_asked(params)?,
            focal_mm: params.number("focal_mm", FOCAL_LENGTHS_MM, "mm")?,
        })
    }
}

/// What is asked beside the fields: how the chart runs, and what the ranking was asked for.
const KEPT: &[&str] = &["axis", "conditions", "focal_mm"];

/// The fields of the form.
const FIELDS: Fields = &[
    ("tolerance_pct", "Tolerance, %"),
    ("from_m", "Pull from, m or ft"),
    ("to_m", "Pull to, m or ft"),
    ("picture_width_px", "Picture width, px"),
];

/// The frame of the page, with how it is known outside: address, picture, embedding.
///
/// `question` is what the verdict turns on; picture and address are of the same.
fn public_frame(document: &LensDocument, site: &str, viewer: &Viewer, question: &str) -> PageFrame {
    let slug = &document.lens.slug;
    let name = document.lens.name();
    let frame =
        PageFrame::new(name.clone(), Section::Lenses, viewer).at(site, &format!("/lenses/{slug}"));
    if !document.withdrawn.is_empty() {
        return frame;
    }
    let frame = frame.embeddable().asked(question);
    if document.results.is_empty() {
        return frame;
    }
    let (width, height) = PICTURE_SIDES;
    let more = match question.is_empty() {
        true => String::new(),
        false => format!("&{question}"),
    };
    frame.pictured(
        &format!("/charts/lens/{slug}.png?width={width}&height={height}{more}"),
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
        focal_mm,
        ..
    } = asked;
    let grouped = document.groups();
    let sheet = paper::of_lens(&document, &grouped, pull);
    let mut groups = Vec::new();
    for (conditions, results) in grouped {
        let lens = &document.lens;
        let asked = (tolerance_pct, axis, pull);
        groups.push(Group::new(shelf, lens, conditions, results, asked, sheet.chart).await?);
    }
    let description = document.verdict.clone().unwrap_or_else(|| {
        let state = if document.withdrawn.is_empty() {
            "not measured yet"
        } else {
            "withdrawn"
        };
        format!("Breathing of the {}: {state}.", document.lens.name())
    });
    let description = match groups.first().filter(|_| groups.len() > 1) {
        Some(group) => format!("{description} Measured with {}.", group.conditions_words()),
        None => description,
    };
    let usable = form.usable();
    let turns_on = ["conditions", "tolerance_pct"]
        .into_iter()
        .filter_map(|name| Some((name, usable.text(name)?)))
        .fold(Params::default(), |asked, (name, text)| {
            asked.and(name, text)
        })
        .with(&[]);
    form.fill("tolerance_pct", tolerance_pct.to_string());
    Ok(LensPage {
        page: public_frame(&document, site, viewer, &turns_on).described(description),
        cited: match turns_on.is_empty() {
            true => document.lens.url.clone(),
            false => format!("{}?{turns_on}", document.lens.url),
        },
        data_set: json_ld::data_set(&document, site),
        query: form.usable().with(&[]),
        pull_asked: pull.is_some(),
        sheet,
        at_asked: document.sentence_at(focal_mm)?,
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
