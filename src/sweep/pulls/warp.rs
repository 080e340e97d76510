//! A picture that is stretched towards its sides, by the lens's pincushion distortion or by a camera that takes out its barrel
//! distortion, or that shrinks there: it warps the blur of the targets and moves their centres. (A lens draws what lies in its
//! plane of focus, and blur is round there; so its distortion warps the blur as it does the picture.)
//!
//! A stretch r → r·(1 + k·r²) moves a disc of second moment σ² at the distance x from the middle outwards by 4·k·σ²·x, because
//! its outer half is stretched by more, and by 8·k·σ²·x, because what is stretched covers more pixels that are as bright:
//! together 12·k·σ²·x. A centre from the blur's edges is pulled as far: they move by as much as all of the light. The disc
//! grows longer along the line of the targets by the share e = 2·k·x², at any blur and on both sides of focus, so the pull is
//! 6·e·σ²/x. The third moment grows by 18·k·x·(σ⁴ + k₄), k₄ being the fourth cumulant: nothing for a wide disc, whose k₄ is −σ⁴,
//! and some for one as wide as the tape. Where the light is not as long as it is high, σ² is that along the line in the third moment,
//! and eleven parts of it to one across in the pull. (Own calculation, leading order in k.)
//!
//! The barrel distortion that the camera takes out may change with focus; then e changes too, evenly with the place in the
//! sweep as far as is thought here.
//!
//! A blur that is shorter along the line may also be one that the barrel cuts; `vignette` tells them apart.

use nalgebra::{DMatrix, DVector, Matrix2, Vector2};

use super::spread::reference_px;
use super::telling_pair;
use super::tone::{PRIOR, Tone};
use super::vignette::weight;
use crate::measure::{POWERS, Target};
use crate::sweep::FrameResult;
use crate::sweep::distance::blur::BlurCourse;
use crate::sweep::fitting::least_squares;

/// How much a stretch must stand out of its noise.
const SIGNIFICANCE: f64 = 6.0;
/// Share of the larger stretch that the smaller one has where both targets show it: they lie about as far from the middle.
const ALIKE: f64 = 0.5;
/// Largest stretch that is thought to be a warp: 5 % of distortion at the targets. What is longer is astigmatism.
const MOST: f64 = 0.1;
/// Improvement of χ² over its scatter from which it is taken to change with focus: 4 standard deviations.
const WORTH_A_CHANGE: f64 = 16.0;
/// Rounds of fitting with the scatter that the one before left.
const ROUNDS: usize = 3;
/// Share of the correction that stays as its standard uncertainty: pupils that look longer from the side stretch the blur too,
/// and pull nothing.
const LEFT_OVER: f64 = 0.5;

/// Largest share that is left alone where the tone curve is not sRGB's: what curves are beside the three numbers that are fitted leaves
/// as much (simulated sweeps with a linear toe).
const LEAST_BESIDE: f64 = 0.015;

/// How the blur is stretched.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sweep) struct Warp {
    stretch: Stretch,
    /// Whether it is more than the camera's tone curve may make, so that it is taken out.
    believed: bool,
    /// Middle of the picture, px.
    middle_px: f64,
}

/// Share e by which a blur is longer along the line of the targets.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Stretch {
    /// At the first frame, and what it has more at the last one.
    share: Vector2<f64>,
    /// Their covariance; 0 in what was not looked for.
    covariance: Matrix2<f64>,
}

/// What a frame shows.
struct Seen {
    /// Place in the sweep, 0 to 1.
    travel: f64,
    /// Blur, px.
    blur: f64,
    /// Mean second moment along and across, px², of both targets.
    variance: f64,
    /// Second moment along the line less that across, left and right, px².
    longer: [f64; 2],
    /// What the mean of both has more for one of each number of another tone curve, px².
    by_curve: [f64; POWERS],
}

