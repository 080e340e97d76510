//! What a cut may pull by that does not show, where how lopsided the blur is tells more than how flat it is.

use super::super::overlap::Overlap;
use super::{FLATTENINGS, LEAST, USUAL};
use crate::units::Measured;

/// How likely a cut is, before anything was seen. Our choice.
const CUT: f64 = 0.5;
/// Standard deviations of the pull that is to be expected.
const SIGMA: f64 = 2.0;
/// Density over that at its middle from which a flattening is not looked at.
const NONE: f64 = 1e-9;
/// Flattening below which no cut is thought of here.
pub(in super::super) const SLIGHT: f64 = 0.006;

/// Twice the root of the mean square of the pull over the blur, by Bayes' rule: a cut is as likely as none, every flattening as likely
/// as rims make it, and so is every size of the rim. Rims of the iris's own size are hardly lopsided and pull most, but they are few.
#[must_use]
pub(in super::super) fn unseen(flat: Measured, leaning: Measured) -> f64 {
    let third = Measured::new(leaning.value.abs(), leaning.std_error.max(LEAST[0]));
    let density =
        |seen: Measured, value: f64| (-((seen.value - value) / seen.std_error).powi(2) / 2.0).exp();
    // Their sizes grow with the square of their number.
    let size = |k: usize| k as f64 + 0.5;
    let (mut all, mut square, mut priors) = (0.0, 0.0, 0.0);
    for value in (0..FLATTENINGS).map(|k| SLIGHT * 1.3_f64.powi(k)) {
        let prior = value * (-value / USUAL).exp();
        priors += prior;
        let flat = density(flat, value);
        if flat < NONE {
            continue;
        }
        let rims: Vec<Overlap> = Overlap::as_flat(value).collect();
        let sizes: f64 = (0..rims.len()).map(size).sum();
        for (k, rim) in rims.iter().enumerate() {
            let likely = flat * density(third, rim.asymmetry);
            let weight = prior * likely * size(k) / sizes;
            all += weight;
            square += weight * rim.pull * rim.pull;
        }
    }
    let cut = CUT / priors;
    let none = (1.0 - CUT) * density(flat, 0.0) * density(third, 0.0);
    SIGMA * (cut * square / (cut * all + none).max(f64::MIN_POSITIVE)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::super::super::overlap::pull_of_alike;
    use super::*;

    /// Blur that may be 4 % flatter by all that is seen pulls by less where it is not lopsided, and by as much where it is.
    #[test]
    fn what_is_not_lopsided_is_hardly_cut() {
        let flat = Measured::new(0.01, 0.015);
        let most = pull_of_alike(0.04);
        let even = unseen(flat, Measured::new(2e-6, 3e-6));
        assert!(even < most / 2.0, "{even} {most}");
        let open = unseen(flat, Measured::new(1e-4, 2e-4));
        assert!(open > 1.5 * even, "{open} {even}");
    }
}
