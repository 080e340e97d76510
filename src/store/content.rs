//! How far what is public has come.

use super::{Store, StoreError, SweepId};

/// A state of all that is public: lenses, results, publications.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Content {
    /// Counts changes of this database.
    pub revision: i64,
    /// A word for this state that no other one ever has, in this database or in one restored from its backups.
    pub mark: String,
}

/// The one row that triggers keep.
pub(super) const CONTENT: &str = "SELECT revision, mark FROM content WHERE id = 1";

impl Store {
    /// The state of what is public now. It changes with every lens made, corrected, merged or taken away, and with every
    /// sweep published or withdrawn; drafts, uploads and measurements don't change it.
    pub async fn content(&self) -> Result<Content, StoreError> {
        let (revision, mark) = sqlx::query_as(CONTENT).fetch_one(&self.readers).await?;
        Ok(Content { revision, mark })
    }

    /// The slugs of all lenses, by maker and model.
    pub async fn lens_slugs(&self) -> Result<Vec<String>, StoreError> {
        Ok(
            sqlx::query_scalar("SELECT slug FROM lenses ORDER BY sort_name, id")
                .fetch_all(&self.readers)
                .await?,
        )
    }

    /// The keys of all public sweeps, in the order of their publishing.
    pub async fn public_sweep_ids(&self) -> Result<Vec<SweepId>, StoreError> {
        Ok(sqlx::query_scalar(
            "SELECT id FROM sweeps WHERE public_id IS NOT NULL ORDER BY public_id",
        )
        .fetch_all(&self.readers)
        .await?)
    }
}
