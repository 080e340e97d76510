//! Places in a ranking: what cursors hold and rows are sorted by.

use std::cmp::Ordering;

use super::LensId;

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
    /// Nothing is published under the conditions, or near the focal length asked for.
    NotMeasured,
}

/// A place whose name is somewhere else; see `RankingPlace`.
#[derive(Clone, Copy)]
pub(super) struct Place<'a> {
    pub(super) group: PlaceGroup,
    pub(super) key: f64,
    pub(super) tie: f64,
    pub(super) name: &'a str,
    pub(super) lens: LensId,
}

impl RankingPlace {
    pub(super) fn borrowed(&self) -> Place<'_> {
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
    pub(super) fn owned(self) -> RankingPlace {
        RankingPlace {
            group: self.group,
            key: self.key,
            tie: self.tie,
            name: self.name.to_owned(),
            lens: self.lens,
        }
    }

    /// Which of two comes first.
    pub(super) fn order(&self, other: &Place<'_>, descending: bool) -> Ordering {
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
