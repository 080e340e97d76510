//! Two to four lenses on one chart, with their twins.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::charts::axis_word;
use super::charts::{CurveSource, asked_axis, axis_for, compare_series, sources_text};
use super::compare_rows::{Row, rows};
use super::form::{Fields, Form};
use super::frame::PICTURE_SIDES;
use super::inline_chart::InlineChart;
use super::readings::Readings;
use super::{ChartShelf, PageFrame, Section, filters, paper};
use crate::app::App;
use crate::charts::Axis;
use crate::store::RankingSort;
use crate::web::WebError;
use crate::web::api::{
    self, CompareDocument, CompareQuestion, ComparedDocument, ConditionsDocument, MOST_LENSES,
    Params, RankingQuestion, compare, compare_csv, encoded, lens_by_any_name, rank,
};
use crate::web::session::Viewer;

/// Most lenses that the form offers.
const MOST_OFFERED: u32 = 500;

/// A field of the form in which a lens is chosen.
struct Choice {
    number: usize,
    chosen: String,
    /// What is to say of what was chosen, where there is no such lens, or no more.
    unknown: Option<String>,
}

/// A lens that can be chosen, or one that was asked for and can't.
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
    /// `None` while fewer than two lenses are chosen that can be compared.
    document: Option<CompareDocument>,
    chart: Option<ComparedChart>,
    choices: Vec<Choice>,
    offers: Vec<Offer>,
    form: Form,
    query: String,
    /// The table, side by side.
    rows: Vec<Row>,
    /// What is to say where lenses were given that leave nothing to compare, or one of them twice.
    remark: Option<String>,
}

impl ComparePage {
    /// The conditions that can be compared under.
    fn conditions(&self) -> &[ConditionsDocument] {
        let document = self.document.as_ref();
        document.map_or(&[], |document| &document.conditions_choices)
    }

    /// Whether there is more than one set of conditions to compare under, or something to say of the choice.
    fn can_choose_conditions(&self) -> bool {
        self.conditions().len() > 1 || self.form.error("conditions").is_some()
    }

    /// Whether these are the conditions compared under.
    fn is_under(&self, code: &str) -> bool {
        let document = self.document.as_ref();
        document.is_some_and(|document| document.conditions.as_deref() == Some(code))
    }

    /// The question under other conditions.
    fn under(&self, code: &str) -> String {
        self.form.usable().with(&[("conditions", Some(code))])
    }

    /// Of how many of the lenses there are results under these conditions, in words; `None` where of all.
    fn having(&self, choice: &ConditionsDocument) -> Option<String> {
        let all = self.document.as_ref()?.lenses.len() as u64;
        let having = choice.lens_count;
        (having < all).then(|| format!("{having} of the {all} lenses"))
    }

    /// The conditions compared under, in words.
    fn shown_under(&self) -> &str {
        let mut choices = self.conditions().iter();
        let shown = choices.find(|choice| self.is_under(&choice.code));
        shown.map_or("", |choice| choice.words.as_str())
    }

    /// Whether more is asked than which lenses.
    fn is_narrowed(&self) -> bool {
        let mut names = FIELDS.iter().map(|(name, _)| *name);
        names.any(|name| name != "lens" && self.form.is_given(name))
    }

    /// The page of a lens with what of the question it can answer: tolerance and pull, and the conditions that are shown of it
    /// where they were asked for.
    fn lens_address(&self, compared: &ComparedDocument) -> String {
        let mut query = self
            .form
            .usable()
            .without(&["lens", "focal_mm", "conditions"]);
        if let Some(focal) = &compared.result
            && self.form.is_given("conditions")
        {
            query = query.and("conditions", &focal.conditions);
        }
        let address = format!("/lenses/{}", compared.lens.slug);
        match query.with(&[]) {
            empty if empty.is_empty() => address,
            query => format!("{address}?{query}"),
        }
    }

    /// The public address of the page with its question.
    fn shared(&self) -> String {
        let site = self.page.public.as_ref().map_or("", |public| &public.site);
        format!("{site}/compare?{}", self.query)
    }

    /// The question of the page with this axis.
    fn along(&self, axis: &str) -> String {
        self.form.usable().with(&[("axis", Some(axis))])
    }
}

/// The fields of the form.
const FIELDS: Fields = &[
    ("lens", "Lenses"),
    ("focal_mm", "Focal length, mm"),
    ("conditions", "Measured with"),
    ("tolerance_pct", "Tolerance, %"),
    ("from_m", "Pull from, m or ft"),
    ("to_m", "Pull to, m or ft"),
    ("picture_width_px", "Picture width, px"),
];

/// The address with its slugs in lower case, as slugs are; `None` where they are.
fn in_lower_case(params: &Params) -> Option<String> {
    let given = params.all("lens");
    let lower: Vec<String> = given.iter().map(|slug| slug.to_lowercase()).collect();
    if lower == given {
        return None;
    }
    let lenses = lower.iter().map(|slug| ("lens", Some(slug.as_str())));
    let changes: Vec<_> = lenses.collect();
    Some(format!("/compare?{}", params.with(&changes)))
}