/// Looks for a stretch, or a shrinking as one below 0; `None` where the blur is as long as it is high, or where one target alone
/// is stretched. `tone` says what may be left of the camera's tone curve.
#[must_use]
pub(super) fn detect(
    frames: &[FrameResult],
    course: &BlurCourse,
    width_px: u32,
    tone: Tone,
) -> Option<Warp> {
    let separation = reference_px(frames)?;
    let seen: Vec<Seen> = course
        .signed
        .iter()
        .filter_map(|&(place, blur)| {
            let [left, right] = telling_pair(&frames[place].targets)?;
            // At the reference's scale, as the blur is.
            let scale = frames[place].separation_px?.value / separation;
            let variance = |t: &Target| t.variance_px2.value / (scale * scale);
            let longer = |t: &Target| 2.0 * t.elongation * variance(t);
            let by_curve = [left, right].map(|t| tone.longer_by_curve(t));
            Some(Seen {
                by_curve: std::array::from_fn(|k| {
                    (by_curve[0][k] + by_curve[1][k]) / (2.0 * scale * scale)
                }),
                travel: frames[place].travel,
                blur: blur.value,
                variance: (variance(left) + variance(right)) / 2.0,
                longer: [longer(left), longer(right)],
            })
        })
        .collect();
    let both = stretch(&seen, &|longer| (longer[0] + longer[1]) / 2.0)?;
    let sides = [
        stretch(&seen, &|longer| longer[0])?,
        stretch(&seen, &|longer| longer[1])?,
    ];
    let ends = [0.0, 1.0];
    let alike = ends.into_iter().all(|travel| {
        let (left, right) = (sides[0].at(travel), sides[1].at(travel));
        let (less, more) = if left.abs() < right.abs() {
            (left, right)
        } else {
            (right, left)
        };
        less * more.signum() > ALIKE * more.abs()
    });
    let one_way = both.at(0.0) * both.at(1.0) > 0.0;
    let stands_out = ends
        .into_iter()
        .any(|travel| both.at(travel).abs() > SIGNIFICANCE * both.u_at(travel));
    let little = ends.into_iter().all(|travel| both.at(travel).abs() < MOST);
    if !(alike && one_way && stands_out && little) {
        return None;
    }
    let (stretch, believed) = match tone {
        Tone::Srgb => (both, true),
        Tone::Other(_) | Tone::Unknown => {
            let beside = beside_a_curve(&seen, &both)?;
            let stands_out = ends.into_iter().any(|travel| {
                let share = beside.at(travel).abs();
                share > LEAST_BESIDE.max(SIGNIFICANCE * beside.u_at(travel))
            });
            if stands_out {
                (beside, true)
            } else {
                (both, false)
            }
        }
    };
    Some(Warp {
        stretch,
        believed,
        middle_px: (f64::from(width_px) - 1.0) / 2.0,
    })
}

/// The same stretch, steady or changing, beside another tone curve, under which tape that is no square passes for a stretch: sharp
/// tape is bright and blurred tape dim.
fn beside_a_curve(seen: &[Seen], plain: &Stretch) -> Option<Stretch> {
    let changes = plain.covariance[(1, 1)] > 0.0;
    let curve = if changes { 3 } else { 2 };
    let mut design = DMatrix::zeros(seen.len() + POWERS, curve + POWERS);
    let mut longer = DVector::zeros(seen.len() + POWERS);
    for (row, s) in seen.iter().enumerate() {
        let root = weight(s.blur, 1).sqrt();
        longer[row] = root * (s.longer[0] + s.longer[1]) / 2.0;
        for term in 0..curve {
            design[(row, term)] = root * course(s, term);
        }
        for (k, by_curve) in s.by_curve.iter().enumerate() {
            design[(row, curve + k)] = root * by_curve;
        }
    }
    let without = design.columns(0, curve).into_owned();
    let mut fitted = least_squares::fit(&without, &longer)?;
    for _ in 0..ROUNDS {
        for (k, usual) in PRIOR.iter().enumerate() {
            design[(seen.len() + k, curve + k)] = fitted.scatter.sqrt() / usual;
        }
        fitted = least_squares::fit(&design, &longer)?;
    }
    let told = Stretch {
        share: Vector2::new(fitted.factors[1], fitted.factors[2]),
        covariance: fitted.covariance.fixed_view::<2, 2>(1, 1) * fitted.scatter,
    };
    Some(if changes { told } else { told.steady() })
}

/// A share e makes the second moments of all of the light differ by 2·e·σ², beside what the tape's own differ by.
fn course(s: &Seen, term: usize) -> f64 {
    match term {
        0 => 1.0,
        1 => 2.0 * s.variance,
        _ => 2.0 * s.variance * s.travel,
    }
}

/// The stretch that second moments show, and whether it changes with focus.
fn stretch(seen: &[Seen], longer: &dyn Fn(&[f64; 2]) -> f64) -> Option<Stretch> {
    let root: Vec<f64> = seen.iter().map(|s| weight(s.blur, 1).sqrt()).collect();
    let fit = |terms: usize| {
        let courses = DMatrix::from_fn(seen.len(), terms, |row, term| {
            root[row] * course(&seen[row], term)
        });
        let longer = DVector::from_fn(seen.len(), |row, _| root[row] * longer(&seen[row].longer));
        least_squares::fit(&courses, &longer)
    };
    let steady = fit(2)?;
    if let Some(changing) = fit(3)
        && steady.chi2 - changing.chi2 > WORTH_A_CHANGE * changing.scatter
    {
        return Some(Stretch {
            share: Vector2::new(changing.factors[1], changing.factors[2]),
            covariance: changing.covariance.fixed_view::<2, 2>(1, 1) * changing.scatter,
        });
    }
    let variance = steady.covariance[(1, 1)] * steady.scatter;
    Some(Stretch {
        share: Vector2::new(steady.factors[1], 0.0),
        covariance: Matrix2::new(variance, 0.0, 0.0, 0.0),
    })
}

impl Stretch {
    /// Without a change.
    fn steady(self) -> Self {
        Self {
            share: Vector2::new(self.share[0], 0.0),
            covariance: Matrix2::new(self.covariance[(0, 0)], 0.0, 0.0, 0.0),
        }
    }

    fn at(&self, travel: f64) -> f64 {
        self.share.dot(&Vector2::new(1.0, travel))
    }

