//! The only SQL: accounts, lenses, uploads, sweeps, results, jobs, publications, audit, and the read models of the pages.
//!
//! One writer connection that opens every transaction with `BEGIN IMMEDIATE`, a pool of readers, WAL,
//! `synchronous=FULL`: what a function here returned `Ok` for survives a power cut.

mod accounts;
mod audit;
mod cameras;
mod conditions;
mod content;
mod desk;
mod document;
mod error;
mod events;
mod focal_result;
mod health;
mod jobs;
mod judgement;
mod lens_changes;
mod lens_names;
mod lens_page;
mod lenses;
mod names;
mod open;
mod packed;
mod parting;
#[cfg(test)]
mod plans;
mod published;
mod publishing;
mod ranking;
mod ranking_place;
mod read_model;
mod refusals;
mod repeats;
mod results;
mod same_pictures;
mod search;
mod sessions;
mod shelf;
mod sweep_input;
mod sweeps;
mod tokens;
mod uploads;

pub use accounts::{Account, AccountId, Role};
pub use audit::{Actor, AuditEntry, AuditRow};
pub use cameras::Camera;
pub use conditions::{Conditions, ConditionsKey, Switch};
pub use content::Content;
pub use desk::DeskRow;
pub use error::StoreError;
pub use events::PublicEvent;
pub use focal_result::FocalResult;
pub use health::StuckJob;
pub use jobs::{ClaimedJob, JobState, JobView};
pub use lens_changes::LensRowOfDesk;
pub use lens_page::{HistoryEntry, LensPage};
pub use lenses::{InvalidField, Kind, Lens, LensDraft, LensId};
pub use names::isolated;
pub use packed::RankedResult;
pub use published::{Publication, PublishedSweep, Withdrawal};
pub use publishing::Preview;
pub use ranking::{NEAR_RATIO, RankedBy, RankedLens, Ranking, RankingQuery, RankingSort};
pub use ranking_place::{PlaceGroup, RankingPlace};
pub use repeats::Repeat;
pub use results::StoredResult;
pub use same_pictures::OtherSweep;
pub(crate) use search::words_run_together;
pub use sessions::SessionRow;
pub use sweep_input::{FrameInput, SweepInput};
pub use sweeps::{Said, Sweep, SweepId, Whose};
pub use tokens::{LiveToken, TokenDraft, TokenRow, TokenScope};
pub use uploads::{SweepDraft, Upload, UploadFile, UploadId};

/// The open database of one data folder.
#[derive(Debug, Clone)]
pub struct Store {
    writer: sqlx::SqlitePool,
    readers: sqlx::SqlitePool,
    shelf: shelf::NewestShelf,
}

/// The present as every time in the database is: whole milliseconds since 1970-01-01 UTC, by the system's clock.
#[must_use]
pub fn now_ms() -> i64 {
    let since = std::time::SystemTime::now()
        .duration_since(std::time::UNIX_EPOCH)
        .unwrap_or_default();
    i64::try_from(since.as_millis()).unwrap_or(i64::MAX)
}
