//! What a cut pulls where its shape is known with some covariance: Bayes' rule over all rims, beside pictures that shrink or stretch.

use nalgebra::{Matrix3, Vector2, Vector3};

use super::super::super::overlap::Overlap;

/// Sizes of the rim from the pupil's own on, and displacements of it that are thought of, and steps between two of each.
const SIZES: usize = 12;
const PLACES: usize = 18;
const BETWEEN: usize = 2;
/// How likely a cut is before anything was seen. Our choice.
const CUT: f64 = 0.4;
/// Mean flattening of a cut before anything was seen. Our choice, as in `ellipse`.
const USUAL: f64 = 0.1;
/// Flattening by a picture that shrinks, or stretches, beside, and how likely it is. Our choice.
const BESIDE: [(f64, f64); 7] = [
    (0.0, 0.75),
    (0.01, 0.07),
    (-0.01, 0.05),
    (0.02, 0.05),
    (-0.02, 0.03),
    (0.04, 0.03),
    (-0.04, 0.02),
];
/// Shares of a cut that a second rim makes on the other side, which pulls and leans back, and how likely they are. Our choice.
const OTHER_SIDE: [(f64, f64); 3] = [(0.0, 0.9), (0.2, 0.05), (0.4, 0.05)];
/// Width of a rim's edge that is not sharp, in radii of the pupil, and how likely that is. Our choice.
const SOFT: [(f64, f64); 2] = [(0.0, 0.85), (0.2, 0.15)];
/// Logarithm of a likelihood over the largest one from which it does not count.
const NEGLIGIBLE: f64 = 20.0;
/// Probability that the pull is no larger than the most that is stated.
const MOST: f64 = 0.995;

/// What is to be thought of a cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Judged {
    /// Probability that there is one.
    pub(super) cut: f64,
    /// Flattening of the blur that is to be expected of it, if there is one.
    pub(super) flattening: f64,
    /// Pull over blur that is to be expected, if there is one; its sign that of the lopsidedness.
    pub(super) pull: f64,
    /// Root of its mean square, if there is one.
    pub(super) size: f64,
    /// The most that it may be, with none where there is none.
    pub(super) most: f64,
}

/// Judges flattening, lopsidedness and four-fold cumulant.
pub(super) fn judge(shape: &Vector3<f64>, covariance: &Matrix3<f64>) -> Option<Judged> {
    let inverse = covariance.try_inverse()?;
    let log_of = |flat: f64, third: f64, fourth: f64| {
        let off = shape - Vector3::new(flat, third, fourth);
        -(off.transpose() * inverse * off)[0] / 2.0
    };
    let mut kinds = Vec::new();
    for (beside, likely) in BESIDE {
        kinds.push((
            log_of(beside, 0.0, 0.0) + ((1.0 - CUT) * likely).ln(),
            0.0,
            0.0,
        ));
    }
    // Where lopsidedness and corners alone speak against it, no flattening speaks for it.
    let least = kinds.iter().map(|kind| kind.0).fold(f64::MIN, f64::max) - NEGLIGIBLE;
    let apart = covariance.fixed_view::<2, 2>(1, 1).try_inverse()?;
    for (rim, density) in rims() {
        let prior = density * (-rim.flattening / USUAL).exp() / USUAL;
        if prior <= 0.0 {
            continue;
        }
        for (other, seldom) in OTHER_SIDE {
            for side in [1.0, -1.0] {
                let one_sided = side * (1.0 - 2.0 * other);
                let third = one_sided * rim.asymmetry;
                let off = Vector2::new(shape[1] - third, shape[2] - rim.four_fold);
                let before = (CUT * 0.5 * seldom * prior).ln();
                if before - (off.transpose() * apart * off)[0] / 2.0 < least {
                    continue;
                }
                for (beside, likely) in BESIDE {
                    let log = log_of(rim.flattening + beside, third, rim.four_fold);
                    let log = log + before + likely.ln();
                    kinds.push((log, rim.flattening, one_sided * rim.pull));
                }
            }
        }
    }
    let best = kinds.iter().map(|kind| kind.0).fold(f64::MIN, f64::max);
    let (mut all, mut cut, mut flat, mut mean, mut square) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let mut sizes = Vec::with_capacity(kinds.len());
    for (log, flattening, pull) in kinds {
        let likely = (log - best).exp();
        all += likely;
        if flattening > 0.0 {
            cut += likely;
            flat += likely * flattening;
            mean += likely * pull;
            square += likely * pull * pull;
        }
        if likely > 1e-9 {
            sizes.push((pull.abs(), likely));
        }
    }
    sizes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut so_far = 0.0;
    let most = sizes.iter().find(|(_, likely)| {
        so_far += likely;
        so_far > MOST * all
    })?;
    let judged = Judged {
        cut: cut / all,
        flattening: flat / cut,
        pull: mean / cut,
        size: (square / cut).sqrt(),
        most: most.0,
    };
    let numbers = [judged.cut, judged.flattening, judged.pull, judged.size];
    numbers.iter().all(|n| n.is_finite()).then_some(judged)
}

