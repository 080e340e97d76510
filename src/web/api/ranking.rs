//! The ranking: which lenses hold the picture best, as document for the page, its twins and the API.

use axum::http::HeaderValue;
use serde::Serialize;
use utoipa::ToSchema;

use super::cursor;
use super::documents::{LICENCE, conditions_words};
use super::query::Params;
use super::ranked::RankedDocument;
use super::search::search_words;
use crate::app::App;
use crate::report::words;
use crate::store::{ConditionsKey, Kind, RankedLens, RankingQuery, RankingSort};
use crate::sweep::Direction;
use crate::units::{FOCAL_LENGTHS_MM, FOCUS_DISTANCES_M, TOLERANCES_PCT};
use crate::web::WebError;

/// Rows of one answer where no number is asked for.
const USUAL_ROWS: u32 = 50;
/// Most rows of one answer.
pub(super) const MOST_ROWS: u32 = 200;

/// Words for the sort orders.
pub(in crate::web) const SORTS: [(&str, RankingSort); 4] = [
    ("worst_shift", RankingSort::WorstShift),
    ("tolerance_distance", RankingSort::ToleranceDistance),
    ("name", RankingSort::Name),
    ("newest", RankingSort::Newest),
];

/// Words for the ways that a picture can go.
pub(in crate::web) const DIRECTIONS: [(&str, Direction); 3] = [
    (Direction::Tighter.code(), Direction::Tighter),
    (Direction::Wider.code(), Direction::Wider),
    (Direction::None.code(), Direction::None),
];

/// A question to the ranking, read from a query.
#[derive(Debug, Clone)]
pub(in crate::web) struct RankingQuestion {
    /// Words that must all occur.
    pub(in crate::web) words: Vec<String>,
    /// Mount.
    pub(in crate::web) mount: Option<String>,
    /// Kind.
    pub(in crate::web) kind: Option<Kind>,
    /// Focal length that the lens must cover and is ranked at, mm.
    pub(in crate::web) focal_mm: Option<f64>,
    /// The lens must reach down to this, mm.
    pub(in crate::web) min_focal_mm: Option<f64>,
    /// The lens must reach up to this, mm.
    pub(in crate::web) max_focal_mm: Option<f64>,
    /// Conditions; `None` for those that most lenses were measured under.
    pub(in crate::web) conditions: Option<ConditionsKey>,
    /// Tolerance, per cent.
    pub(in crate::web) tolerance_pct: f64,
    /// Only lenses that hold the picture within the tolerance from this distance on, m.
    pub(in crate::web) holds_from_m: Option<f64>,
    /// Only lenses whose picture goes this way where their shift is worst.
    pub(in crate::web) direction: Option<Direction>,
    /// Sort order.
    pub(in crate::web) sort: RankingSort,
    /// The other way round.
    pub(in crate::web) descending: bool,
    /// Most rows.
    pub(in crate::web) limit: u32,
    /// Only rows after this place; see `cursor`.
    pub(in crate::web) cursor: Option<String>,
}

impl RankingQuestion {
    /// Reads the question.
    pub(in crate::web) fn read(params: &Params) -> Result<Self, WebError> {
        let kinds = Kind::ALL.map(|kind| (kind.code(), kind));
        let min_focal_mm = params.number("min_focal_mm", FOCAL_LENGTHS_MM, "mm")?;
        let max_focal_mm = params.number("max_focal_mm", FOCAL_LENGTHS_MM, "mm")?;
        if let (Some(min), Some(max)) = (min_focal_mm, max_focal_mm)
            && min > max
        {
            return Err(WebError::field(
                "min_focal_mm",
                format!(
                    "the lens has to reach from {min} mm to {max} mm; give the shorter one as min_focal_mm"
                ),
            ));
        }
        Ok(Self {
            words: params
                .short_text("q")?
                .map(search_words)
                .unwrap_or_default(),
            mount: params.short_text("mount")?.map(str::to_owned),
            kind: params.choice("kind", &kinds)?,
            focal_mm: params.number("focal_mm", FOCAL_LENGTHS_MM, "mm")?,
            min_focal_mm,
            max_focal_mm,
            conditions: conditions_asked(params)?,
            tolerance_pct: params.tolerance_pct()?,
            holds_from_m: params
                .length("holds_from_m", FOCUS_DISTANCES_M)?
                .map(|from| from.m),
            direction: params.choice("direction", &DIRECTIONS)?,
            sort: params.choice("sort", &SORTS)?.unwrap_or_default(),
            descending: params
                .choice("order", &[("asc", false), ("desc", true)])?
                .unwrap_or(false),
            limit: params
                .whole("limit", 1..=MOST_ROWS, "rows")?
                .unwrap_or(USUAL_ROWS),
            cursor: params.text("cursor").map(str::to_owned),
        })
    }

