//! Robust surfaces: what the picture would be without its bright things.

/// A surface of second order: a + b·u + c·v + d·u² + e·uv + f·v², u and v scaled to about −1 to 1.
#[derive(Debug, Clone, Copy)]
pub(super) struct Surface {
    terms: [f64; 6],
    middle: (f64, f64),
    /// Factor from px to the terms' −1 to 1.
    per_px: f64,
    /// Robust standard deviation of the samples about it (1.4826 × median absolute deviation).
    pub(super) noise: f64,
}

/// A plane: level at the picture's origin, change per pixel along x and y.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tilt {
    level: f64,
    x: f64,
    y: f64,
}

impl Tilt {
    /// Value at a place.
    pub(super) fn at(&self, x: f64, y: f64) -> f64 {
        self.level + self.x * x + self.y * y
    }

    /// Change per pixel along x.
    pub(super) fn along_x(&self) -> f64 {
        self.x
    }
}

/// Rounds of clipping; the set of samples kept is stable after three or four.
const ROUNDS: usize = 6;
/// Median absolute deviation to standard deviation of a normal distribution.
pub(super) const MAD_TO_SIGMA: f64 = 1.4826;

impl Surface {
    /// Fits samples (x, y, value) by least squares, again and again without those that lie more than `clip` standard
    /// deviations off, `floor` being the least standard deviation believed. `order` 0, 1 or 2; lowered where there are
    /// too few samples for it. Starts from the median, so up to nearly half of the samples may be something else.
    pub(super) fn fit(samples: &[(f64, f64, f64)], order: usize, clip: f64, floor: f64) -> Self {
        let Some(mut surface) = Self::level(samples) else {
            return Self {
                terms: [0.0; 6],
                middle: (0.0, 0.0),
                per_px: 1.0,
                noise: 0.0,
            };
        };
        surface.noise = surface.spread(samples);
        let terms = [1, 3, 6][order.min(2)];
        let mut kept = Vec::with_capacity(samples.len());
        let mut before = 0;
        for round in 0..ROUNDS {
            let limit = clip * surface.noise.max(floor);
            kept.clear();
            kept.extend(
                samples
                    .iter()
                    .filter(|&&(x, y, v)| (v - surface.at(x, y)).abs() <= limit)
                    .copied(),
            );
            // Slopes are let in only once the level has settled.
            let wanted = if round == 0 { 1.min(terms) } else { terms };
            let settled = round > 1 && kept.len() == before;
            before = kept.len();
            if settled || before < 4 * wanted {
                break;
            }
            if !surface.solve(&kept, wanted) {
                break;
            }
            surface.noise = surface.spread(&kept);
        }
        surface
    }

    /// The surface's plane in picture coordinates, for pixel loops: level at the origin and change per pixel.
    pub(super) fn tilt(&self) -> Tilt {
        let (x, y) = (self.terms[1] * self.per_px, self.terms[2] * self.per_px);
        Tilt {
            level: self.terms[0] - x * self.middle.0 - y * self.middle.1,
            x,
            y,
        }
    }

    /// Values along a row at the places 0, 1, 2 …
    pub(super) fn along(&self, y: f64) -> impl Iterator<Item = f64> + use<> {
        let v = (y - self.middle.1) * self.per_px;
        let [a, b, c, d, e, f] = self.terms;
        let (level, slope) = (a + v * (c + f * v), b + e * v);
        let (middle, per_px) = (self.middle.0, self.per_px);
        (0..).map(move |x| {
            let u = (f64::from(x) - middle) * per_px;
            level + u * (slope + d * u)
        })
    }

    /// Value at a place.
    pub(super) fn at(&self, x: f64, y: f64) -> f64 {
        let (u, v) = (
            (x - self.middle.0) * self.per_px,
            (y - self.middle.1) * self.per_px,
        );
        let [a, b, c, d, e, f] = self.terms;
        a + u * (b + d * u + e * v) + v * (c + f * v)
    }

