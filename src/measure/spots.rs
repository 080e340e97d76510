//! Dark spots in the blur of a target: the shadows of dust on the sensor.
//!
//! A blur wide enough to have an even middle is its own half turn about its centre there, whatever the tape, the pupil's
//! symmetry about the axis or the rings that a lens draws into it. Dust takes away a share ε of the light at one place and
//! none at the place opposite, so the relative difference of the two shows it: −ε here, +ε there. What runs straight across
//! the blur (brightness that falls off, coma) is taken out of the differences first. Which of the two places is the spoilt one
//! shows beside them: dust is darker than what is around it.
//!
//! One frame alone does not tell dust from what the lens draws into its blur; that a spot stays where it is while the blur
//! grows does, and is looked for in the sweep. All is done in cells: the reduced picture's blocks, or smaller ones in a small
//! window.

use nalgebra::{Matrix2, Vector2};

use super::background::{MAD_TO_SIGMA, Tilt, median};
use super::luminance::Patch;
use super::reduced::Reduced;
use super::target::Spot;
use crate::units::Measured;

/// Radius of the light, in blocks, from which blocks are fine enough.
const ENOUGH_BLOCKS: f64 = 12.0;
/// Side of a cell in smaller windows, px.
const SMALL_CELL: usize = 4;
/// Least radius of the light in such cells.
const LEAST_RADIUS: f64 = 6.0;
/// A ring of cells belongs to the even middle while its median has this part of the brightest ring's …
const LIT_PART: f64 = 0.25;
/// … and the darkest quarter of its cells this part of its median; a polygon's corners and a barrel's rim end it.
const EVEN_PART: f64 = 0.9;
/// Rings that are too short to be judged by that.
const SHORT_RINGS: usize = 4;
/// Least depth of a cell of a spot, as a share of the light, and of its deepest …
const DEPTH: (f64, f64) = (0.012, 0.02);
/// … and both in standard deviations of the even middle.
const STANDS_OUT: (f64, f64) = (4.0, 6.0);
/// A cell that lacks more than this is no shadow of dust: it lies beyond the rim of the blur.
const DEEPEST: f64 = 0.6;
/// How far within the even middle a spot's place must lie, in cells.
const RIM: f64 = 1.0;
/// Part of the even middle that a spot covers at the most.
const COMPACT: f64 = 0.3;
/// Rounds of fitting what runs straight across.
const ROUNDS: usize = 3;
/// Standard deviations beyond which a cell is left out of that.
const OUTLIER: f64 = 2.5;
/// Share of what a spot lacks that is its standard uncertainty at the least: cells are coarse.
const COARSE: f64 = 0.1;

/// What the blur's own even middle is looked at in.
pub(super) struct Blur {
    /// Centre, px.
    pub(super) centre: (f64, f64),
    /// Radius at which the light ends, px.
    pub(super) support: f64,
}

/// Dark spots in the blur of a target.
pub(super) fn spots(reduced: &Reduced, patch: &Patch, background: &Tilt, blur: &Blur) -> Vec<Spot> {
    let Some(turned) = Turned::of(reduced, patch, background, blur) else {
        return Vec::new();
    };
    turned.spots(blur.centre)
}

/// Light above the background at cells whose places are counted from the target's centre.
struct Turned {
    /// Cells from the centre to either side.
    reach: i32,
    /// Side of a cell, px.
    side: f64,
    /// Light, row by row.
    light: Vec<f64>,
    /// Rings of the even middle.
    rings: f64,
    /// Light of each ring over that of the brightest, and by which share of it the light changes there, 1/cell.
    by_ring: Vec<(f64, f64)>,
}

/// What one cell shows against the opposite one.
struct Difference {
    index: usize,
    /// Share by which it is brighter.
    off: f64,
    /// Light of its ring over that of the brightest: how much less noise it has than at this light.
    share: f64,
    /// Place along x, in cells, and how the light changes along x there, as a share a cell.
    x: Vector2<f64>,
    /// The same along y.
    y: Vector2<f64>,
}

