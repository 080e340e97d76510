//! Sums over a target's window that its uncertainty is made of: the variance of each pixel by the lever that it has.
//!
//! All of them are polynomials of the place along a row with coefficients that are the row's own, so a row is summed once by
//! the powers of the place, four pixels beside each other.

use super::background::Tilt;
use super::luminance::Patch;
use super::moments::{LANES, Moments, Span, for_rows, for_spans};
use super::noise::Noise;

/// Light, 0 to 1, at which a pixel counts as burnt out: 8-bit codes 254 and 255.
const BURNT_LIGHT: f32 = 0.991;

/// Sums over the pixels of a window, x and y being places from its centre, V the variance of a pixel's light, A its light above
/// the background.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Levers {
    /// Pixels.
    pub(super) pixels: f64,
    /// Σ x², px².
    pub(super) xx: f64,
    /// Σ (x² + y²) / 2 − the target's second moment, px².
    pub(super) width: f64,
    /// Σ x·(x³ − 3·x·xx), px⁴.
    pub(super) lean: f64,
    /// Σ V.
    pub(super) flux_var: f64,
    /// Σ x²·V, px².
    pub(super) x_var: f64,
    /// Σ y²·V, px².
    pub(super) y_var: f64,
    /// Σ ((x² + y²) / 2 − the target's second moment)²·V, px⁴.
    pub(super) width_var: f64,
    /// Σ (x³ − 3·x·xx)²·V, px⁶.
    pub(super) lean_x_var: f64,
    /// Σ (y³ − 3·y·yy)²·V, px⁶.
    pub(super) lean_y_var: f64,
    /// Σ (x⁴ − 6·x²·y² + y⁴)²·V, px⁸.
    pub(super) four_var: f64,
    /// Σ A.
    pub(super) light: f64,
    /// Σ x²·A, px².
    pub(super) light_xx: f64,
    /// Σ x⁴·A, px⁴.
    pub(super) light_x4: f64,
    /// Σ (x⁴ − 6·x²·y² + y⁴)·A, px⁴.
    pub(super) light_four: f64,
    /// Light of the pixels that are burnt out.
    pub(super) burnt_flux: f64,
    /// How many are.
    pub(super) burnt_pixels: f64,
}

impl Levers {
    /// Of the window of this radius about the centre of mass, from every `step`-th row, which stands for those between.
    pub(super) fn of(
        patch: &Patch,
        m: &Moments,
        radius: f64,
        step: usize,
        background: &Tilt,
        noise: &Noise,
    ) -> Self {
        let mut all = Self::default();
        for_spans(patch, (m.x, m.y), radius, step, |span| {
            let row = Row::of(patch, &span, m.x, background, noise);
            all.add(&row, f64::from(span.row) - m.y, m);
        });
        all.each().into_iter().for_each(|sum| *sum *= step as f64);
        all
    }

    fn add(&mut self, row: &Row, dy: f64, m: &Moments) {
        let [n0, n2, n4] = row.pixels;
        let [v0, v2, v4, v6, v8] = row.variance;
        let [a0, a2, a4] = row.light;
        let y2 = dy * dy;
        let y4 = y2 * y2;
        // (x² + y²) / 2 − the second moment, less x² / 2.
        let off = y2 / 2.0 - (m.xx + m.yy) / 2.0;
        self.pixels += n0;
        self.xx += n2;
        self.width += n2 / 2.0 + off * n0;
        self.lean += n4 - 3.0 * m.xx * n2;
        self.flux_var += v0;
        self.x_var += v2;
        self.y_var += y2 * v0;
        self.width_var += v4 / 4.0 + off * (v2 + off * v0);
        self.lean_x_var += v6 - 6.0 * m.xx * v4 + 9.0 * m.xx * m.xx * v2;
        self.lean_y_var += (dy * (y2 - 3.0 * m.yy)).powi(2) * v0;
        self.four_var += v8 - 12.0 * y2 * (v6 + y4 * v2) + y4 * (38.0 * v4 + y4 * v0);
        self.light += a0;
        self.light_xx += a2;
        self.light_x4 += a4;
        self.light_four += a4 - 6.0 * y2 * a2 + y4 * a0;
        self.burnt_flux += row.burnt[0];
        self.burnt_pixels += row.burnt[1];
    }

