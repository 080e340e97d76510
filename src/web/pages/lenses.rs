//! The ranking as page, with its twins.

use axum::extract::State;
use axum::http::header;
use axum::response::Response;

use super::advice::Advice;
use super::form::{Fields, Form};
use super::list_picture::list_picture;
use super::{PageFrame, Section, filters};
use crate::app::App;
use crate::store::{Kind, RankingSort};
use crate::sweep::DEFAULT_TOLERANCE_PCT;
use crate::web::WebError;
use crate::web::api::{
    self, ConditionsDocument, Params, RankingDocument, RankingQuestion, rank, ranking_csv,
};
use crate::web::session::Viewer;

/// A heading of the table that sorts it.
struct SortHeading {
    href: String,
    /// Value of `aria-sort`; empty where the table is not sorted by it.
    aria_sort: &'static str,
}

/// A link that sorts the list where it has no headings.
struct SortLink {
    words: &'static str,
    href: String,
    /// Which way the list is sorted by it; `None` where it is not.
    order: Option<&'static str>,
}

/// What the list can be sorted by: its word in queries, its name, which end comes first, and which when turned.
const SORTS: [(&str, RankingSort, &str, [&str; 2]); 4] = [
    (
        "worst_shift",
        RankingSort::WorstShift,
        "worst shift",
        ["smallest first", "largest first"],
    ),
    (
        "tolerance_distance",
        RankingSort::ToleranceDistance,
        "tolerance distance",
        ["nearest first", "farthest first"],
    ),
    ("name", RankingSort::Name, "name", ["A to Z", "Z to A"]),
    (
        "newest",
        RankingSort::Newest,
        "date published",
        ["newest first", "oldest first"],
    ),
];

/// A condition of the search that can be taken away.
pub(super) struct Chip {
    /// Its name in the query.
    pub(super) name: &'static str,
    pub(super) words: String,
    pub(super) href: String,
}

#[derive(askama::Template)]
#[template(path = "pages/lenses.html")]
struct LensesPage {
    page: PageFrame,
    document: RankingDocument,
    form: Form,
    mounts: Vec<String>,
    kinds: [Kind; 5],
    by_shift: SortHeading,
    by_tolerance: SortHeading,
    by_name: SortHeading,
    /// The same for windows too narrow for headings.
    sorts: Vec<SortLink>,
    chips: Vec<Chip>,
    /// What may help where no lens fits.
    advice: Option<Advice>,
    /// The question with its sorting, for twins and other conditions.
    query: String,
    next: Option<String>,
    /// The question with all focal lengths of the lenses, where it asks for one.
    of_whole_lenses: Option<String>,
    /// How many lenses there are, and which of them are shown.
    count_words: String,
    tolerance_range: (f64, f64),
}

impl LensesPage {
    /// Whether one of the further filters can't be used; else they stay out of the way of the list on small windows, where
    /// chips say what is asked.
    fn is_to_mend(&self) -> bool {
        let mut names = FIELDS.iter().map(|(name, _)| *name);
        names.any(|name| name != "q" && self.form.error(name).is_some())
    }

    /// What the question is about beside which lenses it lists, to go along to their pages and to comparisons: what is not as it
    /// is where nothing is asked.
    fn carried(&self) -> Vec<(&'static str, String)> {
        let usable = self.form.usable();
        let tolerance = usable
            .text("tolerance_pct")
            .filter(|_| !is_usual_tolerance(usable));
        let conditions =
            (!self.document.is_usual).then_some(self.document.conditions.code.as_str());
        [
            ("tolerance_pct", tolerance),
            ("focal_mm", usable.text("focal_mm")),
            ("conditions", conditions),
        ]
        .into_iter()
        .filter_map(|(name, value)| Some((name, value?.to_owned())))
        .collect()
    }

