//! The camera's tone curve, read from the sweep itself.
//!
//! Codes are taken for sRGB's, cameras follow curves of their own. A target sends as much light whether it is sharp or blurred:
//! its flux goes with the square of the picture's scale, and changes evenly with the lens's extension. Where it changes with its
//! brightness instead, bright when sharp and dim when blurred, that is the tone curve. It does not move the centre of what is
//! symmetrical, but that of irregular tape, by as much as is sharp; and second moments no longer add up, so the tape's own shape passes
//! for one that the blur has, as a barrel, a stretch of the picture or shading make it.
//!
//! The curve is T(I) = I·(1 + a₁·L + a₂·L² + a₃·L³), L = ln I, as far as the targets' light reaches; see `measure::Toned`.

mod sums;

use nalgebra::{DMatrix, DVector, SVector};

use self::sums::Sums;
use super::spread::reference_px;
use super::telling_pair;
use crate::measure::{POWERS, Target};
use crate::sweep::FrameResult;
use crate::sweep::fitting::least_squares;
use crate::sweep::tracking::balance;
use crate::units::Measured;

/// Fewest frames that a curve is read from.
const FEWEST: usize = 7;
/// Standard deviation of the numbers before anything was seen: exponents between a half and twice, bent as much. Our choice.
pub(in crate::sweep) const PRIOR: [f64; POWERS] = [0.5, 0.25, 0.05];
/// Scatter of the logarithm of the light that good sweeps have.
const SCATTER: f64 = 0.003;
/// Improvement of χ² from which there is another curve: 6 standard deviations.
const WORTH_A_CURVE: f64 = 36.0;
/// Most of χ² that a curve leaves. Sharpening in the camera makes sharp targets brighter too, and no curve explains how: it leaves a
/// third to an eightieth, tone curves a seventieth to a thousandth (simulated sweeps).
const MOST_LEFT: f64 = 1.0 / 40.0;
/// The same where light that is not steady scatters about a curve: what explains less follows flickering lamps and passing shadows, of
/// which it leaves a quarter and more, or is no curve at all (rendered sweeps).
const MOST_UNSTEADY: f64 = 1.0 / 6.0;
/// Largest sum of squares of the numbers over `PRIOR`: tone curves came to 7, strong sharpening that `MOST_LEFT` lets pass to 9 and
/// more.
const PLAUSIBLE: f64 = 8.0;
/// Size that no tone curve has: those for grading and for screens of high dynamic range came to 100, what follows shadows to 1000 and more.
const THINKABLE: f64 = 150.0;
/// The same from which a curve that explains the light in part may be another one than sRGB's: dim sweeps and cluttered ones under sRGB's
/// came to 0.3, clipped blacks to 4.
const SLIGHT: f64 = 0.5;
/// How much light that changes evenly with the travel bends, as a part of the change: falloff that goes away while focusing does by
/// a fifth (computed, 0.9 of the light in the corners to 0.2).
const BEND_OF_DRIFT: f64 = 0.2;
/// Drift of the logarithm of the light that tone curves make by themselves in sweeps that are longer on one side of the sharpest frame.
const OWN_DRIFT: f64 = 0.15;
/// Least bend that is thought of.
const LEAST_BEND: f64 = 1e-4;
/// Share of the measured frames that have to tell: of burnt-out targets some light is missing.
const TELLING_SHARE: f64 = 0.6;
/// χ² over its degrees of freedom that good sweeps with sRGB's curve stay below: light that scatters by a hundredth.
const UNEXPLAINED: f64 = 10.0;
/// A target's light this many standard deviations off is something else's doing: a lamp flickers, a shutter sticks.
const ODD: f64 = 5.0;
/// At most one in so many is left out for it.
const ODD_SHARE: usize = 5;
/// Rounds of linearised least squares.
const ROUNDS: usize = 8;
/// Part of its light that one of them leaves a target at the least …
const LEAST_LEFT: f64 = 0.5;
/// … shortened by halves, so many times at most.
const HALVINGS: u32 = 10;
/// Least change of T with I over that of a straight curve: what is flatter is no tone curve.
const LEAST_SLOPE: f64 = 0.1;

