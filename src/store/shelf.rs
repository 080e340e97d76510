//! All lenses with what the ranking needs of their published results, in memory; changes are caught up lens by lens.
//!
//! Ten thousand lenses with four focal lengths of sixty frames take some 260 MB.

use std::collections::BTreeMap;
use std::sync::Arc;

use tokio::sync::Mutex;

use super::document::{encode, known};
use super::lenses::{LensRow, lens_columns};
use super::packed::RankedResult;
use super::search::{Pattern, plain_letters};
use super::{ConditionsKey, Lens, LensId, Store, StoreError};
use crate::sweep::{Outlines, ShiftCurve, is_not_reached, nearest_m};
use crate::units::Measured;

/// The lenses at one revision of the content.
#[derive(Debug, Default)]
pub(super) struct Shelf {
    /// Revision that they are of; `None` before the first look.
    revision: Option<i64>,
    pub(super) lenses: BTreeMap<LensId, Arc<ShelfLens>>,
    /// Those of which all that was published was taken back: in no list, but not unheard of.
    pub(super) withdrawn: BTreeMap<LensId, Arc<ShelfLens>>,
    /// How many lenses are published under each set of conditions, most first.
    pub(super) in_use: Vec<(ConditionsKey, u64)>,
}

/// The newest shelf that was made. Whoever finds it too old makes the next one while the others wait for it.
pub(super) type NewestShelf = Arc<Mutex<Arc<Shelf>>>;

/// A lens on the shelf.
#[derive(Debug)]
pub(super) struct ShelfLens {
    pub(super) lens: Lens,
    pub(super) sort_name: String,
    pub(super) search_text: String,
    /// Its results by the conditions that they were shot under.
    pub(super) groups: Vec<ShelfGroup>,
}

impl Pattern {
    /// Whether a lens on the shelf answers it.
    pub(super) fn fits_lens(&self, shelved: &ShelfLens) -> bool {
        let about = &shelved.lens.about;
        self.fits(
            &shelved.lens.slug,
            &shelved.search_text,
            (about.focal_min_mm, about.focal_max_mm),
        )
    }
}

/// The results of a lens under one set of conditions.
#[derive(Debug)]
pub(super) struct ShelfGroup {
    pub(super) conditions: ConditionsKey,
    /// When one of them was published last, ms since 1970 UTC.
    pub(super) published_ms: i64,
    /// Shift of largest magnitude over the focal lengths, per cent.
    pub(super) worst_shift_pct: Measured,
    /// By focal length, shortest first; never empty.
    pub(super) results: Arc<[RankedResult]>,
    /// Their curves, to be judged at any tolerance.
    pub(super) outlines: Outlines,
    /// The same curves with the largest magnitude that every shift may have.
    pub(super) at_most: Outlines,
    /// Where each of these begins.
    pub(super) begins: Box<[Begin]>,
}

/// Where a curve begins.
#[derive(Debug, Clone, Copy)]
pub(super) struct Begin {
    /// The nearest distance that it holds, m; `None` where that is not known.
    pub(super) nearest_m: Option<f64>,
    /// The sweep has nearer frames without a result.
    pub(super) is_late: bool,
}

impl Begin {
    fn of(curve: &ShiftCurve) -> Self {
        let first = curve.points().first();
        Self {
            nearest_m: nearest_m(curve),
            is_late: first.is_some_and(|first| first.travel > 1e-9),
        }
    }
}

impl ShelfGroup {
    /// Whether nothing was measured from this distance, m, to where one of its curves begins, though the lens focuses nearer
    /// than there.
    pub(super) fn lacks_near(&self, lens: &Lens, curve: usize, from_m: f64) -> bool {
        let begin = self.begins[curve];
        let marked_m = lens.about.closest_focus_m;
        begin.nearest_m.is_some_and(|nearest_m| {
            nearest_m > from_m + 1e-9 && (begin.is_late || is_not_reached(marked_m, nearest_m))
        })
    }
}

/// The lenses that changed after a revision.
pub(super) const CHANGED: &str = "SELECT lens_id FROM lens_revisions WHERE revision > ?1";

/// These lenses.
pub(super) const LENSES: &str = concat!(
    "SELECT ",
    lens_columns!(),
    ", l.sort_name, l.search_text, EXISTS (SELECT 1 FROM publications p WHERE p.lens_id = l.id) AS was_published
     FROM lenses l WHERE l.id IN (SELECT value FROM json_each(?1))"
);

/// Their results, those under one set of conditions in a row.
pub(super) const RESULTS: &str = "SELECT lens_id, conditions, published_ms, packed FROM focal_results
    WHERE lens_id IN (SELECT value FROM json_each(?1)) ORDER BY lens_id, conditions, focal_length_mm";

#[derive(sqlx::FromRow)]
struct ShelfRow {
    #[sqlx(flatten)]
    lens: LensRow,
    sort_name: String,
    search_text: String,
    was_published: bool,
}

