//! Dust on the sensor in the blur of a target: found by its place, its pull taken out of the separations.
//!
//! What a lens draws into its blur moves and grows with it; a print on the tape is washed out by it. A dark spot
//! ([`Spot`]) that stays where it is in the picture while the blur changes by a fifth is on the sensor.
//! It takes the share ε of the light at its place p, so it moves a centre of mass c by −E·S(p − c)·(p − c), E being Σ ε over its
//! pixels and S the target's light over the sum of it: most where the blur is small and just reaches it, nothing where it
//! does not. S is taken to be the overlap of two discs, of the blur and of the tape (a disc with the tape's second moment),
//! over the product of their areas. It stays in the budget by how far that is from the truth.

use crate::measure::{Spot, Target};
use crate::sweep::FrameResult;
use crate::sweep::distance::blur::BlurCourse;
use crate::sweep::pulls::spread::reference_px;
use crate::sweep::tracking::pair;

/// Ratio of second moments between the frames that show a spot.
const BLUR_CHANGED: f64 = 1.3;
/// How far a spot's place may wander, in its radii, and px.
const STAYS: (f64, f64) = (0.4, 5.0);
/// Standard uncertainties by which what a spot lacks must stand out.
const CLEAR: f64 = 4.0;
/// Share of the correction that stays as its standard uncertainty: the tape is no disc, dust is no point, and where the blur's
/// rim lies across it the model is off by most.
const LEFT_OVER: f64 = 0.25;
/// Least radius that a disc is given, px.
const LEAST_RADIUS_PX: f64 = 0.5;

/// One grain of dust.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sweep) struct Grain {
    /// Place in the picture, px.
    pub(in crate::sweep) place_px: (f64, f64),
    /// Sum of the shares of light it takes, px².
    missing_px2: f64,
    /// Places of the frames that show it, the first and the last.
    pub(in crate::sweep) shown: (usize, usize),
    /// In how many frames.
    pub(in crate::sweep) count: usize,
}

/// Dust in the blur of the targets.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::sweep) struct Dust {
    /// Every grain that was found.
    pub(in crate::sweep) grains: Vec<Grain>,
    /// How far it pulled each frame's targets apart, px, by place in the sweep.
    pull_px: Vec<f64>,
    /// What was taken out of the shift that it moved most, percentage points.
    pub(in crate::sweep) most_pct: f64,
}

/// One of a frame's outermost targets.
type Side = fn(&[Target]) -> Option<&Target>;

/// Looks for dust; `None` where there is none, or where it can't be told how sharp the targets are.
#[must_use]
pub(in crate::sweep) fn detect(
    frames: &[FrameResult],
    course: Option<&BlurCourse>,
    reference: usize,
) -> Option<Dust> {
    let sides: [Side; 2] = [<[Target]>::first, <[Target]>::last];
    let grains: Vec<Grain> = sides
        .iter()
        .flat_map(|&side| grains(frames, side))
        .collect();
    let separation = reference_px(frames)?;
    if grains.is_empty() {
        return None;
    }
    let narrowest = || {
        let targets = frames.iter().flat_map(|frame| &frame.targets);
        targets
            .map(|target| target.variance_px2.value)
            .fold(f64::INFINITY, f64::min)
    };
    let sharp = course.map_or_else(narrowest, |course| course.sharp_variance);
    let pull_px: Vec<f64> = frames
        .iter()
        .map(|frame| pull(frame, &grains, sharp).unwrap_or(0.0))
        .collect();
    let most_px = pull_px
        .iter()
        .map(|pull| (pull - pull_px[reference]).abs())
        .fold(0.0, f64::max);
    Some(Dust {
        grains,
        most_pct: 100.0 * most_px / separation,
        pull_px,
    })
}

impl Dust {
    /// Takes the pull out of the separations.
    pub(in crate::sweep) fn correct(&self, frames: &mut [FrameResult]) {
        for (frame, pull) in frames.iter_mut().zip(&self.pull_px) {
            if let Some(separation) = &mut frame.separation_px {
                separation.value -= pull;
            }
        }
    }

