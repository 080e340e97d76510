//! Shift against focus: the curve that the tolerance distance and every focus pull are read from.

use super::between::{LEFT_OVER, piece};
use crate::units::Measured;

/// Exceeding a tolerance by this much, percentage points, is no flicker of noise, however uncertain the curve.
const CLEARLY_PCT: f64 = 0.05;

/// One measured frame on the curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurvePoint {
    /// Place in the sweep, 0 at closest focus, 1 at the last frame.
    pub travel: f64,
    /// Focus setting, dioptres; `None` where unknown.
    pub dioptres: Option<Measured>,
    /// Shift, per cent.
    pub shift_pct: Measured,
}

/// The shift of one sweep against focus, closest focus first.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ShiftCurve {
    points: Vec<CurvePoint>,
}

/// Whether and up to where a lens exceeds a tolerance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ToleranceOutcome {
    /// The whole sweep stays within the tolerance.
    Within,
    /// Exceeded at focus settings nearer than this.
    Exceeded {
        /// The farthest setting at which |shift| reaches the tolerance, dioptres with standard uncertainty.
        dioptres: Measured,
        /// Where that is in the sweep.
        travel: f64,
    },
    /// Exceeded, but no distances are known.
    Unknown {
        /// Where in the sweep it happens.
        travel: f64,
    },
}

impl ToleranceOutcome {
    /// The word for the outcome in JSON and storage.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Within => "within",
            Self::Exceeded { .. } => "exceeded",
            Self::Unknown { .. } => "unknown",
        }
    }

    /// Tolerance distance, m, with its standard uncertainty (first order: u(d)/d²); `None` unless exceeded.
    #[must_use]
    pub fn distance_m(&self) -> Option<Measured> {
        match self {
            Self::Exceeded { dioptres, .. } if dioptres.value > 0.0 => Some(Measured::new(
                1.0 / dioptres.value,
                dioptres.std_error / (dioptres.value * dioptres.value),
            )),
            _ => None,
        }
    }
}

impl ShiftCurve {
    /// A curve through these points, which are in sweep order.
    #[must_use]
    pub fn new(points: Vec<CurvePoint>) -> Self {
        Self { points }
    }

    /// The points, closest focus first.
    #[must_use]
    pub fn points(&self) -> &[CurvePoint] {
        &self.points
    }

    /// Shift at a focus setting, per cent; `None` outside the measured range or where no distances are known.
    #[must_use]
    pub fn shift_at(&self, dioptres: f64) -> Option<Measured> {
        between(&self.by_dioptres(), dioptres)
    }

    /// Shift at a place in the sweep (0 closest focus, 1 last frame), per cent; `None` outside what was measured.
    #[must_use]
    pub fn shift_at_travel(&self, travel: f64) -> Option<Measured> {
        between(&self.by_travel(), travel)
    }

    /// Change of the picture's scale, per cent, when focus is pulled from one setting to another, dioptres: positive is
    /// tighter. `None` where either lies outside the measured range.
    #[must_use]
    pub fn pull(&self, from_dioptres: f64, to_dioptres: f64) -> Option<Measured> {
        let (from, to) = (self.shift_at(from_dioptres)?, self.shift_at(to_dioptres)?);
        let (a, b) = (1.0 + from.value / 100.0, 1.0 + to.value / 100.0);
        let u = (to.std_error / a).hypot(b * from.std_error / (a * a));
        Some(Measured::new((b / a - 1.0) * 100.0, u))
    }

    /// Range of focus settings that was measured, dioptres, far end first; `None` where no distances are known.
    #[must_use]
    pub fn range_dioptres(&self) -> Option<(f64, f64)> {
        let points = self.by_dioptres();
        Some((points.first()?.at, points.last()?.at))
    }

    /// The point of largest magnitude.
    #[must_use]
    pub fn worst(&self) -> Option<&CurvePoint> {
        let size = |point: &CurvePoint| point.shift_pct.value.abs();
        self.points.iter().reduce(|worst, point| {
            if size(point) > size(worst) {
                point
            } else {
                worst
            }
        })
    }

    /// Whether the curve exceeds a tolerance (per cent of shift), and the farthest setting at which it does.
    ///
    /// It does just when its worst shift is beyond the tolerance. Seen from the far end, the first stretch beyond it
    /// counts that goes clearly beyond: by twice its standard uncertainty, or by `CLEARLY_PCT`; where none does, the
    /// stretch that holds the worst shift. The place is found on the curve between the stretch's last point and the next;
    /// the interval holds the noise of the curve over its slope, how it may bend there, and the uncertainty of the
    /// distances.
    #[must_use]
    pub fn tolerance_outcome(&self, tolerance_pct: f64) -> ToleranceOutcome {
        let size = |k: usize| self.points[k].shift_pct.value.abs();
        let mut largest: Option<(f64, usize)> = None;
        let mut end = self.points.len();
        while end > 0 {
            let k = end - 1;
            let first = (0..end)
                .rev()
                .take_while(|&at| size(at) > tolerance_pct)
                .last();
            let Some(first) = first else {
                end = k;
                continue;
            };
            let clear = (first..=k).any(|at| clear_size(&self.points[at]) > tolerance_pct);
            if clear {
                return self.crossing(k, tolerance_pct);
            }
            let most = (first..=k).map(size).fold(0.0, f64::max);
            if largest.is_none_or(|(so_far, _)| most > so_far) {
                largest = Some((most, k));
            }
            end = first;
        }
        largest.map_or(ToleranceOutcome::Within, |(_, k)| {
            self.crossing(k, tolerance_pct)
        })
    }

