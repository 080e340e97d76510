//! The ranking: which lenses hold the picture best, judged at any tolerance from their stored curves.

use std::ops::Range;
use std::sync::Arc;

use super::judgement::{Judgement, holding, judge};
use super::packed::RankedResult;
use super::ranking_place::{Place, PlaceGroup, RankingPlace};
use super::search::{Pattern, patterns};
use super::shelf::{Shelf, ShelfGroup, ShelfLens};
use super::{ConditionsKey, Kind, Lens, Store, StoreError};
use crate::sweep::{DEFAULT_TOLERANCE_PCT, Direction, is_untold};
use crate::units::Measured;

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

/// Whether a lens answers the question.
enum Answered<'a> {
    Yes(Candidate<'a>),
    /// Nobody knows whether it holds the picture from where it is asked to.
    Untold,
    No,
}

/// Whether a lens holds the picture from a distance on.
enum Held {
    Yes,
    /// Nobody knows.
    Untold,
    No,
}

/// A lens that answers the question, and where it stands.
struct Candidate<'a> {
    shelved: &'a ShelfLens,
    group: Option<&'a ShelfGroup>,
    ranked_by: RankedBy,
    place: Place<'a>,
}

impl RankingQuery {
    /// The rows that this question gets.
    fn answer(&self, shelf: &Shelf) -> Ranking {
        let words = patterns(&self.words);
        let lenses = shelf.lenses.values();
        let about = lenses.filter(|lens| self.is_about(lens, &words));
        let mut found: Vec<Candidate<'_>> = Vec::new();
        let mut untold_left_out = 0;
        for lens in about {
            match self.answered_by(lens) {
                Answered::Yes(candidate) => found.push(candidate),
                Answered::Untold => untold_left_out += 1,
                Answered::No => {}
            }
        }
        let total = found.len();
        let is_ranked = |candidate: &&Candidate<'_>| candidate.ranked_by != RankedBy::Nothing;
        let ranked = found.iter().filter(is_ranked).count();
        let is_new = |candidate: &&Candidate<'_>| candidate.shelved.groups.is_empty();
        let unpublished = found.iter().filter(is_new).count();
        if let Some(after) = &self.after {
            let after = after.borrowed();
            let follows = |place: &Place<'_>| place.order(&after, self.descending).is_gt();
            found.retain(|candidate| follows(&candidate.place));
        }
        let before = total - found.len();
        let order = |a: &Candidate<'_>, b: &Candidate<'_>| a.place.order(&b.place, self.descending);
        // Only the rows that are shown have to be sorted among each other.
        let shown = found.len().min(self.limit as usize);
        let more = found.len() > shown;
        if more && shown > 0 {
            found.select_nth_unstable_by(shown - 1, order);
        }
        found.truncate(shown);
        found.sort_unstable_by(order);
        let next = found.last().filter(|_| more).map(|last| last.place.owned());
        let shown = found.iter();
        let rows: Vec<RankedLens> = shown
            .map(|candidate| RankedLens {
                lens: candidate.shelved.lens.clone(),
                conditions: shelf
                    .in_use
                    .iter()
                    .map(|(key, _)| *key)
                    .filter(|key| {
                        candidate
                            .shelved
                            .groups
                            .iter()
                            .any(|g| g.conditions == *key)
                    })
                    .collect(),
                results: candidate
                    .group
                    .map_or_else(|| Arc::from([]), |group| Arc::clone(&group.results)),
                ranked_by: candidate.ranked_by,
                published_ms: candidate.group.map(|group| group.published_ms),
            })
            .collect();
        Ranking {
            rows,
            total: total as u64,
            ranked: ranked as u64,
            unpublished: unpublished as u64,
            before: before as u64,
            untold_left_out,
            next,
        }
    }

    /// Whether the lens itself is what was asked for.
    fn is_about(&self, shelved: &ShelfLens, words: &[Pattern]) -> bool {
        let about = &shelved.lens.about;
        let covers = |mm: f64| about.focal_min_mm <= mm && about.focal_max_mm >= mm;
        self.kind.is_none_or(|kind| about.kind == kind)
            && self.focal_mm.is_none_or(covers)
            && self.min_focal_mm.is_none_or(|mm| about.focal_min_mm <= mm)
            && self.max_focal_mm.is_none_or(|mm| about.focal_max_mm >= mm)
            && self
                .mount
                .as_ref()
                .is_none_or(|mount| about.mount.eq_ignore_ascii_case(mount))
            && words.iter().all(|word| word.fits_lens(shelved))
    }

