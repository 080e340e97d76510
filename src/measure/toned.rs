//! What a target's light would be under other tone curves.
//!
//! Codes are taken for sRGB's. A camera whose curve is another one shows the light I as T(I) = I·(1 + a₁·L + a₂·L² + a₃·L³),
//! L = ln I, with numbers that nobody tells. Sums of T over a window are sums of I and of I·Lᵏ, so with these at hand any such
//! curve is tried later without another look at the picture.

use super::background::Tilt;
use super::luminance::{Patch, slope_at};
use super::moments::{Span, for_spans};

/// How many powers of L are looked at.
pub const POWERS: usize = 3;

/// Numbers that are summed beside each other: the powers, and 0.
pub(super) const BESIDE: usize = POWERS + 1;

/// Rows of a window that are looked at, about.
const ROWS: f64 = 50.0;
/// A pixel of the ring this many standard deviations from the background's plane is something else.
const OUTLIER: f64 = 4.0;
/// Share of light below which L stays as it is: codes 0 and 1.
const DARKEST: f64 = 3e-4;

/// Sums over the window of I·Lᵏ above its background, k = 1, 2, 3, over the target's flux: of all light, of its place from the
/// centre along x, of the squares of the places along x and y, of the cube along x, and four-fold by the fourth power.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Toned {
    /// Light, no unit.
    pub light: [f64; POWERS],
    /// Light by place along x, px.
    pub x: [f64; POWERS],
    /// By its square, px².
    pub xx: [f64; POWERS],
    /// By the square of the place along y, px².
    pub yy: [f64; POWERS],
    /// By the cube of the place along x, px³.
    pub xxx: [f64; POWERS],
    /// By x⁴ − 6·x²·y² + y⁴, px⁴.
    pub four_fold: [f64; POWERS],
}

/// I·Lᵏ, and its change with I.
pub(super) fn powers(light: f64) -> [(f64, f64); POWERS] {
    let log = light.max(DARKEST).ln();
    let mut power = 1.0;
    std::array::from_fn(|k| {
        let before = power;
        power *= log;
        (light * power, power + (k as f64 + 1.0) * before)
    })
}

/// Where a target's light is, and where its background.
pub(super) struct Around {
    pub(super) centre: (f64, f64),
    /// Of the window and of the ring's outer rim, px.
    pub(super) radius: f64,
    pub(super) outer: f64,
    pub(super) plane: Tilt,
    /// Standard deviation of a pixel of the background, light.
    pub(super) noise: f64,
    /// Light of the target.
    pub(super) flux: f64,
}

/// The sums for one target.
pub(super) fn toned(patch: &Patch, around: &Around) -> Toned {
    let centre = around.centre;
    let step = ((2.0 * around.radius / ROWS) as usize).max(1);
    let of = |index: usize| &patch.tables.powers[usize::from(patch.codes[index])];
    let level = around.plane.at(centre.0, centre.1);
    let mut dark = [0.0; POWERS];
    let mut pixels = 0.0;
    let slopes = powers(level).map(|(_, slope)| slope);
    let tilt = |dx: f64, dy: f64| around.plane.at(centre.0 + dx, centre.1 + dy) - level;
    let limit = (OUTLIER * around.noise).max(2.0 * slope_at(level));
    let mut look = |span: &Span, from: usize, to: usize| {
        let dy = f64::from(span.row) - centre.1;
        for along in from..to {
            let rise = tilt(f64::from(span.first + along as u32) - centre.0, dy);
            let index = span.index + along;
            if (f64::from(patch.light[index]) - level - rise).abs() < limit {
                pixels += 1.0;
                for k in 0..POWERS {
                    dark[k] += of(index)[k] - slopes[k] * rise;
                }
            }
        }
    };
    for_spans(patch, centre, around.outer, step, |span| {
        let (left, right) = span.beside(centre, around.radius);
        look(&span, 0, left);
        look(&span, right, span.count);
    });
    let mut sums = Toned::default();
    if pixels < 1.0 || around.flux <= 0.0 {
        return sums;
    }
    let dark = dark.map(|sum| sum / pixels);
    let share = step as f64 / around.flux;
    for_spans(patch, centre, around.radius, step, |span| {
        let start = f64::from(span.first) - centre.0;
        let dy = f64::from(span.row) - centre.1;
        // Of the row's background: where the middle is, and what it rises by along x.
        let (rise, along) = (tilt(0.0, dy), around.plane.along_x());
        let mut background = [[0.0; BESIDE]; 2];
        for k in 0..POWERS {
            background[0][k] = dark[k] + slopes[k] * rise;
            background[1][k] = slopes[k] * along;
        }
        let by_place = by_place(patch, &span, start, &background);
        let (y2, y4) = (dy * dy, dy * dy * dy * dy);
        for k in 0..POWERS {
            let [light, x, xx, xxx, x4] = by_place.map(|sum| share * sum[k]);
            sums.light[k] += light;
            sums.x[k] += x;
            sums.xx[k] += xx;
            sums.yy[k] += y2 * light;
            sums.xxx[k] += xxx;
            sums.four_fold[k] += x4 - 6.0 * y2 * xx + y4 * light;
        }
    });
    sums
}

