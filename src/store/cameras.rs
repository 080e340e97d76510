//! Cameras, as the files of sweeps name them.

use sqlx::SqliteConnection;

use super::audit::add_audit_row;
use super::{AccountId, Actor, AuditEntry, Store, StoreError};

/// A camera that sweeps were shot with.
#[derive(Debug, Clone, PartialEq, sqlx::FromRow)]
pub struct Camera {
    /// Key.
    pub id: i64,
    /// Name as the files state it.
    pub name: String,
    /// Width of the picture area on the sensor, mm.
    pub sensor_width_mm: Option<f64>,
    /// The same from the focal lengths that its files state, a few per cent sure, mm.
    pub derived_width_mm: Option<f64>,
}

impl Store {
    /// All cameras by name.
    pub async fn cameras(&self) -> Result<Vec<Camera>, StoreError> {
        Ok(sqlx::query_as(
            "SELECT id, name, sensor_width_mm, derived_width_mm FROM cameras ORDER BY name",
        )
        .fetch_all(&self.readers)
        .await?)
    }

    /// Says how wide the picture area of a camera is, mm, with an audit row; `None` takes it back.
    /// # Errors: `Conflict` when there is no such camera.
    pub async fn set_sensor_width(
        &self,
        id: i64,
        sensor_width_mm: Option<f64>,
        by: Actor,
        now_ms: i64,
    ) -> Result<(), StoreError> {
        let mut write = self.write().await?;
        let name: Option<String> = sqlx::query_scalar(
            "UPDATE cameras SET sensor_width_mm = ?2 WHERE id = ?1 RETURNING name",
        )
        .bind(id)
        .bind(sensor_width_mm)
        .fetch_optional(&mut *write)
        .await?;
        let Some(name) = name else {
            return Err(StoreError::Conflict("there is no such camera".to_owned()));
        };
        let width = sensor_width_mm.map_or_else(|| "not said".to_owned(), |mm| format!("{mm} mm"));
        let entry = AuditEntry {
            at_ms: now_ms,
            account: Some(by.account),
            action: "camera corrected",
            subject: name,
            detail: format!("picture width {width}"),
            request_id: by.request_id,
        };
        add_audit_row(&mut write, &entry).await?;
        write.commit().await?;
        Ok(())
    }

    /// Whether nobody but this account has sweeps of a camera.
    pub async fn is_camera_of_one(&self, id: i64, account: AccountId) -> Result<bool, StoreError> {
        Ok(sqlx::query_scalar(
            "SELECT NOT EXISTS (SELECT 1 FROM sweeps WHERE camera_id = ?1 AND account_id <> ?2)",
        )
        .bind(id)
        .bind(account)
        .fetch_one(&self.readers)
        .await?)
    }
}

/// Notes the width of a camera's picture area as its files tell it, mm; the first word stays.
pub(super) async fn note_derived_width(
    write: &mut SqliteConnection,
    camera: i64,
    derived_width_mm: f64,
) -> Result<(), StoreError> {
    sqlx::query(
        "UPDATE cameras SET derived_width_mm = coalesce(derived_width_mm, ?2) WHERE id = ?1",
    )
    .bind(camera)
    .bind(derived_width_mm)
    .execute(write)
    .await?;
    Ok(())
}

/// The key of the camera of this name, made where it is new; a sensor width that is given is remembered.
pub(super) async fn camera_named(
    write: &mut SqliteConnection,
    name: &str,
    sensor_width_mm: Option<f64>,
) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar(
        "INSERT INTO cameras (name, sensor_width_mm) VALUES (?1, ?2)
         ON CONFLICT (name) DO UPDATE SET sensor_width_mm = coalesce(excluded.sensor_width_mm, sensor_width_mm)
         RETURNING id",
    )
    .bind(name)
    .bind(sensor_width_mm)
    .fetch_one(write)
    .await?)
}
