//! Read models of the public pages: the ranking and the page of a lens.

use std::collections::BTreeMap;

use sqlx::Sqlite;
use sqlx::query::QueryAs;
use sqlx::sqlite::{SqliteArguments, SqliteRow};

use super::document::{decode_focal_result, encode};
use super::lenses::{LensRow, lens_columns};
use super::search::{MOST_WORDS, patterns};
use super::{ConditionsKey, Kind, Lens, LensId, Store, StoreError, SweepId};
use crate::sweep::{DistanceSource, Finding, ShiftCurve, ToleranceOutcome};
use crate::units::Measured;

/// What the ranking is sorted by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum RankingSort {
    /// Smallest worst shift first.
    #[default]
    WorstShift,
    /// Nearest tolerance distance first; "never" before all, unknown last.
    ToleranceDistance,
    /// By maker and model.
    Name,
    /// Newest publication first.
    Newest,
}

/// A question to the ranking.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RankingQuery {
    /// Words that must all occur in maker, model, mount or focal length.
    pub words: Vec<String>,
    /// Mount.
    pub mount: Option<String>,
    /// Kind.
    pub kind: Option<Kind>,
    /// Focal length that the lens must cover, mm.
    pub focal_mm: Option<f64>,
    /// Conditions that all results were shot under.
    pub conditions: ConditionsKey,
    /// What to sort by.
    pub sort: RankingSort,
    /// The other way round; "not measured" and unknown stay last.
    pub descending: bool,
    /// At most this many rows.
    pub limit: u32,
    /// Rows to pass over.
    pub offset: u32,
}

/// A row of the ranking.
#[derive(Debug, Clone)]
pub struct RankedLens {
    /// The lens.
    pub lens: Lens,
    /// Results by focal length, shortest first; empty where nothing is published.
    pub results: Vec<FocalResult>,
    /// When something of it was published last, ms since 1970 UTC.
    pub published_ms: Option<i64>,
}

/// The published result of one lens at one focal length under one set of conditions, repeats combined.
#[derive(Debug, Clone, PartialEq)]
pub struct FocalResult {
    /// Conditions it was shot under.
    pub conditions: ConditionsKey,
    /// Marked focal length, mm.
    pub focal_length_mm: f64,
    /// Sweeps it was made of.
    pub sweeps: Vec<SweepId>,
    /// Sweeps that hold pictures of one of these, byte for byte, and so don't count as repeats.
    pub same_pictures: Vec<SweepId>,
    /// Shift of largest magnitude, per cent.
    pub worst_shift_pct: Measured,
    /// The repeats scatter beyond their stated uncertainties; the uncertainty is widened by it.
    pub repeats_disagree: bool,
    /// At the default tolerance.
    pub tolerance: ToleranceOutcome,
    /// Shift against focus, for any tolerance and any focus pull.
    pub curve: ShiftCurve,
    /// Where the distances come from.
    pub distance_source: DistanceSource,
    /// Closest focus that was measured, m.
    pub closest_focus_m: Option<f64>,
    /// Shifts are relative to the farthest frame.
    pub relative_to_farthest: bool,
    /// f-number.
    pub f_number: Option<f64>,
    /// Camera.
    pub camera: Option<String>,
    /// Picture width, px.
    pub picture_width_px: Option<u32>,
    /// Distance to the targets, m.
    pub target_distance_m: Option<f64>,
    /// Reviewers.
    pub reviewers: Vec<String>,
    /// When the sweeps were taken, as the cameras say, newest last.
    pub captured_at: Vec<String>,
    /// Algorithm version of the oldest result in it.
    pub algorithm_version: u32,
    /// What was noticed on its sweeps.
    pub findings: Vec<Finding>,
}