    /// The page of a lens with what goes along: of one that was not measured so, only the tolerance does.
    fn lens_address(&self, row: &api::RankedDocument) -> String {
        let slug = &row.lens.slug;
        let carried = self.carried();
        let query: Vec<String> = carried
            .iter()
            .filter(|(name, _)| row.measured || *name == "tolerance_pct")
            .map(|(name, value)| format!("{name}={}", api::encoded(value)))
            .collect();
        match query.is_empty() {
            true => format!("/lenses/{slug}"),
            false => format!("/lenses/{slug}?{}", query.join("&")),
        }
    }

    /// Sets of conditions under which something fits the same question.
    fn ranked_apart(&self) -> Vec<&ConditionsDocument> {
        let others = self.document.other_conditions.iter();
        others.filter(|other| other.lens_count > 0).collect()
    }

    /// The ways that a picture can go, with their words.
    fn directions(&self) -> [(&'static str, &'static str); 3] {
        api::DIRECTIONS.map(|(code, _)| (code, direction_words(code)))
    }

    /// The question under other conditions.
    fn under(&self, code: &str) -> String {
        let usable = self.form.usable();
        usable.with(&[("conditions", Some(code)), ("cursor", None)])
    }
}

/// The fields of the form.
const FIELDS: Fields = &[
    ("q", "Name, mount or focal length"),
    ("mount", "Mount"),
    ("kind", "Kind"),
    ("direction", "Picture"),
    ("focal_mm", "Focal length, mm"),
    ("min_focal_mm", "Reaches from, mm"),
    ("max_focal_mm", "Reaches to, mm"),
    ("tolerance_pct", "Tolerance, %"),
    ("holds_from_m", "Holds from, m or ft"),
    ("conditions", "Measured with"),
];

/// What is asked beside the fields.
const KEPT: &[&str] = &["sort", "order", "limit"];

/// The address that a list is known by: with what chooses its lenses and judges them, in one order. The order of the rows
/// counts where they are not the first.
fn address(asked: &Params) -> String {
    let is_after = asked.has("cursor");
    let ordering = ["sort", "order", "limit", "cursor"];
    let ordering = ordering.into_iter().filter(|_| is_after);
    let names: Vec<&str> = FIELDS
        .iter()
        .map(|(name, _)| *name)
        .chain(ordering)
        .collect();
    let is_usual = is_usual_tolerance(asked);
    let told = names
        .iter()
        .filter(|name| **name != "tolerance_pct" || !is_usual);
    let known = told.fold(Params::default(), |known, name| match asked.text(name) {
        Some(value) => known.and(name, value),
        None => known,
    });
    match known.with(&[]) {
        query if query.is_empty() => "/lenses".to_owned(),
        query => format!("/lenses?{query}"),
    }
}

/// `GET /lenses`
pub(super) async fn page(
    State(app): State<App>,
    viewer: Viewer,
    params: Params,
) -> Result<Response, WebError> {
    let mut form = Form::new(params, FIELDS, KEPT);
    let (question, document) = loop {
        let question = form.ask(RankingQuestion::read)?;
        match rank(&app, &question).await {
            Ok(document) => break (question, document),
            Err(error) => form.refuse(error)?,
        }
    };
    form.fill("tolerance_pct", question.tolerance_pct.to_string());
    let params = form.usable().clone();
    let mounts = app.store.mounts().await?;
    let href = |word: &'static str, sort: RankingSort| {
        let turned = question.sort == sort && !question.descending;
        params.with(&[
            ("sort", Some(word)),
            ("order", turned.then_some("desc")),
            ("cursor", None),
        ])
    };
    let heading = |word: &'static str, sort: RankingSort| {
        let current = question.sort == sort;
        SortHeading {
            href: href(word, sort),
            aria_sort: match (current, question.descending) {
                (false, _) => "",
                (true, false) => "ascending",
                (true, true) => "descending",
            },
        }
    };
    let page = LensesPage {
        page: PageFrame::new("Lenses", Section::Lenses, &viewer)
            .described("Lenses ranked by how much they breathe, measured from focus brackets.")
            .at(&app.config.public_url(), &address(&params))
            .pictured_by(list_picture(&document, &document.lenses)),
        by_shift: heading("worst_shift", RankingSort::WorstShift),
        by_tolerance: heading("tolerance_distance", RankingSort::ToleranceDistance),
        by_name: heading("name", RankingSort::Name),
        sorts: SORTS
            .into_iter()
            .map(|(word, sort, words, ends)| SortLink {
                words,
                href: href(word, sort),
                order: (question.sort == sort).then_some(ends[usize::from(question.descending)]),
            })
            .collect(),
        advice: if document.lenses.is_empty() {
            Some(Advice::on(&app, &params).await?)
        } else {
            None
        },
        chips: chips(&params),
        query: params.with(&[("cursor", None)]),
        of_whole_lenses: api::of_whole_lenses(&params),
        next: document
            .next
            .as_deref()
            .map(|next| params.with(&[("cursor", Some(next))])),
        count_words: count_words(&document),
        mounts,
        kinds: Kind::ALL,
        tolerance_range: api::tolerance_range(),
        document,
        form,
    };
    page.form.answer(&page)
}

