//! What happened in public, for the feed and the sitemap.

use super::document::{PublicationDoc, decode};
use super::lenses::{LensRow, lens_columns};
use super::{FocalResult, Lens, Store, StoreError, SweepId};

/// One publication, as the feed tells it.
#[derive(Debug, Clone)]
pub struct PublicEvent {
    /// Key of the publication; it never changes.
    pub publication: i64,
    /// Key of its sweep.
    pub sweep: SweepId,
    /// 1 for the first of its sweep.
    pub version: u32,
    /// When it was published, ms since 1970 UTC.
    pub published_ms: i64,
    /// When it was taken back, and why.
    pub withdrawn: Option<(i64, String)>,
    /// Which lens it is of.
    pub lens: Lens,
    /// What was published.
    pub result: FocalResult,
}

macro_rules! events {
    ($rest:literal) => {
        concat!(
            "SELECT p.id AS publication, p.sweep_id, p.version, p.published_ms, p.withdrawn_ms, p.withdrawn_reason, p.document, ",
            lens_columns!(),
            " FROM publications p CROSS JOIN lenses l ON l.id = p.lens_id ",
            $rest
        )
    };
}

/// The publications, newest first.
pub(super) const NEWEST: &str = events!("ORDER BY p.published_ms DESC, p.id DESC LIMIT ?1");

/// Those that were taken back, newest withdrawal first.
pub(super) const NEWEST_WITHDRAWN: &str =
    events!("WHERE p.withdrawn_ms IS NOT NULL ORDER BY p.withdrawn_ms DESC, p.id DESC LIMIT ?1");

/// The lenses with something public, each with when that was.
pub(super) const MEASURED: &str =
    "SELECT l.slug, (SELECT max(r.published_ms) FROM focal_results r WHERE r.lens_id = l.id)
     FROM lenses l WHERE EXISTS (SELECT 1 FROM focal_results r WHERE r.lens_id = l.id) ORDER BY l.slug LIMIT ?1";

#[derive(sqlx::FromRow)]
struct EventRow {
    publication: i64,
    sweep_id: SweepId,
    version: u32,
    published_ms: i64,
    withdrawn_ms: Option<i64>,
    withdrawn_reason: Option<String>,
    document: String,
    #[sqlx(flatten)]
    lens: LensRow,
}

impl Store {
    /// The newest publications and the newest withdrawals, at most so many of each.
    pub async fn public_events(
        &self,
        limit: u32,
    ) -> Result<(Vec<PublicEvent>, Vec<PublicEvent>), StoreError> {
        let mut read = self.read().await?;
        let mut found = [Vec::new(), Vec::new()];
        for (events, statement) in found.iter_mut().zip([NEWEST, NEWEST_WITHDRAWN]) {
            let rows = sqlx::query_as::<_, EventRow>(statement)
                .bind(limit)
                .fetch_all(&mut *read)
                .await?;
            for row in rows {
                events.push(PublicEvent {
                    publication: row.publication,
                    sweep: row.sweep_id,
                    version: row.version,
                    published_ms: row.published_ms,
                    withdrawn: row.withdrawn_ms.zip(row.withdrawn_reason),
                    lens: row.lens.read()?,
                    result: decode::<PublicationDoc>(&row.document)?.result()?,
                });
            }
        }
        let [published, withdrawn] = found;
        Ok((published, withdrawn))
    }

    /// Slugs of the lenses with something public, at most so many, each with when that was published last (ms since 1970
    /// UTC).
    pub async fn measured_slugs(&self, limit: u32) -> Result<Vec<(String, i64)>, StoreError> {
        Ok(sqlx::query_as(MEASURED)
            .bind(limit)
            .fetch_all(&self.readers)
            .await?)
    }
}
