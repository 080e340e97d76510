//! Publishing and withdrawing, and what is public of a sweep.

use sqlx::SqliteConnection;

use super::audit::add_audit_row;
use super::document::{
    ConditionsDoc, MeasurementDoc, PublicationDoc, SettingsDoc, camera_time, decode, encode,
};
use super::lenses::{LensRow, lens_columns};
use super::read_model::remake;
use super::sweeps::load_sweep;
use super::{
    Actor, AuditEntry, Conditions, ConditionsKey, FocalResult, Lens, LensId, Store, StoreError,
    Sweep, SweepId,
};
use crate::sweep::{DEFAULT_TOLERANCE_PCT, Severity, SweepMeasurement, SweepSettings};
use crate::units::{FNumber, Metres};

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

/// A public sweep in a list.
#[derive(Debug, Clone)]
pub struct PublishedRow {
    /// Key of the sweep.
    pub sweep: SweepId,
    /// Version that is public.
    pub version: u32,
    /// When it was published, ms since 1970 UTC.
    pub published_ms: i64,
    /// Which lens it is of.
    pub lens: Lens,
    /// Its result alone, without repeats.
    pub result: FocalResult,
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

#[derive(sqlx::FromRow)]
struct ToPublish {
    lens_id: i64,
    reviewer: String,
    conditions: String,
    settings: String,
    notes: String,
    job_state: Option<String>,
    public_result_id: Option<i64>,
    result_id: Option<i64>,
    algorithm_version: Option<u32>,
    document: Option<String>,
}

/// The public sweeps along the index of publications, newest first.
pub(super) const NEWEST_PUBLISHED: &str = concat!(
    "SELECT s.id AS sweep_id, p.version, p.published_ms, p.document, ",
    lens_columns!(),
    " FROM sweeps s CROSS JOIN publications p ON p.id = s.public_id CROSS JOIN lenses l ON l.id = s.lens_id
      WHERE s.public_id IS NOT NULL ORDER BY s.public_id DESC LIMIT ?1"
);

impl Store {
    /// Makes the newest result public as a new version and remakes the read models of the lens, in one transaction with its audit row.
    /// # Errors: `Conflict` when there is no result, a stop finding stands, a measurement is under way or was set aside, the focal length
    /// is not known, or the newest result is public already.
    pub async fn publish(
        &self,
        id: SweepId,
        by: impl Into<Actor>,
        now_ms: i64,
    ) -> Result<u32, StoreError> {
        let by = by.into();
        let mut write = self.write().await?;
        let row: ToPublish = sqlx::query_as(
            "SELECT s.lens_id, a.name AS reviewer, s.conditions, s.settings, s.notes, p.result_id AS public_result_id,
                    r.id AS result_id, r.algorithm_version, r.document,
                    (SELECT state FROM jobs WHERE sweep_id = s.id ORDER BY id DESC LIMIT 1) AS job_state
             FROM sweeps s JOIN accounts a ON a.id = s.account_id
             LEFT JOIN results r ON r.id = s.current_result_id
             LEFT JOIN publications p ON p.id = s.public_id
             WHERE s.id = ?1",
        )
        .bind(id)
        .fetch_optional(&mut *write)
        .await?
        .ok_or_else(|| conflict("there is no such sweep"))?;
        match row.job_state.as_deref() {
            Some("waiting" | "running") => {
                return Err(conflict(
                    "this sweep is being measured; wait for its result",
                ));
            }
            Some("set_aside") => {
                return Err(conflict(
                    "the last measurement of this sweep failed; measure it again first",
                ));
            }
            _ => {}
        }
        let (Some(result_id), Some(algorithm_version), Some(document)) =
            (row.result_id, row.algorithm_version, row.document)
        else {
            return Err(conflict("there is no result to publish yet"));
        };
        if row.public_result_id == Some(result_id) {
            return Err(conflict("the newest result is public already"));
        }
        let conditions = decode::<ConditionsDoc>(&row.conditions)?.read()?;
        let settings = decode::<SettingsDoc>(&row.settings)?.read()?;
        let result = public_result(
            id,
            &row.reviewer,
            &conditions,
            &settings,
            algorithm_version,
            decode::<MeasurementDoc>(&document)?.read()?,
        )?;
        let document = PublicationDoc::new(
            ConditionsDoc::of(&conditions),
            SettingsDoc::of(&settings),
            row.notes,
            &result,
        );
        let (publication, version): (i64, u32) = sqlx::query_as(
            "INSERT INTO publications (sweep_id, lens_id, result_id, version, account_id, published_ms, document)
             VALUES (?1, ?2, ?3, (SELECT coalesce(max(version), 0) + 1 FROM publications WHERE sweep_id = ?1), ?4, ?5, ?6)
             RETURNING id, version",
        )
        .bind(id)
        .bind(row.lens_id)
        .bind(result_id)
        .bind(by.account)
        .bind(now_ms)
        .bind(encode(&document)?)
        .fetch_one(&mut *write)
        .await?;
        sqlx::query("UPDATE sweeps SET public_id = ?2 WHERE id = ?1")
            .bind(id)
            .bind(publication)
            .execute(&mut *write)
            .await?;
        remake(&mut write, row.lens_id).await?;
        let detail = format!("version {version}");
        add_audit_row(&mut write, &entry(by, "publish", id, detail, now_ms)).await?;
        write.commit().await?;
        Ok(version)
    }

