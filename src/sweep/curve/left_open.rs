//! What is left open along a curve: how much larger than measured its shifts may truly be.
//!
//! Four things leave it open. The uncertainty of a shift, k = 2 here. A reference short of infinity: what every shift lacks is
//! known by an estimate, so the true shift lies about between the measured one and it with that added. What the pictures can't
//! tell: bounds to either side. And perspective.
//!
//! The entrance pupil may move towards the targets while focusing, which only ever makes a picture look tighter: the true
//! shift at a setting lies between the measured one less a bound and the measured one. The bound is about f·m/D
//! (`optics::perspective_bound_pct`), so from one setting to another it goes as the magnification m of a thin lens. It is
//! known where a sweep is nearest and told for every other setting by that.

use super::SAME_SETTING;
use crate::optics::magnification;
use crate::sweep::{BudgetLine, CurvePoint, Part, ShiftCurve, ToleranceOutcome};
use crate::units::Measured;

/// A tolerance distance that may be farther by less than this share is told as it was measured: pages tell distances to a
/// hundredth, and nobody sets focus to a fiftieth (common practice, no source).
const WORTH_SAYING_SHARE: f64 = 0.02;

/// How much of a shift perspective may hold, from closest focus to infinity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Perspective {
    /// The bound at closest focus, percentage points.
    bound_pct: f64,
    focal_mm: f64,
    /// Closest focus, m from the sensor plane; where it is not known the bound is taken to be as large everywhere.
    closest_m: Option<f64>,
}

impl Perspective {
    /// From the bound at closest focus, percentage points; `None` where that is not known.
    #[must_use]
    pub fn of(bound_pct: Option<f64>, focal_mm: f64, closest_m: Option<f64>) -> Option<Self> {
        bound_pct.map(|bound_pct| Self {
            bound_pct,
            focal_mm,
            closest_m,
        })
    }

    /// The bound at a focus setting (dioptres), percentage points, against infinity: 0 there.
    #[must_use]
    pub fn at_pct(&self, dioptres: f64) -> f64 {
        let Some(closest_m) = self.closest_m else {
            return self.bound_pct;
        };
        if dioptres < 1e-5 {
            return 0.0;
        }
        // Nearer than 4 f the thin lens ends at life size, as in the bound itself.
        let grows = |m: f64| magnification(self.focal_mm, 1000.0 * m).unwrap_or(1.0);
        self.bound_pct * grows(1.0 / dioptres) / grows(closest_m)
    }

    /// What it may hold of the change when focus is pulled from one setting to another, dioptres, percentage points: the
    /// true change lies between the measured one less this and the measured one. Negative where focus is pulled away.
    #[must_use]
    pub fn of_pull_pct(&self, from_dioptres: f64, to_dioptres: f64) -> f64 {
        match self.closest_m {
            Some(_) => self.at_pct(to_dioptres) - self.at_pct(from_dioptres),
            None => self.bound_pct.copysign(to_dioptres - from_dioptres),
        }
    }
}

/// Bounds that are smaller together, percentage points, are not counted: shifts are shown to a fifth of this.
const WORTH_COUNTING_PCT: f64 = 0.05;

/// What the pictures can't tell of the shifts of one curve, to either side: bounds, one upon the other.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Unseen {
    /// As much in every shift, percentage points: a step of the zoom ring, a reference that is taken for infinity.
    pub everywhere_pct: f64,
    /// In the worst shift, percentage points; as blur and slow movement do, it goes with the way from the reference, in
    /// dioptres, and is never more.
    pub growing_pct: f64,
}

impl Unseen {
    /// From the bounds of a worst shift; nothing where they come to less than is worth counting. Perspective and a reference
    /// that is known to be short of infinity stand for themselves.
    #[must_use]
    pub fn of(systematic: &[BudgetLine]) -> Self {
        let mut unseen = Self::default();
        for line in systematic {
            match line.part {
                Part::ZoomSlip | Part::AssumedInfinity => unseen.everywhere_pct += line.pct.abs(),
                Part::UnseenShading
                | Part::UnevenPupil
                | Part::UnseenVignetting
                | Part::UntoldMove => unseen.growing_pct += line.pct.abs(),
                _ => {}
            }
        }
        match unseen.at_worst_pct() < WORTH_COUNTING_PCT {
            true => Self::default(),
            false => unseen,
        }
    }

