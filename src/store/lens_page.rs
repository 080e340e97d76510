//! All that the page of a lens says.

use sqlx::SqliteConnection;

use super::document::{PublicationHead, decode, decode_focal_result};
use super::lenses::{LensRow, lens_columns};
use super::published::PublicationRow;
use super::{ConditionsKey, FocalResult, Lens, Store, StoreError, SweepId};
use crate::units::Measured;

/// All that the page of a lens says.
#[derive(Debug, Clone)]
pub struct LensPage {
    /// The lens.
    pub lens: Lens,
    /// Results by conditions, then focal length.
    pub results: Vec<FocalResult>,
    /// Publications and withdrawals of its sweeps, newest first.
    pub history: Vec<HistoryEntry>,
    /// Why versions of its sweeps were taken back, newest withdrawal first, each reason once.
    pub reasons: Vec<String>,
}

/// A publication or a withdrawal.
#[derive(Debug, Clone, PartialEq)]
pub struct HistoryEntry {
    /// When, ms since 1970 UTC.
    pub at_ms: i64,
    /// Key of the sweep.
    pub sweep: SweepId,
    /// Marked focal length of what was published, mm.
    pub focal_length_mm: f64,
    /// Conditions that it was shot under.
    pub conditions: ConditionsKey,
    /// Version that it happened to, 1 for the first.
    pub version: u32,
    /// Worst shift of that version, per cent.
    pub worst_shift_pct: Measured,
    /// Why it was taken back; `None` where it was published.
    pub withdrawn: Option<String>,
    /// Whether this version can still be read: it was not taken back, and its sweep is public.
    pub readable: bool,
}

impl LensPage {
    /// Whether all that was published of the lens was taken back.
    #[must_use]
    pub fn is_withdrawn(&self) -> bool {
        self.results.is_empty() && !self.reasons.is_empty()
    }
}

/// The lens of a slug.
pub(super) const LENS: &str = concat!(
    "SELECT ",
    lens_columns!(),
    " FROM lenses l WHERE l.slug = ?1"
);

/// Its results.
pub(super) const RESULTS: &str =
    "SELECT document FROM focal_results WHERE lens_id = ?1 ORDER BY conditions, focal_length_mm";

/// What was published of it.
pub(super) const HISTORY: &str =
    "SELECT sweep_id, version, result_id, published_ms, withdrawn_ms, withdrawn_reason, document
     FROM publications WHERE lens_id = ?1 ORDER BY id DESC";

#[derive(sqlx::FromRow)]
struct HistoryRow {
    #[sqlx(flatten)]
    publication: PublicationRow,
    document: String,
}

impl Store {
    /// The page of a lens.
    pub async fn lens_page(&self, slug: &str) -> Result<Option<LensPage>, StoreError> {
        let mut read = self.read().await?;
        load_lens_page(&mut read, slug).await
    }
}

/// The page of a lens as this connection sees it.
pub(super) async fn load_lens_page(
    read: &mut SqliteConnection,
    slug: &str,
) -> Result<Option<LensPage>, StoreError> {
    let Some(row) = sqlx::query_as::<_, LensRow>(LENS)
        .bind(slug)
        .fetch_optional(&mut *read)
        .await?
    else {
        return Ok(None);
    };
    let lens = row.read()?;
    let documents: Vec<String> = sqlx::query_scalar(RESULTS)
        .bind(lens.id)
        .fetch_all(&mut *read)
        .await?;
    let publications = sqlx::query_as::<_, HistoryRow>(HISTORY)
        .bind(lens.id)
        .fetch_all(&mut *read)
        .await?;
    let results: Vec<FocalResult> = documents
        .iter()
        .map(|document| decode_focal_result(document))
        .collect::<Result<_, _>>()?;
    let public: std::collections::BTreeSet<SweepId> = results
        .iter()
        .flat_map(|result| {
            let counted = result.sweeps.iter().chain(&result.same_pictures);
            counted.chain(&result.partial)
        })
        .copied()
        .collect();
    let mut history: Vec<HistoryEntry> = Vec::new();
    let mut reasons = Vec::new();
    for HistoryRow {
        publication: row,
        document,
    } in publications
    {
        let head = decode::<PublicationHead>(&document)?.read()?;
        let (focal_length_mm, conditions, worst_shift_pct) = head;
        let entry = |at_ms, withdrawn: Option<String>| HistoryEntry {
            at_ms,
            sweep: row.sweep_id,
            focal_length_mm,
            conditions,
            version: row.version,
            worst_shift_pct,
            readable: row.withdrawn_ms.is_none() && public.contains(&row.sweep_id),
            withdrawn,
        };
        history.push(entry(row.published_ms, None));
        if let (Some(withdrawn_ms), Some(reason)) = (row.withdrawn_ms, row.withdrawn_reason) {
            history.push(entry(withdrawn_ms, Some(reason.clone())));
            reasons.push((withdrawn_ms, reason));
        }
    }
    history.sort_by_key(|entry| std::cmp::Reverse(entry.at_ms));
    reasons.sort_by_key(|(at_ms, _)| std::cmp::Reverse(*at_ms));
    let mut told = std::collections::BTreeSet::new();
    reasons.retain(|(_, reason)| told.insert(reason.clone()));
    Ok(Some(LensPage {
        lens,
        results,
        history,
        reasons: reasons.into_iter().map(|(_, reason)| reason).collect(),
    }))
}
