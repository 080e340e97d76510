//! The background of one target, from a ring around it, and the noise of sums of pixels.
//!
//! The ring is cut into square cells aligned with the picture (and so, up to 8 px, with the blocks of a JPEG file).
//! A plane is fitted to the cells' means, without cells that hold something else. How much the means scatter about it
//! says how much noise a sum of many pixels has: n·Var(mean of n) is the variance of one pixel where noise is
//! independent, and more where neighbours share their error, as they do after JPEG. That effective variance is what
//! the uncertainty of a centre needs, not the variance of single pixels.

use super::background::{Surface, Tilt, median};
use super::luminance::{Patch, slope_at};

/// Largest cell: a JPEG block.
pub(super) const LARGEST_CELL: usize = 8;
/// Cells a ring must have for a plane.
const LEAST_CELLS: usize = 8;
/// Whole blocks a ring must hold for their scatter to be believed.
const LEAST_BLOCKS: usize = 16;
/// Cells wanted across the window's radius.
const CELLS_A_RADIUS: f64 = 12.0;

/// Cell means within a region: place of the cell's middle, px, and mean light.
pub(super) struct Cells {
    /// Pixels in a cell.
    pub(super) pixels: f64,
    /// Middle of each whole cell and the mean of its light.
    pub(super) means: Vec<(f64, f64, f64)>,
}

impl Cells {
    /// Side of a cell for a window of this radius, px.
    pub(super) fn side(radius: f64) -> usize {
        match radius / CELLS_A_RADIUS {
            r if r < 3.0 => 2,
            r if r < 7.0 => 4,
            _ => LARGEST_CELL,
        }
    }

    /// Means of the cells that lie wholly inside the patch and whose middle satisfies `wanted` (x and y in px).
    pub(super) fn of(
        patch: &Patch,
        side: usize,
        light: &[f32],
        wanted: impl Fn(f64, f64) -> bool,
    ) -> Self {
        let (left, top) = (patch.window.left as usize, patch.window.top as usize);
        let (right, bottom) = (
            patch.window.right as usize + 1,
            patch.window.bottom as usize + 1,
        );
        let width = patch.width();
        let pixels = (side * side) as f64;
        let half = (side as f64 - 1.0) / 2.0;
        let mut means = Vec::new();
        for row in (top.next_multiple_of(side)..bottom)
            .step_by(side)
            .filter(|row| row + side <= bottom)
        {
            for column in (left.next_multiple_of(side)..right)
                .step_by(side)
                .filter(|c| c + side <= right)
            {
                let (x, y) = (column as f64 + half, row as f64 + half);
                if wanted(x, y) {
                    let sum: f64 = (row..row + side)
                        .map(|r| {
                            let start = (r - top) * width + column - left;
                            let along = &light[start..start + side];
                            along.iter().map(|&light| f64::from(light)).sum::<f64>()
                        })
                        .sum();
                    means.push((x, y, sum / pixels));
                }
            }
        }
        Self { pixels, means }
    }

    /// Means of the cells whose middles lie between two radii around (x, y), their side fitting the inner one.
    fn around(patch: &Patch, light: &[f32], (x, y): (f64, f64), inner: f64, outer: f64) -> Self {
        Self::of(patch, Self::side(inner), light, |u, v| {
            within((u - x, v - y), inner, outer)
        })
    }

    /// The plane through them, without outliers; `None` for fewer than a handful.
    fn plane(&self) -> Option<Surface> {
        plane(&self.means)
    }
}

/// The plane through cells (place and mean light), without outliers; `None` for fewer than a handful.
pub(super) fn plane(cells: &[(f64, f64, f64)]) -> Option<Surface> {
    (cells.len() >= LEAST_CELLS).then(|| Surface::fit(cells, 1, 4.0, least_scatter(cells)))
}