impl Store {
    /// The lenses as they are now.
    pub(super) async fn shelf(&self) -> Result<Arc<Shelf>, StoreError> {
        let now = self.content().await?.revision;
        let mut newest = self.shelf.lock().await;
        if newest.revision.is_none_or(|known| known < now) {
            *newest = Arc::new(self.next_shelf(&newest).await?);
        }
        Ok(Arc::clone(&newest))
    }

    async fn next_shelf(&self, known: &Shelf) -> Result<Shelf, StoreError> {
        let mut read = self.read().await?;
        let revision: i64 = sqlx::query_scalar("SELECT revision FROM content WHERE id = 1")
            .fetch_one(&mut *read)
            .await?;
        let changed: Vec<LensId> = sqlx::query_scalar(CHANGED)
            .bind(known.revision.unwrap_or(-1))
            .fetch_all(&mut *read)
            .await?;
        let ids = encode(&changed)?;
        let rows: Vec<ShelfRow> = sqlx::query_as(LENSES)
            .bind(&ids)
            .fetch_all(&mut *read)
            .await?;
        let results: Vec<(LensId, String, i64, Vec<u8>)> = sqlx::query_as(RESULTS)
            .bind(&ids)
            .fetch_all(&mut *read)
            .await?;
        drop(read);
        let mut lenses = known.lenses.clone();
        let mut withdrawn = known.withdrawn.clone();
        // A whole database of curves is some work for a processor.
        tokio::task::spawn_blocking(move || {
            let mut groups = grouped(results)?;
            for gone in &changed {
                lenses.remove(gone);
                withdrawn.remove(gone);
            }
            for row in rows {
                let lens = row.lens.read()?;
                let shelved = ShelfLens {
                    groups: groups.remove(&lens.id).unwrap_or_default(),
                    sort_name: row.sort_name,
                    // Those of lenses that were named before letters were folded are not.
                    search_text: plain_letters(&row.search_text),
                    lens,
                };
                // All of it was taken back: it is not ranked, not even as "not measured".
                let is_withdrawn = row.was_published && shelved.groups.is_empty();
                let shelf = if is_withdrawn {
                    &mut withdrawn
                } else {
                    &mut lenses
                };
                shelf.insert(shelved.lens.id, Arc::new(shelved));
            }
            Ok(Shelf {
                revision: Some(revision),
                in_use: in_use(&lenses),
                lenses,
                withdrawn,
            })
        })
        .await
        .map_err(|fault| StoreError::Damaged(format!("the ranking can't be read: {fault}")))?
    }
}

/// How many lenses are published under each set of conditions, most first.
fn in_use(lenses: &BTreeMap<LensId, Arc<ShelfLens>>) -> Vec<(ConditionsKey, u64)> {
    let mut counts: Vec<(ConditionsKey, u64)> = Vec::new();
    for group in lenses.values().flat_map(|lens| &lens.groups) {
        match counts.iter_mut().find(|(key, _)| *key == group.conditions) {
            Some((_, lenses)) => *lenses += 1,
            None => counts.push((group.conditions, 1)),
        }
    }
    counts.sort_by_key(|(key, lenses)| (std::cmp::Reverse(*lenses), key.code()));
    counts
}

/// The largest by magnitude.
fn worst(results: &[RankedResult]) -> Measured {
    let shifts = results.iter().map(|result| result.worst_shift_pct);
    shifts
        .max_by(|a, b| a.value.abs().total_cmp(&b.value.abs()))
        .unwrap_or(Measured::new(0.0, 0.0))
}

/// The results of each lens by conditions.
fn grouped(
    rows: Vec<(LensId, String, i64, Vec<u8>)>,
) -> Result<BTreeMap<LensId, Vec<ShelfGroup>>, StoreError> {
    let mut lenses: BTreeMap<LensId, Vec<ShelfGroup>> = BTreeMap::new();
    let mut rows = rows.into_iter().peekable();
    while let Some((lens, code, mut published_ms, packed)) = rows.next() {
        let conditions = known("set of conditions", &code, ConditionsKey::from_code)?;
        let mut results = vec![RankedResult::unpack(&packed)?];
        while let Some((_, _, published, packed)) =
            rows.next_if(|(other, under, _, _)| *other == lens && *under == code)
        {
            published_ms = published_ms.max(published);
            results.push(RankedResult::unpack(&packed)?);
        }
        let at_most = results
            .iter()
            .map(|one| one.left_open().at_most(&one.curve));
        let at_most: Vec<ShiftCurve> = at_most.collect();
        lenses.entry(lens).or_default().push(ShelfGroup {
            conditions,
            published_ms,
            worst_shift_pct: worst(&results),
            outlines: Outlines::new(results.iter().map(|result| &result.curve)),
            at_most: Outlines::new(&at_most),
            begins: results.iter().map(|one| Begin::of(&one.curve)).collect(),
            results: results.into(),
        });
    }
    Ok(lenses)
}
