//! What an uneven background does to a centre, seen where there is no target: folds of cloth, the dim edge of a card.
//!
//! A plane through the ring takes out what is level or sloped. What bends within the window stays in the sums as if it were
//! light of the target, and moves the centre by its first moment over the target's light. How much that is can't be seen
//! through the target, but the same window and ring can be laid on the empty background above and below it, in the same
//! upright band, so that an upright edge lies in it as it does in the target's own window. The mean square of the first
//! moments found there, less what the noise explains that the centre's own uncertainty holds already (the ring's scatter,
//! which sees a part of the unevenness too), is the variance that the background adds.
//!
//! All is summed over the reduced picture's blocks: what is uneven on a finer scale evens out in a window. Each place is
//! first read in codes, in which the sums are quick; only where that shows more than noise, light is looked up and the
//! plane is fitted as the target's own is, without what stands out of the ring.

use super::luminance::{Tables, slope_at};
use super::reduced::Reduced;
use super::ring;
use super::target::Uneven;
use crate::units::Measured;

/// Places looked at above a target, and below it.
const PLACES_A_SIDE: usize = 3;
/// Least radius of a window, blocks: smaller ones are too coarse, and gather little of any background.
const LEAST_RADIUS: f64 = 2.0;
/// How far a place may lie beside the target's own column so that its ring lies in the picture, in window radii.
const MOST_ASIDE: f64 = 0.5;
/// Mean squares along both axes together, less noise and in its variances, from which light is looked up.
const WORTH_A_LOOK: f64 = 2.0;
/// Light above the plane, in parts of the target's peak, from which something else stands in a window: it would be taken out of
/// the target's.
const OCCUPIED_PART: f64 = 0.35;
/// A first moment this many times the root mean square of the others is something else, too.
const ODD_ONE: f64 = 3.0;
/// Fewest moments among which one can be odd.
const FEWEST_TO_JUDGE: usize = 4;

/// A target's window: what is laid on the empty places.
pub(super) struct Laid {
    /// Its middle, px.
    pub(super) centre: (f64, f64),
    /// Radius at which the target's light ends, px.
    pub(super) support: f64,
    /// Radius of the window, px.
    pub(super) radius: f64,
    /// Outer radius of the ring, px.
    pub(super) outer: f64,
    /// Light of the target, fully lit pixels.
    pub(super) flux: f64,
    /// Its brightest light above the background.
    pub(super) peak: f64,
    /// Effective variance of a pixel of the background, light².
    pub(super) pixel_variance: f64,
}

/// Lays the window on the empty places; `None` where there are fewer than two.
pub(super) fn uneven(reduced: &Reduced, tables: &Tables, laid: &Laid) -> Option<Uneven> {
    let side = f64::from(reduced.block);
    let stencil = Stencil::of(laid.radius / side, laid.outer / side)?;
    let places = places(reduced, laid, &stencil)?;
    // Sums over blocks, in blocks, to sums over pixels, in px.
    let to_px = side.powi(3) / laid.flux;
    let noise = laid.pixel_variance * side.powi(4) * stencil.square / (laid.flux * laid.flux);
    let read = |moments: &dyn Fn((usize, usize)) -> Option<(f64, f64)>| {
        let found: Vec<(f64, f64)> = places.iter().filter_map(|&place| moments(place)).collect();
        let along = |of: fn(&(f64, f64)) -> f64| {
            let squares = found.iter().map(|moment| (of(moment) * to_px).powi(2));
            beyond(squares.collect(), noise)
        };
        Some(Uneven {
            x_px2: along(|moments| moments.0)?,
            y_px2: along(|moments| moments.1)?,
        })
    };
    let quickly = read(&|place| Some(stencil.quickly(reduced, tables, place)))?;
    if quickly.x_px2.value + quickly.y_px2.value < WORTH_A_LOOK * noise {
        return Some(quickly);
    }
    read(&|place| stencil.as_measured(reduced, tables, place, OCCUPIED_PART * laid.peak))
}

/// The blocks around which the window is laid: nearest above and below where it holds no light of the target, then farther.
fn places(reduced: &Reduced, laid: &Laid, stencil: &Stencil) -> Option<Vec<(usize, usize)>> {
    let side = f64::from(reduced.block);
    let (x, y) = (
        reduced.to_blocks(laid.centre.0),
        reduced.to_blocks(laid.centre.1).round(),
    );
    let reach = stencil.reach as f64;
    let (columns, rows) = (reduced.width as f64, reduced.height as f64);
    let column = x.round().clamp(reach, (columns - 1.0 - reach).max(reach));
    let aside = (column - x).abs();
    if aside > (MOST_ASIDE * laid.radius / side).max(1.0) || column + reach >= columns {
        return None;
    }
    let first = (laid.support / side).ceil() + reach + 1.0;
    let step = (2.0 * laid.radius / side).ceil();
    let away = (0..PLACES_A_SIDE).map(|k| first + k as f64 * step);
    let held = |row: &f64| *row >= reach && row + reach < rows;
    Some(
        away.flat_map(|away| [y - away, y + away])
            .filter(held)
            .map(|row| (column as usize, row as usize))
            .collect(),
    )
}