/// Numbers of a curve.
pub(in crate::sweep) type Curve = SVector<f64, POWERS>;

/// What one target shows in one frame.
struct Seen<'a> {
    target: &'a Target,
    /// Left or right.
    side: usize,
    travel: f64,
    /// Logarithm of the square of the scale.
    scale: f64,
}

/// What a sweep tells of the camera's curve, and so how far shapes may still bear its marks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sweep) enum Tone {
    /// It is sRGB's: they don't.
    Srgb,
    /// It is this one, by which they were put right: slightly.
    Other(Curve),
    /// Too few frames tell, or what they tell is no curve's doing: they may.
    Unknown,
}

impl Tone {
    /// What the second moment along the line less that across has more for one of each number of the curve, px²: to first order.
    pub(super) fn longer_by_curve(self, target: &Target) -> [f64; POWERS] {
        let light = match self {
            Self::Other(curve) => light(&curve, target),
            Self::Srgb | Self::Unknown => 1.0,
        };
        let longer = 2.0 * target.elongation * target.variance_px2.value;
        let toned = &target.toned;
        std::array::from_fn(|k| (toned.xx[k] - toned.yy[k] - longer * toned.light[k]) / light)
    }
}

/// Logarithms of the light of the outermost targets, left and right, at one scale of the picture, by place in the sweep, under the curve
/// that explains it. `None` for burnt-out targets, of which light is missing, and for all where no curve can be read that explains it.
pub(in crate::sweep) type Exposures = Vec<Option<[f64; 2]>>;

/// Reads the curve and puts it to the shapes, the light and the centres of all targets.
#[must_use]
pub(in crate::sweep) fn straighten(frames: &mut [FrameResult]) -> (Tone, Exposures) {
    let (tone, judging) = read(frames);
    let exposures = exposures(frames, judging.as_ref());
    if let Tone::Other(curve) = tone {
        for frame in frames {
            for target in &mut frame.targets {
                put(&curve, target);
            }
        }
    }
    (tone, exposures)
}

fn exposures(frames: &[FrameResult], curve: Option<&Curve>) -> Exposures {
    let log = |target: &Target, scale: f64| {
        let light = target.flux * light(curve?, target) / scale.powi(2);
        (light > 0.0).then(|| light.ln())
    };
    let reference_px = reference_px(frames);
    let of = |frame: &FrameResult| {
        let (first, last) = (frame.targets.first()?, frame.targets.last()?);
        let scale = frame.separation_px?.value / reference_px?;
        let tells = !balance::is_burnt(&frame.targets);
        tells.then_some([log(first, scale)?, log(last, scale)?])
    };
    frames.iter().map(of).collect()
}

/// What the sweep tells of the camera's curve, and the one in whose light exposures are judged, if any can be.
fn read(frames: &[FrameResult]) -> (Tone, Option<Curve>) {
    let nothing = (Tone::Unknown, Some(Curve::zeros()));
    let Some(separation) = reference_px(frames) else {
        return nothing;
    };
    let measured = frames.iter().filter(|frame| frame.separation_px.is_some());
    let telling = (TELLING_SHARE * 2.0 * measured.count() as f64) as usize;
    let mut seen = Vec::new();
    for frame in frames {
        let Some((pair, own)) = telling_pair(&frame.targets).zip(frame.separation_px) else {
            continue;
        };
        let scale = 2.0 * (own.value / separation).ln();
        seen.extend(pair.into_iter().enumerate().map(|(side, target)| Seen {
            target,
            side,
            travel: frame.travel,
            scale,
        }));
    }
    let tells = seen.len() >= telling;
    let most_odd = seen.len() / ODD_SHARE;
    let enough = (seen.len() - most_odd).max(2 * FEWEST);
    let enough = enough.max(telling.min(seen.len()));
    // Whoever is odd bends the curve, which makes others look odd: one after the other.
    while seen.len() >= enough
        && let Some(fitted) = Fitted::to(&seen)
    {
        match fitted.oddest() {
            Some(odd) if seen.len() > enough => seen.remove(odd),
            _ => {
                let tone = if tells {
                    fitted.reading(&seen)
                } else {
                    Tone::Unknown
                };
                return (tone, fitted.judging(&seen));
            }
        };
    }
    nothing
}

