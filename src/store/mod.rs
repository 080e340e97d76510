//! The only SQL: accounts, lenses, uploads, sweeps, results, jobs, publications, audit, and the read models of the pages.
//!
//! One writer connection that opens every transaction with `BEGIN IMMEDIATE`, a pool of readers, WAL,
//! `synchronous=FULL`: what a function here returned `Ok` for survives a power cut.

mod accounts;
mod audit;
mod cameras;
mod document;
mod error;
mod health;
mod jobs;
mod lenses;
mod open;
#[cfg(test)]
mod plans;
mod publishing;
mod ranking;
mod read_model;
mod refusals;
mod search;
mod sessions;
mod sweeps;
mod tokens;
mod uploads;

pub use accounts::{Account, AccountId, Role};
pub use audit::{Actor, AuditEntry, AuditRow};
pub use cameras::Camera;
pub use error::StoreError;
pub use health::{Counts, StuckJob};
pub use jobs::{ClaimedJob, FrameInput, JobState, JobView, SweepInput};
pub use lenses::{InvalidField, Kind, Lens, LensDraft, LensId};
pub use publishing::{Publication, PublishedRow, PublishedSweep, Withdrawal};
pub use ranking::{FocalResult, LensPage, RankedLens, RankingQuery, RankingSort};
pub use sessions::SessionRow;
pub use sweeps::{Conditions, ConditionsKey, DeskRow, StoredResult, Sweep, SweepId, Switch};
pub use tokens::{LiveToken, TokenDraft, TokenRow, TokenScope};
pub use uploads::{SweepDraft, Upload, UploadFile, UploadId};

/// The open database of one data folder.
#[derive(Debug, Clone)]
pub struct Store {
    writer: sqlx::SqlitePool,
    readers: sqlx::SqlitePool,
}
