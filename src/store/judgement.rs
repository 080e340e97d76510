//! What becomes of a lens at a tolerance, over several focal lengths.

use crate::sweep::{Outlines, TolerancePlace, is_farther};

/// What becomes of a lens at a tolerance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Judgement {
    /// Never beyond it.
    Within,
    /// Beyond it at focus settings nearer than this.
    BeyondUpTo { dioptres: f64 },
    /// Beyond it somewhere, nobody knows where.
    Unknown,
}

impl Judgement {
    /// Of one curve.
    fn of(place: TolerancePlace) -> Self {
        match place {
            TolerancePlace::Within => Self::Within,
            TolerancePlace::Beyond(dioptres) => Self::BeyondUpTo { dioptres },
            TolerancePlace::Unknown => Self::Unknown,
        }
    }

    /// Of both together: the farthest place counts, and what is unknown of one is unknown of both.
    fn and(self, other: Self) -> Self {
        match (self, other) {
            (Self::Unknown, _) | (_, Self::Unknown) => Self::Unknown,
            (Self::Within, one) | (one, Self::Within) => one,
            (Self::BeyondUpTo { dioptres: one }, Self::BeyondUpTo { dioptres: other }) => {
                Self::BeyondUpTo {
                    dioptres: one.min(other),
                }
            }
        }
    }

    /// Whether the picture holds from this distance on, m.
    pub(super) fn holds_from(self, wanted_m: f64) -> bool {
        match self {
            Self::Within => true,
            Self::BeyondUpTo { dioptres } => dioptres > 0.0 && 1.0 / dioptres <= wanted_m,
            Self::Unknown => false,
        }
    }

    /// Whether it surely does, `at_most` being what becomes of the lens with the largest shifts that it may have. What these add
    /// is not counted where it is no farther than is worth a word, as on the page of the lens.
    pub(super) fn surely_holds_from(self, at_most: Self, wanted_m: f64) -> bool {
        let metres = |dioptres: f64| match dioptres > 0.0 {
            true => 1.0 / dioptres,
            false => f64::INFINITY,
        };
        match (self, at_most) {
            (Self::BeyondUpTo { dioptres: measured }, Self::BeyondUpTo { dioptres: most })
                if !is_farther(metres(most), metres(measured)) =>
            {
                self.holds_from(wanted_m)
            }
            _ => self.holds_from(wanted_m) && at_most.holds_from(wanted_m),
        }
    }
}

/// Judges some curves of a lens together: the farthest place counts, and what is unknown of one is unknown of all.
pub(super) fn judge(
    outlines: &Outlines,
    curves: std::ops::Range<usize>,
    tolerance_pct: f64,
) -> Judgement {
    let mut judged = Judgement::Within;
    for curve in curves {
        judged = judged.and(Judgement::of(outlines.place(curve, tolerance_pct)));
        if judged == Judgement::Unknown {
            break;
        }
    }
    judged
}

/// The same where they hold the picture from this distance on, m; `None` where one of them does not, as most do not that are
/// asked, and the others need not be looked at.
pub(super) fn holding(
    outlines: &Outlines,
    curves: std::ops::Range<usize>,
    tolerance_pct: f64,
    wanted_m: f64,
) -> Option<Judgement> {
    let mut judged = Judgement::Within;
    for curve in curves {
        let here = Judgement::of(outlines.place(curve, tolerance_pct));
        if !here.holds_from(wanted_m) {
            return None;
        }
        judged = judged.and(here);
    }
    Some(judged)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::{CurvePoint, ShiftCurve};
    use crate::units::Measured;

    /// A straight line from this shift at 2 dioptres to nothing at infinity.
    fn line(worst_pct: f64, known: bool) -> ShiftCurve {
        let point = |near: f64| CurvePoint {
            travel: 1.0 - near,
            dioptres: known.then(|| Measured::new(2.0 * near, 0.01)),
            shift_pct: Measured::new(worst_pct * near, 0.01),
        };
        ShiftCurve::new(vec![point(1.0), point(0.0)])
    }

    #[test]
    fn the_farthest_place_of_all_focal_lengths_counts() {
        let curves = [line(4.0, true), line(-8.0, true), line(1.0, true)];
        let outlines = Outlines::new(&curves);
        let all = judge(&outlines, 0..3, 2.0);
        assert_eq!(all, Judgement::BeyondUpTo { dioptres: 0.5 });
        assert!(all.holds_from(2.0) && !all.holds_from(1.99));
        let first = judge(&outlines, 0..1, 2.0);
        assert_eq!(first, Judgement::BeyondUpTo { dioptres: 1.0 });
        let last = judge(&outlines, 2..3, 2.0);
        assert!(last == Judgement::Within && last.holds_from(0.01));
        let blind = Outlines::new(&[line(4.0, true), line(3.0, false)]);
        let unknown = judge(&blind, 0..2, 2.0);
        assert!(unknown == Judgement::Unknown && !unknown.holds_from(100.0));
        assert_eq!(judge(&blind, 0..2, 5.0), Judgement::Within);
        for (outlines, curves) in [
            (&outlines, 0..3),
            (&outlines, 2..3),
            (&blind, 0..2),
            (&blind, 0..1),
        ] {
            for (tolerance_pct, from_m) in
                [(2.0, 2.0), (2.0, 1.99), (2.0, 0.9), (5.0, 0.6), (0.5, 9.0)]
            {
                let judged = judge(outlines, curves.clone(), tolerance_pct);
                let holding = holding(outlines, curves.clone(), tolerance_pct, from_m);
                assert_eq!(holding, judged.holds_from(from_m).then_some(judged));
            }
        }
    }
}
