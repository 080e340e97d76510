//! The ranking: which lenses hold the picture best, judged at any tolerance from their stored curves.

mod answering;

use std::sync::Arc;

use super::packed::RankedResult;
use super::ranking_place::RankingPlace;
use super::search::patterns;
use super::shelf::ShelfLens;
use super::{ConditionsKey, Kind, Lens, Store, StoreError};
use crate::sweep::{DEFAULT_TOLERANCE_PCT, Direction};

/// Largest ratio between the focal length asked for and the one that a lens is ranked by. Focal lengths are marked on zooms
/// in steps of 1.2 to 1.5 (common practice, no source), so that some mark is within the square root of that.
pub const NEAR_RATIO: f64 = 1.25;

/// What the ranking is sorted by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum RankingSort {
    /// Smallest worst shift first; what is lost in its uncertainty behind all others.
    #[default]
    WorstShift,
    /// Nearest tolerance distance first; "never" before all, by worst shift and then name; unknown last.
    ToleranceDistance,
    /// By maker and model.
    Name,
    /// Newest publication first.
    Newest,
}

/// A question to the ranking.
#[derive(Debug, Clone, PartialEq)]
pub struct RankingQuery {
    /// Words that must all occur in maker, model, mount or focal length.
    pub words: Vec<String>,
    /// Mount.
    pub mount: Option<String>,
    /// Kind.
    pub kind: Option<Kind>,
    /// Focal length that the lens must cover, and that it is ranked at: by its nearest result within [`NEAR_RATIO`], mm.
    pub focal_mm: Option<f64>,
    /// The lens must reach down to this, mm.
    pub min_focal_mm: Option<f64>,
    /// The lens must reach up to this, mm.
    pub max_focal_mm: Option<f64>,
    /// Conditions that all results were shot under.
    pub conditions: ConditionsKey,
    /// Tolerance, per cent.
    pub tolerance_pct: f64,
    /// Only lenses that surely stay within the tolerance from this distance on at every focal length, m. Of what is measured
    /// against its farthest frame, not so near as that though the lens focuses nearer at some focal length, not well enough to
    /// tell, or holds as measured but may not as far as that is left open, nobody knows whether it holds, so it is left out.
    pub holds_from_m: Option<f64>,
    /// Only lenses whose picture goes this way where their shift is worst.
    pub direction: Option<Direction>,
    /// What to sort by.
    pub sort: RankingSort,
    /// The other way round; "not measured" and unknown stay last.
    pub descending: bool,
    /// At most this many rows.
    pub limit: u32,
    /// Only rows after this place.
    pub after: Option<RankingPlace>,
}

impl Default for RankingQuery {
    fn default() -> Self {
        Self {
            words: Vec::new(),
            mount: None,
            kind: None,
            focal_mm: None,
            min_focal_mm: None,
            max_focal_mm: None,
            conditions: ConditionsKey::default(),
            tolerance_pct: DEFAULT_TOLERANCE_PCT,
            holds_from_m: None,
            direction: None,
            sort: RankingSort::default(),
            descending: false,
            limit: 0,
            after: None,
        }
    }
}

/// A part of the ranking.
#[derive(Debug, Clone)]
pub struct Ranking {
    /// The rows.
    pub rows: Vec<RankedLens>,
    /// How many lenses match in all.
    pub total: u64,
    /// How many of them are ranked: something was measured of them that counts here.
    pub ranked: u64,
    /// How many of them have nothing published, under whatever conditions.
    pub unpublished: u64,
    /// How many of them come before the first row.
    pub before: u64,
    /// How many more would match but were measured so that nobody knows whether they hold from the distance asked for on.
    pub untold_left_out: u64,
    /// Place of the last row; `None` where no row follows.
    pub next: Option<RankingPlace>,
}

/// A row of the ranking.
#[derive(Debug, Clone)]
pub struct RankedLens {
    /// The lens.
    pub lens: Lens,
    /// Every set of conditions that something of it is published under, that of most lenses first.
    pub conditions: Vec<ConditionsKey>,
    /// Results by focal length, shortest first; empty where nothing is published.
    pub results: Arc<[RankedResult]>,
    /// Which of them it is ranked by.
    pub ranked_by: RankedBy,
    /// When something of it was published last under the conditions, ms since 1970 UTC.
    pub published_ms: Option<i64>,
}

/// What a lens is ranked by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RankedBy {
    /// All its results.
    All,
    /// The one at this place, which is nearest to the focal length asked for.
    One(usize),
    /// None: nothing is published, or not near the focal length asked for.
    Nothing,
}

impl RankedLens {
    /// The results that it is ranked by.
    #[must_use]
    pub fn ranked_results(&self) -> &[RankedResult] {
        match self.ranked_by {
            RankedBy::All => &self.results,
            RankedBy::One(at) => self.results.get(at..=at).unwrap_or_default(),
            RankedBy::Nothing => &[],
        }
    }
}

impl Store {
    /// The ranking under one set of conditions. Lenses with nothing published under them come last both ways.
    pub async fn ranking(&self, query: RankingQuery) -> Result<Ranking, StoreError> {
        let shelf = self.shelf().await?;
        // Thousands of curves are judged: no work for a thread that others wait for.
        tokio::task::spawn_blocking(move || query.answer(&shelf))
            .await
            .map_err(|fault| StoreError::Damaged(format!("the ranking can't be made: {fault}")))
    }

    /// The lenses with these words in their names of which all that was published was taken back; at most so many.
    pub async fn withdrawn_lenses(
        &self,
        words: &[String],
        limit: usize,
    ) -> Result<Vec<Lens>, StoreError> {
        let words = patterns(words);
        let shelf = self.shelf().await?;
        let is_meant = |lens: &&Arc<ShelfLens>| words.iter().all(|word| word.fits_lens(lens));
        let found = shelf.withdrawn.values().filter(is_meant).take(limit);
        Ok(found.map(|shelved| shelved.lens.clone()).collect())
    }

    /// How many lenses are published under each set of conditions, most first.
    pub async fn conditions_in_use(&self) -> Result<Vec<(ConditionsKey, u64)>, StoreError> {
        Ok(self.shelf().await?.in_use.clone())
    }
}
