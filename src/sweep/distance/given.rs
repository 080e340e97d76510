//! Distances known at some frames: how well they are known, and what lies between.

use super::resolution::Resolution;
use crate::sweep::curve::between::Piece;
use crate::sweep::sequence::places::Places;
use crate::units::Measured;

/// Share of a step between two known settings by which a frame between them may be off: lenses don't focus in equal
/// dioptre steps from frame to frame (our choice; at mid-step, less towards the known ends).
const BETWEEN_SHARE: f64 = 0.05;

/// Focus settings of all frames from those known at some, dioptres: monotone interpolation by place between known ones,
/// `None` outside them. The uncertainty holds how finely distances are stated and, between them, the unevenness of the
/// steps.
#[must_use]
pub(super) fn between(
    known: &[Option<f64>],
    places: &Places,
    resolution: &Resolution,
) -> Vec<Option<Measured>> {
    let knots: Vec<(f64, f64)> = known
        .iter()
        .enumerate()
        .filter_map(|(i, d)| d.map(|d| (places.at(i), d)))
        .collect();
    let slopes = monotone_slopes(&knots);
    (0..known.len())
        .map(|i| {
            if let Some(d) = known[i] {
                return Some(Measured::new(d, resolution.u(d)));
            }
            let x = places.at(i);
            let right = knots.iter().position(|knot| knot.0 > x)?;
            let left = right.checked_sub(1)?;
            let (a, b) = (knots[left], knots[right]);
            let share = (x - a.0) / (b.0 - a.0);
            let value = Piece::sloped(a, b, (slopes[left], slopes[right])).value(share);
            let uneven = BETWEEN_SHARE * (b.1 - a.1).abs() * 4.0 * share * (1.0 - share);
            let coarse = resolution.u(a.1).max(resolution.u(b.1));
            Some(Measured::new(value, uneven.hypot(coarse)))
        })
        .collect()
}

/// Slopes at the knots that make a cubic Hermite curve keep to the rise and fall of the data
/// (F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5, 300, 1984).
fn monotone_slopes(knots: &[(f64, f64)]) -> Vec<f64> {
    let n = knots.len();
    if n < 2 {
        return vec![0.0; n];
    }
    let step: Vec<f64> = knots.windows(2).map(|k| k[1].0 - k[0].0).collect();
    let secant: Vec<f64> = knots
        .windows(2)
        .map(|k| (k[1].1 - k[0].1) / (k[1].0 - k[0].0))
        .collect();
    (0..n)
        .map(|i| {
            if i == 0 {
                return secant[0];
            }
            if i == n - 1 {
                return secant[n - 2];
            }
            let (before, after) = (secant[i - 1], secant[i]);
            if before * after <= 0.0 {
                return 0.0;
            }
            let (wb, wa) = (2.0 * step[i] + step[i - 1], step[i] + 2.0 * step[i - 1]);
            (wb + wa) / (wb / before + wa / after)
        })
        .collect()
}
