//! Light that falls off towards the sides of the picture, or is evened out by the camera: it tilts the blur of the targets
//! and moves their centres.
//!
//! Where the picture's brightness rises by a part g a pixel towards its side, the outer half of a blurred target is brighter
//! than its inner half. Its centre of mass moves outwards by g·k₂ and its third moment grows by g·k₄, k₂ and k₄ being the
//! second and fourth cumulants of its light (exponential tilting to first order in g; textbook statistics, from memory). k₂ grows with the square of the
//! blur, so near focus settings are pulled more than the reference: a camera that takes out the cos⁴ falloff of a 35 mm lens
//! moves a shift by 0.08 percentage points at 120 px of blur.
//!
//! g belongs to the place in the picture, mirrored between left and right, and is alike in all frames, or changes evenly with
//! focus, as the pupil moves. So it is read from the third moments of all of them at once, beside what else leans: tape that is
//! torn askew, by the cube of the picture's scale, and a blur that the barrel cuts, by the cube of the signed blur.

mod lean;

use nalgebra::{Matrix2, Vector2};

use super::FrameResult;
use super::distance::blur::BlurCourse;
use super::spike_and_slab;
use super::spread::reference_px;
use super::tone::Tone;
use super::warp::Warp;
use lean::{Fit, Seen, Term, fit, seen};

/// Improvement of χ² over its scatter from which cut blur, or a change with focus, is counted among what leans: 4 standard
/// deviations.
const WORTH_A_TERM: f64 = 16.0;
/// χ² over its degrees of freedom from which it is not brightness that third moments come from: a fifth of the light in the
/// corners changing with focus makes 7 where it is taken for the same in all frames, coma and dust 30 and more (simulated sweeps).
const MOST_SPREAD: f64 = 5.0;
/// Half the difference between what both targets show, over their mean, from which one alone leans: they lie about as far from the
/// middle of the picture.
const ONE_SIDED: f64 = 0.6;
/// The same in standard uncertainties.
const CLEARLY: f64 = 4.0;
/// Standard deviation over half a picture's width of the rise that lenses have whose light falls off, before anything was seen;
/// half of all sweeps are thought to have none, as cameras even it out. Our choice.
const USUAL_OVER_HALF: f64 = 0.5;
/// Standard uncertainties by which a rise has to differ from none where a slight flattening of the blur might be a cut as well.
const PLAIN: f64 = 10.0;
/// Standard uncertainties of the rise that may hide unseen where it is not taken out.
const UNSEEN_SIGMA: f64 = 2.0;
/// Largest rise over half a picture's width that is thought of where none was seen: the cos⁴ falloff of a 35 mm lens on 36 mm,
/// taken out by the camera. Coma leans by more and pulls all frames alike.
const UNSEEN_OVER_HALF: f64 = 0.7;
/// Largest rise over half a picture's width that light does: cos⁴ at the side of a 20 mm lens on 36 mm grows by 1.6 (computed).
const MOST_OVER_HALF: f64 = 2.0;
/// Share of the correction that stays as its standard uncertainty: brightness does not change by the same part everywhere
/// in the blur, and not alike on both sides. From simulation.
const LEFT_OVER: f64 = 0.05;

/// The same where the tone curve is not sRGB's: S-shaped curves leave up to 0.4 after straightening (simulated sweeps), and lend
/// a lean to soft blur where there is no shading.
const LEFT_OVER_TONED: f64 = 0.5;

/// How the picture's brightness changes towards its sides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Shading {
    /// Part by which it grows outwards where the targets are, 1/px: at the first frame, and what it has more at the last one.
    rise: Vector2<f64>,
    /// Their covariance; 0 in what was not looked for.
    covariance: Matrix2<f64>,
    /// The same as read, before it was weighed how likely there is any.
    read: Vector2<f64>,
    read_covariance: Matrix2<f64>,
    /// Share of the correction that stays as its standard uncertainty.
    left_over: f64,
    /// Whether third moments are what it makes of them.
    fits: bool,
    /// Between the targets, px.
    separation_px: f64,
}

