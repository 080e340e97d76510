//! Receiving: a file becomes an original and a row, a finished upload becomes sweeps in line to be measured.
//!
//! The form, the API and the demo all come through here.

use std::collections::{BTreeSet, HashMap};

use super::App;
use crate::intake::{self, IntakeError};
use crate::measure::Unmeasurable;
use crate::store::{LensId, StoreError, SweepDraft, SweepId, Upload, UploadFile, UploadId};
use crate::sweep::{self, FrameInfo, SweepGroup, SweepSettings};

/// Name of a sweep whose files were in no folder of their own.
pub const UNNAMED_SWEEP: &str = "sweep";

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
    /// `Intake` when the bytes are no frame or too many, or the path can't be shown; `Store` with `OtherBytes` for other
    /// bytes under the same path, with `Conflict` for an upload that is finished, full or not there.
    pub async fn receive_file(
        &self,
        upload: UploadId,
        path: &str,
        bytes: Vec<u8>,
        now_ms: i64,
    ) -> Result<UploadFile, ReceiveError> {
        let path = intake::display_path(path)?;
        let limits = self.config.limits();
        // Before the bytes are kept, so that none are kept in vain.
        self.store
            .may_take(upload, &path, limits.max_upload_files)
            .await?;
        let originals = self.originals.clone();
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
    /// `Store` when the database can't be written, with `Conflict` when a file arrived while the others were sorted.
    pub async fn finish_upload(
        &self,
        upload: &Upload,
        now_ms: i64,
    ) -> Result<Vec<SweepId>, ReceiveError> {
        if upload.finished {
            return Ok(self.store.sweeps_of_upload(upload.id).await?);
        }
        let files = self.store.upload_files(upload.id).await?;
        let sorted = files.len();
        let (frames, copies) = self.without_copies(files).await?;
        for (name, reason) in &copies {
            self.store.add_refusal(upload.id, name, reason).await?;
        }
        let infos: Vec<FrameInfo> = frames.iter().map(|file| file.info.clone()).collect();
        let settings = SweepSettings {
            target_distance: upload.conditions.target_distance,
            closest_focus: upload.conditions.closest_focus,
            ..SweepSettings::default()
        };
        let lenses = self.lenses_of_card(&infos).await?;
        let drafts: Vec<SweepDraft> = self
            .split(&frames, infos.clone())
            .await?
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
        let sweeps = self
            .store
            .finish_upload(upload.id, sorted, &drafts, now_ms)
            .await?;
        self.wake.notify_one();
        Ok(sweeps)
    }

    /// The frames of an upload sorted into sweeps; where files leave it open, their pictures are looked at.
    async fn split(
        &self,
        frames: &[UploadFile],
        infos: Vec<FrameInfo>,
    ) -> Result<Vec<SweepGroup>, ReceiveError> {
        let originals = self.originals.clone();
        let limits = self.config.limits();
        let hashes: Vec<String> = frames.iter().map(|file| file.sha256.clone()).collect();
        let split = move || {
            let load = |index: usize| {
                originals
                    .read(&hashes[index])
                    .and_then(|bytes| intake::decode_plane(&bytes, &limits))
                    .map_err(|error| Unmeasurable::Undecodable(error.to_string()))
            };
            sweep::split_looking(&infos, UNNAMED_SWEEP, &load)
        };
        Ok(tokio::task::spawn_blocking(split).await?)
    }

    /// The files without those whose picture is in another one, and what is said of these by name. A copy that lost its
    /// metadata is other bytes: where there may be copies, the coded pictures are compared.
    async fn without_copies(
        &self,
        files: Vec<UploadFile>,
    ) -> Result<(Vec<UploadFile>, Vec<(String, String)>), ReceiveError> {
        let originals = self.originals.clone();
        let parting = move || {
            // A file that can't be read any more is its own mark; measuring will say what is wrong with it.
            let mark = |at: usize| {
                let sha256 = &files[at].sha256;
                let bytes = originals.read(sha256);
                bytes.map_or_else(|_| sha256.clone(), |bytes| intake::picture_mark(&bytes))
            };
            let infos: Vec<&FrameInfo> = files.iter().map(|file| &file.info).collect();
            let firsts = intake::copies(&infos, mark);
            let said: Vec<Option<String>> = firsts
                .into_iter()
                .map(|first| Some(intake::said_of_copy(&files[first?].name)))
                .collect();
            let (mut frames, mut copies) = (Vec::new(), Vec::new());
            for (file, said) in files.into_iter().zip(said) {
                match said {
                    None => frames.push(file),
                    Some(said) => copies.push((file.name, said)),
                }
            }
            (frames, copies)
        };
        Ok(tokio::task::spawn_blocking(parting).await?)
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