    /// Standard uncertainty of a sum of both numbers, each times a factor.
    fn u_of(&self, factors: Vector2<f64>) -> f64 {
        let variance = (factors.transpose() * self.covariance * factors).x;
        variance.max(0.0).sqrt()
    }

    fn u_at(&self, travel: f64) -> f64 {
        self.u_of(Vector2::new(1.0, travel))
    }
}

impl Warp {
    /// Distance of a target from the middle of the picture, px.
    fn off_px(&self, target: &Target) -> f64 {
        (target.x_px.value - self.middle_px).abs().max(1.0)
    }

    /// Share by which a blur is longer along the line of the targets, at a place in the sweep, believed or not.
    #[must_use]
    pub(super) fn share(&self, travel: f64) -> f64 {
        self.stretch.at(travel)
    }

    /// How much of a target's third moment is the stretch, px³, outwards, at a place in the sweep.
    #[must_use]
    pub(super) fn third_px3(&self, target: &Target, travel: f64) -> f64 {
        if !self.believed {
            return 0.0;
        }
        let square = target.second_px2().0.powi(2);
        9.0 * self.stretch.at(travel) / self.off_px(target) * (square + target.lean.fourth_px4)
    }

    /// How far both targets of a frame are pulled apart for each unit of the stretch's two numbers, px.
    fn pulls_px(&self, frame: &FrameResult) -> Option<Vector2<f64>> {
        let (left, right) = (frame.targets.first()?, frame.targets.last()?);
        let pull = |t: &Target| {
            let (along, across) = t.second_px2();
            (11.0 * along + across) / 2.0 / self.off_px(t)
        };
        Some(Vector2::new(1.0, frame.travel) * (pull(left) + pull(right)))
    }

    /// Takes the pull out of the separations, where it is believed.
    pub(super) fn correct(&self, frames: &mut [FrameResult]) {
        if !self.believed {
            return;
        }
        for frame in frames {
            let pulls = self.pulls_px(frame);
            if let (Some(separation), Some(pulls)) = (&mut frame.separation_px, pulls) {
                separation.value -= self.stretch.share.dot(&pulls);
            }
        }
    }

    /// Standard uncertainty that its correction leaves in each frame's shift, percentage points, by place in the sweep.
    #[must_use]
    pub(in crate::sweep) fn u_pct(&self, frames: &[FrameResult], reference: usize) -> Vec<f64> {
        let last = frames.get(reference).and_then(|frame| self.pulls_px(frame));
        let u = |frame: &FrameResult| {
            let pulls = self.pulls_px(frame)? - last?;
            let share = if self.believed { LEFT_OVER } else { 1.0 };
            let left = share * self.stretch.share.dot(&pulls);
            Some(100.0 * left.hypot(self.stretch.u_of(pulls)) / frame.separation_px?.value)
        };
        frames.iter().map(|frame| u(frame).unwrap_or(0.0)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What 21 frames show of tape of 40 × 60 px and its blur, in a picture stretched by the share `stretched`, under a curve with the
    /// first number `curve`: light of a disc of the blur's size falls with its square, and so does the logarithm that goes with it.
    fn shown(stretched: f64, curve: f64) -> Vec<Seen> {
        let tape = (40.0 * 40.0 - 60.0 * 60.0) / 12.0;
        let frame = |k: u8| {
            let travel = f64::from(k) / 20.0;
            let blur = 120.0 - 160.0 * travel;
            let variance = 2600.0 / 12.0 + blur * blur / 16.0;
            let dim = (1.0 + blur * blur / 2400.0).ln();
            // The tape's own part of the second moments counts for more or less, and the more so the sharper it is.
            let by_curve = [1, 2, 3].map(|power| tape * (-1.0 - dim).powi(power));
            let scatter = [0.3, -0.5, 0.1, 0.4, -0.2, -0.1][usize::from(k % 6)];
            let longer = tape + 2.0 * stretched * variance + curve * by_curve[0] + scatter;
            Seen {
                travel,
                blur,
                variance,
                longer: [longer; 2],
                by_curve,
            }
        };
        (0..21).map(frame).collect()
    }

    fn plain(seen: &[Seen]) -> Stretch {
        stretch(seen, &|longer| (longer[0] + longer[1]) / 2.0).expect("enough frames")
    }

    /// Tape that is no square is no stretch under another curve, and a stretch beside it is told within its uncertainty.
    #[test]
    fn another_tone_curve_is_no_stretch() {
        let curved = shown(0.0, -0.3);
        let alone = plain(&curved);
        assert!(
            alone.at(0.0).abs() > SIGNIFICANCE * alone.u_at(0.0),
            "{alone:?}"
        );
        for stretched in [0.0, 0.02] {
            let seen = shown(stretched, -0.3);
            let beside = beside_a_curve(&seen, &plain(&seen)).expect("enough frames");
            for travel in [0.0, 1.0] {
                let off = beside.at(travel) - stretched;
                assert!(
                    off.abs() < 2.5 * beside.u_at(travel),
                    "{stretched}: {beside:?}"
                );
            }
        }
    }
}