/// A curve that was fitted to the light of targets.
struct Fitted {
    curve: Curve,
    /// χ² with the curve and without.
    left: f64,
    without: f64,
    /// What each target's light has beyond the curve, in `SCATTER`.
    beyond: Vec<f64>,
}

impl Fitted {
    fn to(seen: &[Seen<'_>]) -> Option<Self> {
        let drift = fit(seen, &Curve::zeros(), 0.0, 0)?.0.factors[2];
        let bend = BEND_OF_DRIFT * (drift.abs() - OWN_DRIFT).max(0.0);
        let without = fit(seen, &Curve::zeros(), bend, 0)?.0.chi2;
        let mut fitted = Self {
            curve: Curve::zeros(),
            left: without,
            without,
            beyond: Vec::new(),
        };
        for _ in 0..ROUNDS {
            let (step, beyond) = fit(seen, &fitted.curve, bend, POWERS)?;
            let mut change = Curve::from_fn(|k, _| step.factors[PLAIN + k]);
            // Far off, a straight step goes too far.
            let leaves = |change: &Curve, s: &Seen| {
                light(&(fitted.curve + change), s.target)
                    > LEAST_LEFT * light(&fitted.curve, s.target)
            };
            for _ in 0..HALVINGS {
                if seen.iter().all(|s| leaves(&change, s)) {
                    break;
                }
                change /= 2.0;
            }
            fitted.curve += change;
            fitted.left = step.chi2;
            fitted.beyond = beyond;
        }
        Some(fitted)
    }

    /// The target whose light is farthest off, where it is no scatter.
    fn oddest(&self) -> Option<usize> {
        let mut sizes: Vec<f64> = self.beyond.iter().map(|off| off.abs()).collect();
        let middle = sizes.len() / 2;
        let (_, usual, _) = sizes.select_nth_unstable_by(middle, f64::total_cmp);
        // 1.4826 times the median size is the standard deviation of a normal scatter.
        let limit = ODD * (1.4826 * *usual).max(1.0);
        let (odd, off) = self
            .beyond
            .iter()
            .enumerate()
            .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
        (off.abs() > limit).then_some(odd)
    }

    /// Whether the light is better explained with the curve than without.
    fn gains(&self, seen: &[Seen<'_>]) -> bool {
        let freedom = (seen.len() - PLAIN) as f64;
        let scatter = (self.left / freedom).max(1.0);
        self.without - self.left > WORTH_A_CURVE * scatter
    }

    /// The curve in whose light exposures are judged: none, if it does not explain the light, and `None`, if what explains it is no
    /// curve, which then can't be read.
    fn judging(&self, seen: &[Seen<'_>]) -> Option<Curve> {
        let explains = self.gains(seen) && self.left < MOST_UNSTEADY * self.without;
        match explains && self.size() < THINKABLE {
            true if self.rises(seen) => Some(self.curve),
            true => None,
            false => Some(Curve::zeros()),
        }
    }

    /// Sum of squares of the numbers over `PRIOR`.
    fn size(&self) -> f64 {
        self.curve.component_div(&Curve::from(PRIOR)).norm_squared()
    }

    /// Whether T grows with I wherever the targets' light reaches.
    fn rises(&self, seen: &[Seen<'_>]) -> bool {
        seen.iter().all(|s| {
            let brightest = s.target.peak.clamp(1e-3, 1.0).ln();
            [brightest, brightest - 1.0, brightest - 2.0]
                .into_iter()
                .all(|log| slope(&self.curve, log) > LEAST_SLOPE && gain(&self.curve, log) > 0.0)
        })
    }

    /// What it says: a curve has to explain the light, and to be what a camera may have.
    fn reading(&self, seen: &[Seen<'_>]) -> Tone {
        let freedom = (seen.len() - PLAIN) as f64;
        let (size, gained) = (self.size(), self.gains(seen));
        let explains = gained && self.left < MOST_LEFT * self.without;
        if self.rises(seen) && size < PLAUSIBLE && explains {
            Tone::Other(self.curve)
        } else if !(gained && size > SLIGHT) && self.without < UNEXPLAINED * freedom {
            Tone::Srgb
        } else {
            Tone::Unknown
        }
    }
}

/// Courses beside the curve: each target's own light, what changes evenly with the travel, and how that bends.
const PLAIN: usize = 4;

/// One round: what is added to a curve, and what each target's light has beyond that, in `SCATTER`.
fn fit(
    seen: &[Seen<'_>],
    curve: &Curve,
    bend: f64,
    powers: usize,
) -> Option<(least_squares::Fit, Vec<f64>)> {
    let log = |s: &Seen<'_>| {
        let light = s.target.flux * light(curve, s.target);
        (light > 0.0).then(|| light.ln() - s.scale)
    };
    let logs: Vec<f64> = seen.iter().map(log).collect::<Option<_>>()?;
    // Rows beyond the frames' hold what was thought before: of the bend and of the curve.
    let before = |term: usize| match term {
        ..PLAIN => (0.0, bend.max(LEAST_BEND)),
        _ => (-curve[term - PLAIN], PRIOR[term - PLAIN]),
    };
    let rows = seen.len() + 1 + powers;
    let term_of = |row: usize| row - seen.len() + PLAIN - 1;
    let courses = DMatrix::from_fn(rows, PLAIN + powers, |row, term| match seen.get(row) {
        None => f64::from(u8::from(term_of(row) == term)) / before(term_of(row)).1,
        Some(s) => {
            let course = match term {
                0 | 1 => f64::from(u8::from(s.side == term)),
                2 => s.travel,
                3 => s.travel * s.travel,
                _ => -s.target.toned.light[term - PLAIN] / light(curve, s.target),
            };
            course / SCATTER
        }
    });
    let values = DVector::from_fn(rows, |row, _| match logs.get(row) {
        None => before(term_of(row)).0 / before(term_of(row)).1,
        Some(log) => log / SCATTER,
    });
    let fit = least_squares::fit(&courses, &values)?;
    let beyond = values - courses * &fit.factors;
    Some((fit, beyond.iter().take(seen.len()).copied().collect()))
}

/// Light under the curve over that under sRGB's.
fn light(curve: &Curve, target: &Target) -> f64 {
    1.0 + sum(curve, &target.toned.light)
}

fn sum(curve: &Curve, sums: &[f64; POWERS]) -> f64 {
    curve.iter().zip(sums).map(|(a, sum)| a * sum).sum()
}

/// T/I at a logarithm of light.
fn gain(curve: &Curve, log: f64) -> f64 {
    1.0 + log * (curve[0] + log * (curve[1] + log * curve[2]))
}

/// dT/dI at a logarithm of light.
fn slope(curve: &Curve, log: f64) -> f64 {
    gain(curve, log) + curve[0] + log * (2.0 * curve[1] + log * 3.0 * curve[2])
}

/// Puts a curve to the shape, the light and the centre of a target: only of what is symmetrical the centre stays.
fn put(curve: &Curve, target: &mut Target) {
    let shown = Sums::of(target);
    shape(&shown, curve, target);
    target.x_px.value += sum(curve, &target.toned.x) / light(curve, target);
}

/// Puts another curve to the shape of a target that one was put to.
pub(in crate::sweep) fn put_instead(before: &Curve, curve: &Curve, target: &mut Target) {
    let shown = Sums::before(target, before);
    shape(&shown, curve, target);
}

fn shape(shown: &Sums, curve: &Curve, target: &mut Target) {
    let Some(moments) = shown.under(curve, &target.toned) else {
        return;
    };
    let variance = target.variance_px2.value;
    let (xx, yy) = (moments.xx, moments.yy);
    target.four_fold_px4.value = moments.four_fold - 3.0 * (xx - yy).powi(2);
    target.variance_px2 = Measured::new((xx + yy) / 2.0, target.variance_px2.std_error);
    target.elongation = (xx - yy) / (xx + yy);
    target.lean.third_px3 = Measured::new(moments.xxx, target.lean.third_px3.std_error);
    target.flux = moments.flux;
    let wider = target.variance_px2.value / variance;
    target.lean.tilt_px2 *= wider;
    target.lean.fourth_px4 *= wider.powi(2);
}

#[cfg(test)]
mod tests;
