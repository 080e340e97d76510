//! How noisy light is, as a function of light: the background's and the plateau's scatter, and rounding to codes.

use super::background::{MAD_TO_SIGMA, Surface, median};
use super::luminance::{Patch, slope_at};
use super::profile::Profile;
use super::ring::{Cells, LARGEST_CELL, Ring, scatter};

/// Effective variance of a pixel in sums over many pixels, light²: a straight line between what the background and the
/// plateau show (sensor noise is read noise and shot noise: a constant and a part that grows with light), and the
/// rounding of the file, which is even in codes and so grows with the slope of the transfer function.
pub(super) struct Noise {
    dark: f64,
    dark_light: f64,
    per_light: f64,
    rounding: f64,
}

/// Cells a plateau must have for its scatter to be believed.
const LEAST_CELLS: usize = 14;

impl Noise {
    pub(super) fn of(
        patch: &Patch,
        (x, y): (f64, f64),
        profile: &Profile,
        ring: &Ring,
        step: f64,
    ) -> Self {
        let dark_light = ring.plane.at(x, y);
        // The plateau without its rim, where a cell could reach over the edge.
        let side = Cells::side(profile.plateau * 2.0);
        let within = profile.plateau - side as f64;
        let cells = Cells::of(patch, side, &patch.light, |u, v| {
            within >= 0.0 && (u - x).powi(2) + (v - y).powi(2) <= within * within
        });
        let mut bright = fine_variance(patch, (x, y), profile, dark_light) * shared(1, step);
        if cells.means.len() >= LEAST_CELLS {
            let floor = 0.3 * slope_at(dark_light + profile.peak);
            let surface = Surface::fit(&cells.means, 2, 4.0, floor);
            let pixels = cells.pixels();
            let seen = scatter(cells, &surface, 6.0) * pixels;
            bright = bright.max(seen * shared(side, step));
        }
        let per_light = ((bright - ring.pixel_variance) / profile.peak.max(1e-6)).max(0.0);
        Self {
            dark: ring.pixel_variance,
            dark_light,
            per_light,
            rounding: step * step / 12.0,
        }
    }

    /// Effective variance of a pixel of this light and slope of the transfer function.
    pub(super) fn variance(&self, light: f64, slope: f64) -> f64 {
        self.dark
            + self.per_light * (light - self.dark_light).max(0.0)
            + self.rounding * slope * slope
    }
}

/// How much more variance a sum over many pixels has than cells of this side show, because JPEG takes away fine noise
/// and leaves coarse: by how much depends on the file's rounding step. From simulation, quality 80 to 95.
fn shared(side: usize, step: f64) -> f64 {
    const PER_STEP: f64 = 0.25;
    if side >= LARGEST_CELL {
        1.0
    } else {
        1.0 + PER_STEP * (step - 1.0).max(0.0)
    }
}

/// Part of the peak above which a pixel is bright.
const BRIGHT_PART: f64 = 0.6;

/// Variance of single bright pixels where there is no plateau, light²: the second difference along x of the second
/// difference along y is 0 for every light that is a sum of a function of x, one of y and a straight-edged ramp, and
/// its variance is 36 times a pixel's (Immerkær 1996, doi:10.1006/cviu.1996.0060, from memory). Its median is taken, so
/// that corners don't count. Noise that neighbours share is underestimated by it.
fn fine_variance(patch: &Patch, (x, y): (f64, f64), profile: &Profile, dark: f64) -> f64 {
    const SAMPLES: f64 = 400.0;
    let width = patch.width();
    let reach = profile.support.unwrap_or(0.0);
    let step = ((reach * reach / SAMPLES).sqrt() as usize).max(1);
    let rows = patch.codes.len() / width;
    let light = |row: usize, column: usize| f64::from(patch.light[row * width + column]);
    let least = dark + BRIGHT_PART * profile.peak;
    let mut found = Vec::new();
    let span = |middle: f64, first: u32, size: usize| {
        let middle = middle - f64::from(first);
        let low = (middle - reach).max(1.0) as usize;
        (low..((middle + reach).max(0.0) as usize).min(size.saturating_sub(1))).step_by(step)
    };
    for row in span(y, patch.window.top, rows) {
        for column in span(x, patch.window.left, width) {
            if light(row, column) >= least {
                let second =
                    |r: usize| light(r, column - 1) - 2.0 * light(r, column) + light(r, column + 1);
                found.push((second(row - 1) - 2.0 * second(row) + second(row + 1)).abs());
            }
        }
    }
    if found.len() < 20 {
        return 0.0;
    }
    (MAD_TO_SIGMA * median(found.into_iter())).powi(2) / 36.0
}
