//! Bright regions of the reduced picture: where targets may be, whatever their size.
//!
//! Background is taken out as a robust surface of second order. What stands out of it falls into islands; each island
//! is peeled into regions from its peaks down: a region is what is connected to a peak and at least half as bright, with
//! its skirts. Half the peak fits a sharp patch of tape and a wide faint disc alike, and a glint beside or upon a target
//! is peeled off before it instead of being mixed into it.

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};

use super::Plane;
use super::background::Surface;
use super::reduced::Reduced;

/// A place where a target may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Seed {
    /// Centre, px.
    pub(super) x: f64,
    /// Centre, px.
    pub(super) y: f64,
    /// Rough second moment per axis, px².
    pub(super) variance: f64,
    /// Rough light above background × compactness, in fully lit pixels: what seeds are ordered by.
    strength: f64,
}

/// Seeds that are measured at most; more bright things than this are clutter.
const MOST_SEEDS: usize = 32;
/// Peaks peeled off one island at most.
const MOST_PEAKS: usize = 12;
/// Contrast that counts, in standard deviations of block means.
const THRESHOLD_SIGMA: f64 = 5.0;
/// Least contrast that counts, 8-bit codes: on a smooth background JPEG moves whole blocks by a step of their mean, an eighth of the
/// first entry of its table, a code and a half at quality 60, which is rounded to codes.
const LEAST_CONTRAST: f64 = 2.2;
/// Samples that the background surface is fitted to, at most.
const SURFACE_SAMPLES: usize = 1200;

/// Finds the places where targets may be, the strongest first.
pub(super) fn seeds(plane: &Plane, reduced: &Reduced) -> Vec<Seed> {
    let (width, height) = (reduced.width, reduced.height);
    let stride = (reduced.mean.len() / SURFACE_SAMPLES).max(1);
    // Every `stride`-th block, shifted from row to row so that no column is favoured.
    let mut samples: Vec<(f64, f64, f64)> = Vec::with_capacity(2 * SURFACE_SAMPLES + height);
    for (y, row) in reduced.mean.chunks_exact(width).enumerate() {
        let first = (y * 7) % stride;
        let chosen = (first..width).step_by(stride);
        samples.extend(chosen.map(|x| (x as f64, y as f64, f64::from(row[x]))));
    }
    let surface = Surface::fit(&samples, 2, 3.0, 0.2);
    let threshold = (THRESHOLD_SIGMA * surface.noise).max(LEAST_CONTRAST) as f32;

    // Contrast in linear light where it counts, 0 elsewhere.
    let tables = plane.tables();
    let mut contrast = vec![0.0_f32; width * height];
    let rows = reduced.mean.chunks_exact(width);
    let outs = contrast.chunks_exact_mut(width);
    let mut standing = Vec::new();
    let mut levels = vec![0.0; width];
    for (y, (row, outs)) in rows.zip(outs).enumerate() {
        surface.along(y as f64, &mut levels);
        for (x, ((&mean, &level), out)) in row.iter().zip(&levels).zip(outs).enumerate() {
            if mean - level > threshold {
                *out = tables.light_of_mean(mean) - tables.light_of_mean(level);
                standing.push(y * width + x);
            }
        }
    }
    let mut found = Peeling::new(reduced, contrast).peel(&standing);
    found.sort_by(|a, b| b.strength.total_cmp(&a.strength));
    found.truncate(MOST_SEEDS);
    found
}

/// Blocks of each island, taken off it region by region.
struct Peeling<'a> {
    reduced: &'a Reduced,
    contrast: Vec<f32>,
    taken: Vec<bool>,
}

impl<'a> Peeling<'a> {
    fn new(reduced: &'a Reduced, contrast: Vec<f32>) -> Self {
        let taken = vec![false; contrast.len()];
        Self {
            reduced,
            contrast,
            taken,
        }
    }

    /// Regions of the blocks that stand out, island by island.
    fn peel(&mut self, standing: &[usize]) -> Vec<Seed> {
        let mut members = self.islands(standing);
        let mut seeds = Vec::new();
        for island in &mut members {
            // Brightest first; equal ones in reading order, so the result never depends on chance.
            island.sort_by(|&a, &b| {
                self.contrast[b]
                    .total_cmp(&self.contrast[a])
                    .then(a.cmp(&b))
            });
            let mut peaks = 0;
            for &peak in island.iter() {
                if peaks == MOST_PEAKS {
                    break;
                }
                if !self.taken[peak] {
                    seeds.push(self.region(peak));
                    peaks += 1;
                }
            }
        }
        seeds
    }