/// Reads how brightness changes from how the blur leans, beyond what a stretch makes it lean; `None` where nothing was measured.
#[must_use]
pub(super) fn detect(
    frames: &[FrameResult],
    course: Option<&BlurCourse>,
    warp: Option<&Warp>,
    tone: Tone,
) -> Option<Shading> {
    let separation = reference_px(frames)?;
    let seen: Vec<Seen> = frames
        .iter()
        .enumerate()
        .filter_map(|(place, frame)| {
            let scale = frame.separation_px?.value / separation;
            let blur = course.and_then(|course| {
                let mut signed = course.signed.iter();
                signed.find(|(at, _)| *at == place).map(|(_, blur)| blur)
            });
            let blur = blur.map_or(0.0, |blur| blur.value * scale);
            seen(frame, scale, blur, warp)
        })
        .collect();
    let Some(mut best) = fit(&seen, &[Term::Rise, Term::Tape]) else {
        return Some(Shading::unread(separation));
    };
    // Cut blur and change with focus lean much alike: what explains more comes first.
    for _ in 0..2 {
        let more = [Term::Cut, Term::Change]
            .into_iter()
            .filter(|term| best.place(*term).is_none())
            .filter_map(|term| fit(&seen, &[best.terms.as_slice(), &[term]].concat()))
            .min_by(|a, b| a.chi2.total_cmp(&b.chi2));
        match more {
            Some(more)
                if more.spread < MOST_SPREAD
                    && best.chi2 - more.chi2 > WORTH_A_TERM * more.spread =>
            {
                best = more;
            }
            _ => break,
        }
    }
    let (read, read_covariance) = best.rise();
    // What changes was looked for only where it stands out, and is large: any size is as likely.
    let usual = match best.place(Term::Change) {
        None => Vector2::new(USUAL_OVER_HALF, 0.0),
        Some(_) => Vector2::new(MOST_OVER_HALF, MOST_OVER_HALF),
    } / (separation / 2.0);
    let (rise, covariance) = spike_and_slab::expected(read, read_covariance, usual);
    let shading = Shading {
        rise,
        covariance,
        read,
        read_covariance,
        left_over: match tone {
            Tone::Srgb => LEFT_OVER,
            Tone::Other(_) | Tone::Unknown => LEFT_OVER_TONED,
        },
        fits: best.spread < MOST_SPREAD && !one_sided(&seen, &best),
        separation_px: separation,
    };
    let over_half = |travel: f64| read.dot(&Vector2::new(1.0, travel)).abs() * separation / 2.0;
    Some(if over_half(0.0).max(over_half(1.0)) < MOST_OVER_HALF {
        shading
    } else {
        Shading::unread(separation)
    })
}

/// Whether one target alone leans, as a glow or dust beside it makes it: brightness rises on both sides.
fn one_sided(seen: &[Seen], best: &Fit) -> bool {
    let differs: Vec<Seen> = seen
        .iter()
        .map(|s| Seen {
            third: s.differs,
            ..*s
        })
        .collect();
    let Some(differs) = fit(&differs, &[Term::Rise, Term::Tape, Term::Cut]) else {
        return false;
    };
    let ((differ, covariance), (both, _)) = (differs.rise(), best.rise());
    let u = covariance.m11.max(0.0).sqrt();
    differ.x.abs() > (ONE_SIDED * both.x.abs()).max(CLEARLY * u)
}

/// Mean tilt of a frame's outermost targets, px²: how far each moves outwards for a rise of one part a pixel.
fn tilt(frame: &FrameResult) -> Option<f64> {
    let (left, right) = (frame.targets.first()?, frame.targets.last()?);
    Some((left.lean.tilt_px2 + right.lean.tilt_px2) / 2.0)
}

impl Shading {
    /// What is thought where pictures tell nothing: too few frames, or what leans by more than brightness makes it.
    fn unread(separation_px: f64) -> Self {
        let usual = USUAL_OVER_HALF / (separation_px / 2.0);
        // Half of all sweeps have none.
        let covariance = Matrix2::new(usual * usual / 2.0, 0.0, 0.0, 0.0);
        Self {
            rise: Vector2::zeros(),
            covariance,
            read: Vector2::zeros(),
            read_covariance: covariance,
            left_over: 1.0,
            fits: false,
            separation_px,
        }
    }