impl Turned {
    fn of(reduced: &Reduced, patch: &Patch, background: &Tilt, blur: &Blur) -> Option<Self> {
        let block = f64::from(reduced.block);
        let (x, y) = blur.centre;
        let light = if blur.support >= ENOUGH_BLOCKS * block {
            let reach = (blur.support / block).floor() as i32;
            let (left, top) = (reduced.to_blocks(x), reduced.to_blocks(y));
            let read = |column: i32, row: i32| {
                let (column, row) = (usize::try_from(column).ok()?, usize::try_from(row).ok()?);
                let inside = column < reduced.width && row < reduced.height;
                inside.then(|| {
                    let code = reduced.mean[row * reduced.width + column];
                    f64::from(patch.tables.light_of_mean(code))
                })
            };
            Self::sampled(reach, block, (left, top), read)?
        } else {
            let side = SMALL_CELL as f64;
            let reach = (blur.support / side).floor();
            if reach < LEAST_RADIUS {
                return None;
            }
            let width = patch.width();
            let rows = patch.codes.len() / width;
            let middle = |at: f64, first: u32| (at - f64::from(first) + 0.5) / side - 0.5;
            let place = (middle(x, patch.window.left), middle(y, patch.window.top));
            let read = |column: i32, row: i32| {
                let column = usize::try_from(column).ok()? * SMALL_CELL;
                let row = usize::try_from(row).ok()? * SMALL_CELL;
                let inside = column + SMALL_CELL <= width && row + SMALL_CELL <= rows;
                inside.then(|| {
                    let line = |r: usize| &patch.light[r * width + column..][..SMALL_CELL];
                    let sum: f32 = (row..row + SMALL_CELL).flat_map(line).sum();
                    f64::from(sum) / (side * side)
                })
            };
            Self::sampled(reach as i32, side, place, read)?
        };
        let mut turned = light;
        turned.take_out(background, blur.centre);
        turned.find_rings()?;
        Some(turned)
    }

    /// Samples cells at whole steps from a place between cells, each on the straight line between its four neighbours: both
    /// of a pair that a half turn puts onto each other are off by as much.
    fn sampled(
        reach: i32,
        side: f64,
        (x, y): (f64, f64),
        read: impl Fn(i32, i32) -> Option<f64>,
    ) -> Option<Self> {
        let (column, row) = (x.floor(), y.floor());
        let (u, v) = (x - column, y - row);
        let (column, row) = (column as i32, row as i32);
        let size = 2 * reach + 2;
        let mut cells = Vec::with_capacity((size * size) as usize);
        for dy in -reach..=reach + 1 {
            for dx in -reach..=reach + 1 {
                cells.push(read(column + dx, row + dy)?);
            }
        }
        let size = size as usize;
        let across = 2 * reach as usize + 1;
        let mut light = Vec::with_capacity(across * across);
        for row in 0..across {
            for column in 0..across {
                let at = row * size + column;
                let upper = cells[at] * (1.0 - u) + cells[at + 1] * u;
                let lower = cells[at + size] * (1.0 - u) + cells[at + size + 1] * u;
                light.push(upper * (1.0 - v) + lower * v);
            }
        }
        Some(Self {
            reach,
            side,
            light,
            rings: 0.0,
            by_ring: Vec::new(),
        })
    }

    /// Every cell and its place from the centre, in cells.
    fn places(&self) -> impl Iterator<Item = (usize, f64, f64)> + use<> {
        let reach = self.reach;
        let all = (-reach..=reach).flat_map(move |y| (-reach..=reach).map(move |x| (x, y)));
        all.enumerate()
            .map(|(index, (x, y))| (index, f64::from(x), f64::from(y)))
    }

    fn take_out(&mut self, background: &Tilt, (x, y): (f64, f64)) {
        for (index, dx, dy) in self.places() {
            self.light[index] -= background.at(x + dx * self.side, y + dy * self.side);
        }
    }