    /// Blocks that touch each other, at their corners too.
    fn islands(&self, standing: &[usize]) -> Vec<Vec<usize>> {
        let (Some(first), Some(last)) = (standing.first(), standing.last()) else {
            return Vec::new();
        };
        // In reading order they are, so that rows above and below need not be looked at. Sides are even, as labelling has
        // room for half as many labels as there are blocks.
        let width = self.reduced.width;
        let (top, rows) = (first / width, last / width - first / width + 1);
        let side = width.next_multiple_of(2);
        let mut mask = GrayImage::new(side as u32, rows.next_multiple_of(2) as u32);
        let place = |at: usize| (at / width - top) * side + at % width;
        for &at in standing {
            mask.as_mut()[place(at)] = u8::MAX;
        }
        let labels = connected_components(&mask, Connectivity::Eight, Luma([0]));
        let mut islands = Vec::new();
        for &at in standing {
            let label = labels.as_raw()[place(at)] as usize;
            if islands.len() < label {
                islands.resize_with(label, Vec::new);
            }
            islands[label - 1].push(at);
        }
        islands
    }

    /// Takes the region of a peak: all connected to it that is at least half as bright, then the skirts that fall away from it.
    fn region(&mut self, peak: usize) -> Seed {
        let half = self.contrast[peak] / 2.0;
        let mut region = vec![peak];
        self.taken[peak] = true;
        let mut next = 0;
        while let Some(&at) = region.get(next) {
            next += 1;
            for near in self.neighbours(at) {
                if !self.taken[near] && self.contrast[near] >= half {
                    self.taken[near] = true;
                    region.push(near);
                }
            }
        }
        let seed = self.seed(&region);
        let mut next = 0;
        while let Some(&at) = region.get(next) {
            next += 1;
            for near in self.neighbours(at) {
                let light = self.contrast[near];
                if !self.taken[near] && light > 0.0 && light < half && light <= self.contrast[at] {
                    self.taken[near] = true;
                    region.push(near);
                }
            }
        }
        seed
    }

    fn neighbours(&self, at: usize) -> impl Iterator<Item = usize> + use<> {
        let (width, height) = (self.reduced.width, self.reduced.height);
        let (x, y) = (at % width, at / width);
        let columns = x.saturating_sub(1)..=(x + 1).min(width - 1);
        (y.saturating_sub(1)..=(y + 1).min(height - 1))
            .flat_map(move |row| columns.clone().map(move |column| row * width + column))
            .filter(move |&near| near != at)
    }

    fn seed(&self, region: &[usize]) -> Seed {
        let width = self.reduced.width;
        let weighted = |of: &dyn Fn(f64, f64) -> f64| -> f64 {
            region
                .iter()
                .map(|&at| {
                    f64::from(self.contrast[at]) * of((at % width) as f64, (at / width) as f64)
                })
                .sum()
        };
        let flux = weighted(&|_, _| 1.0);
        let (x, y) = (weighted(&|x, _| x) / flux, weighted(&|_, y| y) / flux);
        let (xx, yy) = (
            weighted(&|u, _| (u - x).powi(2)) / flux + 1.0 / 12.0,
            weighted(&|_, v| (v - y).powi(2)) / flux + 1.0 / 12.0,
        );
        let side = f64::from(self.reduced.block);
        // 1 for a uniform disc, less for anything ragged, hollow or long.
        let compactness =
            (region.len() as f64 / (4.0 * std::f64::consts::PI * (xx + yy) / 2.0)).min(1.0);
        Seed {
            x: self.reduced.to_picture(x),
            y: self.reduced.to_picture(y),
            variance: (xx + yy) / 2.0 * side * side,
            strength: flux * side * side * compactness,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::Samples;

    /// Steps of block means, as JPEG leaves them on a smooth background, are no places to look at; tape is.
    #[test]
    fn steps_of_block_means_are_no_seeds() {
        let (width, height) = (640_usize, 400_usize);
        let mut codes = vec![20_u8; width * height];
        for (at, code) in codes.iter_mut().enumerate() {
            let (x, y) = (at % width, at / width);
            // Every seventh block by one code, every 31st by two.
            let block = (x / 8) + 83 * (y / 8);
            *code += u8::from(block % 7 == 0) + u8::from(block % 31 == 0);
            if (180..220).contains(&y) && ((60..90).contains(&x) || (550..580).contains(&x)) {
                *code = 200;
            }
        }
        let plane =
            Plane::new(width as u32, height as u32, Samples::Eight(codes)).expect("a picture");
        let seeds = seeds(&plane, &Reduced::of(&plane));
        let places: Vec<f64> = seeds.iter().map(|seed| seed.x.round()).collect();
        assert_eq!(seeds.len(), 2, "{places:?}");
        // Blocks at the rim that are less than half lit are not part of a seed.
        for middle in [74.5, 564.5] {
            assert!(
                seeds.iter().any(|seed| (seed.x - middle).abs() < 4.0),
                "{places:?}"
            );
        }
    }
}