/// What a lens has to be like: ?2 mount, ?3 kind, ?4 focal length in mm, ?5 to ?12 patterns of its search text; each may be unsaid.
/// The patterns are parameters of their own because a list costs ten times as much a row.
macro_rules! filters {
    () => {
        "(?2 IS NULL OR l.mount = ?2) AND (?3 IS NULL OR l.kind = ?3)
         AND (?4 IS NULL OR (l.focal_min_mm <= ?4 AND l.focal_max_mm >= ?4))
         AND (?5 IS NULL OR instr(l.search_text, ?5)) AND (?6 IS NULL OR instr(l.search_text, ?6))
         AND (?7 IS NULL OR instr(l.search_text, ?7)) AND (?8 IS NULL OR instr(l.search_text, ?8))
         AND (?9 IS NULL OR instr(l.search_text, ?9)) AND (?10 IS NULL OR instr(l.search_text, ?10))
         AND (?11 IS NULL OR instr(l.search_text, ?11)) AND (?12 IS NULL OR instr(l.search_text, ?12))"
    };
}

/// The lenses that have a result under the conditions ?1, along one index that is in the order asked for.
macro_rules! ranked {
    ($order:literal) => {
        concat!(
            "SELECT ",
            lens_columns!(),
            ", r.published_ms FROM rankings r CROSS JOIN lenses l ON l.id = r.lens_id WHERE r.conditions = ?1 AND ",
            filters!(),
            " ORDER BY ",
            $order,
            " LIMIT ?13 OFFSET ?14"
        )
    };
}

/// The lenses that have none, by name.
pub(super) const UNRANKED: &str = concat!(
    "SELECT ",
    lens_columns!(),
    ", NULL AS published_ms FROM lenses l WHERE ",
    filters!(),
    " AND NOT EXISTS (SELECT 1 FROM rankings r WHERE r.lens_id = l.id AND r.conditions = ?1)
     ORDER BY l.sort_name, l.id LIMIT ?13 OFFSET ?14"
);

/// How many match in all, and how many of them have a result.
pub(super) const COUNT: &str = concat!(
    "SELECT count(*), count(r.lens_id) FROM lenses l LEFT JOIN rankings r ON r.lens_id = l.id AND r.conditions = ?1 WHERE ",
    filters!()
);

/// The same where nothing is filtered.
pub(super) const COUNT_ALL: &str =
    "SELECT (SELECT count(*) FROM lenses), (SELECT count(*) FROM rankings WHERE conditions = ?1)";

/// The results of the lenses of one page, all in one query.
pub(super) const RESULTS: &str = "SELECT lens_id, document FROM focal_results
    WHERE lens_id IN (SELECT value FROM json_each(?2)) AND conditions = ?1 ORDER BY lens_id, focal_length_mm";

impl RankingSort {
    /// Every sort.
    pub const ALL: [Self; 4] = [
        Self::WorstShift,
        Self::ToleranceDistance,
        Self::Name,
        Self::Newest,
    ];

    /// The statement for the lenses with results in this order. Far is few dioptres, so the nearest tolerance distance has the most.
    pub(super) const fn statement(self, descending: bool) -> &'static str {
        match (self, descending) {
            (Self::WorstShift, false) => ranked!("r.worst_magnitude_pct, r.lens_id"),
            (Self::WorstShift, true) => ranked!("r.worst_magnitude_pct DESC, r.lens_id DESC"),
            (Self::ToleranceDistance, false) => {
                ranked!("r.tolerance_dioptres DESC NULLS LAST, r.lens_id DESC")
            }
            (Self::ToleranceDistance, true) => {
                ranked!("r.tolerance_dioptres NULLS LAST, r.lens_id")
            }
            (Self::Name, false) => ranked!("r.sort_name, r.lens_id"),
            (Self::Name, true) => ranked!("r.sort_name DESC, r.lens_id DESC"),
            (Self::Newest, false) => ranked!("r.published_ms DESC, r.lens_id DESC"),
            (Self::Newest, true) => ranked!("r.published_ms, r.lens_id"),
        }
    }
}

#[derive(sqlx::FromRow)]
struct RankedRow {
    published_ms: Option<i64>,
    #[sqlx(flatten)]
    lens: LensRow,
}