    fn each(&mut self) -> [&mut f64; 17] {
        [
            &mut self.pixels,
            &mut self.xx,
            &mut self.width,
            &mut self.lean,
            &mut self.flux_var,
            &mut self.x_var,
            &mut self.y_var,
            &mut self.width_var,
            &mut self.lean_x_var,
            &mut self.lean_y_var,
            &mut self.four_var,
            &mut self.light,
            &mut self.light_xx,
            &mut self.light_x4,
            &mut self.light_four,
            &mut self.burnt_flux,
            &mut self.burnt_pixels,
        ]
    }
}

/// What a window holds of a target that is burnt out beside the burnt-out pixels, from every `step`-th row, which stands for those
/// between; x being places from its centre, A light above the background.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Rim {
    /// Pixels that lie above the background by more than some light.
    pub(super) pixels: f64,
    /// Σ x²·A, px².
    pub(super) light_xx: f64,
    /// Σ x⁴·A, px⁴.
    pub(super) light_x4: f64,
}

impl Rim {
    pub(super) fn of(
        patch: &Patch,
        centre: (f64, f64),
        radius: f64,
        step: usize,
        background: &Tilt,
        least: f64,
    ) -> Self {
        let mut rim = Self::default();
        let rows = step as f64;
        for_rows(patch, centre, radius, step, |index, dx, dy| {
            let light = patch.light[index];
            if light >= BURNT_LIGHT {
                return;
            }
            let above = f64::from(light) - background.at(centre.0 + dx, centre.1 + dy);
            if above > least {
                rim.pixels += rows;
            }
            let xx = dx * dx;
            rim.light_xx += rows * xx * above;
            rim.light_x4 += rows * xx * xx * above;
        });
        rim
    }
}

/// Sums along a row by even powers of the place.
struct Row {
    /// Of 1, to the powers 0, 2, 4.
    pixels: [f64; 3],
    /// Of V, to the powers 0 to 8.
    variance: [f64; 5],
    /// Of A, to the powers 0, 2, 4.
    light: [f64; 3],
    /// Light and number of the burnt-out pixels.
    burnt: [f64; 2],
}

