//! Sentences made from the numbers: one for a focal length, one or two for a whole lens.

mod left_open;
mod nearest;
mod row;
mod tolerance;

use super::{Coverage, words};
use crate::sweep::{
    CurvePoint, DEFAULT_TOLERANCE_PCT, Direction, ShiftCurve, ToleranceOutcome, is_untold,
};
use crate::units::Measured;
use left_open::{Surely, whole};
use tolerance::tolerance_sentence;

pub use nearest::MeasuredFrom;
pub use row::short_verdict;

/// A shift to the other side, or an expanded uncertainty, that is smaller than this, per cent, is not worth a word: 2 px at the
/// edge of 4000 px.
const WORTH_SAYING_PCT: f64 = 0.1;

/// What follows where a sweep ends short of infinity: of the way that is left nobody knows.
const MAY_BE_LARGER: &str = "the true figures may be larger";

/// The largest shift of a curve to the other side of zero than its worst one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OtherWay {
    /// The shift, per cent.
    pub shift_pct: Measured,
    /// Where it is.
    pub place: OtherPlace,
}

/// Where the largest shift to the other side is, seen from the worst shift.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OtherPlace {
    /// At closest focus.
    ClosestFocus,
    /// Focused nearer.
    Nearer,
    /// Focused farther off.
    FartherOff,
}

impl OtherWay {
    /// What goes the other way on this curve; `None` where there is nothing that is told apart from zero at k = 2 and at
    /// least a tenth of a per cent.
    #[must_use]
    pub fn of(curve: &ShiftCurve, worst_shift_pct: Measured) -> Option<Self> {
        let largest = |wanted: f64| {
            curve
                .points()
                .iter()
                .filter(|point| point.shift_pct.value * wanted > 0.0)
                .max_by(|a, b| {
                    let size = |point: &CurvePoint| point.shift_pct.value.abs();
                    size(a).total_cmp(&size(b))
                })
        };
        let other = largest(-worst_shift_pct.value)?;
        let shift_pct = other.shift_pct;
        if Direction::of(shift_pct) == Direction::None || shift_pct.value.abs() < WORTH_SAYING_PCT {
            return None;
        }
        let worst = largest(worst_shift_pct.value).map_or(0.0, |worst| worst.travel);
        let place = match other.travel {
            travel if travel >= worst => OtherPlace::FartherOff,
            travel if travel > 0.0 => OtherPlace::Nearer,
            _ => OtherPlace::ClosestFocus,
        };
        Some(Self { shift_pct, place })
    }

    /// E.g. ", farther off wider by up to 1.80 %".
    fn words(self) -> String {
        let place = match self.place {
            OtherPlace::ClosestFocus => "at closest focus",
            OtherPlace::Nearer => "nearer",
            OtherPlace::FartherOff => "farther off",
        };
        let up_to = match self.place {
            OtherPlace::ClosestFocus => "",
            OtherPlace::Nearer | OtherPlace::FartherOff => "up to ",
        };
        format!(
            ", {place} {} by {up_to}{:.2} %",
            words::direction(Direction::of(self.shift_pct)),
            self.shift_pct.value.abs()
        )
    }
}

/// What one focal length of a lens does, as far as a sentence needs it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FocalVerdict {
    /// Marked focal length, mm; `None` where it is not known.
    pub focal_length_mm: Option<f64>,
    /// Shift of largest magnitude, per cent.
    pub worst_shift_pct: Measured,
    /// How much of it perspective may hold, percentage points; `None` where not known.
    pub perspective_pct: Option<f64>,
    /// What about every shift lacks because the reference is short of infinity, percentage points; `None` where not known, or
    /// where it does not apply.
    pub shortfall_pct: Option<f64>,
    /// What the pictures can't tell of the worst shift, to either side, percentage points; 0 where that is not worth counting.
    /// See `Unseen`.
    pub unseen_pct: f64,
    /// The farthest distance at which the tolerance may be exceeded as far as that is left open, m; `None` where that is no
    /// farther than what was measured says. See `LeftOpen::may_reach_m`.
    pub may_reach_m: Option<f64>,
    /// Largest shift to the other side; see [`OtherWay::of`].
    pub other_way: Option<OtherWay>,
    /// Where the measured range begins, where nearer frames gave no result.
    pub measured_from: Option<MeasuredFrom>,
    /// What becomes of it at the tolerance.
    pub outcome: ToleranceOutcome,
    /// Tolerance, per cent.
    pub tolerance_pct: f64,
    /// Shifts are relative to the farthest frame, not to infinity.
    pub relative_to_farthest: bool,
    /// The farthest distance that was measured, m; `None` where that is infinity, or not known.
    pub measured_to_m: Option<f64>,
    /// The distances are estimated from blur.
    pub distances_estimated: bool,
    /// The sweeps behind it differ by more than their uncertainties.
    pub repeats_disagree: bool,
}

/// Which way a picture goes where that is no single one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Way {
    /// It was measured.
    Seen(Direction),
    /// It holds its framing, as well as that could be measured.
    Held,
    /// It was not measured well enough to tell, though the tolerance may be held.
    Untold,
}

