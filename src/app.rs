//! The running program: opens the data folder, starts the worker, and holds what every request handler shares.

mod receive;

use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use tokio::sync::Notify;
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use crate::config::{Config, database_path};
use crate::intake::{IntakeError, Originals};
use crate::store::{Store, StoreError};
use crate::worker::Worker;

pub use receive::{ReceiveError, UNNAMED_SWEEP};

/// Name of the lock file inside a data folder.
const LOCK_FILE: &str = "breathmark.lock";

/// What the handlers share; cheap to clone.
#[derive(Debug, Clone)]
pub struct App {
    /// The database.
    pub store: Store,
    /// The files as they came.
    pub originals: Originals,
    /// Settings.
    pub config: Arc<Config>,
    /// Rings the worker.
    pub wake: Arc<Notify>,
    /// Cancelled when the program shuts down.
    pub stop: CancellationToken,
    /// Held until the last clone is gone: one program owns a data folder.
    _lock: Arc<File>,
}

/// Why the program can't start on a data folder.
#[derive(Debug, thiserror::Error)]
pub enum AppError {
    /// Another program holds the lock.
    #[error(
        "another breathmark owns the data folder {0}; stop it first, or choose another folder with --data"
    )]
    Owned(PathBuf),
    /// The folder can't be made or written.
    #[error("the data folder {folder} can't be used: {cause}")]
    Folder {
        /// Which folder.
        folder: PathBuf,
        /// What the system says.
        cause: std::io::Error,
    },
    /// The originals can't be opened.
    #[error("the originals can't be opened: {0}")]
    Originals(#[from] IntakeError),
    /// The database can't be opened.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl App {
    /// Opens the data folder of these settings: makes it where there is none, takes its lock, opens originals and database.
    ///
    /// # Errors
    /// `Owned` when another program has the folder; `Folder` when it can't be made or written; `Originals` or `Store` when
    /// what is in it can't be opened.
    pub async fn open(config: Config) -> Result<Self, AppError> {
        let folder = config.folder.data.clone();
        let (lock, originals) = tokio::task::spawn_blocking(move || {
            let lock = lock(&folder)?;
            // Sweeps unfinished files away, so only after the lock is held.
            let originals = Originals::open(&folder)?;
            Ok::<_, AppError>((lock, originals))
        })
        .await
        .map_err(|fault| AppError::Folder {
            folder: config.folder.data.clone(),
            cause: fault.into(),
        })??;
        let store = Store::open(&database_path(&config.folder.data)).await?;
        store.end_leases().await?;
        Ok(Self {
            store,
            originals,
            config: Arc::new(config),
            wake: Arc::new(Notify::new()),
            stop: CancellationToken::new(),
            _lock: Arc::new(lock),
        })
    }

    /// Starts the worker. It ends after `stop` is cancelled, when it has given back what it holds; wait for the handle.
    #[must_use]
    pub fn start_worker(&self) -> JoinHandle<()> {
        let worker = Worker {
            store: self.store.clone(),
            originals: self.originals.clone(),
            limits: self.config.limits(),
            wake: self.wake.clone(),
            threads: self.config.measure_threads,
            timing: crate::worker::Timing::default(),
        };
        tokio::spawn(worker.run(self.stop.clone()))
    }
}

/// Makes the folder and takes its lock, which the system lets go when the program ends, however it ends.
fn lock(folder: &Path) -> Result<File, AppError> {
    let unusable = |cause| AppError::Folder {
        folder: folder.to_owned(),
        cause,
    };
    std::fs::create_dir_all(folder).map_err(unusable)?;
    let file = File::options()
        .create(true)
        .truncate(false)
        .write(true)
        .open(folder.join(LOCK_FILE))
        .map_err(unusable)?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(AppError::Owned(folder.to_owned())),
        Err(TryLockError::Error(cause)) => Err(unusable(cause)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_has_one_owner_at_a_time() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let data = folder.path().join("new/data");
        let first = lock(&data).expect("nobody has it");
        assert!(matches!(lock(&data), Err(AppError::Owned(_))));
        drop(first);
        lock(&data).expect("it is free again");
    }

    #[test]
    fn a_folder_that_cannot_be_made_is_named() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let file = folder.path().join("file");
        std::fs::write(&file, "x").expect("a writable folder");
        let error = lock(&file.join("data")).expect_err("a file is no folder");
        assert!(error.to_string().contains("file/data"), "{error}");
    }
}