    /// The question as the store understands it.
    fn query(&self, conditions: ConditionsKey) -> Result<RankingQuery, WebError> {
        let query = RankingQuery {
            words: self.words.clone(),
            mount: self.mount.clone(),
            kind: self.kind,
            focal_mm: self.focal_mm,
            min_focal_mm: self.min_focal_mm,
            max_focal_mm: self.max_focal_mm,
            conditions,
            tolerance_pct: self.tolerance_pct,
            holds_from_m: self.holds_from_m,
            direction: self.direction,
            sort: self.sort,
            descending: self.descending,
            limit: self.limit,
            after: None,
        };
        let after = match &self.cursor {
            Some(cursor) => Some(cursor::read(&query, cursor)?),
            None => None,
        };
        Ok(RankingQuery { after, ..query })
    }
}

/// The conditions in a query, by their code.
pub(in crate::web) fn conditions_asked(params: &Params) -> Result<Option<ConditionsKey>, WebError> {
    let Some(code) = params.text("conditions") else {
        return Ok(None);
    };
    ConditionsKey::from_code(code).map(Some).ok_or_else(|| {
        WebError::field(
            "conditions",
            "give for instance correction-on.compensation-off, each on, off or unknown",
        )
    })
}

/// A set of conditions that results were shot under.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct ConditionsDocument {
    /// The word to ask for it by.
    pub(in crate::web) code: String,
    /// What it is.
    pub(in crate::web) words: String,
    /// How many of the lenses that match have results that count under it.
    pub(in crate::web) lens_count: u64,
}

/// The answer: rows in order, best first unless asked otherwise.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub(in crate::web) struct RankingDocument {
    /// The rows.
    pub(in crate::web) lenses: Vec<RankedDocument>,
    /// How many lenses match in all.
    pub(in crate::web) total: u64,
    /// How many of them are ranked; nothing was measured of the others under these conditions, or near this focal length.
    pub(in crate::web) ranked: u64,
    /// How many of them have nothing published yet, under whatever conditions.
    pub(in crate::web) unpublished: u64,
    /// How many of them come before the first row.
    pub(in crate::web) before: u64,
    /// `cursor` of the next rows; `null` at the end.
    pub(in crate::web) next: Option<String>,
    /// Tolerance of the tolerance distances, per cent.
    pub(in crate::web) tolerance_pct: f64,
    /// Focal length that the rows are ranked at, each by its nearest result, mm; `null` where all focal lengths count.
    pub(in crate::web) focal_mm: Option<f64>,
    /// Conditions that the rows were shot under; others are ranked apart.
    pub(in crate::web) conditions: ConditionsDocument,
    /// The other sets of conditions that something is published under.
    pub(in crate::web) other_conditions: Vec<ConditionsDocument>,
    /// Licence of the numbers.
    pub(in crate::web) licence: &'static str,
    /// Whether lenses are left out of which nobody knows if they hold from the distance asked for on, for the page.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) leaves_out_untold: bool,
    /// Whether the conditions are those that are taken where none are asked for.
    #[serde(skip)]
    #[schema(ignore)]
    pub(in crate::web) is_usual: bool,
}