/// What the mean of squares has beyond noise of this variance, and its standard uncertainty if it is that noise alone.
fn beyond(mut squares: Vec<f64>, noise: f64) -> Option<Measured> {
    squares.sort_by(f64::total_cmp);
    let mean = |squares: &[f64]| squares.iter().sum::<f64>() / squares.len() as f64;
    if let Some((most, rest)) = squares.split_last()
        && squares.len() >= FEWEST_TO_JUDGE
        && *most > ODD_ONE * ODD_ONE * mean(rest).max(noise)
    {
        squares.pop();
    }
    let count = squares.len() as f64;
    (squares.len() > 1).then(|| Measured::new(mean(&squares) - noise, noise * (2.0 / count).sqrt()))
}

/// Window and ring in blocks, their middle on the middle of a block. As both are even about it, the plane through the ring
/// leaves Σ x·I over the window less Σ x·I over the ring times w = (Σ x² of the window / Σ x² of the ring).
struct Stencil {
    /// Rows above the middle one, and below it.
    reach: usize,
    /// For each row from the topmost: half of its width within the window (if any), and half within the ring's outer edge.
    rows: Vec<(Option<usize>, usize)>,
    /// Blocks of window and ring.
    count: f64,
    /// Σ x² of the window.
    within: f64,
    /// Weight w of the ring.
    weight: f64,
    /// Sum of the squared weights along one axis.
    square: f64,
}

impl Stencil {
    fn of(radius: f64, outer: f64) -> Option<Self> {
        if radius < LEAST_RADIUS || !outer.is_finite() {
            return None;
        }
        let reach = outer.floor() as usize;
        let half = |radius: f64, dy: f64| {
            let square = radius * radius - dy * dy;
            (square >= 0.0).then(|| square.sqrt().floor() as usize)
        };
        let rows: Vec<(Option<usize>, usize)> = (0..=2 * reach)
            .map(|row| {
                let dy = row as f64 - reach as f64;
                (half(radius, dy), half(outer, dy).unwrap_or(0))
            })
            .collect();
        // Σ x² for x from −n to n.
        let squares = |n: usize| (n * (n + 1) * (2 * n + 1)) as f64 / 3.0;
        let within: f64 = rows.iter().filter_map(|row| row.0).map(squares).sum();
        let ring = rows.iter().map(|row| squares(row.1)).sum::<f64>() - within;
        let weight = (ring > 0.0).then(|| within / ring)?;
        Some(Self {
            reach,
            count: rows.iter().map(|row| (2 * row.1 + 1) as f64).sum(),
            rows,
            within,
            weight,
            square: within + weight * weight * ring,
        })
    }

