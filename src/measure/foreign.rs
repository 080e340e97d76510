//! What is in a target's window and is not the target: hot pixels, glints, neighbours.

use super::luminance::Patch;
use super::moments::for_pixels;
use super::profile::Profile;
use super::ring::Ring;

/// Part of its ring's brightest light by which a pixel may exceed it without being something else.
const EXCESS_PART: f64 = 0.35;
/// The same in parts of the target's peak, and in standard deviations.
const EXCESS_PEAK: f64 = 0.06;
/// See `EXCESS_PART`.
const EXCESS_SIGMA: f64 = 6.0;

/// Replaces pixels that are something else (a hot pixel, a glint, a neighbour) by their mirror images through the
/// centre; returns the light taken out.
pub(super) fn mask(
    patch: &mut Patch,
    centre: (f64, f64),
    radius: f64,
    profile: &Profile,
    ring: &Ring,
) -> f64 {
    let width = patch.width();
    let rows = patch.codes.len() / width;
    let sigma = ring.pixel_variance.max(0.0).sqrt();
    let mirror = |dx: f64, dy: f64| {
        let column = (centre.0 - dx).round() - f64::from(patch.window.left);
        let row = (centre.1 - dy).round() - f64::from(patch.window.top);
        let inside = column >= 0.0 && row >= 0.0 && column < width as f64 && row < rows as f64;
        inside.then_some((column as usize, row as usize))
    };
    let brightest_around = |(column, row): (usize, usize)| {
        (row.saturating_sub(1)..(row + 2).min(rows))
            .flat_map(|r| {
                (column.saturating_sub(1)..(column + 2).min(width)).map(move |c| r * width + c)
            })
            .map(|index| f64::from(patch.light[index]))
            .fold(0.0, f64::max)
    };
    // What exceeds the spare of the darkest pixel is looked at more closely.
    let least_spare = EXCESS_PEAK * profile.peak + EXCESS_SIGMA * sigma;
    let most = profile.most_by_ring();
    let mut others = Vec::new();
    for_pixels(patch, centre, radius, |index, dx, dy| {
        let background = ring.plane.at(centre.0 + dx, centre.1 + dy);
        let above = f64::from(patch.light[index]) - background;
        if above <= least_spare {
            return;
        }
        let at = ((dx * dx + dy * dy).sqrt() / profile.ring_px) as usize;
        let most = most.get(at).copied().unwrap_or(0.0);
        if above <= (1.0 + EXCESS_PART) * most + least_spare {
            return;
        }
        let slope = f64::from(patch.tables.slope[usize::from(patch.codes[index])]);
        let spare = least_spare + EXCESS_SIGMA * 2.0 * slope;
        let exceeds = |most: f64| above > (1.0 + EXCESS_PART) * most.max(0.0) + spare;
        if exceeds(most) && mirror(dx, dy).is_none_or(|m| exceeds(brightest_around(m) - background))
        {
            others.push(index);
        }
    });
    if others.is_empty() {
        return 0.0;
    }
    // Its neighbours are touched by it too: softness of the lens and of JPEG.
    let mut touched = std::collections::BTreeMap::new();
    for &index in &others {
        let (column, row) = (index % width, index / width);
        for r in row.saturating_sub(2)..(row + 3).min(rows) {
            for c in column.saturating_sub(2)..(column + 3).min(width) {
                touched.insert(r * width + c, ());
            }
        }
    }
    let mut foreign = 0.0;
    let mut replaced = Vec::with_capacity(touched.len());
    for &index in touched.keys() {
        let x = f64::from(patch.window.left) + (index % width) as f64;
        let y = f64::from(patch.window.top) + (index / width) as f64;
        let mirror = mirror(x - centre.0, y - centre.1)
            .map(|(column, row)| row * width + column)
            .filter(|m| !touched.contains_key(m));
        let light = mirror.map_or(ring.plane.at(x, y) as f32, |m| patch.light[m]);
        foreign += f64::from(patch.light[index] - light).abs();
        replaced.push((index, light, mirror.map_or(0, |m| patch.codes[m])));
    }
    for (index, light, code) in replaced {
        patch.light[index] = light;
        patch.codes[index] = code;
    }
    foreign
}
