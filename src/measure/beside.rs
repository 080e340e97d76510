//! Faint light beside a target, too faint to be taken for a part of it: a reflected copy, a fold, the foot of a lamp.
//!
//! Where a target is sharp its window is small, and such light lies outside. Where it is blurred the window is wide, holds the
//! light and is pulled by it. So what lies around a narrow target, within the wider windows of other frames, is summed here:
//! the first moments, over the target's light, of a disc without the target, less the plane that a ring around it would
//! show. All is done in the reduced picture's blocks, whose codes are as good as straight in light so near to one level.

use super::empty::Laid;
use super::luminance::{Tables, slope_at};
use super::reduced::Reduced;
use super::ring;
use super::target::Beside;
use crate::units::Measured;

/// How far beyond its window a target may still show in a block, blocks.
const SOFT_BLOCKS: f64 = 0.5;
/// Ratio of one disc's radius to that of the next smaller.
const WIDER: f64 = 1.3;
/// Outer radius of a ring over that of its disc, at most, and how much wider it is at the least, blocks.
const RING: (f64, f64) = (1.5, 2.0);
/// Standard uncertainties from which light is looked up, without what stands out of the ring.
const WORTH_A_LOOK: f64 = 2.0;
/// Light in parts of the target's peak from which something else stands beside it, that is no faint light.
const OCCUPIED_PART: f64 = 0.35;
/// Largest outer radius, blocks.
const MOST_BLOCKS: usize = 30;

/// Sums over the blocks of rings of one block, out to a radius.
#[derive(Clone, Copy, Default)]
struct Sums {
    /// Blocks.
    count: f64,
    /// Codes.
    code: f64,
    /// Place along x times code.
    x: f64,
    /// Place along y times code.
    y: f64,
    /// Square of the place along x.
    square: f64,
}

impl Sums {
    fn less(self, other: Self) -> Self {
        Self {
            count: self.count - other.count,
            code: self.code - other.code,
            x: self.x - other.x,
            y: self.y - other.y,
            square: self.square - other.square,
        }
    }
}

/// First moments of what lies around a target, in discs of growing radius; none for a wide target, or one near the edge.
pub(super) fn beside(reduced: &Reduced, tables: &Tables, laid: &Laid) -> Vec<Beside> {
    let side = f64::from(reduced.block);
    let column = reduced.to_blocks(laid.centre.0).round();
    let row = reduced.to_blocks(laid.centre.1).round();
    let room = [
        column,
        row,
        reduced.width as f64 - 2.0 - column,
        reduced.height as f64 - 2.0 - row,
    ];
    let reach = room.into_iter().fold(MOST_BLOCKS as f64, f64::min);
    let hole = (laid.radius / side + SOFT_BLOCKS).floor();
    if !reach.is_finite() || hole + 2.0 * RING.1 > reach {
        return Vec::new();
    }
    let within = sums(reduced, (column as usize, row as usize), reach as usize);
    let target = within[hole as usize];
    let mut found = Vec::new();
    let mut radius = (hole + RING.1).max(WIDER * laid.radius / side).ceil();
    loop {
        let outer = (RING.0 * radius).floor().min(reach);
        if outer < radius + RING.1 {
            return found;
        }
        let disc = within[radius as usize].less(target);
        let ring = within[outer as usize].less(within[radius as usize]);
        // Both are even about the middle, so the plane through the ring leaves so much of what the ring holds.
        let weight = disc.square / ring.square;
        let code = (ring.code / ring.count) as f32;
        let slope = slope_at(f64::from(tables.light_of_mean(code)));
        let to_px = slope * side.powi(3) / laid.flux;
        let square = disc.square + weight * weight * ring.square;
        let noise = (laid.pixel_variance * square).sqrt() * side * side / laid.flux;
        // The disc's middle is a block's and not the target's: light that is even about the target lies askew in it.
        let level = ring.code / ring.count;
        let above = |k: f64| {
            let at = within[k as usize].less(within[k as usize - 1]);
            let area = std::f64::consts::PI * (k + 0.5).powi(2);
            (at.code / at.count - level) * area
        };
        let even = disc.code - level * disc.count + above(hole + 1.0) - above(radius);
        let quickly = |disc: f64, ring: f64| to_px * (disc - weight * ring);
        let mut pull = (quickly(disc.x, ring.x), quickly(disc.y, ring.y));
        if pull.0.hypot(pull.1) > WORTH_A_LOOK * noise {
            let radii = (hole, radius, outer);
            let spare = OCCUPIED_PART * laid.peak;
            let Some(seen) = as_measured(reduced, tables, (column, row), radii, spare) else {
                return found;
            };
            let to_px = side.powi(3) / laid.flux;
            pull = (to_px * seen.0, to_px * seen.1);
        }
        pull.0 += to_px * even * (column - reduced.to_blocks(laid.centre.0));
        pull.1 += to_px * even * (row - reduced.to_blocks(laid.centre.1));
        found.push(Beside {
            radius_px: radius * side,
            x_px: Measured::new(pull.0, noise),
            y_px: Measured::new(pull.1, noise),
        });
        radius = (WIDER * radius).ceil();
    }
}

