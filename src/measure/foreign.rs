//! What is in a target's window and is not the target: hot pixels, glints, neighbours.
//!
//! What is far brighter than its ring is and than its mirror image is either something else or a corner of tape that a half turn does
//! not leave as it is. Tape is led to from the target's middle by light that only falls, and begins as bright; something else
//! stands behind a valley, above the target's own light, or is dimmer all over.

use std::collections::{BTreeSet, BinaryHeap};

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

/// Part of the target's peak that its middle has.
const MIDDLE_PART: f64 = 0.8;
/// How often as bright as the darkest pixel on the way to it a pixel of the tape may be: JPEG makes sharp edges ring by a
/// tenth.
const RISE: f64 = 1.2;

/// Part of the target's peak that a corner of tape reaches.
const TAPE_PART: f64 = 0.35;

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
        let at = ((dx * dx + dy * dy).sqrt() / profile.ring_px) as u32 as usize;
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
    if !others.is_empty() {
        let above = |index: usize| {
            let (x, y) = (index % width, index / width);
            let x = f64::from(patch.window.left) + x as f64;
            let y = f64::from(patch.window.top) + y as f64;
            f64::from(patch.light[index]) - ring.plane.at(x, y)
        };
        let way = ways(patch, centre, radius, profile, &above);
        let led_to = |index: usize| {
            above(index) <= RISE * f64::from(way[index]).min(profile.peak) + least_spare
        };
        let mut tape = BTreeSet::new();
        for group in groups(&others, width) {
            let brightest = group.iter().map(|&index| above(index)).fold(0.0, f64::max);
            if brightest > TAPE_PART * profile.peak && group.iter().all(|&index| led_to(index)) {
                tape.extend(group);
            }
        }
        others.retain(|index| !tape.contains(index));
    }
    if others.is_empty() {
        return 0.0;
    }
    // Its neighbours are touched by it too: softness of the lens and of JPEG.
    let mut touched = BTreeSet::new();
    for &index in &others {
        let (column, row) = (index % width, index / width);
        for r in row.saturating_sub(2)..(row + 3).min(rows) {
            for c in column.saturating_sub(2)..(column + 3).min(width) {
                touched.insert(r * width + c);
            }
        }
    }
    let mut foreign = 0.0;
    let mut replaced = Vec::with_capacity(touched.len());
    for &index in &touched {
        let x = f64::from(patch.window.left) + (index % width) as f64;
        let y = f64::from(patch.window.top) + (index / width) as f64;
        let mirror = mirror(x - centre.0, y - centre.1)
            .map(|(column, row)| row * width + column)
            .filter(|m| !touched.contains(m));
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

/// Pixels that touch each other, at their corners too.
fn groups(pixels: &[usize], width: usize) -> Vec<Vec<usize>> {
    let mut left: BTreeSet<usize> = pixels.iter().copied().collect();
    let mut groups = Vec::new();
    while let Some(first) = left.pop_first() {
        let mut group = vec![first];
        let mut next = 0;
        while let Some(&index) = group.get(next) {
            next += 1;
            for row in [index.checked_sub(width), Some(index), Some(index + width)] {
                let Some(row) = row else { continue };
                let beside = row.saturating_sub(1)..=row + 1;
                group.extend(beside.filter(|other| left.remove(other)));
            }
        }
        groups.push(group);
    }
    groups
}

/// For each pixel of a window the darkest light on the brightest way to it from the target's middle, above the background; 0 where
/// none leads.
fn ways(
    patch: &Patch,
    centre: (f64, f64),
    radius: f64,
    profile: &Profile,
    above: &impl Fn(usize) -> f64,
) -> Vec<f32> {
    let width = patch.width();
    let mut way = vec![0.0_f32; patch.codes.len()];
    let mut open: BinaryHeap<(u32, usize)> = BinaryHeap::new();
    let mut inside = vec![false; patch.codes.len()];
    for_pixels(patch, centre, radius, |index, dx, dy| {
        inside[index] = true;
        let at = ((dx * dx + dy * dy).sqrt() / profile.ring_px) as u32 as usize;
        let ring = profile.high.get(at).copied().unwrap_or(0.0);
        let light = above(index);
        if light > MIDDLE_PART * profile.peak && light < RISE * ring {
            way[index] = light as f32;
            open.push(((light as f32).to_bits(), index));
        }
    });
    // Light above 0 sorts by its bits.
    while let Some((bits, index)) = open.pop() {
        let reached = f32::from_bits(bits);
        if reached < way[index] {
            continue;
        }
        let (column, row) = (index % width, index / width);
        let beside = [
            (column > 0).then(|| index - 1),
            (column + 1 < width).then_some(index + 1),
            (row > 0).then(|| index.wrapping_sub(width)),
            Some(index + width).filter(|&below| below < way.len()),
        ];
        for next in beside.into_iter().flatten().filter(|&next| inside[next]) {
            let light = reached.min(above(next) as f32);
            if light > way[next] {
                way[next] = light;
                open.push((light.to_bits(), next));
            }
        }
    }
    way
}