    /// Finds the even middle; `None` where it is too small.
    fn find_rings(&mut self) -> Option<()> {
        let mut rings: Vec<Vec<f64>> = vec![Vec::new(); self.reach as usize + 1];
        for (index, dx, dy) in self.places() {
            if let Some(ring) = rings.get_mut((length(dx, dy) + 0.5) as usize) {
                ring.push(self.light[index]);
            }
        }
        let medians: Vec<f64> = rings
            .iter()
            .map(|ring| median(ring.iter().copied()))
            .collect();
        let most = medians.iter().copied().fold(0.0, f64::max);
        let even = |(k, ring): (usize, &mut Vec<f64>)| {
            let dark = ring.len() / 4;
            let darkest = *ring.select_nth_unstable_by(dark, f64::total_cmp).1;
            medians[k] > LIT_PART * most && (k < SHORT_RINGS || darkest > EVEN_PART * medians[k])
        };
        let count = rings
            .iter_mut()
            .enumerate()
            .map(even)
            .take_while(|even| *even)
            .count();
        let change = |k: usize| {
            let next = medians[(k + 1).min(medians.len() - 1)];
            let change = (next - medians[k.saturating_sub(1)]) / 2.0;
            (medians[k] / most, change / medians[k])
        };
        self.by_ring = (0..count).map(change).collect();
        self.rings = count as f64 - 0.5;
        (count > SHORT_RINGS).then_some(())
    }

    /// Light at each cell less that at the opposite one, as a share of the larger, without what runs straight across and what a
    /// centre that is off by a little makes of the rim, with its standard deviation; `None` beyond the even middle.
    fn differences(&self) -> Vec<Option<(f64, f64)>> {
        let count = self.light.len();
        let seen: Vec<Difference> = self
            .places()
            .take(count / 2)
            .filter_map(|(index, dx, dy)| {
                let (here, there) = (self.light[index], self.light[count - 1 - index]);
                let (off, most) = (length(dx, dy), here.max(there));
                (off < self.rings && most > 0.0).then(|| {
                    let ring = (off + 0.5) as usize;
                    let (share, change) = self.by_ring[ring.min(self.by_ring.len() - 1)];
                    let steep = change / off.max(0.5);
                    Difference {
                        index,
                        share,
                        off: (here - there) / most,
                        x: Vector2::new(dx, steep * dx),
                        y: Vector2::new(dy, steep * dy),
                    }
                })
            })
            .collect();
        let mut fit = (Vector2::zeros(), Vector2::zeros());
        let left = |fit: &(Vector2<f64>, Vector2<f64>), one: &Difference| {
            one.off - fit.0.dot(&one.x) - fit.1.dot(&one.y)
        };
        let scatter = |fit: &(Vector2<f64>, Vector2<f64>)| {
            let left = seen.iter().map(|one| one.share * left(fit, one).abs());
            MAD_TO_SIGMA * median(left)
        };
        let mut sigma = scatter(&fit);
        for _ in 0..ROUNDS {
            let limit = OUTLIER * sigma.max(1e-6);
            let (mut normal, mut right) = (Matrix2::zeros(), fit);
            right = (right.0 * 0.0, right.1 * 0.0);
            for one in seen
                .iter()
                .filter(|one| one.share * left(&fit, one).abs() <= limit)
            {
                let weight = one.share * one.share;
                normal += (one.x * one.x.transpose() + one.y * one.y.transpose()) * weight;
                let part = weight * one.off;
                right = (right.0 + one.x * part, right.1 + one.y * part);
            }
            // What is kept is as good as even about the centre: sums along x and along y are alike, mixed ones are 0.
            let Some(inverse) = (normal / 2.0).try_inverse() else {
                break;
            };
            fit = (inverse * right.0, inverse * right.1);
            sigma = scatter(&fit);
        }
        let mut off = vec![None; count];
        for one in &seen {
            let (left, sigma) = (left(&fit, one), sigma / one.share);
            off[one.index] = Some((left, sigma));
            off[count - 1 - one.index] = Some((-left, sigma));
        }
        off
    }

