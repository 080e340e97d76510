//! How much of the focus range a sweep covers. What covers less than others is no repeat of them: what ends before infinity
//! tells its shifts against a nearer picture, what begins farther off has not seen the same worst shift.

use crate::sweep::{ShiftCurve, SweepMeasurement};

/// Share of the nearest focus setting, in dioptres, that a sweep has to reach to count as one from closest focus: cameras state
/// distances coarsely there.
const SAME_NEAR_END: f64 = 0.9;

/// From where to where a sweep goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reach {
    /// Its last frame is at infinity.
    pub to_infinity: bool,
    /// Its nearest focus setting, dioptres; `None` where not known.
    pub nearest_dioptres: Option<f64>,
}

impl Reach {
    /// Of a curve whose shifts are against the farthest frame or infinity.
    #[must_use]
    pub fn of(curve: &ShiftCurve, relative_to_farthest: bool) -> Self {
        Self {
            to_infinity: !relative_to_farthest,
            nearest_dioptres: curve.range_dioptres().map(|(_, near)| near),
        }
    }
}

impl SweepMeasurement {
    /// From where to where it goes; `None` where it has no result.
    #[must_use]
    pub fn reach(&self) -> Option<Reach> {
        let summary = self.summary.as_ref()?;
        Some(Reach::of(&summary.curve, summary.relative_to_farthest))
    }
}

/// How one of several sweeps that repeat each other counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counts {
    /// It is one of those that are taken together.
    Wholly,
    /// Not by itself: it holds pictures of the one at this place.
    AsPicturesOf(usize),
    /// Not: it covers less of the focus range than others.
    Partly,
}

/// How each of several sweeps counts that repeat each other: the one rule for the site and the command line. `share_pictures` says
/// whether two of them, by their places, hold a picture in common; the first of such sweeps counts. Of those left, the ones that
/// cover most of the focus range.
#[must_use]
pub fn how_each_counts(
    reaches: &[Reach],
    share_pictures: &dyn Fn(usize, usize) -> bool,
) -> Vec<Counts> {
    let mut counts: Vec<Counts> = Vec::with_capacity(reaches.len());
    for at in 0..reaches.len() {
        let is_first =
            |&first: &usize| counts[first] == Counts::Wholly && share_pictures(first, at);
        counts.push(
            (0..at)
                .find(is_first)
                .map_or(Counts::Wholly, Counts::AsPicturesOf),
        );
    }
    let own: Vec<usize> = (0..reaches.len())
        .filter(|&at| counts[at] == Counts::Wholly)
        .collect();
    let reach_of_own: Vec<Reach> = own.iter().map(|&at| reaches[at]).collect();
    for (at, covers) in own.into_iter().zip(cover_most(&reach_of_own)) {
        if !covers {
            counts[at] = Counts::Partly;
        }
    }
    counts
}

/// Which sweeps cover the range as far as any of them does: those to infinity, where there are some, and of these the ones from
/// closest focus. Where it is not known how near one begins, it counts.
fn cover_most(reaches: &[Reach]) -> Vec<bool> {
    let any_to_infinity = reaches.iter().any(|reach| reach.to_infinity);
    let far = |reach: &&Reach| reach.to_infinity || !any_to_infinity;
    let near = reaches
        .iter()
        .filter(far)
        .filter_map(|r| r.nearest_dioptres);
    let closest = near.fold(0.0, f64::max);
    let from_closest = |reach: &Reach| {
        let nearest = reach.nearest_dioptres;
        nearest.is_none_or(|near| near > SAME_NEAR_END * closest)
    };
    reaches
        .iter()
        .map(|reach| far(&reach) && from_closest(reach))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_goes_farthest_and_nearest_counts() {
        let reach = |to_infinity, nearest_dioptres| Reach {
            to_infinity,
            nearest_dioptres,
        };
        for (reaches, counted) in [
            (
                vec![reach(true, Some(2.0)), reach(true, Some(1.9))],
                vec![true, true],
            ),
            (
                vec![reach(true, Some(2.0)), reach(true, Some(1.0))],
                vec![true, false],
            ),
            (
                vec![reach(true, Some(1.0)), reach(false, Some(2.0))],
                vec![true, false],
            ),
            (
                vec![reach(false, Some(2.0)), reach(false, None)],
                vec![true, true],
            ),
            (
                vec![reach(true, None), reach(true, Some(2.0))],
                vec![true, true],
            ),
            (vec![], vec![]),
        ] {
            assert_eq!(cover_most(&reaches), counted, "{reaches:?}");
        }
    }

    /// A copy of the first one counts with it, and what ends before infinity, or begins farther off, does not.
    #[test]
    fn copies_and_parts_do_not_count() {
        let reach = |to_infinity, near| Reach {
            to_infinity,
            nearest_dioptres: Some(near),
        };
        let reaches = [
            reach(true, 2.0),
            reach(true, 2.0),
            reach(false, 2.0),
            reach(true, 1.0),
            reach(true, 1.9),
        ];
        let share = |one: usize, other: usize| one + other == 1;
        assert_eq!(
            how_each_counts(&reaches, &share),
            [
                Counts::Wholly,
                Counts::AsPicturesOf(0),
                Counts::Partly,
                Counts::Partly,
                Counts::Wholly
            ]
        );
        assert!(how_each_counts(&[], &share).is_empty());
    }
}