/// First moments along x and y, blocks × light, of the blocks beyond one radius and within another, less the plane through those
/// from there to a third, without what stands out of them, as a target's own ring is read; `None` where something as bright
/// as a target stands in the disc: it would be taken out of the target's window.
fn as_measured(
    reduced: &Reduced,
    tables: &Tables,
    (column, row): (f64, f64),
    (hole, radius, outer): (f64, f64, f64),
    spare: f64,
) -> Option<(f64, f64)> {
    let reach = outer as i32;
    let (mut disc, mut ring) = (Vec::new(), Vec::new());
    for dy in -reach..=reach {
        for dx in -reach..=reach {
            let (dx, dy) = (f64::from(dx), f64::from(dy));
            let off = (dx.hypot(dy) + 0.5).floor();
            if off <= hole || off > outer {
                continue;
            }
            let index = (row + dy) as usize * reduced.width + (column + dx) as usize;
            let light = f64::from(tables.light_of_mean(reduced.mean[index]));
            let kind = if off > radius { &mut ring } else { &mut disc };
            kind.push((dx, dy, light));
        }
    }
    let plane = ring::plane(&ring)?;
    let (mut x, mut y) = (0.0, 0.0);
    for (dx, dy, light) in disc {
        let above = light - plane.at(dx, dy);
        if above > spare {
            return None;
        }
        x += dx * above;
        y += dy * above;
    }
    Some((x, y))
}

/// Sums over all blocks nearer to one than each whole radius and a half.
fn sums(reduced: &Reduced, (column, row): (usize, usize), reach: usize) -> Vec<Sums> {
    let mut rings = vec![Sums::default(); reach + 1];
    for (line, dy) in (row - reach..=row + reach).zip(-(reach as f64) as i32..) {
        let start = line * reduced.width + column;
        let half = (reach * reach) as f64 - f64::from(dy * dy);
        let half = half.max(0.0).sqrt() as usize;
        let blocks = &reduced.mean[start - half..=start + half];
        for (&code, dx) in blocks.iter().zip(-(half as f64) as i32..) {
            let off = f64::from(dx * dx + dy * dy).sqrt();
            let ring = &mut rings[((off + 0.5) as usize).min(reach)];
            let (dx, dy, code) = (f64::from(dx), f64::from(dy), f64::from(code));
            ring.count += 1.0;
            ring.code += code;
            ring.x += dx * code;
            ring.y += dy * code;
            ring.square += dx * dx;
        }
    }
    let mut all = Sums::default();
    for ring in &mut rings {
        all = Sums {
            count: all.count + ring.count,
            code: all.code + ring.code,
            x: all.x + ring.x,
            y: all.y + ring.y,
            square: all.square + ring.square,
        };
        *ring = all;
    }
    rings
}
