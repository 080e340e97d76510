//! What a job has to measure, and the hash that says whether it was measured before.

use sha2::{Digest, Sha256};

use super::document::{ConditionsDoc, FrameInfoDoc, SettingsDoc, decode, encode};
use super::{Store, StoreError, SweepId};
use crate::sweep::{FrameInfo, SweepSettings};
use crate::units::{Metres, Millimetres};

/// All that a measurement needs.
#[derive(Debug, Clone)]
pub struct SweepInput {
    /// Name of the sweep.
    pub name: String,
    /// What the reviewer said.
    pub settings: SweepSettings,
    /// The frames in file order.
    pub frames: Vec<FrameInput>,
}

/// One frame to measure.
#[derive(Debug, Clone)]
pub struct FrameInput {
    /// What the file says.
    pub info: FrameInfo,
    /// Hash of its original, 64 hex digits.
    pub sha256: String,
}

impl SweepInput {
    /// SHA-256 over frame hashes, what the files say and the settings, 64 hex digits: equal inputs give equal results.
    ///
    /// # Errors
    /// `Damaged` when a number in it is not finite.
    pub fn sha256(&self) -> Result<String, StoreError> {
        let frames: Vec<(&str, FrameInfoDoc)> = self
            .frames
            .iter()
            .map(|frame| (frame.sha256.as_str(), FrameInfoDoc::of(&frame.info)))
            .collect();
        let text = encode(&(&self.name, SettingsDoc::of(&self.settings), frames))?;
        Ok(hex::encode(Sha256::digest(text)))
    }
}

impl Store {
    /// What a job has to measure. What the sweep itself does not say comes from the shoot, the sensor's width from its
    /// camera; where no frame's distance is known, so that it can come from blur only, the curve starts at the closest
    /// focus that is marked on the lens. A lens of one focal length has that where no file states any.
    pub async fn sweep_input(&self, sweep: SweepId) -> Result<Option<SweepInput>, StoreError> {
        let mut read = self.read().await?;
        let Some((name, conditions, settings, sensor_width_mm, marked_m, prime_mm)) =
            sqlx::query_as::<_, (String, String, String, Option<f64>, Option<f64>, Option<f64>)>(
                "SELECT s.name, s.conditions, s.settings, c.sensor_width_mm, l.closest_focus_m,
                        iif(l.focal_min_mm = l.focal_max_mm, l.focal_min_mm, NULL)
                 FROM sweeps s JOIN lenses l ON l.id = s.lens_id LEFT JOIN cameras c ON c.id = s.camera_id
                 WHERE s.id = ?1",
            )
            .bind(sweep)
            .fetch_optional(&mut *read)
            .await?
        else {
            return Ok(None);
        };
        let frames: Vec<(String, String)> =
            sqlx::query_as("SELECT sha256, info FROM frames WHERE sweep_id = ?1 ORDER BY position")
                .bind(sweep)
                .fetch_all(&mut *read)
                .await?;
        let conditions = decode::<ConditionsDoc>(&conditions)?.read()?;
        let mut settings = decode::<SettingsDoc>(&settings)?.read()?;
        settings.target_distance = settings.target_distance.or(conditions.target_distance);
        settings.closest_focus = settings.closest_focus.or(conditions.closest_focus);
        if settings.sensor_width.is_none() {
            settings.sensor_width = sensor_width_mm.map(Millimetres::new).transpose()?;
        }
        let frames = frames
            .into_iter()
            .map(|(sha256, info)| {
                Ok(FrameInput {
                    info: decode::<FrameInfoDoc>(&info)?.read()?,
                    sha256,
                })
            })
            .collect::<Result<Vec<_>, StoreError>>()?;
        let stated = frames
            .iter()
            .any(|frame: &FrameInput| frame.info.focus_distance.is_some());
        if settings.closest_focus.is_none() && settings.distances.is_empty() && !stated {
            settings.closest_focus = marked_m.map(Metres::new).transpose()?;
        }
        let names_focal = |frame: &FrameInput| frame.info.focal_length.is_some();
        if settings.focal_length.is_none() && !frames.iter().any(names_focal) {
            settings.focal_length = prime_mm.map(Millimetres::new).transpose()?;
        }
        Ok(Some(SweepInput {
            name,
            settings,
            frames,
        }))
    }
}