/// Variance of cell means about a surface of so many terms, without outliers, and how many were left.
pub(super) fn scatter(cells: &Cells, surface: &Surface, terms: f64) -> (f64, f64) {
    let limit = 4.0 * surface.noise.max(least_scatter(&cells.means));
    let (mut count, mut sum) = (0.0, 0.0);
    for &(x, y, light) in &cells.means {
        let off = light - surface.at(x, y);
        if off.abs() <= limit {
            count += 1.0;
            sum += off * off;
        }
    }
    (sum / (count - terms).max(1.0), count)
}

/// Least standard deviation of cell means that is believed when cells are judged, light: means that are rounded in steps
/// of a code or so (JPEG rounds the mean of a block to 1/8 of its first quantization step) are no outliers.
fn least_scatter(cells: &[(f64, f64, f64)]) -> f64 {
    0.3 * slope_at(median(cells.iter().map(|cell| cell.2)))
}

/// The background's plane and its noise.
pub(super) struct Ring {
    /// Level and slope.
    pub(super) plane: Tilt,
    /// Effective variance of one pixel in sums, light².
    pub(super) pixel_variance: f64,
    /// Variance of the plane's slope along each axis, (light/px)².
    pub(super) slope_variance: f64,
    /// Variance of the plane's level at the ring's middle, light².
    pub(super) level_variance: f64,
    /// What the plane was fitted to.
    cells: Cells,
}

impl Ring {
    /// Fits the ring between two radii around (x, y); `None` where fewer than a handful of cells lie in the picture.
    pub(super) fn of(patch: &Patch, (x, y): (f64, f64), inner: f64, outer: f64) -> Option<Self> {
        let cells = Cells::around(patch, &patch.light, (x, y), inner, outer);
        let plane = cells.plane()?;
        let (cell_variance, count) = scatter(&cells, &plane, 3.0);
        let mut pixel_variance = cell_variance * cells.pixels;
        if Cells::side(inner) < LARGEST_CELL {
            // Small cells give a small ring's plane; errors that a JPEG block shares show in whole blocks only.
            let blocks = Cells::of(patch, LARGEST_CELL, &patch.light, |u, v| {
                within((u - x, v - y), inner, outer)
            });
            if blocks.means.len() >= LEAST_BLOCKS {
                pixel_variance =
                    pixel_variance.max(scatter(&blocks, &plane, 3.0).0 * blocks.pixels);
            }
        }
        let lever: f64 = cells
            .means
            .iter()
            .map(|&(u, v, _)| ((u - x).powi(2) + (v - y).powi(2)) / 2.0)
            .sum();
        let effective = pixel_variance / cells.pixels;
        Some(Self {
            plane: plane.tilt(),
            pixel_variance,
            slope_variance: effective / lever.max(1.0),
            level_variance: effective / count.max(1.0),
            cells,
        })
    }

    /// The plane alone, of other light than the patch's own.
    pub(super) fn plane_of(
        patch: &Patch,
        light: &[f32],
        centre: (f64, f64),
        inner: f64,
        outer: f64,
    ) -> Option<Tilt> {
        let cells = Cells::around(patch, light, centre, inner, outer);
        Some(cells.plane()?.tilt())
    }

    /// The plane of the part of the ring that lies beyond a radius around (x, y).
    pub(super) fn plane_beyond(&self, (x, y): (f64, f64), inner: f64) -> Option<Tilt> {
        let beyond =
            |cell: &&(f64, f64, f64)| within((cell.0 - x, cell.1 - y), inner, f64::INFINITY);
        let cells = Cells {
            pixels: self.cells.pixels,
            means: self.cells.means.iter().filter(beyond).copied().collect(),
        };
        Some(cells.plane()?.tilt())
    }
}

/// Whether a place lies between two radii.
fn within((dx, dy): (f64, f64), inner: f64, outer: f64) -> bool {
    let r2 = dx * dx + dy * dy;
    r2 >= inner * inner && r2 <= outer * outer
}
