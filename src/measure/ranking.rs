//! Which candidates look most like a target.

use super::{Flag, Target};

/// Candidates handed out at most.
const MOST: usize = 12;

/// Ratio of second moments up to which two measurements may be of one and the same thing though one centre lies outside
/// the narrower one's light: what was seen of it in part and as a whole. A wall beside the card is more than that.
const ONE_THING: f64 = 4.0;

/// Whether two measurements are of one and the same thing: their centres lie well within each other's light.
pub(super) fn same_thing(a: &Target, b: &Target) -> bool {
    let apart = (a.x_px.value - b.x_px.value).hypot(a.y_px.value - b.y_px.value);
    let (a, b) = (a.variance_px2.value, b.variance_px2.value);
    let reach = a.max(b).min(ONE_THING * a.min(b));
    apart < 3.0_f64.max(0.75 * reach.max(0.0).sqrt())
}

/// How much of its flux a uniform round plateau of the measured width and peak would hold: about 1 for a disc or a
/// square, 1/2 for a Gaussian, little for anything ragged, hollow or scattered.
fn fullness(target: &Target) -> f64 {
    let full = target.peak * 4.0 * std::f64::consts::PI * target.variance_px2.value;
    if full > 0.0 {
        (target.flux / full).min(1.0)
    } else {
        0.0
    }
}

fn score(target: &Target) -> f64 {
    let whole = if target.flags.contains(&Flag::Clipped) {
        0.5
    } else {
        1.0
    };
    target.flux * fullness(target).powi(2) * whole
}

/// How well two candidates go together, 0 to 1: two patches of the same tape at the same distance have about the same
/// light and the same blur, and lie along the longer side of the picture.
fn company(a: &Target, b: &Target, is_tall: bool) -> f64 {
    let (dx, dy) = (a.x_px.value - b.x_px.value, a.y_px.value - b.y_px.value);
    if dx.hypot(dy) < 4.0 * a.variance_px2.value.sqrt() {
        return 0.0;
    }
    let lies_along = (dx.abs() < dy.abs()) == is_tall;
    let alike = |a: f64, b: f64| (-((a / b).ln() / ALIKE).powi(2)).exp();
    let alike = alike(a.flux, b.flux) * alike(a.variance_px2.value, b.variance_px2.value);
    let alike = if lies_along { alike } else { ACROSS * alike };
    if alike.is_finite() { alike } else { 0.0 }
}

/// Difference of the logarithms of light or variance at which two candidates are called different.
const ALIKE: f64 = 0.3;
/// How much more a candidate with its like in the picture counts.
const COMPANY: f64 = 8.0;

/// What company across the longer side of the picture counts of that along it: the camera may have stood upright.
const ACROSS: f64 = 0.5;

/// Puts the most target-like first and keeps the first dozen; `is_tall` where the picture is higher than wide.
pub(super) fn order(targets: &mut Vec<Target>, is_tall: bool) {
    let mut scored: Vec<(f64, Target)> = (0..targets.len())
        .map(|this| {
            let best = (0..targets.len())
                .filter(|&other| other != this)
                .map(|other| company(&targets[this], &targets[other], is_tall))
                .fold(0.0, f64::max);
            (
                score(&targets[this]) * (1.0 + COMPANY * best),
                targets[this].clone(),
            )
        })
        .collect();
    scored.sort_by(|(a, left), (b, right)| {
        b.total_cmp(a)
            .then(left.x_px.value.total_cmp(&right.x_px.value))
            .then(left.y_px.value.total_cmp(&right.y_px.value))
    });
    scored.truncate(MOST);
    *targets = scored.into_iter().map(|(_, target)| target).collect();
}
