//! The ranking as page, with its twins.

use axum::extract::State;
use axum::http::{HeaderMap, header};
use axum::response::{Html, Response};

use super::{PageFrame, Section, filters, html};
use crate::app::App;
use crate::store::{Kind, RankingSort};
use crate::web::WebError;
use crate::web::api::{self, Params, RankingDocument, RankingQuestion, rank, ranking_csv};
use crate::web::session::Viewer;

/// A heading of the table that sorts it.
struct SortHeading {
    href: String,
    /// Value of `aria-sort`; empty where the table is not sorted by it.
    aria_sort: &'static str,
}

/// A condition of the search that can be taken away.
struct Chip {
    words: String,
    href: String,
}

#[derive(askama::Template)]
#[template(path = "pages/lenses.html")]
struct LensesPage {
    page: PageFrame,
    document: RankingDocument,
    params: Params,
    mounts: Vec<String>,
    kinds: [Kind; 5],
    by_shift: SortHeading,
    by_tolerance: SortHeading,
    by_name: SortHeading,
    chips: Vec<Chip>,
    /// The question with its sorting, for twins and other conditions.
    query: String,
    next: Option<String>,
    /// How many lenses there are, and which of them are shown.
    count_words: String,
    tolerance_range: (f64, f64),
}

impl LensesPage {
    /// What stands in a field of the form.
    fn value(&self, name: &str) -> &str {
        self.params.text(name).unwrap_or_default()
    }

    /// Whether the list is narrowed or judged by more than a name.
    fn is_filtered(&self) -> bool {
        [
            "mount",
            "kind",
            "focal_mm",
            "holds_from_m",
            "tolerance_pct",
            "conditions",
        ]
        .iter()
        .any(|name| self.params.text(name).is_some())
    }

    /// The question under other conditions.
    fn under(&self, code: &str) -> String {
        self.params
            .with(&[("conditions", Some(code)), ("cursor", None)])
    }
}

/// `GET /lenses`
pub(super) async fn page(
    State(app): State<App>,
    viewer: Viewer,
    params: Params,
) -> Result<Html<String>, WebError> {
    let question = RankingQuestion::read(&params)?;
    let document = rank(&app, &question).await?;
    let mounts = app.store.mounts().await?;
    let heading = |word: &'static str, sort: RankingSort| {
        let current = question.sort == sort;
        let turned = current && !question.descending;
        SortHeading {
            href: params.with(&[
                ("sort", Some(word)),
                ("order", turned.then_some("desc")),
                ("cursor", None),
            ]),
            aria_sort: match (current, question.descending) {
                (false, _) => "",
                (true, false) => "ascending",
                (true, true) => "descending",
            },
        }
    };
    html(&LensesPage {
        page: PageFrame::new("Lenses", Section::Lenses, &viewer)
            .described("Lenses ranked by how much they breathe, measured from focus brackets.")
            .at(&app.config.public_url(), "/lenses"),
        by_shift: heading("worst_shift", RankingSort::WorstShift),
        by_tolerance: heading("tolerance_distance", RankingSort::ToleranceDistance),
        by_name: heading("name", RankingSort::Name),
        chips: chips(&params),
        query: params.with(&[("cursor", None)]),
        next: document
            .next
            .as_deref()
            .map(|next| params.with(&[("cursor", Some(next))])),
        count_words: count_words(&document),
        mounts,
        kinds: Kind::ALL,
        tolerance_range: api::tolerance_range(),
        document,
        params,
    })
}

/// How many lenses there are, and which of them are shown where that is not all.
fn count_words(document: &RankingDocument) -> String {
    let (total, shown) = (document.total, document.lenses.len() as u64);
    let all = if total == 1 {
        "1 lens".to_owned()
    } else {
        format!("{total} lenses")
    };
    if shown == 0 || shown == total {
        return all;
    }
    let first = document.before + 1;
    format!("{all}, {first} to {} shown", first + shown - 1)
}

/// What the list is narrowed by, each with the address that takes it away.
fn chips(params: &Params) -> Vec<Chip> {
    let chip = |name: &str, words: String| Chip {
        words,
        href: params.with(&[(name, None), ("cursor", None)]),
    };
    let mut chips = Vec::new();
    if let Some(q) = params.text("q") {
        chips.push(chip("q", format!("“{q}”")));
    }
    if let Some(mount) = params.text("mount") {
        chips.push(chip("mount", mount.to_owned()));
    }
    if let Some(kind) = params.text("kind").and_then(Kind::from_code) {
        chips.push(chip("kind", kind.words().to_owned()));
    }
    if let Some(focal) = params.text("focal_mm") {
        chips.push(chip("focal_mm", format!("covers {focal} mm")));
    }
    if let Some(distance) = params.text("holds_from_m") {
        chips.push(chip("holds_from_m", format!("holds from {distance} m on")));
    }
    chips
}

/// `GET /lenses.csv`
pub(super) async fn csv(
    State(app): State<App>,
    headers: HeaderMap,
    params: Params,
) -> Result<Response, WebError> {
    let question = RankingQuestion::read(&params)?;
    let document = rank(&app, &question).await?;
    let mut answer = api::csv(&headers, ranking_csv(&document)?);
    if let Some(next) = document.next_link(&app, "/lenses.csv", &params) {
        answer.headers_mut().append(header::LINK, next);
    }
    Ok(answer)
}
