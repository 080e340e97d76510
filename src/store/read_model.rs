//! Making the read models of a lens: its public sweeps combined by conditions and focal length, and its place in the ranking.

use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use super::document::{PublicationDoc, decode, encode_focal_result};
use super::same_pictures::Pictures;
use super::{FocalResult, LensId, StoreError, SweepId};
use crate::sweep::{ToleranceOutcome, combine_repeats};
use crate::units::Measured;

/// Sort key of a lens that never exceeds the tolerance, dioptres: nearer than any focus setting.
const NEVER_EXCEEDED: f64 = 1e9;

/// Makes `focal_results` and `rankings` of a lens anew from its public sweeps.
pub(super) async fn remake(write: &mut SqliteConnection, lens: LensId) -> Result<(), StoreError> {
    let public: Vec<(i64, String)> = sqlx::query_as(
        "SELECT p.published_ms, p.document FROM sweeps s JOIN publications p ON p.id = s.public_id
         WHERE s.lens_id = ?1 ORDER BY p.id",
    )
    .bind(lens)
    .fetch_all(&mut *write)
    .await?;
    sqlx::query("DELETE FROM focal_results WHERE lens_id = ?1")
        .bind(lens)
        .execute(&mut *write)
        .await?;
    sqlx::query("DELETE FROM rankings WHERE lens_id = ?1")
        .bind(lens)
        .execute(&mut *write)
        .await?;

    let pictures = Pictures::of_public_sweeps(write, lens).await?;
    let mut repeats: BTreeMap<(String, u64), Vec<FocalResult>> = BTreeMap::new();
    let mut newest_ms: BTreeMap<String, i64> = BTreeMap::new();
    for (published_ms, document) in public {
        let result = decode::<PublicationDoc>(&document)?.result()?;
        let conditions = result.conditions.code();
        let newest = newest_ms.entry(conditions.clone()).or_insert(published_ms);
        *newest = published_ms.max(*newest);
        // The bits of positive numbers are in the order of the numbers.
        let focal_length = result.focal_length_mm.to_bits();
        repeats
            .entry((conditions, focal_length))
            .or_default()
            .push(result);
    }
    let mut by_conditions: BTreeMap<String, Vec<FocalResult>> = BTreeMap::new();
    for ((conditions, _), results) in repeats {
        let Some(combined) = combine(independent(results, &pictures)) else {
            continue;
        };
        sqlx::query(
            "INSERT INTO focal_results (lens_id, conditions, focal_length_mm, document) VALUES (?1, ?2, ?3, ?4)",
        )
        .bind(lens)
        .bind(&conditions)
        .bind(combined.focal_length_mm)
        .bind(encode_focal_result(&combined)?)
        .execute(&mut *write)
        .await?;
        by_conditions.entry(conditions).or_default().push(combined);
    }
    for (conditions, results) in by_conditions {
        sqlx::query(
            "INSERT INTO rankings (lens_id, conditions, worst_magnitude_pct, tolerance_dioptres, sort_name, published_ms)
             VALUES (?1, ?2, ?3, ?4, (SELECT sort_name FROM lenses WHERE id = ?1), ?5)",
        )
        .bind(lens)
        .bind(&conditions)
        .bind(worst_magnitude_pct(&results))
        .bind(tolerance_dioptres(&results))
        .bind(newest_ms.get(&conditions))
        .execute(&mut *write)
        .await?;
    }
    Ok(())
}

/// The repeats without those that hold pictures of another one; they come in the order of their publishing, and the newest
/// of such sweeps counts.
fn independent(repeats: Vec<FocalResult>, pictures: &Pictures) -> Vec<FocalResult> {
    let mut counted: Vec<FocalResult> = Vec::new();
    for repeat in repeats.into_iter().rev() {
        let shares = |a: &[SweepId], b: &[SweepId]| {
            a.iter()
                .any(|a| b.iter().any(|b| pictures.are_shared(*a, *b)))
        };
        match counted
            .iter_mut()
            .find(|other| shares(&other.sweeps, &repeat.sweeps))
        {
            Some(other) => other.same_pictures.extend(repeat.sweeps),
            None => counted.push(repeat),
        }
    }
    counted
}

/// Repeats of one focal length as one result; `None` for none. The curve and what goes with it is of the most certain sweep.
fn combine(mut repeats: Vec<FocalResult>) -> Option<FocalResult> {
    repeats.sort_by_key(|result| result.sweeps.first().copied());
    let worst: Vec<Measured> = repeats
        .iter()
        .map(|result| result.worst_shift_pct)
        .collect();
    let best = repeats
        .iter()
        .min_by(|a, b| {
            a.worst_shift_pct
                .std_error
                .total_cmp(&b.worst_shift_pct.std_error)
        })?
        .clone();
    let mean = combine_repeats(&worst)?;
    let mut combined = FocalResult {
        sweeps: Vec::new(),
        same_pictures: Vec::new(),
        reviewers: Vec::new(),
        captured_at: Vec::new(),
        findings: Vec::new(),
        worst_shift_pct: mean.mean,
        repeats_disagree: mean.disagree,
        algorithm_version: repeats
            .iter()
            .map(|result| result.algorithm_version)
            .min()?,
        relative_to_farthest: repeats.iter().any(|result| result.relative_to_farthest),
        ..best
    };
    for repeat in repeats {
        combined.sweeps.extend(repeat.sweeps);
        combined.same_pictures.extend(repeat.same_pictures);
        combined.captured_at.extend(repeat.captured_at);
        for reviewer in repeat.reviewers {
            if !combined.reviewers.contains(&reviewer) {
                combined.reviewers.push(reviewer);
            }
        }
        for finding in repeat.findings {
            if !combined.findings.contains(&finding) {
                combined.findings.push(finding);
            }
        }
    }
    combined.same_pictures.sort_unstable();
    combined.captured_at.sort();
    combined
        .findings
        .sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    Some(combined)
}

/// Largest magnitude of worst shift over the focal lengths, per cent.
fn worst_magnitude_pct(results: &[FocalResult]) -> f64 {
    results
        .iter()
        .map(|result| result.worst_shift_pct.value.abs())
        .fold(0.0, f64::max)
}

/// The farthest tolerance distance over the focal lengths, dioptres; `NEVER_EXCEEDED` where none has one, `None` where one is unknown.
fn tolerance_dioptres(results: &[FocalResult]) -> Option<f64> {
    results
        .iter()
        .map(|result| match result.tolerance {
            ToleranceOutcome::Within => Some(NEVER_EXCEEDED),
            ToleranceOutcome::Exceeded { dioptres, .. } => Some(dioptres.value),
            ToleranceOutcome::Unknown { .. } => None,
        })
        .try_fold(NEVER_EXCEEDED, |least, dioptres| {
            dioptres.map(|dioptres| least.min(dioptres))
        })
}
