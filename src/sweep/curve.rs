//! Shift against focus: the curve that the tolerance distance and every focus pull are read from.

use crate::units::Measured;

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
    #[must_use]
    pub fn tolerance_outcome(&self, tolerance_pct: f64) -> ToleranceOutcome {
        let Some(travel) = farthest_crossing(&self.by_travel_from_far(), tolerance_pct) else {
            return ToleranceOutcome::Within;
        };
        let travel = 1.0 - travel.value;
        match farthest_crossing(&self.by_dioptres(), tolerance_pct) {
            Some(dioptres) => ToleranceOutcome::Exceeded { dioptres, travel },
            None => ToleranceOutcome::Unknown { travel },
        }
    }

    fn by_dioptres(&self) -> Vec<Place> {
        let mut places: Vec<Place> = self
            .points
            .iter()
            .filter_map(|point| {
                point.dioptres.map(|d| Place {
                    at: d.value,
                    at_u: d.std_error,
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
                at_u: 0.0,
                shift: point.shift_pct,
            })
            .collect()
    }

    fn by_travel_from_far(&self) -> Vec<Place> {
        let mut places = self.by_travel();
        places.reverse();
        for place in &mut places {
            place.at = 1.0 - place.at;
        }
        places
    }
}

/// A shift at a place along some axis.
#[derive(Debug, Clone, Copy)]
struct Place {
    at: f64,
    at_u: f64,
    shift: Measured,
}

/// The shift at `at`, on the straight line between the places beside it, which are in rising order.
fn between(places: &[Place], at: f64) -> Option<Measured> {
    let right = places.iter().position(|place| place.at >= at)?;
    let b = places[right];
    if b.at <= at {
        return Some(b.shift);
    }
    let a = places[right.checked_sub(1)?];
    let share = (at - a.at) / (b.at - a.at);
    let value = a.shift.value + share * (b.shift.value - a.shift.value);
    let u = ((1.0 - share) * a.shift.std_error).hypot(share * b.shift.std_error);
    Some(Measured::new(value, u))
}

/// The first place, seen from the low end, where |shift| passes the tolerance and stays beyond it by more than its noise.
fn farthest_crossing(places: &[Place], tolerance: f64) -> Option<Measured> {
    let beyond = |place: &Place| place.shift.value.abs() > tolerance;
    let clearly = |place: &Place| place.shift.value.abs() > tolerance + 2.0 * place.shift.std_error;
    let mut start = 0;
    while start < places.len() {
        if !beyond(&places[start]) {
            start += 1;
            continue;
        }
        let run = places[start..]
            .iter()
            .take_while(|place| beyond(place))
            .count();
        let stretch = &places[start..start + run];
        if run < 2 && !stretch.iter().any(clearly) {
            start += run;
            continue;
        }
        let first = places[start];
        let Some(before) = start.checked_sub(1).map(|at| places[at]) else {
            return Some(Measured::new(first.at, first.at_u));
        };
        let (a, b) = (before.shift.value, first.shift.value);
        let level = tolerance.copysign(b);
        let share = (level - a) / (b - a);
        let slope = (b - a) / (first.at - before.at);
        let noise = ((1.0 - share) * before.shift.std_error).hypot(share * first.shift.std_error);
        let u = (noise / slope.abs()).hypot((1.0 - share) * before.at_u + share * first.at_u);
        return Some(Measured::new(before.at + share * (first.at - before.at), u));
    }
    None
}
