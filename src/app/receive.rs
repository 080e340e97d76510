//! Receiving: a file becomes an original and a row, a finished upload becomes sweeps in line to be measured.
//!
//! The form, the API and the demo all come through here.

use std::collections::hash_map::Entry;
use std::collections::{BTreeSet, HashMap};

use super::App;
use crate::intake::{self, IntakeError};
use crate::store::{LensId, StoreError, SweepDraft, SweepId, Upload, UploadFile, UploadId};
use crate::sweep::{self, FrameInfo, SweepSettings};

/// Why a file or an upload could not be received.
#[derive(Debug, thiserror::Error)]
pub enum ReceiveError {
    /// The bytes are no frame; the text says how to mend it.
    #[error(transparent)]
    Intake(#[from] IntakeError),
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The work broke off inside the program.
    #[error("the work broke off inside the program: {0}")]
    Fault(#[from] tokio::task::JoinError),
}

impl App {
    /// Keeps one frame of an upload: judged by its header first, so that bytes which are no frame are never kept, then its
    /// bytes on disk, then its row. The same path and bytes again change nothing.
    ///
    /// # Errors
    /// `Intake` when the bytes are no frame or too many, or the path can't be shown; `Store` with `Conflict` for other
    /// bytes under the same path.
    pub async fn receive_file(
        &self,
        upload: UploadId,
        path: &str,
        bytes: Vec<u8>,
        now_ms: i64,
    ) -> Result<UploadFile, ReceiveError> {
        let path = intake::display_path(path)?;
        let originals = self.originals.clone();
        let limits = self.config.limits();
        let file = tokio::task::spawn_blocking(move || -> Result<UploadFile, IntakeError> {
            let info = intake::inspect(&bytes, &path, &limits)?;
            let stored = originals.keep(&mut bytes.as_slice(), limits.max_file_bytes)?;
            Ok(UploadFile {
                name: path,
                sha256: stored.sha256,
                bytes: stored.bytes,
                info,
            })
        })
        .await??;
        self.store.add_upload_file(upload, &file, now_ms).await?;
        Ok(file)
    }

    /// Sorts the frames of an upload into sweeps and puts them in line to be measured. A picture that came twice under
    /// two names counts once. Finishing again gives the same sweeps.
    ///
    /// # Errors
    /// `Store` when the database can't be written.
    pub async fn finish_upload(
        &self,
        upload: &Upload,
        now_ms: i64,
    ) -> Result<Vec<SweepId>, ReceiveError> {
        let files = self.store.upload_files(upload.id).await?;
        let mut frames: Vec<UploadFile> = Vec::new();
        let mut first_of = HashMap::new();
        for file in files {
            match first_of.entry(file.sha256.clone()) {
                Entry::Occupied(first) => {
                    let first: &String = first.get();
                    let reason =
                        format!("the same picture as {first}, byte for byte; it counts once");
                    self.store
                        .add_refusal(upload.id, &file.name, &reason)
                        .await?;
                }
                Entry::Vacant(place) => {
                    place.insert(file.name.clone());
                    frames.push(file);
                }
            }
        }
        let infos: Vec<FrameInfo> = frames.iter().map(|file| file.info.clone()).collect();
        let settings = SweepSettings {
            target_distance: upload.conditions.target_distance,
            closest_focus: upload.conditions.closest_focus,
            ..SweepSettings::default()
        };
        let lenses = self.lenses_of_card(&infos).await?;
        let drafts: Vec<SweepDraft> = sweep::split(&infos, "sweep")
            .into_iter()
            .map(|group| SweepDraft {
                name: group.name,
                settings: settings.clone(),
                lens: group
                    .frames
                    .iter()
                    .find_map(|index| lenses.get(infos[*index].lens.as_deref()?).copied()),
                files: group
                    .frames
                    .iter()
                    .map(|index| frames[*index].clone())
                    .collect(),
            })
            .collect();
        let sweeps = self.store.finish_upload(upload.id, &drafts, now_ms).await?;
        self.wake.notify_one();
        Ok(sweeps)
    }

    /// The lenses that the files of a card name and that sweeps were published under, by those names. A card that
    /// names one lens, or none, is of the lens that was chosen for it, whatever cameras call that lens.
    async fn lenses_of_card(
        &self,
        infos: &[FrameInfo],
    ) -> Result<HashMap<String, LensId>, ReceiveError> {
        let names: BTreeSet<&str> = infos
            .iter()
            .filter_map(|info| info.lens.as_deref())
            .collect();
        let mut lenses = HashMap::new();
        if names.len() > 1 {
            for name in names {
                if let Some(lens) = self.store.lens_called(name).await? {
                    lenses.insert(name.to_owned(), lens.id);
                }
            }
        }
        Ok(lenses)
    }
}
