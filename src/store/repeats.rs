//! Other sweeps of the same lens at the same focal length.

use super::document::{MeasurementDoc, decode};
use super::{AccountId, Store, StoreError, SweepId};
use crate::sweep::{Reach, SAME_FOCAL_SHARE};
use crate::units::Measured;

/// Most repeats that are looked at: the newest.
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
    /// From where to where it goes.
    pub reach: Reach,
}

#[derive(sqlx::FromRow)]
struct RepeatRow {
    id: SweepId,
    account: AccountId,
    reviewer: String,
    is_public: bool,
    shift: f64,
    u: f64,
    document: String,
}

impl Store {
    /// The other measured sweeps of the same lens at the same focal length under the same conditions
    /// ([`ConditionsKey`](super::ConditionsKey)), by key: those of an account, or of everybody for `None`.
    pub async fn repeats_of(
        &self,
        id: SweepId,
        account: Option<AccountId>,
    ) -> Result<Vec<Repeat>, StoreError> {
        let rows: Vec<RepeatRow> = sqlx::query_as(
            "SELECT o.id, o.account_id AS account, a.name AS reviewer, o.public_id IS NOT NULL AS is_public,
                    r.worst_shift_pct AS shift, r.worst_shift_u_pct AS u, r.document
             FROM sweeps s JOIN sweeps o ON o.lens_id = s.lens_id AND o.id <> s.id
             JOIN accounts a ON a.id = o.account_id JOIN results r ON r.id = o.current_result_id
             WHERE s.id = ?1 AND r.stopped = 0 AND r.worst_shift_pct IS NOT NULL AND r.worst_shift_u_pct IS NOT NULL
               AND abs(o.focal_length_mm - s.focal_length_mm) <= ?2 * s.focal_length_mm
               AND o.conditions ->> 'distortion_correction' = s.conditions ->> 'distortion_correction'
               AND o.conditions ->> 'breathing_compensation' = s.conditions ->> 'breathing_compensation'
               AND (?4 IS NULL OR o.account_id = ?4)
             ORDER BY o.id DESC LIMIT ?3",
        )
        .bind(id)
        .bind(SAME_FOCAL_SHARE)
        .bind(MOST)
        .bind(account)
        .fetch_all(&self.readers)
        .await?;
        let mut repeats = Vec::new();
        for row in rows.into_iter().rev() {
            let measured = decode::<MeasurementDoc>(&row.document)?.read()?;
            if let Some(reach) = measured.reach() {
                repeats.push(Repeat {
                    id: row.id,
                    account: row.account,
                    reviewer: row.reviewer,
                    is_public: row.is_public,
                    worst_shift_pct: Measured::new(row.shift, row.u),
                    reach,
                });
            }
        }
        Ok(repeats)
    }
}
