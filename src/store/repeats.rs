//! Other sweeps of the same lens at the same focal length.

use super::{AccountId, Store, StoreError, SweepId};
use crate::units::Measured;

/// Focal lengths that differ by no more than this share are one setting.
const SAME_FOCAL: f64 = 0.005;
/// Most repeats that are looked at.
const MOST: u32 = 24;

/// A sweep that repeats another one, with its newest result.
#[derive(Debug, Clone, PartialEq)]
pub struct Repeat {
    /// Key.
    pub id: SweepId,
    /// Whose it is.
    pub account: AccountId,
    /// Name of the reviewer.
    pub reviewer: String,
    /// Whether a version is public now.
    pub is_public: bool,
    /// Worst shift, per cent.
    pub worst_shift_pct: Measured,
}

impl Store {
    /// The other measured sweeps of the same lens at the same focal length, by key.
    pub async fn repeats_of(&self, id: SweepId) -> Result<Vec<Repeat>, StoreError> {
        let rows: Vec<(i64, i64, String, bool, f64, f64)> = sqlx::query_as(
            "SELECT o.id, o.account_id, a.name, o.public_id IS NOT NULL, r.worst_shift_pct, r.worst_shift_u_pct
             FROM sweeps s JOIN sweeps o ON o.lens_id = s.lens_id AND o.id <> s.id
             JOIN accounts a ON a.id = o.account_id JOIN results r ON r.id = o.current_result_id
             WHERE s.id = ?1 AND r.stopped = 0 AND r.worst_shift_pct IS NOT NULL AND r.worst_shift_u_pct IS NOT NULL
               AND abs(o.focal_length_mm - s.focal_length_mm) <= ?2 * s.focal_length_mm
             ORDER BY o.id LIMIT ?3",
        )
        .bind(id)
        .bind(SAME_FOCAL)
        .bind(MOST)
        .fetch_all(&self.readers)
        .await?;
        Ok(rows
            .into_iter()
            .map(|(id, account, reviewer, is_public, value, u)| Repeat {
                id,
                account,
                reviewer,
                is_public,
                worst_shift_pct: Measured::new(value, u),
            })
            .collect())
    }
}
