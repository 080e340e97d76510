//! What a lens barrel leaves of the pupil seen from the side: the overlap of two circles.

use nalgebra::SVector;

/// Moments of the overlap of a unit circle and one of radius b at t, over its blur c = 4·√(mean second moment).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Overlap {
    /// Second moment across less along, over their sum.
    pub(super) flattening: f64,
    /// Third moment along.
    pub(super) asymmetry: f64,
    /// Centre of mass, from the middle of the unit circle.
    pub(super) pull: f64,
    /// Four-fold fourth cumulant.
    pub(super) four_fold: f64,
}

/// Strips that an overlap is summed by.
const STEPS: usize = 200;

impl Overlap {
    /// `None` where hardly anything is left.
    #[must_use]
    pub(super) fn of(b: f64, t: f64) -> Option<Self> {
        Self::of_all(&[(b, t)], STEPS)
    }

    /// What several rims leave of the unit circle, each of a radius and with its middle at a place; summed by so many strips.
    #[must_use]
    pub(super) fn of_all(rims: &[(f64, f64)], strips: usize) -> Option<Self> {
        Self::from_raw(&raw(rims, strips)?)
    }

    /// The same behind a rim whose edge is not sharp but falls from full light to none over twice this width: as light that is spread over
    /// a disc makes it, which is a mixture of rims of all radii within the width (Gauss's rule for the half circle, 3 nodes).
    #[must_use]
    pub(super) fn softly(b: f64, t: f64, width: f64) -> Option<Self> {
        let at = |share: f64| raw(&[(b + share * width, t)], STEPS / 2);
        let node = std::f64::consts::FRAC_1_SQRT_2;
        let mixed = 0.25 * at(node)? + 0.5 * at(0.0)? + 0.25 * at(-node)?;
        Self::from_raw(&mixed)
    }

    fn from_raw(raw: &Raw) -> Option<Self> {
        let area = raw[0];
        let [x1, x2, x3, x4, y2, xy2, xxy2, y4] = [1, 2, 3, 4, 5, 6, 7, 8].map(|k| raw[k] / area);
        let mean = x1;
        let xx = x2 - mean * mean;
        let third = x3 - 3.0 * mean * x2 + 2.0 * mean.powi(3);
        let fourth = x4 - 4.0 * mean * x3 + 6.0 * mean * mean * x2 - 3.0 * mean.powi(4);
        let mixed = xxy2 - 2.0 * mean * xy2 + mean * mean * y2;
        let blur = 4.0 * ((xx + y2) / 2.0).sqrt();
        // Of Re (x + iy)⁴.
        let four_fold = fourth - 6.0 * mixed + y4 - 3.0 * (xx - y2).powi(2);
        Some(Self {
            four_fold: four_fold / blur.powi(4),
            flattening: (y2 - xx) / (y2 + xx),
            asymmetry: third / blur.powi(3),
            pull: mean / blur,
        })
        .filter(|overlap| overlap.flattening.is_finite())
    }
}

/// Sums over an overlap of 1, x, x², x³, x⁴, y², x·y², x²·y², y⁴.
type Raw = SVector<f64, 9>;

/// Of the unit circle behind some rims, in so many strips; `None` where hardly anything is left.
fn raw(rims: &[(f64, f64)], strips: usize) -> Option<Raw> {
    let low = rims.iter().map(|(b, t)| t - b).fold(-1.0, f64::max);
    let high = rims.iter().map(|(b, t)| t + b).fold(1.0, f64::min);
    if high - low < 0.1 {
        return None;
    }
    let step = (high - low) / strips as f64;
    let mut sums = Raw::zeros();
    for k in 0..strips {
        let x = low + (k as f64 + 0.5) * step;
        let reaches = |(b, t): &(f64, f64)| b * b - (x - t) * (x - t);
        let square = rims
            .iter()
            .map(reaches)
            .fold(1.0 - x * x, f64::min)
            .max(0.0);
        let half = square.sqrt();
        let (y2, y4) = (half * square / 3.0, half * square * square / 5.0);
        let (x2, x3) = (x * x, x * x * x);
        sums += Raw::from([
            half,
            half * x,
            half * x2,
            half * x3,
            half * x2 * x2,
            y2,
            y2 * x,
            y2 * x2,
            y4,
        ]) * step;
    }
    Some(sums)
}