    /// The blocks of each row that lie within the ring's outer edge around a block, the row's place and half the width of
    /// its part of the window.
    fn rows<'a>(
        &'a self,
        reduced: &'a Reduced,
        (column, row): (usize, usize),
    ) -> impl Iterator<Item = (&'a [f32], f64, Option<usize>)> {
        self.rows
            .iter()
            .enumerate()
            .map(move |(k, &(window, outer))| {
                let middle = (row + k - self.reach) * reduced.width + column;
                let blocks = &reduced.mean[middle - outer..=middle + outer];
                (blocks, k as f64 - self.reach as f64, window)
            })
    }

    /// First moments along x and y, blocks × light, around a block, from codes and the slope of the transfer function.
    fn quickly(&self, reduced: &Reduced, tables: &Tables, place: (usize, usize)) -> (f64, f64) {
        let (mut x_sum, mut y_sum, mut all) = (0.0, 0.0, 0.0);
        for (blocks, dy, window) in self.rows(reduced, place) {
            let (sum, along) = sums(blocks);
            all += sum;
            x_sum -= self.weight * along;
            y_sum -= self.weight * dy * sum;
            if let Some(half) = window {
                let middle = blocks.len() / 2;
                let (sum, along) = sums(&blocks[middle - half..=middle + half]);
                x_sum += (1.0 + self.weight) * along;
                y_sum += (1.0 + self.weight) * dy * sum;
            }
        }
        let light = tables.light_of_mean((all / self.count) as f32);
        let slope = slope_at(f64::from(light));
        (slope * x_sum, slope * y_sum)
    }

    /// The same in light, with the plane through the ring that the target's own ring is given; `None` where something stands in
    /// the window.
    fn as_measured(
        &self,
        reduced: &Reduced,
        tables: &Tables,
        place: (usize, usize),
        spare: f64,
    ) -> Option<(f64, f64)> {
        let (mut x_sum, mut y_sum, mut brightest) = (0.0, 0.0, 0.0_f64);
        let mut ring = Vec::new();
        for (blocks, dy, window) in self.rows(reduced, place) {
            let middle = (blocks.len() / 2) as f64;
            for (at, &code) in blocks.iter().enumerate() {
                let light = f64::from(tables.light_of_mean(code));
                let dx = at as f64 - middle;
                if window.is_some_and(|half| dx.abs() <= half as f64) {
                    x_sum += dx * light;
                    y_sum += dy * light;
                    brightest = brightest.max(light);
                } else {
                    ring.push((dx, dy, light));
                }
            }
        }
        let plane = ring::plane(&ring)?;
        let level = plane.at(0.0, 0.0);
        (brightest - level <= spare).then(|| {
            (
                x_sum - self.within * (plane.at(1.0, 0.0) - level),
                y_sum - self.within * (plane.at(0.0, 1.0) - level),
            )
        })
    }
}

/// Sum of some blocks, and of each times its place from their middle.
fn sums(blocks: &[f32]) -> (f64, f64) {
    let middle = (blocks.len() / 2) as f64;
    let mut place = -middle;
    blocks.iter().fold((0.0, 0.0), |(sum, along), &code| {
        let code = f64::from(code);
        let next = (sum + code, along + place * code);
        place += 1.0;
        next
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{Plane, Samples, Target, centre};
    use rand::{RngExt, SeedableRng};

    /// A disc of radius 40 px in the middle of a picture, whose background is a function of the place; 16 bits, with so
    /// little noise that the centre is the centre of mass.
    fn measured(background: impl Fn(f64, f64) -> f64) -> Target {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(5);
        let codes = (0..400 * 700).map(|at| {
            let (x, y) = (f64::from(at % 400), f64::from(at / 400));
            let disc = (40.5 - (x - 200.0).hypot(y - 350.0)).clamp(0.0, 1.0);
            // An even deviate has a variance of 1/12.
            let noise = 0.0005 * 12.0_f64.sqrt() * (random.random::<f64>() - 0.5);
            let light = (0.01 + 0.5 * disc + background(x, y) + noise).clamp(0.0, 1.0);
            let coded = if light <= 0.003_130_8 {
                12.92 * light
            } else {
                1.055 * light.powf(1.0 / 2.4) - 0.055
            };
            (65535.0 * coded).round() as u16
        });
        let plane = Plane::new(400, 700, Samples::Sixteen(codes.collect())).expect("right count");
        centre::measure(&plane, &Reduced::of(&plane), (200.0, 350.0), 400.0).expect("a target")
    }

    /// What the empty places say is what happened. A quarter off: an edge between blocks, of which the window is five wide to
    /// either side.
    #[test]
    fn an_upright_edge_shows_above_and_below() {
        let edge = |x: f64, _: f64| if x > 220.0 { 0.004 } else { 0.0 };
        let target = measured(edge);
        let pull = (target.x_px.value - 200.0).abs();
        let uneven = target.uneven.expect("empty places");
        let told = uneven.x_px2.value.max(0.0).sqrt();
        assert!(
            pull > 0.02 && (told - pull).abs() < 0.25 * pull,
            "{told} {pull}"
        );
        assert!(uneven.x_px2.value > 20.0 * uneven.x_px2.std_error);
        assert!(uneven.y_px2.value < 4.0 * uneven.y_px2.std_error);
    }

    /// Noise, a slope and something bright in one of the places are nothing.
    #[test]
    fn noise_and_slopes_are_no_unevenness() {
        let even = |_: f64, _: f64| 0.0;
        let sloped = |x: f64, y: f64| 3e-5 * x + 2e-5 * y;
        let lamp = |x: f64, y: f64| {
            if (x - 215.0).hypot(y - 190.0) < 12.0 {
                0.3
            } else {
                0.0
            }
        };
        for target in [measured(even), measured(sloped), measured(lamp)] {
            let uneven = target.uneven.expect("empty places");
            for along in [uneven.x_px2, uneven.y_px2] {
                assert!(along.value < 4.0 * along.std_error, "{along:?}");
            }
        }
    }
}
