//! Random numbers that depend on seed and place alone, so that threads and order don't matter.

use std::sync::LazyLock;

/// A well-mixed 64-bit number of a seed and a place (finaliser of SplitMix64: Steele, Lea, Flood 2014,
/// DOI 10.1145/2714064.2660195).
pub(super) fn mix(seed: u64, place: u64) -> u64 {
    let mut z = seed.wrapping_add(place.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15));
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

const QUANTILES: usize = 4096;

/// Quantiles of the standard normal distribution at the middles of 4096 equal shares, scaled to variance 1.
static NORMAL: LazyLock<Box<[f32]>> = LazyLock::new(|| {
    let raw: Vec<f64> = (0..QUANTILES)
        .map(|i| normal_quantile((i as f64 + 0.5) / QUANTILES as f64))
        .collect();
    let variance = raw.iter().map(|z| z * z).sum::<f64>() / QUANTILES as f64;
    raw.iter().map(|z| (z / variance.sqrt()) as f32).collect()
});

/// Inverse of the normal distribution function, by bisection of a series for it; only used to fill a table once.
fn normal_quantile(share: f64) -> f64 {
    let (mut low, mut high) = (-6.0, 6.0);
    for _ in 0..50 {
        let middle = (low + high) / 2.0;
        if normal_share(middle) < share {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low + high) / 2.0
}

/// Share of the standard normal distribution below z: ½ + φ(z)·(z + z³/3 + z⁵/(3·5) + …) (Marsaglia 2004,
/// DOI 10.18637/jss.v011.i04).
fn normal_share(z: f64) -> f64 {
    let (mut term, mut sum, mut odd) = (z, z, 1.0);
    while term.abs() > 1e-17 {
        odd += 2.0;
        term *= z * z / odd;
        sum += term;
    }
    0.5 + sum * (-z * z / 2.0).exp() / (2.0 * std::f64::consts::PI).sqrt()
}

/// One standard normal number of a seed and a place.
pub(super) fn normal(seed: u64, place: u64) -> f64 {
    f64::from(NORMAL[(mix(seed, place) % QUANTILES as u64) as usize])
}

/// A row of standard normal numbers.
pub(super) fn normal_row(seed: u64, row: u64, out: &mut [f32]) {
    let table = &*NORMAL;
    let row_seed = mix(seed, row);
    for (block, four) in out.chunks_mut(4).enumerate() {
        let mut bits = mix(row_seed, block as u64);
        for value in four {
            *value = table[bits as usize % QUANTILES];
            bits >>= 16;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_numbers_have_the_right_moments() {
        assert!((normal_quantile(0.975) - 1.959_964).abs() < 1e-6);
        let mut row = vec![0.0_f32; 1 << 16];
        normal_row(7, 3, &mut row);
        let count = row.len() as f64;
        let mean = row.iter().map(|z| f64::from(*z)).sum::<f64>() / count;
        let power = |n: i32| row.iter().map(|z| f64::from(*z).powi(n)).sum::<f64>() / count;
        // Standard errors of the mean, variance and fourth moment of 65 536 numbers: 0.004, 0.0055, 0.04; five of each.
        assert!(mean.abs() < 0.02, "{mean}");
        assert!((power(2) - 1.0).abs() < 0.028, "{}", power(2));
        assert!((power(4) - 3.0).abs() < 0.2, "{}", power(4));
    }
}