    /// Takes a sweep back, all its versions, with a reason that stays visible; remakes the read models of the lens and adds an audit row,
    /// in one transaction. # Errors: `Conflict` when no version is public or no reason is given.
    pub async fn withdraw(
        &self,
        id: SweepId,
        by: impl Into<Actor>,
        reason: &str,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let by = by.into();
        let reason = reason.trim();
        if reason.is_empty() {
            return Err(conflict(
                "say why the sweep is taken back; readers will see it",
            ));
        }
        let mut write = self.write().await?;
        let lens: LensId = sqlx::query_scalar(
            "UPDATE sweeps SET public_id = NULL WHERE id = ?1 AND public_id IS NOT NULL RETURNING lens_id",
        )
        .bind(id)
        .fetch_optional(&mut *write)
        .await?
        .ok_or_else(|| conflict("this sweep is not public; there is nothing to take back"))?;
        sqlx::query(
            "UPDATE publications SET withdrawn_ms = ?2, withdrawn_by = ?3, withdrawn_reason = ?4
             WHERE sweep_id = ?1 AND withdrawn_ms IS NULL",
        )
        .bind(id)
        .bind(now_ms)
        .bind(by.account)
        .bind(reason)
        .execute(&mut *write)
        .await?;
        remake(&mut write, lens).await?;
        let detail = reason.to_owned();
        add_audit_row(&mut write, &entry(by, "withdraw", id, detail, now_ms)).await?;
        write.commit().await?;
        Ok(())
    }

    /// The public version of a sweep.
    pub async fn published_sweep(&self, id: SweepId) -> Result<Option<PublishedSweep>, StoreError> {
        let mut read = self.read().await?;
        let row = sqlx::query_as(
            "SELECT p.version, p.result_id, p.document FROM sweeps s JOIN publications p ON p.id = s.public_id WHERE s.id = ?1",
        )
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
        let row = sqlx::query_as(
            "SELECT version, result_id, document FROM publications
             WHERE sweep_id = ?1 AND version = ?2 AND withdrawn_ms IS NULL",
        )
        .bind(id)
        .bind(version)
        .fetch_optional(&mut *read)
        .await?;
        as_published(&mut read, id, row).await
    }

    /// When and why a sweep that was public was taken back; `None` for one that is public or never was.
    pub async fn withdrawal(&self, id: SweepId) -> Result<Option<Withdrawal>, StoreError> {
        let row: Option<(i64, String, String)> = sqlx::query_as(
            "SELECT p.withdrawn_ms, p.withdrawn_reason, l.slug
             FROM sweeps s JOIN publications p ON p.sweep_id = s.id JOIN lenses l ON l.id = s.lens_id
             WHERE s.id = ?1 AND s.public_id IS NULL AND p.withdrawn_ms IS NOT NULL ORDER BY p.version DESC LIMIT 1",
        )
        .bind(id)
        .fetch_optional(&self.readers)
        .await?;
        Ok(row.map(|(withdrawn_ms, reason, lens_slug)| Withdrawal {
            withdrawn_ms,
            reason,
            lens_slug,
        }))
    }

