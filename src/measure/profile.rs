//! How far a target's light reaches: a coarse map of the light around a place in rings and sixteen sectors.
//!
//! The support of a target ends at the first ring in which at most one sector is still lit. Convex tape and every blur
//! of it is lit to its end in at least two opposite sectors; a glint, a hot pixel or a neighbour beyond a dark gap is
//! not reached, and one that touches the target fills one sector only. What a closed ring of light encloses belongs to the
//! target, be it dark.

use std::iter::StepBy;
use std::slice::Iter;

use super::background::Surface;
use super::{Plane, Samples};

/// Sectors of the map.
pub(super) const SECTORS: usize = 16;
/// Rings of the map, at most.
const RINGS: usize = 64;
/// Pixels looked at along a radius, at most, while a bright target is only located.
const COARSE_STEPS: f64 = 32.0;
/// How many times more at the last look.
const FINER: f64 = 2.0;
/// Peak over a cell's noise below which twice as many pixels are looked at along a radius.
const CLEAR: f64 = 20.0;
/// Part of the peak that the plateau's second-darkest sector reaches.
const PLATEAU_PART: f64 = 0.93;
/// Inner edge of the rings that show the background, as a part of the map's radius.
const OUTER_PART: f64 = 0.75;
/// A ring is dark when its second-brightest sector is below this part of the peak…
const DARK_PART: f64 = 0.015;
/// …or below this many standard deviations of a cell.
const DARK_SIGMA: f64 = 3.0;

/// A ring of light is closed when its second-darkest sector is above this part of the peak.
const CLOSED_PART: f64 = 0.5;

/// The map: background taken out, light per ring and sector.
pub(super) struct Profile {
    /// Width of a ring, px.
    pub(super) ring_px: f64,
    /// Light of the second-brightest sector of each ring, above the background.
    pub(super) high: Vec<f64>,
    /// Radius within which all sectors but one are about as bright as the peak: the plateau.
    pub(super) plateau: f64,
    /// Brightest of `high`.
    pub(super) peak: f64,
    /// Radius at which the light ends; `None` when it goes on to the end of the map.
    pub(super) support: Option<f64>,
    /// Whether the noise of the outer cells, rather than the peak, says where the light ends. If light of the target reaches
    /// these cells, as that of corners of wide tape does, it passes for noise, and the support comes out too short.
    pub(super) by_noise: bool,
    /// Centre of mass of the light within the support, px.
    pub(super) centre: (f64, f64),
    /// Standard deviation of the outer cells.
    noise: f64,
    /// Part of the support that lies inside the picture.
    pub(super) seen: f64,
}

/// How far a tongue of torn tape, narrower than a sector, may stand out of its outline without being something else, px.
const TORN_PX: f64 = 4.0;

/// What one cell holds.
#[derive(Clone, Copy, Default)]
struct Cell {
    light: f64,
    x: f64,
    y: f64,
    count: f64,
}

impl Profile {
    /// Maps the light around (x, y) out to `radius` px, from as few pixels as show the target clearly, or from a fixed
    /// finer grid when it is the `last` look.
    pub(super) fn of(plane: &Plane, place: (f64, f64), radius: f64, last: bool) -> Option<Self> {
        let mut step = ((radius / (COARSE_STEPS * if last { FINER } else { 1.0 })) as usize).max(1);
        loop {
            let profile = Self::with_step(plane, place, radius, step)?;
            if step == 1 || profile.peak > CLEAR * profile.noise {
                return Some(profile);
            }
            step /= 2;
        }
    }

    fn with_step(plane: &Plane, (x, y): (f64, f64), radius: f64, step: usize) -> Option<Self> {
        let rings = RINGS.min(radius.ceil() as usize / step).max(4);
        let ring_px = radius / rings as f64;
        // One ring more, for what lies on the circle itself.
        let mut cells = vec![Cell::default(); (rings + 1) * SECTORS];
        let size = (plane.width() as usize, plane.height() as usize);
        let tables = &plane.tables().light;
        let light = |code: usize| f64::from(tables[code]);
        match plane.samples() {
            Samples::Eight(codes) => visit(codes, size, (x, y), radius, step, |row, codes| {
                row.add_to(&mut cells, ring_px, codes.map(|code| light((*code).into())));
            }),
            Samples::Sixteen(codes) => visit(codes, size, (x, y), radius, step, |row, codes| {
                row.add_to(&mut cells, ring_px, codes.map(|code| light((*code).into())));
            }),
        }
        cells.truncate(rings * SECTORS);
        Self::read(&cells, rings, ring_px, step as f64, (x, y))
    }