    /// The same where it is not taken out: what is expected of it is in the uncertainty as a whole.
    #[must_use]
    pub(super) const fn left_alone(mut self) -> Self {
        self.left_over = 1.0;
        self
    }

    /// The rise at a place in the sweep, 1/px.
    fn rise_at(&self, travel: f64) -> f64 {
        self.rise.x + travel * self.rise.y
    }

    /// Whether third moments are what it makes of them, so that it is taken out.
    #[must_use]
    pub(super) const fn is_believed(&self) -> bool {
        self.fits
    }

    /// Whether there is no doubt of it, at one end of the sweep at least, even where something else shows too.
    #[must_use]
    pub(super) fn is_plain(&self) -> bool {
        self.fits
            && [0.0, 1.0].into_iter().any(|travel| {
                let factors = Vector2::new(1.0, travel);
                let u = u_of(&self.read_covariance, factors);
                u > 0.0 && self.read.dot(&factors).abs() > PLAIN * u
            })
    }

    /// Takes the pull out of the separations.
    pub(super) fn correct(&self, frames: &mut [FrameResult]) {
        for frame in frames {
            let tilt = tilt(frame);
            if let (Some(separation), Some(tilt)) = (&mut frame.separation_px, tilt) {
                separation.value -= 2.0 * self.rise_at(frame.travel) * tilt;
            }
        }
    }

    /// Standard uncertainty that its correction leaves in each frame's shift, percentage points, by place in the sweep.
    #[must_use]
    pub(super) fn u_pct(&self, frames: &[FrameResult], reference: usize) -> Vec<f64> {
        let pulls = pulls(frames, reference);
        pulls
            .map(|pull| (self.left_over * self.rise.dot(&pull)).hypot(u_of(&self.covariance, pull)))
            .collect()
    }

    /// How far it moves the shift that it moves most, percentage points.
    #[must_use]
    pub(super) fn most_pct(&self, frames: &[FrameResult]) -> f64 {
        let reference = frames
            .iter()
            .rposition(|frame| frame.separation_px.is_some());
        pulls(frames, reference.unwrap_or(0))
            .map(|pull| self.rise.dot(&pull).abs())
            .fold(0.0, f64::max)
    }

    /// What it may do at most to a shift where it was too little to be taken out, percentage points.
    #[must_use]
    pub(super) fn unseen_pct(&self, frames: &[FrameResult]) -> f64 {
        let reference = frames
            .iter()
            .rposition(|frame| frame.separation_px.is_some());
        let most = |pull: Vector2<f64>| {
            let rise =
                self.read.dot(&pull).abs() + UNSEEN_SIGMA * u_of(&self.read_covariance, pull);
            rise.min(2.0 * UNSEEN_OVER_HALF / self.separation_px * pull.x.abs())
        };
        pulls(frames, reference.unwrap_or(0))
            .map(most)
            .fold(0.0, f64::max)
    }
}

/// Standard uncertainty of a sum of the rise's two numbers, each times a factor.
fn u_of(covariance: &Matrix2<f64>, factors: Vector2<f64>) -> f64 {
    (factors.transpose() * covariance * factors)
        .x
        .max(0.0)
        .sqrt()
}

/// How far each frame's shift moves for a rise of one part a pixel, and for one that comes with the travel, percentage points.
fn pulls(frames: &[FrameResult], reference: usize) -> impl Iterator<Item = Vector2<f64>> {
    let pulled = |frame: &FrameResult| Some(Vector2::new(1.0, frame.travel) * tilt(frame)?);
    let last = frames.get(reference).and_then(pulled).unwrap_or_default();
    frames.iter().map(move |frame| {
        let pull = |separation: f64, pulled: Vector2<f64>| (pulled - last) * (200.0 / separation);
        frame
            .separation_px
            .zip(pulled(frame))
            .map_or(Vector2::zeros(), |(separation, pulled)| {
                pull(separation.value, pulled)
            })
    })
}
