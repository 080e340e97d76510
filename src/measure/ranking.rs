//! Which candidates look most like a target.

use super::{Flag, Target};

/// Candidates handed out at most.
const MOST: usize = 12;

/// Whether two measurements are of one and the same thing: their centres lie well within each other's light.
pub(super) fn same_thing(a: &Target, b: &Target) -> bool {
    let apart = (a.x_px.value - b.x_px.value).hypot(a.y_px.value - b.y_px.value);
    apart < 3.0_f64.max(0.75 * a.variance_px2.value.max(b.variance_px2.value).sqrt())
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

/// Puts the most target-like first and keeps the first dozen.
pub(super) fn order(targets: &mut Vec<Target>) {
    targets.sort_by(|a, b| {
        score(b)
            .total_cmp(&score(a))
            .then(a.x_px.value.total_cmp(&b.x_px.value))
            .then(a.y_px.value.total_cmp(&b.y_px.value))
    });
    targets.truncate(MOST);
}