    fn read(
        cells: &[Cell],
        rings: usize,
        ring_px: f64,
        step: f64,
        (x, y): (f64, f64),
    ) -> Option<Self> {
        let mean = |cell: &Cell| {
            (
                cell.x / cell.count,
                cell.y / cell.count,
                cell.light / cell.count,
            )
        };
        let outer = (OUTER_PART * rings as f64) as usize * SECTORS;
        let samples: Vec<_> = cells[outer..]
            .iter()
            .filter(|c| c.count > 0.0)
            .map(mean)
            .collect();
        if samples.len() < 6 {
            return None;
        }
        let background = Surface::fit(&samples, 1, 3.0, 1e-5);
        let above = |cell: &Cell| {
            let (dx, dy, light) = mean(cell);
            light - background.at(dx, dy)
        };
        let (mut high, mut low): (Vec<f64>, Vec<f64>) = (Vec::new(), Vec::new());
        for ring in cells.chunks(SECTORS) {
            let (second, last_but_one) = seconds(ring.iter().filter(|c| c.count > 0.0).map(above));
            high.push(second);
            low.push(last_but_one);
        }
        let inner = high[..(rings / 2).max(1)].iter().enumerate();
        let (brightest, &peak) = inner.max_by(|a, b| a.1.total_cmp(b.1))?;
        let peak = peak.max(0.0);
        let noise = background.noise;
        // A hole in the middle of a closed ring of light belongs to the target: the blur of a lens with a mirror in its way.
        let closed = low[brightest] > CLOSED_PART * peak;
        let begin = if closed { brightest.max(1) } else { 1 };
        let noisy = |ring: usize| {
            // Inner cells hold fewer pixels than the outer ones that the noise was seen in.
            let scale = (rings as f64 * 0.88 / (ring as f64 + 0.5)).sqrt();
            DARK_SIGMA * noise * scale
        };
        let dark = DARK_PART * peak;
        let support_ring = (begin..rings).find(|&ring| high[ring] < dark.max(noisy(ring)));
        let support = support_ring
            .filter(|&ring| (ring as f64) < OUTER_PART * rings as f64)
            .map(|ring| ring as f64 * ring_px);
        let plateau_rings = low
            .iter()
            .take_while(|&&light| light > PLATEAU_PART * peak - noise)
            .count();
        let within = support_ring.unwrap_or(rings);
        let (mut flux, mut mx, mut my, mut seen) = (0.0, 0.0, 0.0, 0.0);
        for (index, cell) in cells[..within * SECTORS]
            .iter()
            .enumerate()
            .filter(|(_, c)| c.count > 0.0)
        {
            // A cell far brighter than its ring is something else on the target.
            let light = above(cell).min(1.5 * high[index / SECTORS].max(0.0)) * cell.count;
            flux += light;
            mx += light * cell.x / cell.count;
            my += light * cell.y / cell.count;
            seen += cell.count;
        }
        let area = std::f64::consts::PI * (within as f64 * ring_px / step).powi(2);
        let centre = if flux > 0.0 {
            (x + mx / flux, y + my / flux)
        } else {
            (x, y)
        };
        Some(Self {
            ring_px,
            high,
            plateau: plateau_rings as f64 * ring_px,
            peak,
            support,
            by_noise: support_ring.is_some_and(|ring| noisy(ring) > dark),
            centre,
            noise,
            seen: (seen / area).min(1.0),
        })
    }

    /// Light to be expected at most in each ring, above the background: the brightest of it and of those around it, as far
    /// as torn tape protrudes.
    pub(super) fn most_by_ring(&self) -> Vec<f64> {
        let reach = ((TORN_PX / self.ring_px).round() as usize).max(1);
        (0..self.high.len())
            .map(|ring| {
                let around = ring.saturating_sub(reach)..(ring + reach + 1).min(self.high.len());
                self.high[around].iter().copied().fold(0.0, f64::max)
            })
            .collect()
    }
}

/// The second-largest and the second-smallest value. The innermost rings have less than a pixel a sector: one value is both, and of
/// none it is 0.
fn seconds(values: impl Iterator<Item = f64>) -> (f64, f64) {
    let (mut high, mut low) = ([f64::NEG_INFINITY; 2], [f64::INFINITY; 2]);
    let mut count = 0;
    for value in values {
        count += 1;
        high[1] = high[1].max(value.min(high[0]));
        high[0] = high[0].max(value);
        low[1] = low[1].min(value.max(low[0]));
        low[0] = low[0].min(value);
    }
    match count {
        0 => (0.0, 0.0),
        1 => (high[0], low[0]),
        _ => (high[1], low[1]),
    }
}

