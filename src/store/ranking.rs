//! The ranking: which lenses hold the picture best, judged at any tolerance from their stored curves.

use std::cmp::Ordering;
use std::sync::Arc;

use super::packed::RankedResult;
use super::search::patterns;
use super::shelf::{Shelf, ShelfGroup, ShelfLens};
use super::{ConditionsKey, Kind, Lens, LensId, Store, StoreError};
use crate::sweep::{DEFAULT_TOLERANCE_PCT, Direction, ToleranceOutcome};

/// What the ranking is sorted by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum RankingSort {
    /// Smallest worst shift first.
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
    /// Focal length that the lens must cover, mm.
    pub focal_mm: Option<f64>,
    /// The lens must reach down to this, mm.
    pub min_focal_mm: Option<f64>,
    /// The lens must reach up to this, mm.
    pub max_focal_mm: Option<f64>,
    /// Conditions that all results were shot under.
    pub conditions: ConditionsKey,
    /// Tolerance, per cent.
    pub tolerance_pct: f64,
    /// Only lenses that stay within the tolerance from this distance on at every focal length, m.
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

/// Where a lens stands in a ranking. It stays meaningful when lenses come and go.
#[derive(Debug, Clone, PartialEq)]
pub struct RankingPlace {
    /// Measured and known, then unknown, then not measured: in this order both ways.
    pub group: PlaceGroup,
    /// What is sorted by, smallest first; 0 where it is the name.
    pub key: f64,
    /// What decides between equal keys, smallest first; 0 where it is the name.
    pub tie: f64,
    /// Maker and model as they are sorted; empty where key and tie decide.
    pub name: String,
    /// Key of the lens, where all else is equal.
    pub lens: LensId,
}

/// The parts of a ranking.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum PlaceGroup {
    /// What is sorted by is known.
    Known,
    /// It is not.
    Unknown,
    /// Nothing is published under the conditions.
    NotMeasured,
}

/// A part of the ranking.
#[derive(Debug, Clone)]
pub struct Ranking {
    /// The rows.
    pub rows: Vec<RankedLens>,
    /// How many lenses match in all.
    pub total: u64,
    /// How many of them come before the first row.
    pub before: u64,
    /// Place of the last row; `None` where no row follows.
    pub next: Option<RankingPlace>,
}

/// A row of the ranking.
#[derive(Debug, Clone)]
pub struct RankedLens {
    /// The lens.
    pub lens: Lens,
    /// Results by focal length, shortest first; empty where nothing is published.
    pub results: Arc<[RankedResult]>,
    /// When something of it was published last under the conditions, ms since 1970 UTC.
    pub published_ms: Option<i64>,
}

/// A lens that answers the question, and where it stands.
struct Candidate<'a> {
    shelved: &'a ShelfLens,
    results: Option<&'a ShelfGroup>,
    place: Place<'a>,
}

/// A place whose name is somewhere else; see `RankingPlace`.
#[derive(Clone, Copy)]
struct Place<'a> {
    group: PlaceGroup,
    key: f64,
    tie: f64,
    name: &'a str,
    lens: LensId,
}

impl RankingPlace {
    fn borrowed(&self) -> Place<'_> {
        Place {
            group: self.group,
            key: self.key,
            tie: self.tie,
            name: &self.name,
            lens: self.lens,
        }
    }
}

impl Place<'_> {
    fn owned(self) -> RankingPlace {
        RankingPlace {
            group: self.group,
            key: self.key,
            tie: self.tie,
            name: self.name.to_owned(),
            lens: self.lens,
        }
    }

    /// Which of two comes first.
    fn order(&self, other: &Place<'_>, descending: bool) -> Ordering {
        let inner = self.key.total_cmp(&other.key);
        let inner = inner.then_with(|| self.tie.total_cmp(&other.tie));
        let inner = inner.then_with(|| self.name.cmp(other.name));
        let inner = inner.then_with(|| self.lens.cmp(&other.lens));
        let turned = descending && self.group != PlaceGroup::NotMeasured;
        self.group
            .cmp(&other.group)
            .then(if turned { inner.reverse() } else { inner })
    }
}