    /// Where the curve passes the tolerance between point `k`, which is beyond it, and the next farther one.
    fn crossing(&self, k: usize, tolerance_pct: f64) -> ToleranceOutcome {
        let near = self.points[k];
        let Some(far) = self.points.get(k + 1) else {
            return match near.dioptres {
                Some(dioptres) => ToleranceOutcome::Exceeded {
                    dioptres,
                    travel: near.travel,
                },
                None => ToleranceOutcome::Unknown {
                    travel: near.travel,
                },
            };
        };
        let (a, b) = (far.shift_pct, near.shift_pct);
        let straight = (tolerance_pct.copysign(b.value) - a.value) / (b.value - a.value);
        let travel = |share: f64| far.travel + share * (near.travel - far.travel);
        let (Some(from), Some(to)) = (far.dioptres, near.dioptres) else {
            return ToleranceOutcome::Unknown {
                travel: travel(straight),
            };
        };
        let width = to.value - from.value;
        let known = |k: usize| {
            let point = self.points.get(k)?;
            Some((point.dioptres?.value, point.shift_pct.value))
        };
        let piece = piece(
            self.points.len(),
            known(k + 2),
            (from.value, a.value),
            (to.value, b.value),
            k.checked_sub(1).and_then(known),
        );
        let share = piece.share(tolerance_pct.copysign(b.value));
        let by_bend = LEFT_OVER * (share - straight) * width;
        // Neighbours on a smooth curve err alike, so their uncertainty does not average out between them.
        let noise = a.std_error + share * (b.std_error - a.std_error);
        let by_noise = noise / (b.value - a.value).abs() * width.abs();
        let by_distance = from.std_error + share * (to.std_error - from.std_error);
        ToleranceOutcome::Exceeded {
            dioptres: Measured::new(
                from.value + share * width,
                by_noise.hypot(by_distance).hypot(by_bend),
            ),
            travel: travel(share),
        }
    }

    fn by_dioptres(&self) -> Vec<Place> {
        let mut places: Vec<Place> = self
            .points
            .iter()
            .filter_map(|point| {
                point.dioptres.map(|d| Place {
                    at: d.value,
                    shift: point.shift_pct,
                })
            })
            .collect();
        places.sort_by(|a, b| a.at.total_cmp(&b.at));
        places
    }

    fn by_travel(&self) -> Vec<Place> {
        self.points
            .iter()
            .map(|point| Place {
                at: point.travel,
                shift: point.shift_pct,
            })
            .collect()
    }
}

/// The tolerance that a point is just clearly beyond: by twice its standard uncertainty, or by `CLEARLY_PCT`, per cent.
pub(super) fn clear_size(point: &CurvePoint) -> f64 {
    let margin = (2.0 * point.shift_pct.std_error).min(CLEARLY_PCT);
    point.shift_pct.value.abs() - margin
}

/// A shift at a place along some axis.
#[derive(Debug, Clone, Copy)]
struct Place {
    at: f64,
    shift: Measured,
}

