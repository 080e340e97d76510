//! Third moments of targets, and the courses that they are the sum of.

use nalgebra::{DMatrix, DVector, Matrix2, Vector2};

use crate::measure::Target;
use crate::sweep::pulls::telling_pair;
use crate::sweep::warp::Warp;
use crate::sweep::{FrameResult, least_squares};

/// Fewest frames that g is read from.
const FEWEST: usize = 6;
/// A frame this many standard deviations off is something else and left out.
const OUTLIER: f64 = 5.0;
/// Least standard uncertainty of a third moment that is believed, as a part of the second to the power of 1.5.
const LEAST_SKEWNESS: f64 = 2e-4;

/// Standard deviations by which χ² over its degrees of freedom may be below 1 by chance.
const CHANCE: f64 = 2.0;

/// What third moments grow by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Term {
    /// Brightness that rises.
    Rise,
    /// The same, by the place in the sweep.
    Change,
    /// Tape askew.
    Tape,
    /// A cut of the blur.
    Cut,
}

/// What one frame shows.
#[derive(Clone, Copy)]
pub(super) struct Seen {
    /// Mirrored third moment, px³: mean of both targets.
    pub(super) third: f64,
    /// Half of what the right target's has more than the left one's.
    pub(super) differs: f64,
    pub(super) u: f64,
    /// Mean fourth cumulant, px⁴.
    pub(super) fourth: f64,
    /// Place in the sweep, 0 to 1.
    pub(super) travel: f64,
    pub(super) scale: f64,
    /// Signed blur, px.
    pub(super) blur: f64,
}

impl Seen {
    const fn grows_by(&self, term: Term) -> f64 {
        match term {
            Term::Rise => self.fourth,
            Term::Change => self.fourth * self.travel,
            Term::Tape => self.scale * self.scale * self.scale,
            Term::Cut => self.blur * self.blur * self.blur,
        }
    }
}

pub(super) fn seen(
    frame: &FrameResult,
    scale: f64,
    blur: f64,
    warp: Option<&Warp>,
) -> Option<Seen> {
    let [left, right] = telling_pair(&frame.targets)?;
    let u = |t: &Target| {
        let least = LEAST_SKEWNESS * t.variance_px2.value.max(0.0).powf(1.5);
        t.lean.third_px3.std_error.max(least)
    };
    let stretched = |t: &Target| warp.map_or(0.0, |warp| warp.third_px3(t, frame.travel));
    let outwards = (
        -left.lean.third_px3.value - stretched(left),
        right.lean.third_px3.value - stretched(right),
    );
    Some(Seen {
        third: (outwards.0 + outwards.1) / 2.0,
        differs: (outwards.1 - outwards.0) / 2.0,
        u: u(left).hypot(u(right)) / 2.0,
        fourth: (left.lean.fourth_px4 + right.lean.fourth_px4) / 2.0,
        travel: frame.travel,
        scale,
        blur,
    })
}

/// A fit of some terms.
pub(super) struct Fit {
    pub(super) terms: Vec<Term>,
    /// Their factors.
    pub(super) found: DVector<f64>,
    /// Covariance of these, grown with the scatter where that is larger than noise.
    pub(super) covariance: DMatrix<f64>,
    pub(super) chi2: f64,
    /// χ² over its degrees of freedom, 1 at least.
    pub(super) spread: f64,
}

impl Fit {
    pub(super) fn place(&self, term: Term) -> Option<usize> {
        self.terms.iter().position(|known| *known == term)
    }

    /// The rise and its change, with their covariance; 0 where one was not fitted.
    pub(super) fn rise(&self) -> (Vector2<f64>, Matrix2<f64>) {
        let at = [Term::Rise, Term::Change].map(|term| self.place(term));
        let found = at.map(|at| at.map_or(0.0, |at| self.found[at]));
        let covariance = Matrix2::from_fn(|row, column| {
            at[row]
                .zip(at[column])
                .map_or(0.0, |(row, column)| self.covariance[(row, column)])
        });
        (Vector2::from(found), covariance)
    }
}

/// Weighted least squares, again without outliers.
pub(super) fn fit(seen: &[Seen], terms: &[Term]) -> Option<Fit> {
    let mut kept: Vec<&Seen> = seen.iter().collect();
    for _ in 0..3 {
        if kept.len() < FEWEST {
            return None;
        }
        let courses = DMatrix::from_fn(kept.len(), terms.len(), |row, k| {
            kept[row].grows_by(terms[k]) / kept[row].u
        });
        let thirds = DVector::from_iterator(kept.len(), kept.iter().map(|s| s.third / s.u));
        let least_squares::Fit {
            factors,
            covariance,
            chi2,
            scatter,
        } = least_squares::fit(&courses, &thirds)?;
        let spread = scatter.max(1.0);
        let off = &thirds - &courses * &factors;
        let within = |at: &usize| off[*at].powi(2) < OUTLIER * OUTLIER * spread;
        let next: Vec<&Seen> = (0..kept.len()).filter(within).map(|at| kept[at]).collect();
        if next.len() == kept.len() || next.len() < FEWEST {
            // What uncertainties hold beyond the scatter may be alike in all frames, as what JPEG does is, and no mean lessens that.
            let freedom = (kept.len() - terms.len()) as f64;
            let random = (scatter + CHANCE * (2.0 / freedom).sqrt()).min(1.0);
            let alike = kept.len() as f64 * (1.0 - random);
            return Some(Fit {
                terms: terms.to_vec(),
                found: factors,
                covariance: covariance * (spread * random + alike),
                chi2,
                spread,
            });
        }
        kept = next;
    }
    None
}
