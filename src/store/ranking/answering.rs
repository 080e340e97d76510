//! The answer to a question to the ranking: lenses are filtered, judged and sorted, all in memory.

use std::ops::Range;
use std::sync::Arc;

use super::super::judgement::{Judgement, holding, judge};
use super::super::packed::RankedResult;
use super::super::ranking_place::{Place, PlaceGroup};
use super::super::search::{Pattern, patterns};
use super::super::shelf::{Shelf, ShelfGroup, ShelfLens};
use super::{NEAR_RATIO, RankedBy, RankedLens, Ranking, RankingQuery, RankingSort};
use crate::store::Lens;
use crate::sweep::{Direction, is_untold};
use crate::units::Measured;

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
    pub(super) fn answer(&self, shelf: &Shelf) -> Ranking {
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
