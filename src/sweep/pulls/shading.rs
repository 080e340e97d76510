//! Light that falls off towards the sides of the picture, or is evened out by the camera, or comes unevenly through the lens's
//! pupil: it tilts the blur of the targets and moves their centres.
//!
//! Where the picture's brightness rises by a part g a pixel towards its side, the outer half of a blurred target is brighter
//! than its inner half. Its centre of mass moves outwards by g·k₂ and its third moment grows by g·k₄, k₂ and k₄ being the
//! second and fourth cumulants of its light (exponential tilting to first order in g; textbook statistics, from memory). k₂ grows with the square of the
//! blur, so near focus settings are pulled more than the reference: a camera that takes out the cos⁴ falloff of a 35 mm lens
//! moves a shift by 0.08 percentage points at 120 px of blur. g belongs to the place in the picture, mirrored between left and right,
//! and is alike in all frames, or changes evenly with focus, as the pupil moves.
//!
//! A wide pupil sends more light from the side that is nearer to a target (cos⁴ across the pupil), or lets less through on one
//! side. Light that rises across a blur disc of the diameter c by a part e at its rim pulls its centre by e·c/8 and adds −e·c³/128 to its
//! third moment (own calculation). Turned over through focus it is a pupil's, with the sign of the blur; alike on both sides, coma.
//!
//! All are read from the third moments of all frames at once, beside tape that is torn askew, by the cube of the picture's
//! scale. They lean much alike, and one disc pulls by sixteen times its third moment over c², whatever tilts it: so none is
//! chosen, all are weighed (`spike_and_slab`), and what they disagree about stays in the uncertainty.

mod thirds;

use nalgebra::DVector;

use self::thirds::{ACROSS, Read, Seen};
use super::spread::reference_px;
use super::tone::Tone;
use super::warp::Warp;
use crate::sweep::FrameResult;
use crate::sweep::distance::blur::BlurCourse;

/// χ² over its degrees of freedom from which it is not brightness that third moments come from: a fifth of the light in the
/// corners changing with focus makes 7 where it is taken for the same in all frames, coma and dust 30 and more (simulated sweeps).
const MOST_SPREAD: f64 = 5.0;
/// Half the difference between what both targets show, over their mean, from which one alone leans: they lie about as far from the
/// middle of the picture.
const ONE_SIDED: f64 = 0.6;
/// The same in standard uncertainties.
const CLEARLY: f64 = 2.5;
/// Standard uncertainties by which a rise has to differ from none where a slight flattening of the blur might be a cut as well.
const PLAIN: f64 = 10.0;
/// Standard uncertainties of the pull that may hide unseen where it is not taken out.
const UNSEEN_SIGMA: f64 = 2.0;
/// Largest rise over half a picture's width that is thought of where none was seen: the cos⁴ falloff of a 35 mm lens on 36 mm,
/// taken out by the camera. Coma leans by more and pulls all frames alike.
const UNSEEN_OVER_HALF: f64 = 0.7;
/// Largest rise over half a picture's width that light does: cos⁴ at the side of a 20 mm lens on 36 mm grows by 1.6 (computed).
const MOST_OVER_HALF: f64 = 2.0;
/// Share of the correction that stays as its standard uncertainty: brightness does not change by the same part everywhere
/// in the blur, and not alike on both sides. Where it falls by the fourth power of the distance from the middle, third moments of large
/// blur say 8 % more and centres move by 3 % less than an even rise would make them (simulated sweeps).
const LEFT_OVER: f64 = 0.07;
/// The same where the tone curve is not sRGB's: S-shaped curves leave up to 0.4 after straightening (simulated sweeps), and lend
/// a lean to soft blur where there is no shading.
const LEFT_OVER_TONED: f64 = 0.5;
/// Share of what one target leans by alone that stays as standard uncertainty where nothing is taken out: light at the rim of
/// the blur pulls by a quarter of what brightness with the same third moment does, farther in by more.
const LEFT_ALONE: f64 = 0.5;

/// How brightness tilts the blur.
#[derive(Debug, Clone)]
pub(in crate::sweep) struct Shading {
    /// What both targets show, mirrored.
    both: Read,
    /// Half of what the right one shows more.
    differs: Read,
    /// Share of the correction that stays as its standard uncertainty.
    left_over: f64,
    /// Whether third moments are what it makes of them, and nothing else explains them.
    fits: bool,
    /// One target alone leans.
    one_sided: bool,
    /// Between the targets, px.
    separation_px: f64,
    /// How far both targets of each frame are pulled apart for one of each number of `Read`, px, by place in the sweep.
    pulls_px: Vec<Option<DVector<f64>>>,
}

/// Reads how brightness tilts the blur from how it leans, beyond what a stretch makes it lean; `None` where nothing was measured.
#[must_use]
pub(in crate::sweep) fn detect(
    frames: &[FrameResult],
    course: Option<&BlurCourse>,
    warp: Option<&Warp>,
    tone: Tone,
) -> Option<Shading> {
    let separation = reference_px(frames)?;
    let mut signed = vec![0.0; frames.len()];
    for (place, blur) in course.iter().flat_map(|course| &course.signed) {
        signed[*place] = blur.value;
    }
    let scale = |frame: &FrameResult| Some(frame.separation_px?.value / separation);
    let seen: Vec<Seen> = frames
        .iter()
        .zip(&signed)
        .filter_map(|(frame, blur)| thirds::seen(frame, scale(frame)?, *blur, warp))
        .collect();
    let half = separation / 2.0;
    let read = |third: fn(&Seen) -> f64| thirds::read(&seen, third, half, tone != Tone::Srgb);
    let light_does = |both: &Read| {
        let over_half = |travel: f64| both.rise_at(travel).abs() * half;
        over_half(0.0).max(over_half(1.0)) < MOST_OVER_HALF
    };
    let told = read(|s| s.third)
        .filter(light_does)
        .zip(read(|s| s.differs));
    let left_over = match tone {
        Tone::Srgb => LEFT_OVER,
        Tone::Other(_) | Tone::Unknown => LEFT_OVER_TONED,
    };
    let pulls_px = frames
        .iter()
        .zip(&signed)
        .map(|(frame, blur)| thirds::pulls_px(frame, scale(frame)? * blur))
        .collect();
    let fits = told
        .as_ref()
        .is_some_and(|(both, _)| both.spread < MOST_SPREAD);
    let (both, differs) = told.unwrap_or_else(|| (Read::nothing(half), Read::none()));
    let mut shading = Shading {
        both,
        differs,
        left_over,
        fits,
        one_sided: false,
        separation_px: separation,
        pulls_px,
    };
    shading.one_sided = shading.is_one_sided();
    Some(shading)
}

