//! Cameras, as the files of sweeps name them.

use sqlx::SqliteConnection;

use super::{Store, StoreError};

/// A camera that sweeps were shot with.
#[derive(Debug, Clone, PartialEq, sqlx::FromRow)]
pub struct Camera {
    /// Key.
    pub id: i64,
    /// Name as the files state it.
    pub name: String,
    /// Width of the picture area on the sensor, mm.
    pub sensor_width_mm: Option<f64>,
}

impl Store {
    /// All cameras by name.
    pub async fn cameras(&self) -> Result<Vec<Camera>, StoreError> {
        Ok(
            sqlx::query_as("SELECT id, name, sensor_width_mm FROM cameras ORDER BY name")
                .fetch_all(&self.readers)
                .await?,
        )
    }
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