    fn spots(&self, centre: (f64, f64)) -> Vec<Spot> {
        let off = self.differences();
        let across = 2 * self.reach as usize + 1;
        // Whether a cell lacks so much, and by so many standard deviations.
        let lacks = |index: usize, depth: f64, sigmas: f64| {
            off[index].is_some_and(|(off, sigma)| -off > depth.max(sigmas * sigma))
        };
        let mut seen = vec![false; off.len()];
        let mut spots = Vec::new();
        for first in 0..off.len() {
            if seen[first] || !lacks(first, DEPTH.1, STANDS_OUT.1) {
                continue;
            }
            let mut cells = vec![first];
            seen[first] = true;
            let mut next = 0;
            while next < cells.len() {
                for index in around(cells[next], across) {
                    if !seen[index] && lacks(index, DEPTH.0, STANDS_OUT.0) {
                        seen[index] = true;
                        cells.push(index);
                    }
                }
                next += 1;
            }
            spots.extend(self.spot(&cells, &off, centre));
        }
        spots
    }

    /// What a group of cells that lack light is as a spot; `None` where it is none.
    fn spot(
        &self,
        cells: &[usize],
        off: &[Option<(f64, f64)>],
        centre: (f64, f64),
    ) -> Option<Spot> {
        let across = 2 * self.reach as usize + 1;
        let all = off.iter().flatten().count() as f64;
        let deepest = cells.iter().filter_map(|&c| off[c]);
        let deepest = deepest.map(|(off, _)| off).fold(0.0, f64::min);
        if cells.len() as f64 > COMPACT * all || -deepest > DEEPEST {
            return None;
        }
        // With the cells around it, where its flanks end.
        let mut whole = cells.to_vec();
        for &cell in cells {
            whole.extend(around(cell, across));
        }
        whole.sort_unstable();
        whole.dedup();
        let (mut missing, mut x, mut y, mut noise) = (0.0, 0.0, 0.0, 0.0);
        let place = |index: usize| {
            let step = |at: usize| at as f64 - f64::from(self.reach);
            (step(index % across), step(index / across))
        };
        for &index in &whole {
            let Some((off, sigma)) = off[index] else {
                continue;
            };
            let lacks = -off;
            noise += sigma * sigma;
            let (dx, dy) = place(index);
            missing += lacks;
            x += lacks * dx;
            y += lacks * dy;
        }
        let (x, y) = (x / missing, y / missing);
        // One on the rim of the even middle is not seen whole.
        if x.hypot(y) > self.rings - RIM {
            return None;
        }
        let radius = (whole.len() as f64 / std::f64::consts::PI).sqrt();
        let is_dark = self.stands_off((x, y), radius) < -self.stands_off((-x, -y), radius).abs();
        let area = self.side * self.side;
        let u = noise.sqrt().hypot(COARSE * missing);
        (missing > 0.0 && is_dark).then(|| Spot {
            x_px: centre.0 + x * self.side,
            y_px: centre.1 + y * self.side,
            radius_px: radius * self.side,
            missing_px2: Measured::new(missing * area, u * area),
        })
    }

    /// Light around a place over that of the cells around these, less one.
    fn stands_off(&self, (x, y): (f64, f64), radius: f64) -> f64 {
        let within = |low: f64, high: f64| {
            let near = self.places().filter(|&(_, dx, dy)| {
                let off = length(dx - x, dy - y);
                length(dx, dy) < self.rings && off >= low && off < high
            });
            near.map(|(index, ..)| self.light[index])
                .collect::<Vec<_>>()
        };
        let inner = within(0.0, (0.6 * radius).max(1.0));
        let around = median(within(radius, radius + 2.0).into_iter());
        if inner.is_empty() || around <= 0.0 {
            return 0.0;
        }
        inner.iter().sum::<f64>() / inner.len() as f64 / around - 1.0
    }
}

fn length(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

/// The cells that touch one, and it; cells that a spot may reach lie well inside the square.
fn around(index: usize, across: usize) -> impl Iterator<Item = usize> {
    let (column, row) = (index % across, index / across);
    let rows = row.saturating_sub(1)..(row + 2).min(across);
    let columns = column.saturating_sub(1)..(column + 2).min(across);
    rows.flat_map(move |row| columns.clone().map(move |column| row * across + column))
}