/// Sums along a row of I·Lᵏ above the background by the place, from the centre, to the powers 0 to 4.
fn by_place(
    patch: &Patch,
    span: &Span,
    start: f64,
    [level, slope]: &[[f64; BESIDE]; 2],
) -> [[f64; BESIDE]; 5] {
    let mut sums = [[0.0; BESIDE]; 5];
    for (along, &code) in (0_u32..).zip(&patch.codes[span.index..span.index + span.count]) {
        let place = start + f64::from(along);
        let mut value = patch.tables.powers[usize::from(code)];
        for k in 0..BESIDE {
            value[k] -= level[k] + slope[k] * place;
        }
        for sum in &mut sums {
            for k in 0..BESIDE {
                sum[k] += value[k];
                value[k] *= place;
            }
        }
    }
    sums
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::moments::for_rows;
    use crate::measure::ring::Ring;
    use crate::measure::{Plane, Samples};

    /// The same sums pixel by pixel; the window crosses the picture's edge.
    #[test]
    fn sums_are_those_of_single_pixels() {
        let codes = (0..120 * 100_i32).map(|i| {
            let (x, y) = (i % 120 - 50, i / 120 - 40);
            (200 - (x * x + y * y) / 4).clamp(20 + x / 9, 200) as u8
        });
        let plane = Plane::new(120, 100, Samples::Eight(codes.collect())).expect("right count");
        let centre = (50.2, 39.9);
        let patch = Patch::around(&plane, centre, 48.0).expect("inside");
        let ring = Ring::of(&patch, centre, 30.0, 48.0).expect("cells");
        let around = Around {
            centre,
            radius: 30.0,
            outer: 48.0,
            plane: ring.plane,
            noise: 1.0,
            flux: 1000.0,
        };
        let (level, step) = (ring.plane.at(centre.0, centre.1), 1);
        let rise = |dx: f64, dy: f64| ring.plane.at(centre.0 + dx, centre.1 + dy) - level;
        let slopes = powers(level).map(|(_, slope)| slope);
        let of = |index: usize, k: usize| patch.tables.powers[usize::from(patch.codes[index])][k];
        let (mut dark, mut pixels, mut plain) = ([0.0; POWERS], 0.0, Toned::default());
        for_rows(&patch, centre, around.outer, step, |index, dx, dy| {
            if dx * dx + dy * dy > around.radius * around.radius {
                pixels += 1.0;
                for k in 0..POWERS {
                    dark[k] += of(index, k) - slopes[k] * rise(dx, dy);
                }
            }
        });
        for_rows(&patch, centre, around.radius, step, |index, dx, dy| {
            for k in 0..POWERS {
                let above = of(index, k) - dark[k] / pixels - slopes[k] * rise(dx, dy);
                let above = above / around.flux;
                plain.light[k] += above;
                plain.x[k] += above * dx;
                plain.xx[k] += above * dx * dx;
                plain.yy[k] += above * dy * dy;
                plain.xxx[k] += above * dx.powi(3);
                plain.four_fold[k] += above * (dx.powi(4) - 6.0 * dx * dx * dy * dy + dy.powi(4));
            }
        });
        let seen = toned(&patch, &around);
        let of = |t: &Toned| [t.light, t.x, t.xx, t.yy, t.xxx, t.four_fold];
        for (ours, theirs) in of(&seen)
            .as_flattened()
            .iter()
            .zip(of(&plain).as_flattened())
        {
            // Thousands of terms of either sign, in another order.
            assert!(
                (ours - theirs).abs() < 1e-9 * theirs.abs().max(1.0),
                "{ours} {theirs}"
            );
        }
    }
}
