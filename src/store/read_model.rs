//! Making the read models of a lens: its public sweeps combined by conditions and focal length, and its place in the ranking.

mod findings;

use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use super::document::{MeasurementDoc, PublicationDoc, decode, encode, encode_focal_result};
use super::same_pictures::Pictures;
use super::{FocalResult, LensId, RankedResult, Store, StoreError, SweepId};
use crate::sweep::{Counts, DEFAULT_TOLERANCE_PCT, Reach, Repeat, how_each_counts, together};

/// Counts the forms that read models had. Those of an older one are made anew when the database is opened.
const FORM: i64 = 9;

impl Store {
    /// Makes all read models anew where they have an older form.
    pub(super) async fn remake_if_older(&self) -> Result<(), StoreError> {
        let form: i64 = sqlx::query_scalar("SELECT read_models FROM content WHERE id = 1")
            .fetch_one(&self.readers)
            .await?;
        if form >= FORM {
            return Ok(());
        }
        let mut write = self.write().await?;
        add_bounds(&mut write).await?;
        let lenses: Vec<LensId> =
            sqlx::query_scalar("SELECT DISTINCT lens_id FROM sweeps WHERE public_id IS NOT NULL")
                .fetch_all(&mut *write)
                .await?;
        for lens in lenses {
            remake(&mut write, lens).await?;
        }
        sqlx::query("UPDATE content SET read_models = ?1")
            .bind(FORM)
            .execute(&mut *write)
            .await?;
        write.commit().await?;
        Ok(())
    }
}

/// Gives publications that are older than published bounds those of the very result that was published.
async fn add_bounds(write: &mut SqliteConnection) -> Result<(), StoreError> {
    let publications: Vec<i64> = sqlx::query_scalar("SELECT id FROM publications ORDER BY id")
        .fetch_all(&mut *write)
        .await?;
    for id in publications {
        let document: String =
            sqlx::query_scalar("SELECT document FROM publications WHERE id = ?1")
                .bind(id)
                .fetch_one(&mut *write)
                .await?;
        let document = decode::<PublicationDoc>(&document)?;
        if !document.lacks_bounds() {
            continue;
        }
        let measured: String = sqlx::query_scalar(
            "SELECT r.document FROM publications p JOIN results r ON r.id = p.result_id WHERE p.id = ?1",
        )
        .bind(id)
        .fetch_one(&mut *write)
        .await?;
        let bounds = decode::<MeasurementDoc>(&measured)?.bounds()?;
        sqlx::query("UPDATE publications SET document = ?2 WHERE id = ?1")
            .bind(id)
            .bind(encode(&document.with_bounds(&bounds))?)
            .execute(&mut *write)
            .await?;
    }
    Ok(())
}

/// Makes `focal_results` of a lens anew from its public sweeps.
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
    for ((conditions, _), results) in repeats {
        let (counted, partial) = counted(results, &pictures);
        let Some(combined) = combine(counted, partial) else {
            continue;
        };
        sqlx::query(
            "INSERT INTO focal_results (lens_id, conditions, focal_length_mm, published_ms, document, packed)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
        )
        .bind(lens)
        .bind(&conditions)
        .bind(combined.focal_length_mm)
        .bind(newest_ms.get(&conditions))
        .bind(encode_focal_result(&combined)?)
        .bind(RankedResult::of(&combined).pack())
        .execute(&mut *write)
        .await?;
    }
    Ok(())
}

/// The repeats that count, and the sweeps that cover less of the focus range. They come in the order of their publishing; of those
/// that hold the same pictures the newest counts.
fn counted(mut repeats: Vec<FocalResult>, pictures: &Pictures) -> (Vec<FocalResult>, Vec<SweepId>) {
    repeats.reverse();
    let reaches: Vec<Reach> = repeats.iter().map(FocalResult::reach).collect();
    let sweeps: Vec<Vec<SweepId>> = repeats.iter().map(|one| one.sweeps.clone()).collect();
    let share_pictures = |one: usize, other: usize| {
        let are_shared = |a: &SweepId| sweeps[other].iter().any(|b| pictures.are_shared(*a, *b));
        sweeps[one].iter().any(are_shared)
    };
    let counts = how_each_counts(&reaches, &share_pictures);
    for (at, counts) in counts.iter().enumerate() {
        if let Counts::AsPicturesOf(first) = counts {
            repeats[*first].same_pictures.extend(&sweeps[at]);
        }
    }
    let (mut counted, mut partial) = (Vec::new(), Vec::new());
    for (repeat, counts) in repeats.into_iter().zip(counts) {
        match counts {
            Counts::Wholly => counted.push(repeat),
            Counts::Partly => partial.extend(repeat.sweeps),
            Counts::AsPicturesOf(_) => {}
        }
    }
    partial.sort_unstable();
    (counted, partial)
}

/// Adds what is not there yet.
fn add_new<T: PartialEq>(known: &mut Vec<T>, more: Vec<T>) {
    for one in more {
        if !known.contains(&one) {
            known.push(one);
        }
    }
}

/// Repeats of one focal length as one result; `None` for none. The curve and what goes with it is of the most certain sweep of
/// those that know their distances best; worst shift and tolerance distance are read from that curve, which is given the size and
/// the scatter of all.
fn combine(mut repeats: Vec<FocalResult>, partial: Vec<SweepId>) -> Option<FocalResult> {
    repeats.sort_by_key(|result| result.sweeps.first().copied());
    let named: Vec<Repeat<'_>> = repeats
        .iter()
        .map(|result| Repeat {
            name: format!(
                "sweep {}",
                result.sweeps.first().copied().unwrap_or_default()
            ),
            worst_shift_pct: result.worst_shift_pct,
            curve: &result.curve,
            distance_source: result.distance_source,
            systematic: &result.systematic,
        })
        .collect();
    let all = together(&named)?;
    let best = repeats.get(all.combined.surest)?.clone();
    let mut combined = FocalResult {
        sweeps: Vec::new(),
        same_pictures: Vec::new(),
        partial,
        f_numbers: Vec::new(),
        cameras: Vec::new(),
        reviewers: Vec::new(),
        captured_at: Vec::new(),
        findings: all.disagreement.into_iter().collect(),
        worst_shift_pct: all.worst_shift_pct,
        systematic: all.systematic,
        tolerance: all.curve.tolerance_outcome(DEFAULT_TOLERANCE_PCT),
        curve: all.curve,
        repeats_disagree: all.combined.disagree,
        algorithm_version: repeats
            .iter()
            .map(|result| result.algorithm_version)
            .min()?,
        relative_to_farthest: repeats.iter().any(|result| result.relative_to_farthest),
        ..best
    };
    let mut of_each = Vec::new();
    for repeat in repeats {
        let name = repeat.sweeps.first().copied().unwrap_or_default();
        combined.sweeps.extend(repeat.sweeps);
        combined.same_pictures.extend(repeat.same_pictures);
        combined.captured_at.extend(repeat.captured_at);
        add_new(&mut combined.reviewers, repeat.reviewers);
        add_new(&mut combined.cameras, repeat.cameras);
        add_new(&mut combined.f_numbers, repeat.f_numbers);
        of_each.push((name, repeat.distance_source, repeat.findings));
    }
    let noticed = findings::of_repeats(of_each, combined.distance_source);
    combined.findings.extend(noticed);
    combined.same_pictures.sort_unstable();
    combined.captured_at.sort();
    combined.f_numbers.sort_by(f64::total_cmp);
    combined
        .findings
        .sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    Some(combined)
}