impl RankingQuery {
    /// The rows that this question gets.
    fn answer(&self, shelf: &Shelf) -> Ranking {
        let words = patterns(&self.words);
        let mut found: Vec<Candidate<'_>> = shelf
            .lenses
            .values()
            .filter(|lens| self.is_about(lens, &words))
            .filter_map(|lens| self.candidate(lens))
            .collect();
        let total = found.len();
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
                results: candidate
                    .results
                    .map_or_else(|| Arc::from([]), |group| Arc::clone(&group.results)),
                published_ms: candidate.results.map(|group| group.published_ms),
            })
            .collect();
        Ranking {
            rows,
            total: total as u64,
            before: before as u64,
            next,
        }
    }

    /// Whether the lens itself is what was asked for.
    fn is_about(&self, shelved: &ShelfLens, words: &[String]) -> bool {
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
            && words
                .iter()
                .all(|word| shelved.search_text.contains(word.as_str()))
    }

    /// The lens with its place; `None` where it does not hold the picture as asked for, or goes another way.
    fn candidate<'a>(&self, shelved: &'a ShelfLens) -> Option<Candidate<'a>> {
        let results = shelved
            .groups
            .iter()
            .find(|group| group.conditions == self.conditions);
        if let Some(wanted) = self.direction
            && !results.is_some_and(|group| Direction::of(group.worst_shift_pct) == wanted)
        {
            return None;
        }
        let by_distance = self.sort == RankingSort::ToleranceDistance;
        let judged = results
            .filter(|_| by_distance || self.holds_from_m.is_some())
            .map(|group| judge(&group.results, self.tolerance_pct));
        if let Some(wanted_m) = self.holds_from_m
            && !judged.is_some_and(|judged| judged.holds_from(wanted_m))
        {
            return None;
        }
        let (group, key) = match (results, self.sort, judged) {
            (None, ..) => (PlaceGroup::NotMeasured, 0.0),
            (_, RankingSort::ToleranceDistance, Some(Judgement::Unknown)) => {
                (PlaceGroup::Unknown, 0.0)
            }
            (_, RankingSort::ToleranceDistance, judged) => (
                PlaceGroup::Known,
                match judged {
                    Some(Judgement::BeyondUpTo { dioptres }) => -dioptres,
                    _ => f64::NEG_INFINITY,
                },
            ),
            (Some(measured), RankingSort::WorstShift, _) => {
                (PlaceGroup::Known, measured.worst_shift_pct.value.abs())
            }
            (Some(measured), RankingSort::Newest, _) => {
                (PlaceGroup::Known, -(measured.published_ms as f64))
            }
            (Some(_), RankingSort::Name, _) => (PlaceGroup::Known, 0.0),
        };
        let tie = match (results, group) {
            (Some(measured), PlaceGroup::Known | PlaceGroup::Unknown) if by_distance => {
                measured.worst_shift_pct.value.abs()
            }
            _ => 0.0,
        };
        let named =
            self.sort == RankingSort::Name || by_distance || group == PlaceGroup::NotMeasured;
        Some(Candidate {
            shelved,
            results,
            place: Place {
                group,
                key,
                tie,
                name: if named { &shelved.sort_name } else { "" },
                lens: shelved.lens.id,
            },
        })
    }
}

/// What becomes of a lens at a tolerance, over all its focal lengths.
#[derive(Debug, Clone, Copy)]
enum Judgement {
    /// Never beyond it.
    Within,
    /// Beyond it at focus settings nearer than this.
    BeyondUpTo { dioptres: f64 },
    /// Beyond it somewhere, nobody knows where.
    Unknown,
}

impl Judgement {
    /// Whether the picture holds from this distance on, m.
    fn holds_from(self, wanted_m: f64) -> bool {
        match self {
            Self::Within => true,
            Self::BeyondUpTo { dioptres } => dioptres > 0.0 && 1.0 / dioptres <= wanted_m,
            Self::Unknown => false,
        }
    }
}

fn judge(results: &[RankedResult], tolerance_pct: f64) -> Judgement {
    let mut judged = Judgement::Within;
    for result in results {
        match (result.curve.tolerance_outcome(tolerance_pct), judged) {
            (ToleranceOutcome::Within, _) => {}
            (ToleranceOutcome::Unknown { .. }, _) => return Judgement::Unknown,
            (
                ToleranceOutcome::Exceeded { dioptres, .. },
                Judgement::BeyondUpTo { dioptres: least },
            ) if least <= dioptres.value => {}
            (ToleranceOutcome::Exceeded { dioptres, .. }, _) => {
                judged = Judgement::BeyondUpTo {
                    dioptres: dioptres.value,
                };
            }
        }
    }
    judged
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

    /// How many lenses are published under each set of conditions, most first.
    pub async fn conditions_in_use(&self) -> Result<Vec<(ConditionsKey, u64)>, StoreError> {
        Ok(self.shelf().await?.in_use.clone())
    }
}