    /// What a lens is ranked by: its results and the shift of largest magnitude among them; `None` where there is nothing.
    fn ranked(&self, group: &ShelfGroup) -> Option<(RankedBy, Range<usize>, Measured)> {
        let Some(wanted_mm) = self.focal_mm else {
            return Some((RankedBy::All, 0..group.results.len(), group.worst_shift_pct));
        };
        let apart = |result: &RankedResult| (result.focal_length_mm / wanted_mm).ln().abs();
        let results = group.results.iter().enumerate();
        let (at, nearest) = results.min_by(|(_, a), (_, b)| apart(a).total_cmp(&apart(b)))?;
        let near = apart(nearest) <= NEAR_RATIO.ln();
        near.then(|| (RankedBy::One(at), at..at + 1, nearest.worst_shift_pct))
    }

    /// Whether a lens holds the picture from this distance on, m. Nobody knows where one of these results is against its farthest
    /// frame, is not measured so near though the lens focuses nearer, or is lost in its uncertainty; or where it holds as
    /// measured, and may not as far as that is left open.
    fn held_from(&self, of: &Lens, group: &ShelfGroup, ranked: &Range<usize>, from_m: f64) -> Held {
        let is_open = ranked.clone().any(|at| {
            let result = &group.results[at];
            result.relative_to_farthest
                || is_untold(result.worst_shift_pct, self.tolerance_pct)
                || group.lacks_near(of, at, from_m)
        });
        if is_open {
            return Held::Untold;
        }
        let curves = ranked.clone();
        let Some(measured) = holding(&group.outlines, curves, self.tolerance_pct, from_m) else {
            return Held::No;
        };
        let at_most = judge(&group.at_most, ranked.clone(), self.tolerance_pct);
        match measured.surely_holds_from(at_most, from_m) {
            true => Held::Yes,
            false => Held::Untold,
        }
    }

    /// Whether a picture goes this way where its shift is worst; of what is lost in its uncertainty, or whose sweeps went each
    /// another way, nobody knows.
    fn goes(&self, results: &[RankedResult], worst: Measured, wanted: Direction) -> bool {
        let disagree = || results.iter().any(|result| result.repeats_disagree);
        Direction::of(worst) == wanted
            && !is_untold(worst, self.tolerance_pct)
            && !(wanted == Direction::None && disagree())
    }

    /// Whether the lens is listed, and its place: not where it goes another way, or does not hold the picture as asked for.
    fn answered_by<'a>(&self, shelved: &'a ShelfLens) -> Answered<'a> {
        let mut groups = shelved.groups.iter();
        let group = groups.find(|group| group.conditions == self.conditions);
        let ranked = group.and_then(|group| Some((group, self.ranked(group)?)));
        let Some((measured, (ranked_by, results, worst))) = ranked else {
            if self.direction.is_some() || self.holds_from_m.is_some() {
                return Answered::No;
            }
            return Answered::Yes(Candidate {
                shelved,
                group,
                ranked_by: RankedBy::Nothing,
                place: Place {
                    group: PlaceGroup::NotMeasured,
                    key: 0.0,
                    tie: 0.0,
                    name: &shelved.sort_name,
                    lens: shelved.lens.id,
                },
            });
        };
        let shown = &measured.results[results.clone()];
        let goes = |wanted: Direction| self.goes(shown, worst, wanted);
        if !self.direction.is_none_or(goes) {
            return Answered::No;
        }
        let held = |from_m| self.held_from(&shelved.lens, measured, &results, from_m);
        match self.holds_from_m.map(held) {
            None | Some(Held::Yes) => {}
            Some(Held::Untold) => return Answered::Untold,
            Some(Held::No) => return Answered::No,
        }
        let by_distance = self.sort == RankingSort::ToleranceDistance;
        let untold = is_untold(worst, self.tolerance_pct);
        let judged = by_distance.then(|| judge(&measured.outlines, results, self.tolerance_pct));
        let size = worst.value.abs();
        let (place_group, key, tie) = match (self.sort, judged) {
            // What can't be told stands behind what can.
            (RankingSort::WorstShift, _) if untold => (PlaceGroup::Unknown, size, 0.0),
            (RankingSort::ToleranceDistance, _) if untold => (PlaceGroup::Unknown, 0.0, size),
            (RankingSort::ToleranceDistance, Some(Judgement::Unknown)) => {
                (PlaceGroup::Unknown, 0.0, size)
            }
            (RankingSort::ToleranceDistance, Some(Judgement::BeyondUpTo { dioptres })) => {
                (PlaceGroup::Known, -dioptres, size)
            }
            (RankingSort::ToleranceDistance, _) => (PlaceGroup::Known, f64::NEG_INFINITY, size),
            (RankingSort::WorstShift, _) => (PlaceGroup::Known, size, 0.0),
            (RankingSort::Newest, _) => (PlaceGroup::Known, -(measured.published_ms as f64), 0.0),
            (RankingSort::Name, _) => (PlaceGroup::Known, 0.0, 0.0),
        };
        let named = self.sort == RankingSort::Name || by_distance;
        Answered::Yes(Candidate {
            shelved,
            group,
            ranked_by,
            place: Place {
                group: place_group,
                key,
                tie,
                name: if named { &shelved.sort_name } else { "" },
                lens: shelved.lens.id,
            },
        })
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
