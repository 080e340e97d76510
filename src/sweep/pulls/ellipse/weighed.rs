//! How likely a flattened blur is an ellipse, as a picture that shrinks towards its sides leaves it, and how likely the overlap of two
//! circles that a lens barrel leaves: Bayes' rule.
//!
//! Both are as flat. Of an ellipse the third moment is what `warp` says, alike on both sides of focus, and the four-fold cumulant next
//! to none, −(e·c²/8)² for the share e of the blur c. Of an overlap both grow with the rim, to the third and fourth power of the signed
//! blur. A picture shrinks the tape as well, a rim cuts its blur alone. Before anything was seen an ellipse and an overlap are as likely,
//! one of an ellipse is less, and so is every rim from the pupil's own size to three stops larger, before or behind the iris.

use super::super::overlap::Overlap;
use super::super::vignette::Seen;
use super::shapes::{Shapes, flat_log_likelihood};

/// Change of the share by which blur is flatter over the whole sweep, as a part of it, that is expected of a cut and of a picture that
/// shrinks, whose distortion cameras take out in part: standard deviations, our choice.
const CHANGES: [f64; 2] = [0.15, 0.5];
/// Largest flattening that a picture which shrinks is thought to make: 5 % of distortion at the targets.
const MOST_SHRUNK: f64 = 0.1;
/// How likely it is, before anything was seen, that a blur is flattened both ways, over one of these: cameras mostly take out distortion.
/// Our choice.
const BOTH: f64 = 0.35;
/// Shares of the flattening that a cut has.
const SHARES: [f64; 4] = [1.0, 0.75, 0.5, 0.25];
/// Shares of a cut that a second rim makes on the other side, which pulls and leans back, and how likely they are: a second one that
/// cuts at all is the exception. Our choice.
const OTHER_SIDE: [(f64, f64); 4] = [(0.0, 0.94), (0.1, 0.02), (0.25, 0.02), (0.5, 0.02)];
/// Mean flattening that cuts and pictures which shrink have, before anything was seen. Our choice.
const USUAL: [f64; 2] = [0.1, 0.03];

/// What a flattened blur is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sweep) struct Weighed {
    /// Probability that it is not cut at all.
    pub(in crate::sweep) whole: f64,
    /// Pull over blur that is to be expected of a cut, root of the mean square, with none where there is none.
    pub(in crate::sweep) pull: f64,
}

