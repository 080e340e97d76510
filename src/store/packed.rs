//! What the ranking keeps of a result in memory, as bytes: a whole database of them is read when the program starts.
//!
//! Numbers are little-endian, so they come back to the last bit.

use super::{FocalResult, StoreError};
use crate::sweep::{
    CurvePoint, DistanceSource, LeftOpen, Part, Perspective, Severity, ShiftCurve, Unseen,
};
use crate::units::Measured;

/// The result of one lens at one focal length, as the ranking needs it.
#[derive(Debug, Clone, PartialEq)]
pub struct RankedResult {
    /// Marked focal length, mm.
    pub focal_length_mm: f64,
    /// Shift of largest magnitude, per cent.
    pub worst_shift_pct: Measured,
    /// How much of it perspective may hold, percentage points; see `Part::EntrancePupil`. `None` where it is not known.
    pub perspective_pct: Option<f64>,
    /// What about every shift lacks, percentage points; see `Part::ReferenceNotAtInfinity`. `None` where it is not known or does not
    /// apply.
    pub shortfall_pct: Option<f64>,
    /// What the pictures can't tell of it.
    pub unseen: Unseen,
    /// Closest focus that its sweep states, m, which the bound of perspective holds for; `None` where it is not known.
    pub closest_focus_m: Option<f64>,
    /// How many warnings stand.
    pub warnings: u32,
    /// Whether the distances are estimates from blur.
    pub estimated: bool,
    /// Whether the shifts are against the farthest frame, not infinity.
    pub relative_to_farthest: bool,
    /// Whether its sweeps disagree beyond their uncertainties.
    pub repeats_disagree: bool,
    /// Shift against focus, for any tolerance.
    pub curve: ShiftCurve,
}

/// Flag: the distances are estimates from blur.
const ESTIMATED: u8 = 1;
/// Flag: the shifts are against the farthest frame, not infinity.
const FARTHEST: u8 = 2;
/// Flag: the sweeps disagree.
const DISAGREE: u8 = 4;
/// Flag: the bound of perspective is known.
const PERSPECTIVE: u8 = 8;
/// Flag: closest focus is known.
const CLOSEST: u8 = 16;
/// Flag: what every shift lacks is known.
const SHORTFALL: u8 = 32;
/// Flag of a point: its focus setting is known.
const KNOWN: u8 = 1;

impl RankedResult {
    /// What the ranking needs of a result.
    pub(super) fn of(result: &FocalResult) -> Self {
        let warnings = result
            .findings
            .iter()
            .filter(|finding| finding.severity == Severity::Warning)
            .count();
        Self {
            focal_length_mm: result.focal_length_mm,
            worst_shift_pct: result.worst_shift_pct,
            perspective_pct: result.bound_pct(Part::EntrancePupil),
            shortfall_pct: result.bound_pct(Part::ReferenceNotAtInfinity),
            unseen: Unseen::of(&result.systematic),
            closest_focus_m: result.closest_focus_m,
            warnings: u32::try_from(warnings).unwrap_or(u32::MAX),
            estimated: result.distance_source == DistanceSource::Blur,
            relative_to_farthest: result.relative_to_farthest,
            repeats_disagree: result.repeats_disagree,
            curve: result.curve.clone(),
        }
    }

    /// What is left open along its curve.
    #[must_use]
    pub fn left_open(&self) -> LeftOpen {
        let (focal, closest) = (self.focal_length_mm, self.closest_focus_m);
        let perspective = Perspective::of(self.perspective_pct, focal, closest);
        LeftOpen::new(perspective, self.shortfall_pct, self.unseen)
    }

    pub(super) fn pack(&self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(48 + 48 * self.curve.points().len());
        let flag = |is: bool, flag: u8| if is { flag } else { 0 };
        bytes.push(
            flag(self.estimated, ESTIMATED)
                | flag(self.relative_to_farthest, FARTHEST)
                | flag(self.repeats_disagree, DISAGREE)
                | flag(self.perspective_pct.is_some(), PERSPECTIVE)
                | flag(self.closest_focus_m.is_some(), CLOSEST)
                | flag(self.shortfall_pct.is_some(), SHORTFALL),
        );
        bytes.extend(self.warnings.to_le_bytes());
        let number = |bytes: &mut Vec<u8>, value: f64| bytes.extend(value.to_le_bytes());
        number(&mut bytes, self.focal_length_mm);
        number(&mut bytes, self.worst_shift_pct.value);
        number(&mut bytes, self.worst_shift_pct.std_error);
        number(&mut bytes, self.unseen.everywhere_pct);
        number(&mut bytes, self.unseen.growing_pct);
        let known = [
            self.perspective_pct,
            self.closest_focus_m,
            self.shortfall_pct,
        ];
        for value in known.into_iter().flatten() {
            number(&mut bytes, value);
        }
        for point in self.curve.points() {
            bytes.push(if point.dioptres.is_some() { KNOWN } else { 0 });
            number(&mut bytes, point.travel);
            number(&mut bytes, point.shift_pct.value);
            number(&mut bytes, point.shift_pct.std_error);
            if let Some(dioptres) = point.dioptres {
                number(&mut bytes, dioptres.value);
                number(&mut bytes, dioptres.std_error);
            }
        }
        bytes
    }