    /// Standard uncertainty that its correction leaves in each frame's shift, percentage points, by place in the sweep.
    #[must_use]
    pub(in crate::sweep) fn u_pct(&self, frames: &[FrameResult], reference: usize) -> Vec<f64> {
        let u = |(frame, pull): (&FrameResult, &f64)| {
            let separation = frame.separation_px?.value;
            Some(100.0 * LEFT_OVER * pull.hypot(self.pull_px[reference]) / separation)
        };
        let all = frames.iter().zip(&self.pull_px);
        all.enumerate()
            .map(|(place, one)| {
                if place == reference {
                    0.0
                } else {
                    u(one).unwrap_or(0.0)
                }
            })
            .collect()
    }
}

/// The grains in the blur of one side's target.
fn grains(frames: &[FrameResult], side: Side) -> Vec<Grain> {
    let mut seen: Vec<(usize, f64, Spot)> = frames
        .iter()
        .enumerate()
        .filter_map(|(place, frame)| {
            let target = side(&frame.targets)?;
            frame.separation_px?;
            let spots = target.spots.iter();
            Some(spots.map(move |&spot| (place, target.variance_px2.value, spot)))
        })
        .flatten()
        .collect();
    let mut grains = Vec::new();
    while let Some(&(_, _, first)) = seen.first() {
        let near = |spot: &Spot| {
            let off = (spot.x_px - first.x_px).hypot(spot.y_px - first.y_px);
            off < (STAYS.0 * first.radius_px).max(STAYS.1)
        };
        let (group, rest): (Vec<_>, Vec<_>) = seen.into_iter().partition(|(.., spot)| near(spot));
        seen = rest;
        grains.extend(grain(&group));
    }
    grains
}

/// What spots at one place are together; `None` where the blur is the same all the time. The one that lacks most lies farthest
/// within the blur and is seen best.
fn grain(group: &[(usize, f64, Spot)]) -> Option<Grain> {
    let missing = |one: &&(usize, f64, Spot)| one.2.missing_px2.value;
    let best = group
        .iter()
        .max_by(|a, b| missing(a).total_cmp(&missing(b)))?;
    let Spot {
        x_px,
        y_px,
        missing_px2,
        ..
    } = best.2;
    let variances = || group.iter().map(|(_, variance, _)| *variance);
    let widest = variances().fold(0.0, f64::max);
    let narrowest = variances().fold(f64::INFINITY, f64::min);
    let is_clear = missing_px2.value > CLEAR * missing_px2.std_error;
    (widest > BLUR_CHANGED * narrowest && is_clear).then_some(Grain {
        place_px: (x_px, y_px),
        missing_px2: missing_px2.value,
        shown: (group.first()?.0, group.last()?.0),
        count: group.len(),
    })
}

/// How far dust pulls a frame's outermost targets apart, px; `sharp` is the second moment of the sharp tape, px².
fn pull(frame: &FrameResult, grains: &[Grain], sharp: f64) -> Option<f64> {
    let (left, right) = (frame.targets.first()?, frame.targets.last()?);
    let along = pair::along(left, right);
    let of = |target: &Target| {
        let share = |grain: &Grain| {
            let (x, y) = (
                grain.place_px.0 - target.x_px.value,
                grain.place_px.1 - target.y_px.value,
            );
            let light = share_of_light(x.hypot(y), target.variance_px2.value, sharp);
            -grain.missing_px2 * light * (x * along.0 + y * along.1)
        };
        grains.iter().map(share).sum::<f64>()
    };
    Some(of(right) - of(left))
}

/// Light of a blurred target so far from its centre over all of its light, 1/px².
fn share_of_light(off_px: f64, variance: f64, sharp: f64) -> f64 {
    // A disc of radius R has the second moment R²/4.
    let tape = (2.0 * sharp.max(0.0).sqrt()).max(LEAST_RADIUS_PX);
    let blur = (2.0 * (variance - sharp).max(0.0).sqrt()).max(LEAST_RADIUS_PX);
    overlap(off_px, tape, blur) / (std::f64::consts::PI * tape * blur).powi(2)
}

/// Area that two discs of radii a and b have in common, their centres so far apart.
fn overlap(off: f64, a: f64, b: f64) -> f64 {
    let small = a.min(b);
    if off >= a + b {
        return 0.0;
    }
    if off <= (a - b).abs() {
        return std::f64::consts::PI * small * small;
    }
    let angle = |one: f64, other: f64| {
        ((off * off + one * one - other * other) / (2.0 * off * one))
            .clamp(-1.0, 1.0)
            .acos()
    };
    let (alpha, beta) = (angle(a, b), angle(b, a));
    a * a * (alpha - alpha.sin() * alpha.cos()) + b * b * (beta - beta.sin() * beta.cos())
}
