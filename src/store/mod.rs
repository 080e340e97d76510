//! The only SQL: accounts, lenses, uploads, sweeps, results, jobs, publications, audit, and the read models of the pages.
//!
//! One writer connection that opens every transaction with `BEGIN IMMEDIATE`, a pool of readers, WAL,
//! `synchronous=FULL`: what a function here returned `Ok` for survives a power cut.

use std::path::Path;

mod accounts;
mod audit;
mod jobs;
mod lenses;
mod ranking;
mod sweeps;
mod uploads;

pub use accounts::{Account, AccountId, Role, SessionRow};
pub use audit::AuditEntry;
pub use jobs::{ClaimedJob, FrameInput, JobState, JobView, SweepInput};
pub use lenses::{Kind, Lens, LensDraft, LensId};
pub use ranking::{FocalResult, LensPage, PublishedSweep, RankedLens, RankingQuery, RankingSort};
pub use sweeps::{
    Conditions, ConditionsKey, DeskRow, Publication, StoredResult, Sweep, SweepId, Switch,
};
pub use uploads::{SweepDraft, Upload, UploadFile, UploadId};

/// Why the store could not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Another writer held the database for longer than the busy timeout.
    #[error("the database is busy; try again in a moment")]
    Busy,
    /// The disk is full or may not be written.
    #[error("the data folder can't be written: {0}")]
    Unwritable(String),
    /// Something that must be unique is there already.
    #[error("{0}")]
    Conflict(String),
    /// The database was made by a newer version of the program.
    #[error("the database is newer than this program: {0}")]
    NewerSchema(String),
    /// A stored document does not read back.
    #[error("a stored document is damaged: {0}")]
    Damaged(String),
    /// Anything else that SQLite reports.
    #[error("database: {0}")]
    Sqlite(#[source] sqlx::Error),
}

/// The open database of one data folder.
#[derive(Debug, Clone)]
pub struct Store {
    writer: sqlx::SqlitePool,
    readers: sqlx::SqlitePool,
}

impl Store {
    /// Opens `path`, making and migrating it where needed.
    ///
    /// # Errors
    /// `NewerSchema` when the database was made by a newer program; `Unwritable` when the file can't be made.
    pub async fn open(path: &Path) -> Result<Self, StoreError> {
        let _ = path;
        unimplemented!()
    }
}