    /// The public sweeps, newest published first.
    pub async fn published_sweeps(&self, limit: u32) -> Result<Vec<PublishedRow>, StoreError> {
        #[derive(sqlx::FromRow)]
        struct Row {
            sweep_id: i64,
            version: u32,
            published_ms: i64,
            document: String,
            #[sqlx(flatten)]
            lens: LensRow,
        }
        sqlx::query_as::<_, Row>(NEWEST_PUBLISHED)
            .bind(limit)
            .fetch_all(&self.readers)
            .await?
            .into_iter()
            .map(|row| {
                Ok(PublishedRow {
                    sweep: row.sweep_id,
                    version: row.version,
                    published_ms: row.published_ms,
                    lens: row.lens.read()?,
                    result: decode::<PublicationDoc>(&row.document)?.result()?,
                })
            })
            .collect()
    }
}

/// The publications of a sweep, newest first.
pub(super) async fn publications_of(
    read: &mut SqliteConnection,
    sweep: SweepId,
) -> Result<Vec<Publication>, StoreError> {
    let rows = sqlx::query_as::<_, PublicationRow>(
        "SELECT sweep_id, version, result_id, published_ms, withdrawn_ms, withdrawn_reason
         FROM publications WHERE sweep_id = ?1 ORDER BY version DESC",
    )
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

/// What a measured sweep says in public, alone.
fn public_result(
    sweep: SweepId,
    reviewer: &str,
    conditions: &Conditions,
    settings: &SweepSettings,
    algorithm_version: u32,
    measurement: SweepMeasurement,
) -> Result<FocalResult, StoreError> {
    let Some(summary) = measurement.summary.filter(|_| {
        let stop = |finding: &crate::sweep::Finding| finding.severity == Severity::Stop;
        !measurement.findings.iter().any(stop)
    }) else {
        return Err(conflict(
            "a finding stops this sweep; mend it and measure again",
        ));
    };
    let Some(focal_length) = measurement.focal_length else {
        return Err(conflict(
            "the focal length of this sweep is not known; give it and measure again",
        ));
    };
    Ok(FocalResult {
        conditions: ConditionsKey {
            distortion_correction: conditions.distortion_correction,
            breathing_compensation: conditions.breathing_compensation,
        },
        focal_length_mm: focal_length.mm(),
        sweeps: vec![sweep],
        worst_shift_pct: summary.worst_shift_pct,
        repeats_disagree: false,
        tolerance: summary.curve.tolerance_outcome(DEFAULT_TOLERANCE_PCT),
        curve: summary.curve,
        distance_source: measurement.distance_source,
        closest_focus_m: measurement.closest_focus.map(Metres::m),
        relative_to_farthest: summary.relative_to_farthest,
        f_number: measurement.f_number.map(FNumber::n),
        camera: measurement.camera,
        picture_width_px: measurement.picture_size_px.map(|(width, _)| width),
        target_distance_m: settings
            .target_distance
            .or(conditions.target_distance)
            .map(Metres::m),
        reviewers: vec![reviewer.to_owned()],
        captured_at: measurement
            .captured_at
            .and_then(camera_time)
            .into_iter()
            .collect(),
        algorithm_version,
        findings: measurement.findings,
    })
}

fn conflict(words: &str) -> StoreError {
    StoreError::Conflict(words.to_owned())
}

fn entry(
    by: Actor,
    action: &'static str,
    sweep: SweepId,
    detail: String,
    at_ms: i64,
) -> AuditEntry {
    AuditEntry {
        at_ms,
        account: Some(by.account),
        action,
        subject: format!("sweep {sweep}"),
        detail,
        request_id: by.request_id,
    }
}