/// Asks the store and judges the rows at the reader's tolerance.
pub(in crate::web) async fn rank(
    app: &App,
    question: &RankingQuestion,
) -> Result<RankingDocument, WebError> {
    let site = app.config.public_url();
    let in_use = app.store.conditions_in_use().await?;
    let usual = in_use
        .first()
        .map_or_else(ConditionsKey::default, |most| most.0);
    let key = question.conditions.unwrap_or(usual);
    let query = question.query(key)?;
    let ranking = app.store.ranking(query.clone()).await?;
    let judge = |row: &RankedLens| RankedDocument::new(row, question.tolerance_pct, &site);
    let set = |key: ConditionsKey, lens_count: u64| ConditionsDocument {
        code: key.code(),
        words: conditions_words(key),
        lens_count,
    };
    // What the same question finds under the others.
    let mut other_conditions = Vec::new();
    for (other, _) in in_use.into_iter().filter(|(other, _)| *other != key) {
        let counted = RankingQuery {
            conditions: other,
            limit: 0,
            after: None,
            ..query.clone()
        };
        let ranked = app.store.ranking(counted).await?.ranked;
        other_conditions.push(set(other, ranked));
    }
    Ok(RankingDocument {
        next: ranking.next.map(|place| cursor::written(&query, &place)),
        lenses: ranking.rows.iter().map(judge).collect(),
        total: ranking.total,
        ranked: ranking.ranked,
        unpublished: ranking.unpublished,
        before: ranking.before,
        tolerance_pct: question.tolerance_pct,
        focal_mm: question.focal_mm,
        conditions: set(key, ranking.ranked),
        other_conditions,
        licence: LICENCE,
        leaves_out_untold: ranking.untold_left_out > 0,
        is_usual: key == usual,
    })
}

impl RankingDocument {
    /// How many lenses are ranked and how many could not be, in words.
    pub(in crate::web) fn count_words(&self) -> String {
        let lenses = |count: u64| match count {
            1 => "1 lens".to_owned(),
            _ => format!("{count} lenses"),
        };
        let yet = self.unpublished;
        let elsewise = self.total.saturating_sub(self.ranked + yet);
        let why = if self.focal_mm.is_some() {
            "not measured so"
        } else {
            "not measured under these conditions"
        };
        let mut parts = Vec::new();
        if self.ranked > 0 {
            parts.push(format!("{} ranked", lenses(self.ranked)));
        }
        for (count, why) in [(elsewise, why), (yet, "not measured yet")] {
            match count {
                0 => {}
                _ if parts.is_empty() => parts.push(format!("{} {why}", lenses(count))),
                _ => parts.push(format!("{count} {why}")),
            }
        }
        if parts.is_empty() {
            "no lens".to_owned()
        } else {
            parts.join(", ")
        }
    }

    /// Where the next rows are (RFC 8288), absolute; `None` at the end. `path` is where these rows came from.
    pub(in crate::web) fn next_link(
        &self,
        app: &App,
        path: &str,
        params: &Params,
    ) -> Option<HeaderValue> {
        let query = params.with(&[("cursor", Some(self.next.as_deref()?))]);
        let site = app.config.public_url();
        HeaderValue::from_str(&format!("<{site}{path}?{query}>; rel=\"next\"")).ok()
    }
}

impl RankingDocument {
    /// The focal length that the rows are ranked at, in words.
    pub(in crate::web) fn at_words(&self) -> Option<String> {
        self.focal_mm.map(words::focal_length)
    }
}

/// The same question about lenses that cover its focal length, ranked as a whole; `None` where it asks for none.
pub(in crate::web) fn of_whole_lenses(params: &Params) -> Option<String> {
    let number = |name: &str| params.number(name, FOCAL_LENGTHS_MM, "mm").ok().flatten();
    let at = number("focal_mm")?;
    let least = number("min_focal_mm").unwrap_or(at).min(at).to_string();
    let most = number("max_focal_mm").unwrap_or(at).max(at).to_string();
    Some(params.with(&[
        ("focal_mm", None),
        ("min_focal_mm", Some(&least)),
        ("max_focal_mm", Some(&most)),
        ("cursor", None),
    ]))
}

/// The range of tolerances, for forms.
pub(in crate::web) fn tolerance_range() -> (f64, f64) {
    (*TOLERANCES_PCT.start(), *TOLERANCES_PCT.end())
}