impl Row {
    fn of(patch: &Patch, span: &Span, x: f64, background: &Tilt, noise: &Noise) -> Self {
        let light = &patch.light[span.index..span.index + span.count];
        let codes = &patch.codes[span.index..span.index + span.count];
        let start = f64::from(span.first) - x;
        let level = background.at(f64::from(span.first), f64::from(span.row));
        let slope = background.along_x();
        let mut pixels = [[0.0_f64; LANES]; 3];
        let mut variance = [[0.0_f64; LANES]; 5];
        let mut above = [[0.0_f64; LANES]; 3];
        let mut burnt = [[0.0_f64; LANES]; 2];
        let mut place = [0.0, 1.0, 2.0, 3.0];
        let mut add = |four: &[f32; LANES], slopes: &[f32; LANES], there: &[f64; LANES]| {
            for lane in 0..LANES {
                let light = f64::from(four[lane]);
                let along = start + place[lane];
                let x2 = along * along;
                let x4 = x2 * x2;
                let n = there[lane];
                pixels[0][lane] += n;
                pixels[1][lane] += n * x2;
                pixels[2][lane] += n * x4;
                let v = n * noise.variance(light, f64::from(slopes[lane]));
                let (v2, v4) = (v * x2, v * x4);
                variance[0][lane] += v;
                variance[1][lane] += v2;
                variance[2][lane] += v4;
                variance[3][lane] += v2 * x4;
                variance[4][lane] += v4 * x4;
                let a = n * (light - level - slope * place[lane]);
                above[0][lane] += a;
                above[1][lane] += a * x2;
                above[2][lane] += a * x4;
                let out = if four[lane] >= BURNT_LIGHT { 1.0 } else { 0.0 };
                burnt[0][lane] += out * light;
                burnt[1][lane] += out;
                place[lane] += LANES as f64;
            }
        };
        let slope_of = |code: u16| patch.tables.slope[usize::from(code)];
        let (fours, rest) = light.as_chunks::<LANES>();
        let (of_fours, of_rest) = codes.as_chunks::<LANES>();
        for (four, codes) in fours.iter().zip(of_fours) {
            add(four, &codes.map(slope_of), &[1.0; LANES]);
        }
        let (mut last, mut slopes, mut there) = ([0.0; LANES], [0.0; LANES], [0.0; LANES]);
        for (lane, (&light, &code)) in rest.iter().zip(of_rest).enumerate() {
            (last[lane], slopes[lane], there[lane]) = (light, slope_of(code), 1.0);
        }
        add(&last, &slopes, &there);
        let sum = |lanes: [f64; LANES]| (lanes[0] + lanes[1]) + (lanes[2] + lanes[3]);
        Self {
            pixels: pixels.map(sum),
            variance: variance.map(sum),
            light: above.map(sum),
            burnt: burnt.map(sum),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::profile::Profile;
    use crate::measure::ring::Ring;
    use crate::measure::{Plane, Samples};

    /// The same sums pixel by pixel, in a window that crosses the picture's edge and in whole and sparse rows.
    #[test]
    fn sums_are_those_of_single_pixels() {
        let codes = (0..90 * 80_i32).map(|i| {
            let (x, y) = (i % 90 - 40, i / 90 - 30);
            let grain = i * 7919 % 13;
            let lit = 300 - (x * x + y * y) / 3;
            (lit.max(13) - grain).clamp(0, 255) as u8
        });
        let plane = Plane::new(90, 80, Samples::Eight(codes.collect())).expect("right count");
        let centre = (40.3, 29.8);
        let patch = Patch::around(&plane, centre, 60.0).expect("inside");
        let profile = Profile::of(&plane, centre, 45.0, true).expect("inside");
        let ring = Ring::of(&patch, centre, 30.0, 45.0).expect("cells");
        let noise = Noise::of(&patch, centre, &profile, &ring, 1.0);
        for (radius, step) in [(29.3, 1), (28.7, 3), (55.0, 2)] {
            let m = Moments::of(&patch, &patch.light, centre, radius, &ring.plane).expect("light");
            let mut sums = Levers::of(&patch, &m, radius, step, &ring.plane, &noise);
            let mut plain = Levers::default();
            for_rows(&patch, (m.x, m.y), radius, step, |index, dx, dy| {
                let light = f64::from(patch.light[index]);
                let slope = f64::from(patch.tables.slope[usize::from(patch.codes[index])]);
                let v = noise.variance(light, slope);
                let above = light - ring.plane.at(m.x + dx, m.y + dy);
                let width = (dx * dx + dy * dy) / 2.0 - (m.xx + m.yy) / 2.0;
                let third = dx * (dx * dx - 3.0 * m.xx);
                let third_y = dy * (dy * dy - 3.0 * m.yy);
                let four = dx.powi(4) - 6.0 * dx * dx * dy * dy + dy.powi(4);
                let burnt = if patch.light[index] >= BURNT_LIGHT {
                    1.0
                } else {
                    0.0
                };
                plain.pixels += 1.0;
                plain.xx += dx * dx;
                plain.width += width;
                plain.lean += third * dx;
                plain.flux_var += v;
                plain.x_var += dx * dx * v;
                plain.y_var += dy * dy * v;
                plain.width_var += width * width * v;
                plain.lean_x_var += third * third * v;
                plain.lean_y_var += third_y * third_y * v;
                plain.four_var += four * four * v;
                plain.light += above;
                plain.light_xx += dx * dx * above;
                plain.light_x4 += dx.powi(4) * above;
                plain.light_four += four * above;
                plain.burnt_flux += burnt * light;
                plain.burnt_pixels += burnt;
            });
            plain.each().into_iter().for_each(|sum| *sum *= step as f64);
            assert!(plain.burnt_pixels > 0.0 && plain.pixels > plain.burnt_pixels);
            // Sums of some ten thousand terms of either sign, in another order.
            let near = |a: f64, b: f64| (a - b).abs() < 1e-9 * b.abs().max(1.0);
            let pairs = sums.each().into_iter().zip(plain.each());
            for (at, (ours, theirs)) in pairs.enumerate() {
                assert!(near(*ours, *theirs), "{radius} {at}: {ours} {theirs}");
            }
        }
    }
}