/// A statement with the parameters that all of the ranking's share.
fn question<'q, T>(
    statement: &'static str,
    conditions: &'q str,
    query: &'q RankingQuery,
    words: &'q [String],
) -> QueryAs<'q, Sqlite, T, SqliteArguments>
where
    T: for<'r> sqlx::FromRow<'r, SqliteRow>,
{
    let mut question = sqlx::query_as(statement)
        .bind(conditions)
        .bind(query.mount.as_deref())
        .bind(query.kind.map(Kind::code))
        .bind(query.focal_mm);
    for place in 0..MOST_WORDS {
        question = question.bind(words.get(place));
    }
    question
}

impl Store {
    /// The ranking, and how many lenses match in all. Lenses with nothing published under the conditions come last both ways.
    pub async fn ranking(
        &self,
        query: &RankingQuery,
    ) -> Result<(Vec<RankedLens>, u64), StoreError> {
        let conditions = query.conditions.code();
        let words = patterns(&query.words);
        let unfiltered = words.is_empty()
            && query.mount.is_none()
            && query.kind.is_none()
            && query.focal_mm.is_none();
        let count = if unfiltered { COUNT_ALL } else { COUNT };
        let mut read = self.read().await?;
        let (all, ranked): (i64, i64) = question(count, &conditions, query, &words)
            .fetch_one(&mut *read)
            .await?;

        let (limit, offset) = (i64::from(query.limit), i64::from(query.offset));
        let mut rows: Vec<RankedRow> = Vec::new();
        if offset < ranked {
            rows = question(
                query.sort.statement(query.descending),
                &conditions,
                query,
                &words,
            )
            .bind(limit)
            .bind(offset)
            .fetch_all(&mut *read)
            .await?;
        }
        // The page goes on with the lenses that have no result.
        let (limit, offset) = (
            limit - (ranked - offset).clamp(0, limit),
            (offset - ranked).max(0),
        );
        if limit > 0 && offset < all - ranked {
            let unranked: Vec<RankedRow> = question(UNRANKED, &conditions, query, &words)
                .bind(limit)
                .bind(offset)
                .fetch_all(&mut *read)
                .await?;
            rows.extend(unranked);
        }

        let mut lenses = rows
            .into_iter()
            .map(|row| {
                Ok(RankedLens {
                    lens: row.lens.read()?,
                    results: Vec::new(),
                    published_ms: row.published_ms,
                })
            })
            .collect::<Result<Vec<_>, StoreError>>()?;
        let ids: Vec<LensId> = lenses.iter().map(|row| row.lens.id).collect();
        let documents: Vec<(LensId, String)> = sqlx::query_as(RESULTS)
            .bind(&conditions)
            .bind(encode(&ids)?)
            .fetch_all(&mut *read)
            .await?;
        let mut results: BTreeMap<LensId, Vec<FocalResult>> = BTreeMap::new();
        for (lens, document) in documents {
            results
                .entry(lens)
                .or_default()
                .push(decode_focal_result(&document)?);
        }
        for row in &mut lenses {
            row.results = results.remove(&row.lens.id).unwrap_or_default();
        }
        Ok((lenses, all.unsigned_abs()))
    }

    /// The lenses that hold the picture best: smallest worst shift first, only lenses with results.
    pub async fn best(
        &self,
        conditions: ConditionsKey,
        limit: u32,
    ) -> Result<Vec<RankedLens>, StoreError> {
        let query = RankingQuery {
            conditions,
            limit,
            ..RankingQuery::default()
        };
        let (mut rows, _) = self.ranking(&query).await?;
        rows.retain(|row| row.published_ms.is_some());
        Ok(rows)
    }

    /// How many lenses are published under each set of conditions, most first.
    pub async fn conditions_in_use(&self) -> Result<Vec<(ConditionsKey, u64)>, StoreError> {
        let rows: Vec<(String, i64)> = sqlx::query_as(
            "SELECT conditions, count(*) FROM rankings GROUP BY conditions ORDER BY count(*) DESC, conditions",
        )
        .fetch_all(&self.readers)
        .await?;
        rows.into_iter()
            .map(|(code, lenses)| {
                let key = ConditionsKey::from_code(&code).ok_or_else(|| {
                    StoreError::Damaged(format!("there is no set of conditions \"{code}\""))
                })?;
                Ok((key, lenses.unsigned_abs()))
            })
            .collect()
    }
}