impl Overlap {
    /// One on the straight line to another, a share of the way.
    pub(super) fn mixed(&self, other: &Self, share: f64) -> Self {
        let mix = |of: fn(&Self) -> f64| of(self) + share * (of(other) - of(self));
        Self {
            flattening: mix(|rim| rim.flattening),
            asymmetry: mix(|rim| rim.asymmetry),
            pull: mix(|rim| rim.pull),
            four_fold: mix(|rim| rim.four_fold),
        }
    }

    /// Those that are as flat, from two circles of one size on.
    pub(super) fn as_flat(flattening: f64) -> impl Iterator<Item = Self> {
        const SIZES: u32 = 24;
        (0..=SIZES).filter_map(move |i| {
            let b = 1.0 + 1.8 * (f64::from(i) / f64::from(SIZES)).powi(2);
            Self::of(b, displacement_of(b, flattening)?)
        })
    }
}

/// Pull over blur of the overlap that is as flat and as lopsided; of the largest rim where none is.
#[must_use]
pub(super) fn pull_of(flattening: f64, asymmetry: f64) -> f64 {
    let rims: Vec<Overlap> = Overlap::as_flat(flattening).collect();
    let beyond = |rim: &Overlap| rim.asymmetry >= asymmetry;
    match (rims.iter().position(beyond), rims.last()) {
        (Some(0), _) => rims[0].pull,
        // The larger the rim, the more lopsided the overlap.
        (Some(at), _) => {
            let (less, more) = (rims[at - 1], rims[at]);
            let share = (asymmetry - less.asymmetry) / (more.asymmetry - less.asymmetry);
            less.pull + share * (more.pull - less.pull)
        }
        (None, Some(largest)) => largest.pull,
        (None, None) => 0.0,
    }
}

/// Displacement at which a rim of radius b leaves an overlap that is as flat; `None` where none does.
fn displacement_of(b: f64, flattening: f64) -> Option<f64> {
    const HALVINGS: u32 = 30;
    depth_of(flattening, (b - 1.0, b + 0.8), HALVINGS, |t| {
        Overlap::of(b, t)
    })
}

/// How deep rims cut, between two depths, that leave an overlap as flat; `None` where none does. It grows flatter with the depth, so
/// halving finds it.
pub(super) fn depth_of(
    flattening: f64,
    (mut low, mut high): (f64, f64),
    halvings: u32,
    cut: impl Fn(f64) -> Option<Overlap>,
) -> Option<f64> {
    if cut(high)?.flattening < flattening {
        return None;
    }
    for _ in 0..halvings {
        let middle = f64::midpoint(low, high);
        if cut(middle)?.flattening < flattening {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(f64::midpoint(low, high))
}

/// Size of the pull over blur of the overlap of two circles of one size that is as flat: the most there can be.
#[must_use]
pub(super) fn pull_of_alike(flattening: f64) -> f64 {
    let displacement = displacement_of(1.0, flattening.max(0.0)).unwrap_or(1.8);
    Overlap::of(1.0, displacement).map_or(0.0, |shape| shape.pull.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Counted on a grid of 241 × 241 points over the unit circle (own calculation): radius of the rim, displacement;
    /// flattening, asymmetry, pull.
    #[test]
    fn overlaps_of_two_circles() {
        for (b, t, flattening, asymmetry, pull) in [
            (1.0, 0.5, 0.2230, 0.0, 0.1490),
            (1.1, 0.3, 0.1070, 4.19e-4, 0.0474),
            (1.2, 0.5, 0.1641, 6.61e-4, 0.0717),
            (1.4, 0.8, 0.2237, 9.32e-4, 0.0950),
            (1.7, 1.0, 0.1678, 1.06e-3, 0.0599),
        ] {
            let shape = Overlap::of(b, t).expect("they overlap");
            assert!((shape.flattening - flattening).abs() < 0.003, "{b} {t}");
            assert!((shape.asymmetry - asymmetry).abs() < 2e-5, "{b} {t}");
            assert!((shape.pull - pull).abs() < 0.002, "{b} {t}");
            // The way back: a fiftieth is as good as straight lines between 25 sizes of the rim are.
            let found = pull_of(shape.flattening, shape.asymmetry.max(0.0));
            assert!((found / shape.pull - 1.0).abs() < 0.02, "{b} {t}: {found}");
            let most = pull_of_alike(shape.flattening);
            assert!(most > 0.99 * shape.pull, "{b} {t}: {most}");
            assert!(b > 1.0 || (most / shape.pull - 1.0).abs() < 0.02);
        }
    }
}
