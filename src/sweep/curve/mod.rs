//! Shift against focus: the curve that the tolerance distance and every focus pull are read from.

pub(super) mod between;
pub(super) mod left_open;
pub(super) mod outlines;
pub(super) mod told;

use self::between::{LEFT_OVER, piece};
use crate::units::Measured;

/// Exceeding a tolerance by this much, percentage points, is no flicker of noise, however uncertain the curve.
const CLEARLY_PCT: f64 = 0.05;

/// Settings closer than this, dioptres or parts of the travel, are one.
pub const SAME_SETTING: f64 = 1e-6;

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

    /// Whether the nearest frames of its sweep have no result, so that nobody knows how large the shift is there.
    #[must_use]
    pub fn begins_late(&self) -> bool {
        self.points.first().is_some_and(|point| point.travel > 1e-9)
    }

    /// Shift at a focus setting, per cent; `None` outside the measured range or where no distances are known. Its uncertainty
    /// holds that of the distances, times the slope of the curve.
    #[must_use]
    pub fn shift_at(&self, dioptres: f64) -> Option<Measured> {
        between(&self.by_dioptres(), dioptres)
    }

    /// Shift at a place in the sweep (0 closest focus, 1 last frame), per cent; `None` outside what was measured.
    #[must_use]
    pub fn shift_at_travel(&self, travel: f64) -> Option<Measured> {
        between(&self.by_travel(), travel)
    }

    /// Place in the sweep (0 closest focus, 1 last frame) of a focus setting, dioptres, on the straight line between the frames
    /// beside it; `None` as for [`shift_at`](Self::shift_at).
    #[must_use]
    pub fn travel_at(&self, dioptres: f64) -> Option<f64> {
        let known = |point: &CurvePoint| Some((point.dioptres?.value, point.travel));
        straight(self.points.iter().filter_map(known).collect(), dioptres)
    }

    /// Focus setting at a place in the sweep, dioptres, in the same way; `None` outside what was measured, and where the frames
    /// beside it don't know theirs.
    #[must_use]
    pub fn dioptres_at(&self, travel: f64) -> Option<f64> {
        let known =
            |point: &CurvePoint| (point.travel, point.dioptres.map_or(f64::NAN, |at| at.value));
        straight(self.points.iter().map(known).collect(), travel).filter(|at| at.is_finite())
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
        let known = self.points.iter().filter_map(|point| point.dioptres);
        known.fold(None, |range, at| {
            let (far, near) = range.unwrap_or((at.value, at.value));
            Some((at.value.min(far), at.value.max(near)))
        })
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
        let known = |point: &CurvePoint| {
            Some(Place {
                at: point.dioptres?,
                shift: point.shift_pct,
            })
        };
        in_order(self.points.iter().filter_map(known).collect())
    }

    fn by_travel(&self) -> Vec<Place> {
        let known = |point: &CurvePoint| Place {
            at: Measured::new(point.travel, 0.0),
            shift: point.shift_pct,
        };
        in_order(self.points.iter().map(known).collect())
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
    at: Measured,
    shift: Measured,
}

fn in_order(mut places: Vec<Place>) -> Vec<Place> {
    places.sort_by(|a, b| a.at.value.total_cmp(&b.at.value));
    places
}

/// The shift at `at`, on the curve between the places beside it, which are in rising order.
fn between(places: &[Place], at: f64) -> Option<Measured> {
    let (right, share) = beside(places, |place| place.at.value, at)?;
    let Some(left) = right.checked_sub(1) else {
        return Some(places[right].shift);
    };
    let (a, b) = (places[left], places[right]);
    let width = b.at.value - a.at.value;
    let point = |place: &Place| (place.at.value, place.shift.value);
    let before = left.checked_sub(1).and_then(|k| places.get(k)).map(point);
    let after = places.get(right + 1).map(point);
    let value = piece(places.len(), before, point(&a), point(&b), after).value(share);
    let rise = b.shift.value - a.shift.value;
    let u = ((1.0 - share) * a.shift.std_error).hypot(share * b.shift.std_error);
    let by_bend = LEFT_OVER * (value - a.shift.value - share * rise);
    // Neighbours' distances err alike, so their uncertainty does not average out between them.
    let u_place = a.at.std_error + share * (b.at.std_error - a.at.std_error);
    let by_place = if width > 0.0 {
        rise / width * u_place
    } else {
        0.0
    };
    Some(Measured::new(value, u.hypot(by_bend).hypot(by_place)))
}

/// The straight line through points in any order, at a place along the first of their coordinates.
fn straight(mut points: Vec<(f64, f64)>, at: f64) -> Option<f64> {
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (right, share) = beside(&points, |point| point.0, at)?;
    let b = points[right].1;
    let a = right.checked_sub(1).map_or(b, |left| points[left].1);
    Some(a + share * (b - a))
}

/// Which of some points in rising order is the first not before a place, and the share of the way to it from the one before;
/// the first of all has none before only where it stands alone. `None` outside.
fn beside<P>(points: &[P], place: impl Fn(&P) -> f64, at: f64) -> Option<(usize, f64)> {
    let (first, last) = (place(points.first()?), place(points.last()?));
    if !(at >= first - SAME_SETTING && at <= last + SAME_SETTING) {
        return None;
    }
    if last <= first {
        return Some((0, 0.0));
    }
    let right = points.partition_point(|point| place(point) < at);
    let right = right.clamp(1, points.len() - 1);
    let (a, b) = (place(&points[right - 1]), place(&points[right]));
    let share = if b > a { (at - a) / (b - a) } else { 1.0 };
    Some((right, share.clamp(0.0, 1.0)))
}

#[cfg(test)]
mod tests;