    pub(super) fn unpack(bytes: &[u8]) -> Result<Self, StoreError> {
        let mut rest = Rest(bytes);
        Self::read(&mut rest)
            .ok_or_else(|| StoreError::Damaged("a packed result breaks off".to_owned()))
    }

    fn read(rest: &mut Rest<'_>) -> Option<Self> {
        let flags = rest.byte()?;
        let warnings = u32::from_le_bytes(rest.take()?);
        let focal_length_mm = rest.number()?;
        let worst_shift_pct = rest.measured()?;
        let unseen = Unseen {
            everywhere_pct: rest.number()?,
            growing_pct: rest.number()?,
        };
        let mut known = |flag: u8| match flags & flag {
            0 => Some(None),
            _ => rest.number().map(Some),
        };
        let perspective_pct = known(PERSPECTIVE)?;
        let closest_focus_m = known(CLOSEST)?;
        let shortfall_pct = known(SHORTFALL)?;
        let mut points = Vec::with_capacity(rest.0.len() / 41 + 1);
        while !rest.0.is_empty() {
            let known = rest.byte()? & KNOWN != 0;
            points.push(CurvePoint {
                travel: rest.number()?,
                shift_pct: rest.measured()?,
                dioptres: if known { Some(rest.measured()?) } else { None },
            });
        }
        Some(Self {
            focal_length_mm,
            worst_shift_pct,
            perspective_pct,
            shortfall_pct,
            unseen,
            closest_focus_m,
            warnings,
            estimated: flags & ESTIMATED != 0,
            relative_to_farthest: flags & FARTHEST != 0,
            repeats_disagree: flags & DISAGREE != 0,
            curve: ShiftCurve::new(points),
        })
    }
}

/// What is not read yet.
struct Rest<'a>(&'a [u8]);

impl Rest<'_> {
    fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (taken, rest) = self.0.split_first_chunk::<N>()?;
        self.0 = rest;
        Some(*taken)
    }

    fn byte(&mut self) -> Option<u8> {
        self.take::<1>().map(|[byte]| byte)
    }

    fn number(&mut self) -> Option<f64> {
        self.take().map(f64::from_le_bytes)
    }

    fn measured(&mut self) -> Option<Measured> {
        Some(Measured::new(self.number()?, self.number()?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn any_number() -> impl Strategy<Value = f64> {
        -1e6..1e6
    }

    prop_compose! {
        fn any_measured()(value in any_number(), std_error in 0.0..1e3) -> Measured {
            Measured::new(value, std_error)
        }
    }

    prop_compose! {
        fn any_point()(
            travel in 0.0..1.0,
            dioptres in proptest::option::of(any_measured()),
            shift_pct in any_measured(),
        ) -> CurvePoint {
            CurvePoint { travel, dioptres, shift_pct }
        }
    }

    proptest! {
        #[test]
        fn what_is_packed_comes_back_to_the_bit(
            worst_shift_pct in any_measured(),
            perspective_pct in proptest::option::of(any_number()),
            closest_focus_m in proptest::option::of(any_number()),
            shortfall_pct in proptest::option::of(any_number()),
            (everywhere_pct, growing_pct) in (any_number(), any_number()),
            warnings in any::<u32>(),
            estimated in any::<bool>(),
            relative_to_farthest in any::<bool>(),
            repeats_disagree in any::<bool>(),
            points in proptest::collection::vec(any_point(), 0..60),
        ) {
            let result = RankedResult {
                focal_length_mm: 85.0,
                worst_shift_pct,
                perspective_pct,
                shortfall_pct,
                unseen: Unseen { everywhere_pct, growing_pct },
                closest_focus_m,
                warnings,
                estimated,
                relative_to_farthest,
                repeats_disagree,
                curve: ShiftCurve::new(points),
            };
            let packed = result.pack();
            prop_assert_eq!(&RankedResult::unpack(&packed).expect("just packed"), &result);
            // A part is never taken for a whole, unless it ends between two points.
            if let Ok(part) = RankedResult::unpack(&packed[..packed.len() - 1]) {
                prop_assert!(part.curve.points().len() < result.curve.points().len());
            }
        }

        #[test]
        fn no_bytes_are_too_strange(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
            // Whether they can be read does not matter; that it ends does.
            let _ = RankedResult::unpack(&bytes);
        }
    }
}