/// How many lenses there are, and which of them are shown where that is not all.
fn count_words(document: &RankingDocument) -> String {
    let (total, shown) = (document.total, document.lenses.len() as u64);
    let all = document.count_words();
    if shown == 0 || shown == total {
        return all;
    }
    let first = document.before + 1;
    format!("{all}; {first} to {} of {total} shown", first + shown - 1)
}

/// The conditions of a question that narrow the list.
const NARROWING: [&str; 9] = [
    "q",
    "mount",
    "kind",
    "focal_mm",
    "min_focal_mm",
    "max_focal_mm",
    "direction",
    "holds_from_m",
    "tolerance_pct",
];

/// What the list is narrowed by, each with the address that takes it away.
pub(super) fn chips(params: &Params) -> Vec<Chip> {
    NARROWING
        .into_iter()
        .filter_map(|name| {
            let value = params.text(name)?;
            let words = match name {
                "q" => format!("“{value}”"),
                "kind" => kind_words(value),
                "focal_mm" => format!("covers {value} mm"),
                "min_focal_mm" => format!("reaches {value} mm or shorter"),
                "max_focal_mm" => format!("reaches {value} mm or longer"),
                "direction" => direction_words(value).to_owned(),
                "holds_from_m" if value.ends_with(|sign: char| sign.is_ascii_digit()) => {
                    format!("holds from {value} m on")
                }
                "holds_from_m" => format!("holds from {value} on"),
                "tolerance_pct" if is_usual_tolerance(params) => return None,
                "tolerance_pct" => format!("tolerance {value} %"),
                _ => value.to_owned(),
            };
            Some(Chip {
                name,
                words,
                href: params.with(&[(name, None), ("cursor", None)]),
            })
        })
        .collect()
}

/// The form sends its tolerance along always; the usual one narrows nothing.
fn is_usual_tolerance(params: &Params) -> bool {
    let asked = params.tolerance_pct().unwrap_or(DEFAULT_TOLERANCE_PCT);
    (asked - DEFAULT_TOLERANCE_PCT).abs() < 1e-9
}

fn kind_words(code: &str) -> String {
    Kind::from_code(code).map_or_else(|| code.to_owned(), |kind| kind.words().to_owned())
}

/// What a way that the picture can go is called in the form.
fn direction_words(code: &str) -> &'static str {
    match code {
        "tighter" => "gets tighter",
        "wider" => "gets wider",
        _ => "no change seen",
    }
}

/// `GET /lenses.csv`
pub(super) async fn csv(State(app): State<App>, params: Params) -> Result<Response, WebError> {
    let question = params.asked(RankingQuestion::read)?;
    let document = rank(&app, &question).await?;
    let mut answer = api::csv(ranking_csv(&document)?);
    if let Some(next) = document.next_link(&app, "/lenses.csv", &params) {
        answer.headers_mut().append(header::LINK, next);
    }
    Ok(answer)
}