/// Which sixteenth of the circle a direction falls into; neighbours in number are not neighbours in place.
fn sector(dx: f32, dy: f32) -> i32 {
    const TANGENTS: [f32; 3] = [0.414_213_57, 1.0, 2.414_213_7];
    let (ax, ay) = (dx.abs(), dy.abs());
    let [first, second, third] = TANGENTS.map(|tangent| i32::from(ay > tangent * ax));
    i32::from(dx < 0.0) * 8 + i32::from(dy < 0.0) * 4 + first + second + third
}

/// Pixels of a row that are looked at, from a place relative to the middle on, one every `step`.
struct Row {
    dx: f64,
    dy: f64,
    step: usize,
}

impl Row {
    /// Adds their light to the cells that they lie in. First all cells are found, which goes for several pixels at once.
    fn add_to(&self, cells: &mut [Cell], ring_px: f64, light: impl ExactSizeIterator<Item = f64>) {
        let (dx, dy, step) = (self.dx as f32, self.dy as f32, self.step as f32);
        let rings_a_px = (1.0 / ring_px) as f32;
        let cell = |index: i32| {
            let dx = dx + index as f32 * step;
            let ring = ((dx * dx + dy * dy).sqrt() * rings_a_px) as i32;
            ring * SECTORS as i32 + sector(dx, dy)
        };
        let within: Vec<i32> = (0..light.len() as i32).map(cell).collect();
        let mut dx = self.dx;
        for (light, cell) in light.zip(within) {
            if let Some(cell) = cells.get_mut(cell as usize) {
                cell.light += light;
                cell.x += dx;
                cell.y += self.dy;
                cell.count += 1.0;
            }
            dx += self.step as f64;
        }
    }
}

fn visit<T>(
    codes: &[T],
    (width, height): (usize, usize),
    (x, y): (f64, f64),
    radius: f64,
    step: usize,
    mut each: impl FnMut(Row, StepBy<Iter<'_, T>>),
) {
    let first = |middle: f64| (middle - radius).ceil().max(0.0) as usize;
    let end = |middle: f64, reach: f64, size: usize| {
        ((middle + reach).floor() + 1.0).clamp(0.0, size as f64) as usize
    };
    for row in (first(y)..end(y, radius, height)).step_by(step) {
        let dy = row as f64 - y;
        // Of the square's grid, what lies in the circle.
        let half = (radius * radius - dy * dy).max(0.0).sqrt();
        let left = first(x);
        let before = (x - half).ceil().max(left as f64) as usize - left;
        let columns = left + before.next_multiple_of(step)..end(x, half, width);
        let dx = columns.start as f64 - x;
        if let Some(line) = codes[row * width..(row + 1) * width].get(columns) {
            each(Row { dx, dy, step }, line.iter().step_by(step));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn disc(glint: bool) -> Plane {
        let codes = (0..200 * 200).map(|i: i32| {
            let (x, y) = (i % 200 - 90, i / 200 - 110);
            let lit = x * x + y * y <= 40 * 40;
            let spark = glint && (x - 60).pow(2) + (y - 10).pow(2) <= 16;
            if spark {
                255
            } else if lit {
                120
            } else {
                5
            }
        });
        Plane::new(200, 200, Samples::Eight(codes.collect())).expect("right count")
    }

    #[test]
    fn support_ends_with_the_disc_and_not_with_a_glint_beside_it() {
        for glint in [false, true] {
            let profile = Profile::of(&disc(glint), (92.0, 108.0), 90.0, true).expect("inside");
            let support = profile.support.expect("ends inside the map");
            // 40 px, and 3 px of starting off centre, and a ring of 1.5 px.
            assert!((40.0..46.0).contains(&support), "{support}");
            assert!(
                (profile.centre.0 - 90.0).abs() < 0.7,
                "{:?}",
                profile.centre
            );
            assert!(
                (profile.centre.1 - 110.0).abs() < 0.7,
                "{:?}",
                profile.centre
            );
        }
    }

    #[test]
    fn sectors_are_sixteen_and_even() {
        let mut counts = [0; SECTORS];
        for degree in 0..1440 {
            let (s, c) = (degree as f32 / 4.0 + 0.1).to_radians().sin_cos();
            counts[sector(c, s) as usize] += 1;
        }
        assert!(
            counts.iter().all(|&count| (89..=91).contains(&count)),
            "{counts:?}"
        );
    }
}