/// The shift at `at`, on the curve between the places beside it, which are in rising order.
fn between(places: &[Place], at: f64) -> Option<Measured> {
    let right = places.iter().position(|place| place.at >= at)?;
    let b = places[right];
    if b.at <= at {
        return Some(b.shift);
    }
    let a = places[right.checked_sub(1)?];
    let share = (at - a.at) / (b.at - a.at);
    let point = |place: &Place| (place.at, place.shift.value);
    let before = right.checked_sub(2).and_then(|k| places.get(k)).map(point);
    let after = places.get(right + 1).map(point);
    let value = piece(places.len(), before, point(&a), point(&b), after).value(share);
    let straight = a.shift.value + share * (b.shift.value - a.shift.value);
    let u = ((1.0 - share) * a.shift.std_error).hypot(share * b.shift.std_error);
    Some(Measured::new(
        value,
        u.hypot(LEFT_OVER * (value - straight)),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve(points: &[(f64, f64)], u: f64) -> ShiftCurve {
        let last = (points.len() - 1) as f64;
        ShiftCurve::new(
            points
                .iter()
                .enumerate()
                .map(|(i, &(dioptres, shift))| CurvePoint {
                    travel: i as f64 / last,
                    dioptres: Some(Measured::new(dioptres, 0.001)),
                    shift_pct: Measured::new(shift, u),
                })
                .collect(),
        )
    }

    fn exceeded_at(outcome: ToleranceOutcome) -> f64 {
        match outcome {
            ToleranceOutcome::Exceeded { dioptres, .. } => dioptres.value,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn the_farthest_crossing_counts_on_a_curve_that_turns() {
        // Wider than the tolerance in the middle, then tighter than it at the near end.
        let turning = curve(
            &[
                (2.0, 3.0),
                (1.6, 1.0),
                (1.2, -2.5),
                (0.8, -3.0),
                (0.4, -1.0),
                (0.0, 0.0),
            ],
            0.001,
        );
        assert!((exceeded_at(turning.tolerance_outcome(2.0)) - 0.6).abs() < 1e-12);
        assert!((exceeded_at(turning.tolerance_outcome(0.5)) - 0.2).abs() < 1e-12);
        assert_eq!(turning.tolerance_outcome(3.5), ToleranceOutcome::Within);
    }

    #[test]
    fn a_flicker_of_noise_far_off_is_passed_over() {
        let flicker = curve(
            &[(2.0, 3.0), (1.5, 1.0), (1.0, 2.003), (0.5, 1.9), (0.0, 0.0)],
            0.003,
        );
        assert!((exceeded_at(flicker.tolerance_outcome(2.0)) - 1.75).abs() < 1e-12);
        let clear = curve(&[(2.0, 1.0), (1.0, 2.1), (0.5, 1.9), (0.0, 0.0)], 0.1);
        assert!((exceeded_at(clear.tolerance_outcome(2.0)) - 0.75).abs() < 1e-12);
    }

    /// Just around the tolerance, clear of it and within the noise: whoever reads the worst shift and whoever reads the
    /// outcome are told the same.
    #[test]
    fn worst_shift_and_tolerance_never_contradict() {
        for u in [0.0001, 0.003, 0.2] {
            for size in [
                1.9, 1.997, 1.999_999, 2.0, 2.000_001, 2.003, 2.04, 2.06, 2.3,
            ] {
                for sign in [1.0, -1.0] {
                    for shape in [[1.0, 0.5, 0.0], [0.3, 1.0, 0.0], [-0.9, 1.0, 0.999_999]] {
                        let points: Vec<(f64, f64)> = [2.0, 1.0, 0.5]
                            .into_iter()
                            .zip(shape.map(|part| part * sign * size))
                            .chain([(0.0, 0.0)])
                            .collect();
                        let curve = curve(&points, u);
                        let worst = curve.worst().expect("points").shift_pct.value;
                        assert_eq!(
                            curve.tolerance_outcome(2.0) == ToleranceOutcome::Within,
                            worst.abs() <= 2.0,
                            "{worst} ± {u}"
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn without_distances_the_travel_is_told() {
        let mut points = curve(&[(2.0, 4.0), (1.0, 1.0), (0.0, 0.0)], 0.001).points;
        for point in &mut points {
            point.dioptres = None;
        }
        let unknown = ShiftCurve::new(points);
        match unknown.tolerance_outcome(2.5) {
            ToleranceOutcome::Unknown { travel } => assert!((travel - 0.25).abs() < 1e-12),
            other => panic!("{other:?}"),
        }
        assert_eq!(unknown.shift_at(1.0), None);
        assert!((unknown.shift_at_travel(0.25).expect("inside").value - 2.5).abs() < 1e-12);
    }

    #[test]
    fn nothing_is_said_outside_the_measured_range() {
        let curve = curve(&[(2.0, 4.0), (1.0, 1.0), (0.5, 0.0)], 0.001);
        assert_eq!(curve.range_dioptres(), Some((0.5, 2.0)));
        assert!(curve.shift_at(0.4).is_none() && curve.shift_at(2.1).is_none());
        assert!((curve.shift_at(1.5).expect("inside").value - 2.5).abs() < 1e-12);
        assert!((curve.shift_at(2.0).expect("the end").value - 4.0).abs() < 1e-12);
        // From 2 dioptres to 1: 1.01/1.04 − 1.
        let pull = curve.pull(2.0, 1.0).expect("inside");
        assert!((pull.value - 100.0 * (1.01 / 1.04 - 1.0)).abs() < 1e-12);
        assert_eq!(curve.pull(2.0, 0.1), None);
    }

    #[test]
    fn an_empty_curve_is_within_everything() {
        let empty = ShiftCurve::default();
        assert_eq!(empty.tolerance_outcome(2.0), ToleranceOutcome::Within);
        assert!(empty.worst().is_none() && empty.range_dioptres().is_none());
    }

    /// The interval: noise over slope and the distances' own uncertainty.
    #[test]
    fn the_crossing_knows_its_uncertainty() {
        let curve = curve(&[(2.0, 4.0), (0.0, 0.0)], 0.01);
        match curve.tolerance_outcome(2.0) {
            ToleranceOutcome::Exceeded { dioptres, .. } => {
                assert!((dioptres.std_error - 0.005_f64.hypot(0.001)).abs() < 1e-12);
            }
            other => panic!("{other:?}"),
        }
    }
}