/// `GET /compare`
pub(super) async fn page(
    State(app): State<App>,
    State(shelf): State<ChartShelf>,
    viewer: Viewer,
    params: Params,
) -> Result<Response, WebError> {
    if let Some(address) = in_lower_case(&params) {
        return Err(WebError::Moved(address));
    }
    let mut form = Form::new(params, FIELDS, &["axis"]);
    let mut unknown: Vec<Offer> = Vec::new();
    let (question, asked, document) = loop {
        let (question, asked) =
            form.ask(|params| Ok((CompareQuestion::read(params)?, asked_axis(params)?)))?;
        let answer = match question.lenses.as_slice() {
            [] => Ok(None),
            [only] => api::comparable(&app, only).await.map(|()| None),
            _ => compare(&app, &question).await.map(Some),
        };
        match answer {
            Ok(document) => break (question, asked, document),
            Err(error @ (WebError::NotFound(_) | WebError::Gone(_))) => {
                let told = unknown.len();
                for slug in &question.lenses {
                    let known = lens_by_any_name(&app, slug).await?;
                    let name = known.as_ref().map(|page| page.lens.about.name());
                    let (status, words) = match known.map(api::unless_withdrawn) {
                        None => {
                            let words = format!("there is no such lens as “{slug}”");
                            (StatusCode::NOT_FOUND, words)
                        }
                        Some(Err(withdrawn)) => (StatusCode::GONE, withdrawn.to_string()),
                        Some(Ok(_)) => continue,
                    };
                    form.miss(status, "lens", slug, words);
                    unknown.push(Offer {
                        slug: slug.clone(),
                        name: name.map_or_else(
                            || format!("{slug}: no such lens"),
                            |name| format!("{name}: withdrawn"),
                        ),
                    });
                }
                if unknown.len() == told {
                    return Err(error);
                }
            }
            Err(error) => form.refuse(error)?,
        }
    };
    let rows = document
        .as_ref()
        .map_or_else(Vec::new, |document| rows(document, question.pull.is_some()));
    let chart = match &document {
        Some(document) => Some(chart(&shelf, document, &rows, &question, asked).await?),
        None => None,
    };
    let mut chosen = Vec::new();
    let mut twice = None;
    for slug in form.all("lens").iter().flat_map(|value| value.split(',')) {
        if chosen.iter().any(|known| known == slug) {
            twice = Some(slug.to_owned());
        } else if !slug.is_empty() && chosen.len() < MOST_LENSES {
            chosen.push(slug.to_owned());
        }
    }
    let title = document.as_ref().map_or_else(
        || "Compare lenses".to_owned(),
        |document| {
            let names: Vec<String> = document.lenses.iter().map(|l| l.lens.name()).collect();
            names.join(" and ")
        },
    );
    let offers = offers(&app, &chosen, &unknown).await?;
    let name = |slug: &str| {
        let offer = offers.iter().find(|offer| offer.slug == slug);
        offer.map_or_else(|| slug.to_owned(), |offer| offer.name.clone())
    };
    let remark = match (question.lenses.as_slice(), twice) {
        ([_, _, ..], Some(twice)) => Some(format!(
            "{} was given twice and stands here once.",
            name(&twice)
        )),
        ([only], None) => Some(format!(
            "{} stands alone: choose one more lens to compare it with.",
            name(only)
        )),
        ([only], Some(_)) => Some(format!(
            "Both are the {}: choose another lens to compare it with.",
            name(only)
        )),
        _ => None,
    };
    let page = ComparePage {
        page: public_frame(title, &question, &app.config.public_url(), &viewer),
        remark,
        offers,
        choices: (0..MOST_LENSES)
            .map(|number| {
                let chosen = chosen.get(number).cloned().unwrap_or_default();
                Choice {
                    number: number + 1,
                    unknown: unknown
                        .iter()
                        .find(|lens| lens.slug == chosen)
                        .map(|lens| lens.name.clone()),
                    chosen,
                }
            })
            .collect(),
        query: form.usable().with(&[]),
        rows,
        document,
        chart,
        form,
    };
    page.form.answer(&page)
}

/// All lenses in one chart, and the same in numbers.
async fn chart(
    shelf: &ChartShelf,
    document: &CompareDocument,
    rows: &[Row],
    question: &CompareQuestion,
    asked: Option<Axis>,
) -> Result<ComparedChart, WebError> {
    let series = compare_series(document);
    let axis = axis_for(asked, &series);
    let (tolerance, pull) = (question.tolerance_pct, question.pull);
    let paper = paper::sides_of_comparison(document, rows);
    Ok(ComparedChart {
        sources: sources_text(&CurveSource::of_comparison(document))?,
        readings: Readings::new(&series, axis),
        has_distances: series.iter().any(|s| s.curve.range_dioptres().is_some()),
        axis,
        drawn: InlineChart::new(shelf, series, tolerance, axis, pull, paper).await?,
    })
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

/// The lenses by name, those that were chosen among them, without those that can't be compared.
async fn offers(app: &App, chosen: &[String], unknown: &[Offer]) -> Result<Vec<Offer>, WebError> {
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
    offers.retain(|offer| !unknown.iter().any(|lens| lens.slug == offer.slug));
    for slug in chosen {
        let is_there = |lens: &Offer| lens.slug == *slug;
        if !offers.iter().chain(unknown).any(is_there) {
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
    let question = params.asked(CompareQuestion::read_at_least_two)?;
    Ok(api::csv(compare_csv(&compare(&app, &question).await?)?))
}