    /// Of the worst shift, percentage points.
    #[must_use]
    pub fn at_worst_pct(self) -> f64 {
        self.everywhere_pct + self.growing_pct
    }

    /// Of a shift at this share of the way from the reference to the worst shift, percentage points; none at the reference.
    fn at_pct(self, share: f64) -> f64 {
        match share > 0.0 {
            true => self.everywhere_pct + self.growing_pct * share.min(1.0),
            false => 0.0,
        }
    }
}

/// What may be added to the shifts of one curve.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LeftOpen {
    perspective: Option<Perspective>,
    /// What about every shift lacks, percentage points.
    shortfall_pct: f64,
    unseen: Unseen,
}

impl LeftOpen {
    /// From what perspective may hold, what about every shift lacks because the reference is short of infinity, percentage
    /// points, and what the pictures can't tell; where one of the first two is not known, nothing of it is counted.
    #[must_use]
    pub fn new(
        perspective: Option<Perspective>,
        shortfall_pct: Option<f64>,
        unseen: Unseen,
    ) -> Self {
        Self {
            perspective,
            shortfall_pct: shortfall_pct.unwrap_or(0.0),
            unseen,
        }
    }

    /// The farthest distance, m, at which a curve may exceed a tolerance (per cent) once all that is left open is counted, its
    /// expanded uncertainty (k = 2) too; infinite where that may be at every distance. `None` where it is farther than what was
    /// measured by less than a fiftieth, or nobody knows.
    #[must_use]
    pub fn may_reach_m(&self, curve: &ShiftCurve, tolerance_pct: f64) -> Option<f64> {
        let measured = curve.tolerance_outcome(tolerance_pct);
        let ToleranceOutcome::Exceeded { dioptres, .. } =
            self.at_most(curve).tolerance_outcome(tolerance_pct)
        else {
            return None;
        };
        let most = if dioptres.value > 0.0 {
            1.0 / dioptres.value
        } else {
            f64::INFINITY
        };
        if measured == ToleranceOutcome::Within {
            return Some(most);
        }
        let measured = measured.distance_m()?;
        // Never nearer than what stands beside the distance says.
        let most = most.max(measured.value + 2.0 * measured.std_error);
        is_farther(most, measured.value).then_some(most)
    }

    /// The curve with the largest magnitude that every shift may have, at the farthest setting that it may have it at. The
    /// reference is what shifts are against: there perspective leaves nothing open, nor what the pictures can't tell.
    #[must_use]
    pub fn at_most(&self, curve: &ShiftCurve) -> ShiftCurve {
        let last = curve.points().last().and_then(|point| point.dioptres);
        let last = last.map_or(0.0, |at| at.value);
        let size = |point: &&CurvePoint| point.shift_pct.value.abs();
        let worst = curve
            .points()
            .iter()
            .max_by(|a, b| size(a).total_cmp(&size(b)));
        let worst = worst.and_then(|point| Some(point.dioptres?.value));
        let share = |point: &CurvePoint| match (point.dioptres, worst) {
            (Some(at), Some(worst)) if worst > last + SAME_SETTING => {
                let way = at.value - last;
                if way > SAME_SETTING {
                    way / (worst - last)
                } else {
                    0.0
                }
            }
            // Nobody knows how far off it is: all of it, but at the reference.
            _ if point.travel < 1.0 => 1.0,
            _ => 0.0,
        };
        let points = curve.points().iter().map(|point| {
            let shift = point.shift_pct.value;
            let u = 2.0 * point.shift_pct.std_error + self.unseen.at_pct(share(point));
            let hidden = match (self.perspective, point.dioptres) {
                (Some(perspective), Some(at)) if at.value > last + SAME_SETTING => {
                    perspective.of_pull_pct(last, at.value).max(0.0)
                }
                _ => 0.0,
            };
            let least = shift - u - hidden + self.shortfall_pct.min(0.0);
            let most = shift + u + self.shortfall_pct.max(0.0);
            let extreme = if least.abs() > most.abs() {
                least
            } else {
                most
            };
            CurvePoint {
                shift_pct: Measured::new(extreme, 0.0),
                dioptres: point
                    .dioptres
                    .map(|at| Measured::new((at.value - 2.0 * at.std_error).max(0.0), 0.0)),
                ..*point
            }
        });
        ShiftCurve::new(points.collect())
    }
}