impl Shading {
    /// Whether one target alone leans, as a glow or dust beside it makes it: brightness rises on both sides.
    fn is_one_sided(&self) -> bool {
        let widest = self
            .pulls_px
            .iter()
            .flatten()
            .max_by(|a, b| a[0].total_cmp(&b[0]));
        widest.is_some_and(|pull| {
            let (both, differ) = (self.both.mean.dot(pull), self.differs.mean.dot(pull));
            differ.abs() > (ONE_SIDED * both.abs()).max(CLEARLY * self.differs.u_of(pull))
        })
    }

    /// Whether third moments are what it makes of them, so that it is taken out.
    #[must_use]
    pub(super) const fn is_believed(&self) -> bool {
        self.fits && !self.one_sided
    }

    /// Whether there is no doubt that brightness changes towards the sides, at one end of the sweep at least, even where something else
    /// shows too.
    #[must_use]
    pub(super) fn is_plain(&self) -> bool {
        self.is_believed()
            && [0.0, 1.0].into_iter().any(|travel| {
                let u = self.both.u_of_rise_at(travel);
                u > 0.0 && self.both.rise_at(travel).abs() > PLAIN * u
            })
    }

    /// Takes the pull out of the separations.
    pub(in crate::sweep) fn correct(&self, frames: &mut [FrameResult]) {
        for (frame, pull) in frames.iter_mut().zip(&self.pulls_px) {
            if let (Some(separation), Some(pull)) = (&mut frame.separation_px, pull) {
                separation.value -= self.both.mean.dot(pull);
            }
        }
    }

    /// The same where it is not taken out: what is expected of it is in the uncertainty as a whole.
    #[must_use]
    pub(super) fn left_alone(mut self) -> Self {
        self.fits = false;
        self.left_over = 1.0;
        self
    }

    /// Standard uncertainty that it leaves in each frame's shift, percentage points, by place in the sweep.
    #[must_use]
    pub(in crate::sweep) fn u_pct(&self, reference: usize) -> Vec<f64> {
        let share = if self.one_sided { LEFT_ALONE } else { 1.0 };
        let u = |pull: DVector<f64>| {
            let differ = self.differs.mean.dot(&pull).abs();
            let noise = CLEARLY * self.differs.u_of(&pull);
            let differ = if differ > noise { share * differ } else { 0.0 };
            (self.left_over * self.both.mean.dot(&pull))
                .hypot(self.both.u_of(&pull))
                .hypot(differ)
        };
        self.pulls_pct(reference).map(u).collect()
    }

    /// How far it moves the shift that it moves most, percentage points.
    #[must_use]
    pub(in crate::sweep) fn most_pct(&self, reference: usize) -> f64 {
        self.pulls_pct(reference)
            .map(|pull| self.both.mean.dot(&pull).abs())
            .fold(0.0, f64::max)
    }

    /// What it may do at most to a shift where it was not taken out, percentage points.
    #[must_use]
    pub(super) fn unseen_pct(&self, reference: usize) -> f64 {
        let most = |pull: DVector<f64>| {
            let most = self.both.mean.dot(&pull).abs() + UNSEEN_SIGMA * self.both.u_of(&pull);
            most.min(2.0 * UNSEEN_OVER_HALF / self.separation_px * pull[0].abs())
        };
        self.pulls_pct(reference).map(most).fold(0.0, f64::max)
    }

    /// What light across the pupil that rises by `natural` at its rim, as far as third moments don't speak against it, may do at most
    /// to a shift, beyond what is taken out, percentage points.
    #[must_use]
    pub(in crate::sweep) fn unseen_across_pct(&self, natural: f64, reference: usize) -> f64 {
        let taken = if self.is_believed() {
            self.both.mean[ACROSS]
        } else {
            0.0
        };
        let (alone, u) = self.both.across_alone;
        let most = natural.min(alone.max(0.0) + UNSEEN_SIGMA * u);
        let left = (most - taken).max(0.0);
        self.pulls_pct(reference)
            .map(|pull| left * pull[ACROSS].abs())
            .fold(0.0, f64::max)
    }

    /// How far each frame's shift moves for one of each number, percentage points, by place in the sweep.
    fn pulls_pct(&self, reference: usize) -> impl Iterator<Item = DVector<f64>> {
        let last = self.pulls_px.get(reference).cloned().flatten();
        let none = DVector::zeros(self.both.mean.len());
        let last = last.unwrap_or_else(|| none.clone());
        let to_pct = 100.0 / self.separation_px;
        self.pulls_px.iter().map(move |pull| {
            pull.as_ref()
                .map_or_else(|| none.clone(), |pull| (pull - &last) * to_pct)
        })
    }
}

#[cfg(test)]
mod tests;