impl FocalVerdict {
    /// Whether the number is too uncertain to say whether the lens holds the tolerance: the worst shift is not told apart
    /// from zero, and its expanded uncertainty is larger than the tolerance.
    #[must_use]
    pub fn is_untold(&self) -> bool {
        is_untold(self.worst_shift_pct, self.tolerance_pct)
    }

    /// Which way the picture goes, whatever the tolerance: nothing holds its framing whose sweeps saw it change, each another
    /// way, or that is more uncertain than viewers mind.
    fn way(&self) -> Way {
        let unsure = 2.0 * self.worst_shift_pct.std_error > DEFAULT_TOLERANCE_PCT;
        match Direction::of(self.worst_shift_pct) {
            Direction::None if self.repeats_disagree || unsure => Way::Untold,
            Direction::None => Way::Held,
            seen => Way::Seen(seen),
        }
    }

    /// A plain sentence to read out, e.g. "At 85 mm the picture gets tighter by 2.05 % at its worst and frames like
    /// 86.7 mm; beyond 0.461 m (1 ft 6.2 in) it stays within 2 %." A second one follows where it is not against infinity.
    #[must_use]
    pub fn sentence(&self) -> String {
        let place = self.focal_length_mm.map_or_else(
            || "The picture".to_owned(),
            |focal| format!("At {} the picture", words::focal_length(focal)),
        );
        let against = if self.relative_to_farthest {
            " against the farthest frame"
        } else {
            ""
        };
        if self.is_untold() {
            return format!(
                "{place} was not measured well enough to tell: its change of scale{against} is uncertain by ± {} %.",
                words::expanded(self.worst_shift_pct.std_error)
            );
        }
        let change = match self.way() {
            Way::Untold => format!(
                "{place} was not measured well enough to tell which way it changes{against}: its change of scale is uncertain \
                 by ± {} %",
                words::expanded(self.worst_shift_pct.std_error)
            ),
            Way::Held => format!(
                "{place} holds its framing: no change of scale{against} beyond {} % could be measured{}",
                words::expanded(self.worst_shift_pct.std_error),
                self.hidden()
            ),
            Way::Seen(direction) => {
                let like = self.focal_length_mm.map_or_else(String::new, |focal| {
                    let equivalent = focal * (1.0 + self.worst_shift_pct.value / 100.0);
                    format!(
                        " and frames like {}",
                        words::framing_focal_length(equivalent)
                    )
                });
                let other_way = self.other_way.map_or_else(String::new, OtherWay::words);
                format!(
                    "{place} gets {} by {}{against} at its worst{like}{other_way}",
                    words::direction(direction),
                    size(self.worst_shift_pct)
                )
            }
        };
        let open = self.caution();
        let nearer = self
            .measured_from
            .map_or_else(String::new, |from| from.sentence());
        format!("{change}; {}.{open}{nearer}", self.tolerance_clause())
    }

    /// How far what is held beyond a distance goes, where that is not infinity; empty where it is.
    fn as_far_as_measured(&self) -> String {
        match self.measured_to_m.filter(|_| self.relative_to_farthest) {
            Some(m) => format!(
                " up to {}, the farthest that was measured",
                words::distance_up_to(m)
            ),
            None if self.relative_to_farthest => " as far as it was measured".to_owned(),
            None => String::new(),
        }
    }

    fn tolerance_clause(&self) -> String {
        let tolerance = words::plain_pct(self.tolerance_pct);
        let (exceeds, stays) = (self.exceeds(), self.stays());
        match (self.outcome, self.outcome.distance_m()) {
            (ToleranceOutcome::Within, _) => {
                format!("it {stays} within {tolerance} everywhere it was measured")
            }
            (ToleranceOutcome::Unknown { .. }, _) => {
                format!("it {exceeds} {tolerance}, from which distance on is not known")
            }
            (ToleranceOutcome::Exceeded { .. }, Some(distance)) => {
                let from = format!(
                    "beyond {}{}",
                    tolerance::about(self.distances_estimated),
                    words::distance_from(distance.value)
                );
                let held = match self.surely() {
                    Surely::AsMeasured => format!("{from} it stays within {tolerance}"),
                    Surely::Beyond(most) => {
                        format!("{from} it may stay within {tolerance}, beyond {most} it does")
                    }
                    Surely::Nowhere => format!("{from} it may stay within {tolerance}"),
                };
                format!("{held}{}", self.as_far_as_measured())
            }
            (ToleranceOutcome::Exceeded { .. }, None) if self.relative_to_farthest => {
                format!("it {exceeds} {tolerance} at every distance but that one")
            }
            (ToleranceOutcome::Exceeded { .. }, None) => {
                format!("it {exceeds} {tolerance} at every distance but infinity")
            }
        }
    }
}