/// Whether a distance is farther than another by so much that it is worth a word.
#[must_use]
pub fn is_farther(most_m: f64, measured_m: f64) -> bool {
    most_m > (1.0 + WORTH_SAYING_SHARE) * measured_m
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 50 mm at 0.5 m with targets at 2 m: 0.3175 points (see `optics`); at 1 m its magnification is 0.0557 instead of
    /// 0.127, so 0.139; at infinity none.
    #[test]
    fn the_bound_falls_with_the_magnification() {
        let bound = Perspective::of(Some(0.3175), 50.0, Some(0.5)).expect("known");
        for (dioptres, pct) in [(2.0, 0.3175), (1.0, 0.1393), (0.0, 0.0)] {
            let got = bound.at_pct(dioptres);
            assert!((got - pct).abs() < 2e-4, "{dioptres}: {got}");
        }
        let (nearer, away) = (bound.of_pull_pct(1.0, 2.0), bound.of_pull_pct(2.0, 1.0));
        assert!((nearer - 0.1782).abs() < 4e-4 && (nearer + away).abs() < 1e-12);
        assert!(bound.of_pull_pct(1.0, 1.0).abs() < 1e-12);
        assert_eq!(Perspective::of(None, 50.0, Some(0.5)), None);
    }

    fn open(shortfall_pct: Option<f64>) -> LeftOpen {
        LeftOpen::new(
            Perspective::of(Some(0.3175), 50.0, Some(0.5)),
            shortfall_pct,
            Unseen::default(),
        )
    }

    fn straight(worst_pct: f64) -> ShiftCurve {
        let point = |part: f64| CurvePoint {
            travel: 1.0 - part,
            dioptres: Some(Measured::new(2.0 * part, 0.001)),
            shift_pct: Measured::new(worst_pct * part, 0.001),
        };
        ShiftCurve::new((0..=20).rev().map(|n| point(f64::from(n) / 20.0)).collect())
    }

    /// A lens that gets wider may truly be wider, so its tolerance distance may be farther; one that gets tighter may only
    /// be less tight.
    #[test]
    fn only_what_gets_wider_may_reach_farther() {
        let bound = open(None);
        // −4 % at 2 dioptres: 2 % at 1 m as measured. With about 0.139 points more there, a little before 0.94 dioptres.
        let most = bound.may_reach_m(&straight(-4.0), 2.0).expect("farther");
        assert!((most - 1.0 / 0.937).abs() < 0.01, "{most}");
        assert_eq!(bound.may_reach_m(&straight(4.0), 2.0), None);
        // Within as measured, beyond at closest focus with what may be hidden.
        let within = bound.may_reach_m(&straight(-1.9), 2.0).expect("nearest");
        assert!((0.5..0.6).contains(&within), "{within}");
        assert_eq!(bound.may_reach_m(&straight(-1.5), 2.0), None);
    }

    /// +4 % at 2 dioptres that ends at 0.4 dioptres, where about +0.8 points are left to infinity: 2 % at 1 dioptre as measured
    /// against infinity, at 0.6 with 0.8 more. A shortfall to the other side takes nothing off what was measured.
    #[test]
    fn what_is_short_of_infinity_may_reach_farther() {
        let short = |worst_pct: f64| {
            let points = straight(worst_pct);
            let points = points.points().iter().filter_map(|point| {
                let dioptres = point.dioptres?;
                let lacks = worst_pct * 0.2;
                (dioptres.value > 0.39).then(|| CurvePoint {
                    shift_pct: Measured::new(point.shift_pct.value - lacks, 0.0005),
                    dioptres: Some(Measured::new(dioptres.value, 0.0005)),
                    ..*point
                })
            });
            ShiftCurve::new(points.collect())
        };
        let left = |shortfall| LeftOpen::new(None, shortfall, Unseen::default());
        for (worst, shortfall, tolerance, most) in [
            (4.0, Some(0.8), 2.0, Some(1.0)),
            (-4.0, Some(-0.8), 2.0, Some(1.0)),
            (4.0, Some(-0.8), 2.0, None),
            (4.0, None, 2.0, None),
            // 3.2 % as measured, so within; with what is lacking beyond from 0.57 m on.
            (4.0, Some(0.8), 3.5, Some(1.0 / 1.75)),
            // It may be beyond up to the farthest frame.
            (4.0, Some(0.8), 0.7, Some(2.5)),
        ] {
            let got = left(shortfall).may_reach_m(&short(worst), tolerance);
            assert_eq!(
                got.is_some(),
                most.is_some(),
                "{worst} {shortfall:?} {tolerance}: {got:?}"
            );
            let off = got.zip(most).map_or(0.0, |(got, most)| got / most - 1.0);
            assert!(
                off.abs() < 0.005,
                "{worst} {shortfall:?} {tolerance}: {got:?}"
            );
        }
    }

    /// ± 0.2 points (k = 2) on a line of 2 % a dioptre are ± 0.1 dioptres: 2 % at 1 m as measured, at 1.11 m for certain.
    #[test]
    fn what_is_uncertain_may_reach_as_far_as_it_is_uncertain() {
        let sure = straight(4.0);
        let uncertain = |u: f64, u_dioptres: f64| {
            let points = sure.points().iter().map(|point| CurvePoint {
                shift_pct: Measured::new(point.shift_pct.value, u),
                dioptres: point.dioptres.map(|at| Measured::new(at.value, u_dioptres)),
                ..*point
            });
            ShiftCurve::new(points.collect())
        };
        let most = |curve: &ShiftCurve| LeftOpen::default().may_reach_m(curve, 2.0);
        assert_eq!(most(&uncertain(0.001, 0.001)), None);
        for (u, u_dioptres) in [(0.1, 0.0), (0.0, 0.05)] {
            let got = most(&uncertain(u, u_dioptres)).expect("farther");
            assert!((got - 1.0 / 0.9).abs() < 0.002, "{got}");
        }
        // Never nearer than the distance with its own uncertainty.
        for u in [0.05, 0.3, 0.7, 1.5] {
            let curve = uncertain(u, 0.02);
            let distance = curve.tolerance_outcome(2.0).distance_m().expect("known");
            let got = most(&curve).expect("farther");
            assert!(
                got >= distance.value + 2.0 * distance.std_error,
                "{u}: {got}"
            );
        }
        assert_eq!(most(&uncertain(2.0, 0.0)), Some(f64::INFINITY));
    }

    /// +4 % at 2 dioptres. Bounds of 0.4 points that grow from the reference on make it 4.4 % there, so 2 % at 2/2.2 dioptres; a
    /// step of 0.4 points that is in every shift reaches farther, to 1.6/2 dioptres.
    #[test]
    fn what_the_pictures_cant_tell_may_reach_farther() {
        let line = |part, pct| BudgetLine { part, pct };
        let most = |lines: &[BudgetLine], worst: f64| {
            LeftOpen::new(None, None, Unseen::of(lines)).may_reach_m(&straight(worst), 2.0)
        };
        let growing = [
            line(Part::UnseenShading, 0.1),
            line(Part::UnevenPupil, 0.1),
            line(Part::UnseenVignetting, 0.1),
            line(Part::UntoldMove, -0.1),
        ];
        let steady = [line(Part::ZoomSlip, -0.3), line(Part::AssumedInfinity, 0.1)];
        for worst in [4.0, -4.0] {
            for (lines, dioptres) in [(&growing[..], 2.0 / 2.2), (&steady[..], 0.8)] {
                let got = most(lines, worst).expect("farther");
                assert!((got * dioptres - 1.0).abs() < 0.005, "{worst} {got}");
            }
        }
        // Within as measured, beyond with them.
        assert!(most(&growing, 1.7).is_some() && most(&growing, 1.5).is_none());
        // Too small to count, and those that stand for themselves.
        assert_eq!(most(&growing[..0], 4.0), None);
        assert_eq!(
            Unseen::of(&[line(Part::UnevenPupil, 0.04)]),
            Unseen::default()
        );
        let apart = [
            line(Part::EntrancePupil, 0.4),
            line(Part::ReferenceNotAtInfinity, 0.4),
        ];
        assert_eq!(Unseen::of(&apart), Unseen::default());
    }
}