/// Weighs them for a blur of some flattening; `None` where no picture shrinks, or where too few frames tell.
#[must_use]
pub(in crate::sweep) fn weigh(
    seen: &[Seen],
    flattening: f64,
    separation_px: f64,
) -> Option<Weighed> {
    if flattening > MOST_SHRUNK || seen.iter().any(|s| s.shrunk.is_none()) {
        return None;
    }
    let shapes = Shapes::of(seen, separation_px)?;
    let by_cut = flat_log_likelihood(seen, flattening * CHANGES[0], &|s| s.blur * s.blur / 8.0)?;
    let by_picture = flat_log_likelihood(seen, flattening * CHANGES[1], &|s| {
        s.shrunk.map_or(0.0, |shrunk| shrunk.flat)
    })?;
    let usual = |of: usize| -USUAL[of].ln() - flattening / USUAL[of];
    // Logarithm of the likelihood, and the pull.
    let mut kinds = Vec::new();
    for share in SHARES {
        let both = if share < 1.0 {
            BOTH / (SHARES.len() as f64 - 1.0)
        } else {
            1.0
        };
        let flat = share * by_cut + (1.0 - share) * by_picture + usual(0);
        let rims: Vec<Overlap> = Overlap::as_flat(share * flattening).collect();
        let prior = both / (2.0 * rims.len() as f64);
        for rim in &rims {
            for (other, likely) in OTHER_SIDE {
                for side in [1.0, -1.0] {
                    let one_sided = side * (1.0 - 2.0 * other);
                    let third = one_sided * rim.asymmetry;
                    let log = shapes.log_likelihood(third, rim.four_fold, 1.0 - share);
                    let log = (prior * likely).ln() + flat + log;
                    kinds.push((log, Some(one_sided * rim.pull)));
                }
            }
        }
    }
    let log = shapes.log_likelihood(0.0, -(flattening / 8.0).powi(2), 1.0);
    kinds.push((by_picture + usual(1) + log, None));
    let most = kinds.iter().map(|(log, _)| *log).fold(f64::MIN, f64::max);
    let (mut all, mut whole, mut square) = (0.0, 0.0, 0.0);
    for (log, pull) in kinds {
        let likelihood = (log - most).exp();
        all += likelihood;
        match pull {
            None => whole += likelihood,
            Some(pull) => square += likelihood * pull * pull,
        }
    }
    let weighed = Weighed {
        whole: whole / all,
        pull: (square / all).sqrt(),
    };
    (weighed.whole.is_finite() && weighed.pull.is_finite()).then_some(weighed)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::pulls::vignette::Shrunk;
    use crate::units::Measured;

    const FLATTENING: f64 = 0.03;

    /// What 21 frames of blur from 1.6 to −0.4 of some size show: third moments with a scatter of 0.0005 of the second moment to the
    /// power of 1.5, and four-fold cumulants with one of 0.005 of its square, before tape of 44 × 60 px.
    fn shown(widest: f64, lopsided: &dyn Fn(f64, f64) -> f64, four_fold: f64) -> Vec<Seen> {
        (0..21_u8)
            .map(|k| {
                let travel = f64::from(k) / 20.0;
                let blur = widest * (1.6 - 2.0 * travel);
                let variance = 44.0 * 60.0 / 12.0 + blur * blur / 16.0;
                let fourth = -(44.0_f64.powi(4) / 120.0 + (blur / 4.0).powi(4));
                let shrunk = 18.0 * FLATTENING / 1500.0 * (variance * variance + fourth);
                let scatter = [0.7, -1.2, 0.4, 1.3, -0.9, -0.1, -0.6][usize::from(k % 7)];
                let square = variance * variance;
                let flat = FLATTENING * blur * blur / 8.0 - 80.0 + 0.002 * variance * scatter;
                let third = lopsided(blur, shrunk) + 5e-4 * variance.powf(1.5) * scatter;
                let fold = four_fold * blur.powi(4) - 2e5 - 0.005 * square * scatter;
                Seen {
                    blur,
                    travel,
                    flat: [flat; 2],
                    thirds: [third; 2],
                    lopsided: third,
                    square,
                    along: square,
                    fourth,
                    four_fold: Measured::new(fold, 0.005 * square),
                    shrunk: Some(Shrunk {
                        flat: blur * blur / 8.0,
                        lopsided: shrunk,
                        four_fold: 0.0,
                    }),
                    burnt: false,
                }
            })
            .collect()
    }

    #[test]
    fn an_ellipse_is_no_overlap_of_circles() {
        let shrunk = shown(60.0, &|_, shrunk| shrunk, 0.0);
        let weighed = weigh(&shrunk, FLATTENING, 1500.0).expect("enough frames");
        // Bayes' rule leaves rims hardly larger than the pupil a chance.
        assert!(weighed.whole > 0.9, "{weighed:?}");
    }

    #[test]
    fn overlaps_of_circles_are_none() {
        for rim in Overlap::as_flat(FLATTENING) {
            for side in [1.0, -1.0] {
                let third = side * rim.asymmetry;
                let cut = shown(60.0, &|blur, _| third * blur.powi(3), rim.four_fold);
                let weighed = weigh(&cut, FLATTENING, 1500.0).expect("enough frames");
                // Those that are hardly lopsided are told by the four-fold cumulant alone.
                assert!(weighed.whole < 0.2, "{rim:?}: {weighed:?}");
            }
        }
    }

    /// Blur of a third of its tape shows next to nothing of its own shape.
    #[test]
    fn what_is_too_small_to_tell_stays_open() {
        let shrunk = shown(14.0, &|_, shrunk| shrunk, 0.0);
        let weighed = weigh(&shrunk, FLATTENING, 1500.0).expect("enough frames");
        assert!((0.2..0.9).contains(&weighed.whole), "{weighed:?}");
        // The size that a cut has, if there is one.
        let size = weighed.pull / (1.0 - weighed.whole).sqrt();
        assert!(size > 0.1 * FLATTENING, "{weighed:?}");
    }
}
