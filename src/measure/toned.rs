//! What a target's light would be under other tone curves.
//!
//! Codes are taken for sRGB's. A camera whose curve is another one shows the light I as T(I) = I·(1 + a₁·L + a₂·L² + a₃·L³),
//! L = ln I, with numbers that nobody tells. Sums of T over a window are sums of I and of I·Lᵏ, so with these at hand any such
//! curve is tried later without another look at the picture.

use super::background::Tilt;
use super::luminance::{Patch, slope_at};
use super::moments::for_rows;

/// How many powers of L are looked at.
pub const POWERS: usize = 3;

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
    let inner = around.radius * around.radius;
    let limit = (OUTLIER * around.noise).max(2.0 * slope_at(level));
    for_rows(patch, centre, around.outer, step, |index, dx, dy| {
        if dx * dx + dy * dy > inner {
            let rise = tilt(dx, dy);
            if (f64::from(patch.light[index]) - level - rise).abs() < limit {
                pixels += 1.0;
                for k in 0..POWERS {
                    dark[k] += of(index)[k] - slopes[k] * rise;
                }
            }
        }
    });
    let mut sums = Toned::default();
    if pixels < 1.0 || around.flux <= 0.0 {
        return sums;
    }
    let dark = dark.map(|sum| sum / pixels);
    let share = step as f64 / around.flux;
    for_rows(patch, centre, around.radius, step, |index, dx, dy| {
        let rise = tilt(dx, dy);
        let four_fold = dx.powi(4) - 6.0 * dx * dx * dy * dy + dy.powi(4);
        for k in 0..POWERS {
            let above = (of(index)[k] - dark[k] - slopes[k] * rise) * share;
            sums.light[k] += above;
            sums.x[k] += above * dx;
            sums.xx[k] += above * dx * dx;
            sums.yy[k] += above * dy * dy;
            sums.xxx[k] += above * dx * dx * dx;
            sums.four_fold[k] += above * four_fold;
        }
    });
    sums
}