/// Sentences on a whole lens from the verdicts of its focal lengths; `None` where there is none.
///
/// All verdicts hold for one tolerance. The sentences say direction, size and distance only as far as every focal
/// length that they speak of bears them out; what was measured too poorly to tell is named apart, and so is the part of a
/// zoom that was not measured.
#[must_use]
pub fn lens_verdict(verdicts: &[FocalVerdict], coverage: &Coverage) -> Option<String> {
    let missing = coverage.sentence(verdicts.len());
    if let [only] = verdicts {
        return Some(format!("{}{missing}", only.sentence()));
    }
    let (untold, told): (Vec<FocalVerdict>, Vec<FocalVerdict>) =
        verdicts.iter().partition(|verdict| verdict.is_untold());
    let mut sentences = Vec::new();
    if let Some(worst) = worst_of(&told) {
        sentences.push(direction_sentence(&told, worst));
        sentences.push(tolerance_sentence(&told));
        sentences.extend(whole::cautions(&told, verdicts.len()));
        sentences.extend(nearest::cautions(&told, verdicts.len()));
    }
    if !untold.is_empty() {
        sentences.push(format!(
            "At {} it was not measured well enough to tell.",
            which(&untold, verdicts.len())
        ));
    }
    (!sentences.is_empty()).then(|| format!("{}{missing}", sentences.join(" ")))
}

fn worst_of(verdicts: &[FocalVerdict]) -> Option<&FocalVerdict> {
    verdicts.iter().max_by(|a, b| {
        let size = |verdict: &FocalVerdict| verdict.worst_shift_pct.value.abs();
        size(a).total_cmp(&size(b))
    })
}

/// Whether the picture gets tighter, and whether it gets wider, at any focal length and anywhere on the way.
fn ways(verdicts: &[FocalVerdict]) -> (bool, bool) {
    let seen = |wanted: Direction| {
        verdicts.iter().any(|verdict| {
            let other = verdict
                .other_way
                .map(|other| Direction::of(other.shift_pct));
            Direction::of(verdict.worst_shift_pct) == wanted || other == Some(wanted)
        })
    };
    (seen(Direction::Tighter), seen(Direction::Wider))
}

/// How large a shift is in a sentence: with its expanded uncertainty (k = 2) where that is worth a word, e.g. `7.35 % ± 0.82`.
fn size(shift_pct: Measured) -> String {
    let size = format!("{:.2} %", shift_pct.value.abs());
    if 2.0 * shift_pct.std_error < WORTH_SAYING_PCT {
        return size;
    }
    format!("{size} ± {}", words::expanded(shift_pct.std_error))
}

fn direction_sentence(verdicts: &[FocalVerdict], worst: &FocalVerdict) -> String {
    let at = worst.focal_length_mm.map_or_else(String::new, |focal| {
        format!(", at {}", words::focal_length(focal))
    });
    let size = format!("{}{at}", size(worst.worst_shift_pct));
    let at_worst = |wanted: Direction| {
        verdicts
            .iter()
            .any(|verdict| Direction::of(verdict.worst_shift_pct) == wanted)
    };
    let where_it_turns = if at_worst(Direction::Tighter) && at_worst(Direction::Wider) {
        "at some focal lengths and tighter at others"
    } else {
        "at some focus settings and tighter at others"
    };
    match ways(verdicts) {
        (true, true) => format!(
            "It gets wider {where_it_turns}, at most by {size} ({}).",
            words::direction(Direction::of(worst.worst_shift_pct))
        ),
        (true, false) => format!("It gets tighter when focused closer, at most by {size}."),
        (false, true) => format!("It gets wider when focused closer, at most by {size}."),
        (false, false) => {
            let untold = |verdict: &&FocalVerdict| verdict.way() == Way::Untold;
            let untold: Vec<FocalVerdict> = verdicts.iter().filter(untold).copied().collect();
            match untold.len() {
                0 if verdicts.len() > 1 => {
                    "It holds its framing at every focal length that was measured.".to_owned()
                }
                0 => "It holds its framing.".to_owned(),
                _ => format!(
                    "Which way it changes at {} was not measured well enough to tell.",
                    which(&untold, verdicts.len())
                ),
            }
        }
    }
}

/// The focal lengths of these verdicts in words, of so many that were measured.
fn which(verdicts: &[FocalVerdict], measured: usize) -> String {
    if verdicts.len() == measured && measured > 1 {
        return "every focal length measured".to_owned();
    }
    let focal_lengths: Vec<f64> = verdicts.iter().filter_map(|v| v.focal_length_mm).collect();
    list(&focal_lengths)
}

/// Focal lengths as a list, e.g. `100 and 135 mm`.
fn list(focal_lengths_mm: &[f64]) -> String {
    let names: Vec<String> = focal_lengths_mm
        .iter()
        .map(|focal| {
            words::focal_length(*focal)
                .trim_end_matches(" mm")
                .to_owned()
        })
        .collect();
    match names.split_last() {
        None => "some focal lengths".to_owned(),
        Some((last, [])) => format!("{last} mm"),
        Some((last, rest)) => format!("{} and {last} mm", rest.join(", ")),
    }
}

#[cfg(test)]
mod tests;
