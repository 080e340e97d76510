//! The background of one target, from a ring around it, and the noise of sums of pixels.
//!
//! The ring is cut into square cells aligned with the picture (and so, up to 8 px, with the blocks of a JPEG file).
//! A plane is fitted to the cells' means, without cells that hold something else. How much the means scatter about it
//! says how much noise a sum of many pixels has: n·Var(mean of n) is the variance of one pixel where noise is
//! independent, and more where neighbours share their error, as they do after JPEG. That effective variance is what
//! the uncertainty of a centre needs, not the variance of single pixels.

use super::background::{FOR_A_SLOPE, Surface, Tilt, median};
use super::luminance::{Patch, slope_at};

/// Largest cell: a JPEG block.
pub(super) const LARGEST_CELL: usize = 8;
/// Cells a ring must have for a plane.
const LEAST_CELLS: usize = 8;
/// Whole blocks a ring must hold for their scatter to be believed.
const LEAST_BLOCKS: usize = 16;
/// Cells wanted across the window's radius.
const CELLS_A_RADIUS: f64 = 12.0;

/// Cells farther off a surface than this many of their standard deviations hold something else.
const OUTLIER: f64 = 4.0;

/// Cell means within a region: place of the cell's middle, px, and mean light.
pub(super) struct Cells {
    /// Side of a cell, px.
    side: usize,
    /// Middle of each cell and the mean of its light.
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
                    means.push((x, y, mean(patch, light, (column - left, row - top), side)));
                }
            }
        }
        Self { side, means }
    }

    /// Pixels in a cell.
    pub(super) fn pixels(&self) -> f64 {
        (self.side * self.side) as f64
    }

    /// Leaves out cells that hold something else than a surface.
    fn keep_to(&mut self, surface: &Surface) {
        let floor = least_scatter(&self.means);
        self.means
            .retain(|cell| surface.holds(cell, OUTLIER, floor));
    }

    /// The same cells in other light than they were seen in.
    fn relit(&self, patch: &Patch, light: &[f32]) -> Vec<(f64, f64, f64)> {
        let half = (self.side as f64 - 1.0) / 2.0;
        let first = |middle: f64, edge: u32| (middle - half) as usize - edge as usize;
        let relit = |&(x, y, _): &(f64, f64, f64)| {
            let corner = (first(x, patch.window.left), first(y, patch.window.top));
            (x, y, mean(patch, light, corner, self.side))
        };
        self.means.iter().map(relit).collect()
    }
}

/// Mean light of the cell whose first pixel is in this column and row of the patch.
fn mean(patch: &Patch, light: &[f32], (column, row): (usize, usize), side: usize) -> f64 {
    let of_row = |row: usize| {
        let start = row * patch.width() + column;
        let along = light[start..start + side].iter();
        along.map(|&light| f64::from(light)).sum::<f64>()
    };
    (row..row + side).map(of_row).sum::<f64>() / (side * side) as f64
}

/// The plane through cells (place and mean light), without outliers; `None` for fewer than a handful.
pub(super) fn plane(cells: &[(f64, f64, f64)]) -> Option<Surface> {
    (cells.len() >= LEAST_CELLS).then(|| Surface::fit(cells, 1, OUTLIER, least_scatter(cells)))
}

/// Variance of cell means about a surface of so many terms, without outliers.
pub(super) fn scatter(mut cells: Cells, surface: &Surface, terms: f64) -> f64 {
    cells.keep_to(surface);
    scatter_of(&cells, surface, terms)
}

/// As `scatter`, of cells that hold nothing else.
fn scatter_of(cells: &Cells, surface: &Surface, terms: f64) -> f64 {
    let off = |&(x, y, light): &(f64, f64, f64)| light - surface.at(x, y);
    let squares: f64 = cells.means.iter().map(|cell| off(cell).powi(2)).sum();
    squares / (cells.means.len() as f64 - terms).max(1.0)
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
    /// What the plane goes through.
    cells: Cells,
}

impl Ring {
    /// Fits the ring between two radii around (x, y); `None` where fewer than a handful of cells lie in the picture.
    pub(super) fn of(patch: &Patch, (x, y): (f64, f64), inner: f64, outer: f64) -> Option<Self> {
        let wanted = |u: f64, v: f64| within((u - x, v - y), inner, outer);
        // They fit the inner radius.
        let mut cells = Cells::of(patch, Cells::side(inner), &patch.light, wanted);
        let plane = plane(&cells.means)?;
        cells.keep_to(&plane);
        let mut pixel_variance = scatter_of(&cells, &plane, 3.0) * cells.pixels();
        if cells.side < LARGEST_CELL {
            // Small cells give a small ring's plane; errors that a JPEG block shares show in whole blocks only.
            let blocks = Cells::of(patch, LARGEST_CELL, &patch.light, wanted);
            if blocks.means.len() >= LEAST_BLOCKS {
                let pixels = blocks.pixels();
                pixel_variance = pixel_variance.max(scatter(blocks, &plane, 3.0) * pixels);
            }
        }
        let lever: f64 = cells
            .means
            .iter()
            .map(|&(u, v, _)| ((u - x).powi(2) + (v - y).powi(2)) / 2.0)
            .sum();
        let effective = pixel_variance / cells.pixels();
        Some(Self {
            plane: plane.tilt(),
            pixel_variance,
            slope_variance: effective / lever.max(1.0),
            level_variance: effective / (cells.means.len() as f64).max(1.0),
            cells,
        })
    }

    /// The plane of other light than the patch's own.
    pub(super) fn plane_of(&self, patch: &Patch, light: &[f32]) -> Option<Tilt> {
        Surface::plane_through(&self.cells.relit(patch, light))
    }

    /// The plane of the part of the ring that lies beyond a radius around (x, y); the ring's own where too little of it does to show a slope.
    pub(super) fn plane_beyond(&self, (x, y): (f64, f64), inner: f64) -> Tilt {
        let beyond =
            |cell: &&(f64, f64, f64)| within((cell.0 - x, cell.1 - y), inner, f64::INFINITY);
        let cells: Vec<_> = self.cells.means.iter().filter(beyond).copied().collect();
        let plane = Surface::plane_through(&cells).filter(|_| cells.len() >= FOR_A_SLOPE);
        plane.unwrap_or(self.plane)
    }
}

/// Whether a place lies between two radii.
fn within((dx, dy): (f64, f64), inner: f64, outer: f64) -> bool {
    let r2 = dx * dx + dy * dy;
    r2 >= inner * inner && r2 <= outer * outer
}
