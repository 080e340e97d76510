//! Sweeps that hold the same pictures, byte for byte: a card that was sent twice is no repeat.

use std::collections::{HashMap, HashSet};

use sqlx::SqliteConnection;

use super::{AccountId, LensId, Store, StoreError, SweepId};

/// A sweep beside another one.
#[derive(Debug, Clone, PartialEq, Eq, sqlx::FromRow)]
pub struct OtherSweep {
    /// Key.
    pub id: SweepId,
    /// Whose it is.
    #[sqlx(rename = "account_id")]
    pub account: AccountId,
    /// Whether a version is public now.
    pub is_public: bool,
}

impl Store {
    /// Other sweeps that hold at least one picture of this one, by key.
    pub async fn sweeps_with_same_pictures(
        &self,
        id: SweepId,
    ) -> Result<Vec<OtherSweep>, StoreError> {
        Ok(sqlx::query_as(
            "SELECT DISTINCT s.id, s.account_id, s.public_id IS NOT NULL AS is_public
             FROM frames own JOIN frames other ON other.sha256 = own.sha256 JOIN sweeps s ON s.id = other.sweep_id
             WHERE own.sweep_id = ?1 AND other.sweep_id <> ?1 ORDER BY s.id",
        )
        .bind(id)
        .fetch_all(&self.readers)
        .await?)
    }
}

/// The pictures of public sweeps of a lens, by sweep.
pub(super) struct Pictures(HashMap<SweepId, HashSet<String>>);

impl Pictures {
    pub(super) async fn of_public_sweeps(
        read: &mut SqliteConnection,
        lens: LensId,
    ) -> Result<Self, StoreError> {
        let rows: Vec<(SweepId, String)> = sqlx::query_as(
            "SELECT f.sweep_id, f.sha256 FROM sweeps s JOIN frames f ON f.sweep_id = s.id
             WHERE s.lens_id = ?1 AND s.public_id IS NOT NULL",
        )
        .bind(lens)
        .fetch_all(read)
        .await?;
        let mut pictures: HashMap<SweepId, HashSet<String>> = HashMap::new();
        for (sweep, sha256) in rows {
            pictures.entry(sweep).or_default().insert(sha256);
        }
        Ok(Self(pictures))
    }

    /// Whether two sweeps share a picture.
    pub(super) fn are_shared(&self, one: SweepId, other: SweepId) -> bool {
        match (self.0.get(&one), self.0.get(&other)) {
            (Some(one), Some(other)) => !one.is_disjoint(other),
            _ => false,
        }
    }
}
