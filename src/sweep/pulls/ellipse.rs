//! Whether a flattened blur is an ellipse, as a picture that shrinks towards its sides leaves it, or the overlap of two circles that a
//! lens barrel leaves.

mod shapes;
mod weighed;

use super::overlap::Overlap;
use super::vignette::UNSEEN_SIGMA;
use crate::units::Measured;
pub(super) use weighed::weigh;

/// Standard uncertainties by which an ellipse has to be nearer than any overlap of two circles.
const ELLIPSE: f64 = 3.5;
/// Standard uncertainties within which it has to be one.
const FITS: f64 = 3.0;
/// Least standard uncertainty of the lopsidedness that is believed.
const LEAST_LOPSIDED: f64 = 2e-5;

/// How far the blur is from an ellipse, as a picture that shrinks towards its sides makes it, and from the nearest overlap of two circles
/// that is as flat, standard uncertainties.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ellipse {
    off: f64,
    cut_off: f64,
}

impl Ellipse {
    #[must_use]
    pub(super) fn of(
        flattening: f64,
        leaning: Measured,
        as_shrunk: Measured,
        four_fold: Option<Measured>,
    ) -> Option<Self> {
        let four_fold = four_fold?;
        let u = leaning
            .std_error
            .min(as_shrunk.std_error)
            .max(LEAST_LOPSIDED);
        let off = |lopsided: Measured, asymmetry: f64, four: f64| {
            let third = (lopsided.value.abs() - asymmetry) / u;
            third.hypot((four_fold.value - four) / four_fold.std_error)
        };
        Some(Self {
            off: off(as_shrunk, 0.0, 0.0),
            cut_off: Overlap::as_flat(flattening)
                .map(|shape| off(leaning, shape.asymmetry, shape.four_fold))
                .min_by(f64::total_cmp)?,
        })
    }

    #[must_use]
    pub(super) fn fits(self) -> bool {
        self.off < FITS
    }

    #[must_use]
    pub(super) fn is_nearer(self) -> bool {
        self.cut_off * self.cut_off - self.off * self.off > ELLIPSE * ELLIPSE
    }

    /// The most of a flattening that a cut may have all the same.
    #[must_use]
    pub(super) fn most_cut(self, flattening: f64) -> f64 {
        flattening * ((self.off + UNSEEN_SIGMA) / self.cut_off).min(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FLATTENING: f64 = 0.05;

    fn seen(lopsided: f64, as_shrunk: f64, four_fold: f64) -> Ellipse {
        let measured = |value| Measured::new(value, 2e-5);
        let (leaning, as_shrunk) = (measured(lopsided), measured(as_shrunk));
        Ellipse::of(FLATTENING, leaning, as_shrunk, Some(measured(four_fold))).expect("overlaps")
    }

    /// Overlaps of any two circles are none, though a picture that shrinks leans as well: by what it explains.
    #[test]
    fn what_two_circles_leave_is_no_ellipse() {
        for shape in Overlap::as_flat(FLATTENING) {
            let cut = seen(shape.asymmetry, shape.asymmetry, shape.four_fold);
            assert!(!cut.is_nearer(), "{shape:?}: {cut:?}");
            assert!(cut.cut_off < 1e-6, "{cut:?}");
        }
        let shrunk = seen(1.5e-4, 1e-5, 1e-5);
        assert!(shrunk.fits() && shrunk.is_nearer(), "{shrunk:?}");
        assert!(shrunk.most_cut(FLATTENING) < FLATTENING, "{shrunk:?}");
    }
}
