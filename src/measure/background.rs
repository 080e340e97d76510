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

/// Samples that a surface must have for each of its terms.
const LEAST_A_TERM: usize = 4;
/// Samples that a plane must have for its slope.
pub(super) const FOR_A_SLOPE: usize = 3 * LEAST_A_TERM;
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
            kept.clear();
            let within = |sample: &&(f64, f64, f64)| surface.holds(sample, clip, floor);
            kept.extend(samples.iter().filter(within).copied());
            // Slopes are let in only once the level has settled.
            let wanted = if round == 0 { 1.min(terms) } else { terms };
            let settled = round > 1 && kept.len() == before;
            before = kept.len();
            if settled || before < LEAST_A_TERM * wanted {
                break;
            }
            if !surface.solve(&kept, wanted) {
                break;
            }
            surface.noise = surface.spread(&kept);
        }
        surface
    }

    /// The plane through samples by least squares, all of which are of the background; their mean where they are too few for a
    /// slope, `None` where there are none.
    pub(super) fn plane_through(samples: &[(f64, f64, f64)]) -> Option<Tilt> {
        let mut surface = Self::over(samples)?;
        let terms = if samples.len() < FOR_A_SLOPE { 1 } else { 3 };
        surface.solve(samples, terms).then(|| surface.tilt())
    }

    /// Whether a sample lies no more than `clip` standard deviations off, `floor` being the least standard deviation believed.
    pub(super) fn holds(&self, &(x, y, value): &(f64, f64, f64), clip: f64, floor: f64) -> bool {
        (value - self.at(x, y)).abs() <= clip * self.noise.max(floor)
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

    /// Values along a row at the places 0, 1, 2 …, as many as there is room for.
    pub(super) fn along(&self, y: f64, values: &mut [f32]) {
        let v = (y - self.middle.1) * self.per_px;
        let [a, b, c, d, e, f] = self.terms;
        let [level, slope, bend] = [a + v * (c + f * v), b + e * v, d].map(|term| term as f32);
        let (middle, per_px) = (self.middle.0 as f32, self.per_px as f32);
        for (x, value) in (0_i32..).zip(values) {
            let u = (x as f32 - middle) * per_px;
            *value = level + u * (slope + bend * u);
        }
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

    /// The level at the samples' median.
    fn level(samples: &[(f64, f64, f64)]) -> Option<Self> {
        let mut surface = Self::over(samples)?;
        surface.terms[0] = median(samples.iter().map(|s| s.2));
        Some(surface)
    }

    /// A surface at 0 over the region that samples lie in.
    fn over(samples: &[(f64, f64, f64)]) -> Option<Self> {
        let (first, rest) = samples.split_first()?;
        let (mut low, mut high) = ((first.0, first.1), (first.0, first.1));
        for &(x, y, _) in rest {
            low = (low.0.min(x), low.1.min(y));
            high = (high.0.max(x), high.1.max(y));
        }
        Some(Self {
            terms: [0.0; 6],
            middle: ((low.0 + high.0) / 2.0, (low.1 + high.1) / 2.0),
            per_px: 1.0 / ((high.0 - low.0).max(high.1 - low.1) / 2.0).max(1.0),
            noise: 0.0,
        })
    }

    /// Robust standard deviation about the surface. The lower sixth is looked at beside the median deviation, because
    /// values rounded to few steps can have a median deviation of 0; the upper is not, because clutter is bright.
    fn spread(&self, samples: &[(f64, f64, f64)]) -> f64 {
        let mut off: Vec<i64> = samples
            .iter()
            .map(|&(x, y, v)| rank(v - self.at(x, y)))
            .collect();
        let middle = middle_of(&mut off);
        // The lower half lies in front now.
        let half = off.len() / 2;
        let sixth = off.len() * 16 / 100;
        let low = match off[..half].get(sixth) {
            Some(_) => *off[..half].select_nth_unstable(sixth).1,
            None => rank(middle),
        };
        off.iter_mut().for_each(|o| *o = rank(value(*o).abs()));
        (MAD_TO_SIGMA * middle_of(&mut off)).max(middle - value(low))
    }

    fn basis(&self, x: f64, y: f64) -> [f64; 6] {
        let (u, v) = (
            (x - self.middle.0) * self.per_px,
            (y - self.middle.1) * self.per_px,
        );
        [1.0, u, v, u * u, u * v, v * v]
    }

    fn solve(&mut self, samples: &[(f64, f64, f64)], terms: usize) -> bool {
        let (normal, right) = match terms {
            1 => self.normal::<1>(samples),
            3 => self.normal::<3>(samples),
            _ => self.normal::<6>(samples),
        };
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

    /// The normal equations of the first so many terms, of which the lower half is filled in: the decomposition looks at no
    /// more. The number is known to the compiler, so that the sums stay in registers.
    fn normal<const TERMS: usize>(
        &self,
        samples: &[(f64, f64, f64)],
    ) -> (nalgebra::Matrix6<f64>, nalgebra::Vector6<f64>) {
        let mut products = [[0.0; TERMS]; TERMS];
        let mut values = [0.0; TERMS];
        for &(x, y, value) in samples {
            let basis = self.basis(x, y);
            for i in 0..TERMS {
                values[i] += basis[i] * value;
                for j in 0..=i {
                    products[i][j] += basis[i] * basis[j];
                }
            }
        }
        let mut normal = nalgebra::Matrix6::identity();
        let mut right = nalgebra::Vector6::zeros();
        for i in 0..TERMS {
            right[i] = values[i];
            for j in 0..=i {
                normal[(i, j)] = products[i][j];
            }
        }
        (normal, right)
    }
}

/// Median of values; 0 of none.
pub(super) fn median(values: impl Iterator<Item = f64>) -> f64 {
    middle_of(&mut values.map(rank).collect::<Vec<_>>())
}

/// Whole numbers in the order of the values that they stand for (that of `f64::total_cmp`): they are sorted faster.
fn rank(value: f64) -> i64 {
    let bits = value.to_bits() as i64;
    bits ^ (((bits >> 63) as u64) >> 1) as i64
}

/// The value that a rank stands for.
fn value(rank: i64) -> f64 {
    f64::from_bits((rank ^ (((rank >> 63) as u64) >> 1) as i64) as u64)
}

/// Median of ranked values, those below it being moved before it; 0 of none.
fn middle_of(ranks: &mut [i64]) -> f64 {
    if ranks.is_empty() {
        return 0.0;
    }
    let middle = ranks.len() / 2;
    value(*ranks.select_nth_unstable(middle).1)
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
