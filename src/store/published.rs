//! What is public of sweeps, version by version, and what was taken back.

use sqlx::SqliteConnection;

use super::document::{PublicationDoc, decode};
use super::sweeps::load_sweep;
use super::{Store, StoreError, Sweep, SweepId};

/// One publishing of a sweep.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Publication {
    /// 1 for the first.
    pub version: u32,
    /// Result that was published.
    pub result: i64,
    /// When, ms since 1970 UTC.
    pub published_ms: i64,
    /// When it was taken back and why.
    pub withdrawn: Option<(i64, String)>,
}

/// A sweep as the public may see it: what was published, not a newer draft.
#[derive(Debug, Clone)]
pub struct PublishedSweep {
    /// The sweep, with result, conditions, settings and notes as they were published, and without its job.
    pub sweep: Sweep,
    /// Version of these.
    pub version: u32,
}

/// A sweep that was public and no longer is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Withdrawal {
    /// When it was taken back, ms since 1970 UTC.
    pub withdrawn_ms: i64,
    /// Why.
    pub reason: String,
    /// Slug of its lens.
    pub lens_slug: String,
}

/// The columns of a publication, but for its document.
#[derive(sqlx::FromRow)]
pub(super) struct PublicationRow {
    pub(super) sweep_id: SweepId,
    pub(super) version: u32,
    pub(super) result_id: i64,
    pub(super) published_ms: i64,
    pub(super) withdrawn_ms: Option<i64>,
    pub(super) withdrawn_reason: Option<String>,
}

/// The public version of a sweep.
pub(super) const PUBLIC: &str = "SELECT p.version, p.result_id, p.document
    FROM sweeps s JOIN publications p ON p.id = s.public_id WHERE s.id = ?1";

/// A version of a sweep that was not taken back.
pub(super) const VERSION: &str = "SELECT version, result_id, document FROM publications
    WHERE sweep_id = ?1 AND version = ?2 AND withdrawn_ms IS NULL";

/// When and why a sweep that was public was taken back.
pub(super) const WITHDRAWAL: &str = "SELECT p.withdrawn_ms, p.withdrawn_reason, l.slug
    FROM sweeps s JOIN publications p ON p.sweep_id = s.id JOIN lenses l ON l.id = s.lens_id
    WHERE s.id = ?1 AND s.public_id IS NULL AND p.withdrawn_ms IS NOT NULL ORDER BY p.version DESC LIMIT 1";

/// What was published of a sweep.
pub(super) const PUBLICATIONS: &str =
    "SELECT sweep_id, version, result_id, published_ms, withdrawn_ms, withdrawn_reason
    FROM publications WHERE sweep_id = ?1 ORDER BY version DESC";

impl Store {
    /// The public version of a sweep.
    pub async fn published_sweep(&self, id: SweepId) -> Result<Option<PublishedSweep>, StoreError> {
        let mut read = self.read().await?;
        let row = sqlx::query_as(PUBLIC)
            .bind(id)
            .fetch_optional(&mut *read)
            .await?;
        as_published(&mut read, id, row).await
    }

    /// A version of a sweep that was published and not taken back; the newest one is the public one.
    pub async fn published_version(
        &self,
        id: SweepId,
        version: u32,
    ) -> Result<Option<PublishedSweep>, StoreError> {
        let mut read = self.read().await?;
        let row = sqlx::query_as(VERSION)
            .bind(id)
            .bind(version)
            .fetch_optional(&mut *read)
            .await?;
        as_published(&mut read, id, row).await
    }

    /// When and why a sweep that was public was taken back; `None` for one that is public or never was.
    pub async fn withdrawal(&self, id: SweepId) -> Result<Option<Withdrawal>, StoreError> {
        let row: Option<(i64, String, String)> = sqlx::query_as(WITHDRAWAL)
            .bind(id)
            .fetch_optional(&self.readers)
            .await?;
        Ok(row.map(|(withdrawn_ms, reason, lens_slug)| Withdrawal {
            withdrawn_ms,
            reason,
            lens_slug,
        }))
    }
}

/// The publications of a sweep, newest first.
pub(super) async fn publications_of(
    read: &mut SqliteConnection,
    sweep: SweepId,
) -> Result<Vec<Publication>, StoreError> {
    let rows = sqlx::query_as::<_, PublicationRow>(PUBLICATIONS)
        .bind(sweep)
        .fetch_all(read)
        .await?;
    Ok(rows
        .into_iter()
        .map(|row| Publication {
            version: row.version,
            result: row.result_id,
            published_ms: row.published_ms,
            withdrawn: row.withdrawn_ms.zip(row.withdrawn_reason),
        })
        .collect())
}

/// The sweep as its publication (version, result, document) has it.
async fn as_published(
    read: &mut SqliteConnection,
    id: SweepId,
    publication: Option<(u32, i64, String)>,
) -> Result<Option<PublishedSweep>, StoreError> {
    let Some((version, result, document)) = publication else {
        return Ok(None);
    };
    let Some(sweep) = load_sweep(read, id, Some(result)).await? else {
        return Ok(None);
    };
    let document = decode::<PublicationDoc>(&document)?;
    let sweep = Sweep {
        conditions: document.conditions.read()?,
        settings: document.settings.read()?,
        notes: document.notes,
        job: None,
        ..sweep
    };
    Ok(Some(PublishedSweep { sweep, version }))
}