/// Overlaps of all kinds, and by how much flattening each stands for, every size of the rim alike.
fn rims() -> Vec<(Overlap, f64)> {
    let size = |i: usize| 1.0 + 1.8 * (i as f64 / SIZES as f64).powi(2);
    let mut fine = Vec::with_capacity(2 * SIZES * PLACES * BETWEEN * BETWEEN);
    for (width, likely) in SOFT {
        let least = if width > 0.0 { -width } else { 0.0 };
        let of = |i: usize, j: usize| {
            let b = size(i);
            let t = b - 1.0 + least + (1.5 - least) * (j as f64 / PLACES as f64).powf(1.5);
            if width > 0.0 {
                Overlap::softly(b, t.max(0.0), width)
            } else {
                Overlap::of(b, t)
            }
        };
        let row = |i: usize| (0..=PLACES).map(|j| of(i, j)).collect::<Vec<_>>();
        let coarse: Vec<_> = (0..=SIZES).map(row).collect();
        let stands_for = likely / (SIZES * BETWEEN * BETWEEN) as f64;
        for i in 0..SIZES * BETWEEN {
            let (low, across) = (i / BETWEEN, (i % BETWEEN) as f64 / BETWEEN as f64);
            let between = |j: usize| Some(coarse[low][j]?.mixed(&coarse[low + 1][j]?, across));
            for j in 0..PLACES {
                let (Some(one), Some(other)) = (between(j), between(j + 1)) else {
                    continue;
                };
                let wide = stands_for * (other.flattening - one.flattening).max(0.0);
                fine.extend((0..BETWEEN).map(|k| {
                    let along = (k as f64 + 0.5) / BETWEEN as f64;
                    (one.mixed(&other, along), wide)
                }));
            }
        }
    }
    fine
}

#[cfg(test)]
mod tests {
    use super::*;

    fn known(u: [f64; 3]) -> Matrix3<f64> {
        Matrix3::from_diagonal(&Vector3::from(u).map(|u| u * u))
    }

    const WELL: [f64; 3] = [0.003, 2e-5, 3e-5];

    #[test]
    fn any_rim_is_told_where_the_shape_is_known_well() {
        for (b, t) in [(1.0, 0.3), (1.1, 0.3), (1.2, 0.5), (1.4, 0.7)] {
            let rim = Overlap::of(b, t).expect("they overlap");
            for side in [1.0, -1.0] {
                let shape = Vector3::new(rim.flattening, side * rim.asymmetry, rim.four_fold);
                let judged = judge(&shape, &known(WELL)).expect("a judgement");
                assert!(judged.cut > 0.99, "{b} {t}: {judged:?}");
                assert!(judged.most >= 0.95 * rim.pull, "{b} {t}: {judged:?}");
                assert!(judged.size < 1.25 * rim.pull, "{b} {t}: {judged:?}");
                // Which way it pulls is told by what is lopsided alone.
                let scatter = (judged.size.powi(2) - judged.pull.powi(2)).sqrt();
                let off = judged.pull - side * rim.pull;
                assert!(off.abs() < 2.0 * scatter, "{b} {t}: {judged:?}");
            }
        }
    }

    #[test]
    fn what_is_not_cut_is_not_taken_for_it() {
        for flat in [0.0, 0.01, -0.02, 0.04] {
            let judged = judge(&Vector3::new(flat, 0.0, 0.0), &known(WELL)).expect("a judgement");
            assert!(judged.cut < 0.5 && judged.most < 0.02, "{flat}: {judged:?}");
        }
    }

    /// What the flattening doesn't tell stays open, up to what lopsidedness and corners allow.
    #[test]
    fn what_a_curve_hides_stays_open() {
        let rim = Overlap::of(1.2, 0.5).expect("they overlap");
        let open = known([0.1, 1e-4, 5e-4]);
        let shape = Vector3::new(rim.flattening - 0.1, rim.asymmetry, rim.four_fold);
        let judged = judge(&shape, &open).expect("a judgement");
        assert!(judged.most > rim.pull, "{judged:?}");
    }
}
