//! Publishing a sweep and taking it back.

use sqlx::SqliteConnection;

use super::audit::add_audit_row;
use super::document::{ConditionsDoc, MeasurementDoc, PublicationDoc, SettingsDoc, decode, encode};
use super::lens_names::note_lens_name;
use super::lens_page::load_lens_page;
use super::read_model::remake;
use super::{
    Actor, AuditEntry, Conditions, FocalResult, LensId, LensPage, Store, StoreError, SweepId,
};
use crate::sweep::{DEFAULT_TOLERANCE_PCT, Severity, SweepMeasurement, SweepSettings};
use crate::units::{FNumber, Metres, Millimetres};

#[derive(sqlx::FromRow)]
struct ToPublish {
    lens_id: i64,
    reviewer: String,
    conditions: String,
    settings: String,
    notes: String,
    job_state: Option<String>,
    slug: String,
    public_result_id: Option<i64>,
    public_document: Option<String>,
    result_id: Option<i64>,
    algorithm_version: Option<u32>,
    document: Option<String>,
    camera_width_mm: Option<f64>,
}

/// What publishing a sweep would make of the page of its lens.
#[derive(Debug, Clone)]
pub struct Preview {
    /// The page as it would be.
    pub page: LensPage,
    /// Version that the sweep would become.
    pub version: u32,
}

impl Store {
    /// Makes the newest result public as a new version and remakes the read models of the lens, in one transaction with its audit row.
    /// # Errors: `Conflict` when there is no result, a stop finding stands, a measurement is under way or was set aside, the focal length
    /// is not known, or nothing differs from what is public.
    pub async fn publish(
        &self,
        id: SweepId,
        by: impl Into<Actor>,
        now_ms: i64,
    ) -> Result<u32, StoreError> {
        let mut write = self.write().await?;
        let published = publish(&mut write, id, by.into(), now_ms).await?;
        write.commit().await?;
        Ok(published.version)
    }

    /// Publishes several sweeps, all of them or none. # Errors: as `publish`, for the first that can't be published.
    pub async fn publish_together(
        &self,
        ids: &[SweepId],
        by: impl Into<Actor>,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let by = by.into();
        let mut write = self.write().await?;
        for id in ids {
            publish(&mut write, *id, by.clone(), now_ms).await?;
        }
        Ok(write.commit().await?)
    }

    /// The page of the lens as it would be after publishing these of its sweeps: publishes, reads, and takes everything
    /// back. # Errors: as `publish`; `Conflict` when there is none to publish.
    pub async fn preview(
        &self,
        ids: &[SweepId],
        by: impl Into<Actor>,
        now_ms: i64,
    ) -> Result<Preview, StoreError> {
        let by = by.into();
        let mut write = self.write().await?;
        let mut last = None;
        for id in ids {
            last = Some(publish(&mut write, *id, by.clone(), now_ms).await?);
        }
        let published = last.ok_or_else(|| conflict("no sweep was chosen"))?;
        let page = load_lens_page(&mut write, &published.slug).await?;
        write.rollback().await?;
        Ok(Preview {
            page: page.ok_or_else(|| conflict("there is no such lens"))?,
            version: published.version,
        })
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
}

/// What was published.
struct Published {
    slug: String,
    version: u32,
}

/// Publishes in a transaction that somebody else ends.
async fn publish(
    write: &mut SqliteConnection,
    id: SweepId,
    by: Actor,
    now_ms: i64,
) -> Result<Published, StoreError> {
    let row: ToPublish = sqlx::query_as(
        "SELECT s.lens_id, l.slug, a.name AS reviewer, s.conditions, s.settings, s.notes, p.result_id AS public_result_id,
                p.document AS public_document, r.id AS result_id, r.algorithm_version, r.document,
                (SELECT state FROM jobs WHERE sweep_id = s.id ORDER BY id DESC LIMIT 1) AS job_state,
                coalesce(c.sensor_width_mm, c.derived_width_mm) AS camera_width_mm
         FROM sweeps s JOIN accounts a ON a.id = s.account_id JOIN lenses l ON l.id = s.lens_id
         LEFT JOIN results r ON r.id = s.current_result_id
         LEFT JOIN publications p ON p.id = s.public_id
         LEFT JOIN cameras c ON c.id = s.camera_id
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
    let conditions = decode::<ConditionsDoc>(&row.conditions)?.read()?;
    let settings = decode::<SettingsDoc>(&row.settings)?.read()?;
    let measurement = decode::<MeasurementDoc>(&document)?.read()?;
    let lens_name = measurement.lens.clone();
    let result = public_result(
        id,
        &row.reviewer,
        &conditions,
        &settings,
        row.camera_width_mm,
        algorithm_version,
        measurement,
    )?;
    let document = PublicationDoc::new(
        ConditionsDoc::of(&conditions),
        SettingsDoc::of(&settings),
        row.notes,
        &result,
    );
    if row.public_result_id == Some(result_id)
        && let Some(public) = row.public_document
        && document.says_the_same_as(decode(&public)?)?
    {
        return Err(StoreError::AlreadyPublic);
    }
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
    if let Some(name) = lens_name {
        note_lens_name(write, &name, row.lens_id, now_ms).await?;
    }
    remake(write, row.lens_id).await?;
    let detail = format!("version {version}");
    add_audit_row(write, &entry(by, "publish", id, detail, now_ms)).await?;
    Ok(Published {
        slug: row.slug,
        version,
    })
}

/// What a measured sweep says in public, alone.
fn public_result(
    sweep: SweepId,
    reviewer: &str,
    conditions: &Conditions,
    settings: &SweepSettings,
    camera_width_mm: Option<f64>,
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
        conditions: conditions.key(),
        focal_length_mm: focal_length.mm(),
        sweeps: vec![sweep],
        same_pictures: Vec::new(),
        partial: Vec::new(),
        worst_shift_pct: summary.worst_shift_pct,
        systematic: summary.budget.systematic,
        repeats_disagree: false,
        tolerance: summary.curve.tolerance_outcome(DEFAULT_TOLERANCE_PCT),
        curve: summary.curve,
        distance_source: measurement.distance_source,
        closest_focus_m: measurement.closest_focus.map(Metres::m),
        relative_to_farthest: summary.relative_to_farthest,
        f_number: measurement.f_number.map(FNumber::n),
        f_numbers: measurement.f_number.map(FNumber::n).into_iter().collect(),
        cameras: measurement.camera.iter().cloned().collect(),
        camera: measurement.camera,
        picture_width_px: measurement.picture_size_px.map(|(width, _)| width),
        sensor_width_mm: settings
            .sensor_width
            .map(Millimetres::mm)
            .or(camera_width_mm),
        target_distance_m: settings
            .target_distance
            .or(conditions.target_distance)
            .map(Metres::m),
        reviewers: vec![reviewer.to_owned()],
        captured_at: measurement
            .captured_at
            .map(|taken| taken.to_string())
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