    fn level(samples: &[(f64, f64, f64)]) -> Option<Self> {
        let (first, rest) = samples.split_first()?;
        let (mut low, mut high) = ((first.0, first.1), (first.0, first.1));
        for &(x, y, _) in rest {
            low = (low.0.min(x), low.1.min(y));
            high = (high.0.max(x), high.1.max(y));
        }
        let mut values: Vec<f64> = samples.iter().map(|s| s.2).collect();
        Some(Self {
            terms: [median(&mut values), 0.0, 0.0, 0.0, 0.0, 0.0],
            middle: ((low.0 + high.0) / 2.0, (low.1 + high.1) / 2.0),
            per_px: 1.0 / ((high.0 - low.0).max(high.1 - low.1) / 2.0).max(1.0),
            noise: 0.0,
        })
    }

    /// Robust standard deviation about the surface. The lower sixth is looked at beside the median deviation, because
    /// values rounded to few steps can have a median deviation of 0; the upper is not, because clutter is bright.
    fn spread(&self, samples: &[(f64, f64, f64)]) -> f64 {
        let mut off: Vec<f64> = samples.iter().map(|&(x, y, v)| v - self.at(x, y)).collect();
        let middle = median(&mut off);
        let sixth = off.len() * 16 / 100;
        let low = if off.is_empty() {
            0.0
        } else {
            *off.select_nth_unstable_by(sixth, f64::total_cmp).1
        };
        off.iter_mut().for_each(|o| *o = o.abs());
        (MAD_TO_SIGMA * median(&mut off)).max(middle - low)
    }

    fn basis(&self, x: f64, y: f64) -> [f64; 6] {
        let (u, v) = (
            (x - self.middle.0) * self.per_px,
            (y - self.middle.1) * self.per_px,
        );
        [1.0, u, v, u * u, u * v, v * v]
    }

    fn solve(&mut self, samples: &[(f64, f64, f64)], terms: usize) -> bool {
        let mut normal = nalgebra::Matrix6::<f64>::identity();
        let mut right = nalgebra::Vector6::<f64>::zeros();
        for i in 0..terms {
            normal[(i, i)] = 0.0;
        }
        for &(x, y, value) in samples {
            let basis = self.basis(x, y);
            for i in 0..terms {
                right[i] += basis[i] * value;
                // The lower half: the decomposition looks at no more.
                for j in 0..=i {
                    normal[(i, j)] += basis[i] * basis[j];
                }
            }
        }
        let Some(factor) = normal.cholesky() else {
            return false;
        };
        let solution = factor.solve(&right);
        if solution.iter().any(|t| !t.is_finite()) {
            return false;
        }
        self.terms.copy_from_slice(solution.as_slice());
        true
    }
}

/// Median of values, reordering them; 0 of none.
pub(super) fn median(values: &mut [f64]) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_third_of_bright_samples_does_not_lift_a_slope() {
        let samples: Vec<_> = (0..900)
            .map(|i| {
                let (x, y) = (f64::from(i % 30), f64::from(i / 30));
                let wobble = f64::from(i * 7919 % 13 - 6) * 0.01;
                let bright = if x < 10.0 && y > 5.0 { 5.0 } else { 0.0 };
                (x, y, 2.0 + 0.03 * x - 0.02 * y + wobble + bright)
            })
            .collect();
        let surface = Surface::fit(&samples, 1, 3.0, 0.001);
        // The wobble is 0.037 rms over 600 samples: 0.006 covers four standard errors at a corner.
        assert!(
            (surface.at(29.0, 0.0) - 2.87).abs() < 0.006,
            "{}",
            surface.at(29.0, 0.0)
        );
        assert!(
            (surface.at(0.0, 29.0) - 1.42).abs() < 0.006,
            "{}",
            surface.at(0.0, 29.0)
        );
    }

    #[test]
    fn no_samples_give_a_flat_zero() {
        let empty = Surface::fit(&[], 2, 3.0, 0.1);
        assert!(empty.at(3.0, 4.0).abs() < f64::MIN_POSITIVE);
    }
}
