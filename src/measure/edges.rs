//! The centre from the edges of the blur: less noise than the centre of mass, and when it may be trusted.
//!
//! The centre of mass gives every pixel of the window its lever, though only those on the blur's edge tell where it is.
//! The estimate here solves Σ g(r)·(x − c)·(I − B) = 0 with g(r) = −S′(r) / (r·Var), S(r) being the mean light at the
//! distance r from c: the weights of maximum likelihood for a round blur (Kay 1993, Fundamentals of Statistical Signal
//! Processing, ch. 7). It is exact, whatever the noise, for any light that a half turn about its middle leaves as it
//! is; for torn tape or an odd-bladed pupil it differs from the centre of mass by a part of the asymmetry.
//!
//! So the two are mixed: with V the variances, and b the difference that asymmetry may make,
//! α = (V_mass − V_edges) / (V_mass − V_edges + b²) makes the expected square of the error least. Where the two differ
//! by more than noise explains, that difference is b, and the centre of mass is kept.

use super::luminance::{Patch, slope_at};
use super::moments::{for_rows, for_spans, sparse_rows};
use super::noise::Noise;
use super::ring::Ring;

/// Difference between the two estimates that asymmetry too small to be seen may make, px.
const ASYMMETRY_PX: f64 = 0.01;
/// Standard uncertainty of the centre of mass below which there is nothing to gain, px.
const GOOD_ENOUGH_PX: f64 = 0.005;
/// Width of the smoothing of S(r), as a part of the window's radius.
const SMOOTHING_PART: f64 = 0.03;
/// Step of the table of g(r), px.
const BIN_PX: f64 = 0.5;
/// Rounds of solving for the centre.
const ROUNDS: usize = 6;
/// A step after which the centre is as good as found, px: the response is right to a twentieth, and so the next step would be
/// a twentieth of it, a fifth of `GOOD_ENOUGH_PX`.
const LAST_STEP_PX: f64 = 0.02;
/// Part of what tells where the centre is that may lie nearer to it than all pixels that are looked at, and as much farther
/// off: leaving it out costs a quarter of that of the standard uncertainty.
const LEFT_OUT: f64 = 0.005;

/// A centre with the variances of its coordinates, px and px².
#[derive(Debug, Clone, Copy)]
pub(super) struct Estimate {
    pub(super) centre: (f64, f64),
    pub(super) variance: (f64, f64),
    /// How far x moves for light that rises along x by one part a pixel, px².
    pub(super) tilt_px2: f64,
}

/// Mixes the centre of mass with the edges' centre as far as that makes it better.
pub(super) fn refine(
    patch: &Patch,
    radius: f64,
    ring: &Ring,
    noise: &Noise,
    mass: Estimate,
) -> Estimate {
    let worth_it = mass.variance.0.max(mass.variance.1) > GOOD_ENOUGH_PX * GOOD_ENOUGH_PX;
    if !worth_it || !holds(patch, mass.centre, radius) {
        return mass;
    }
    let weights = Weights::of(patch, mass.centre, radius, ring, noise);
    let Some(edges) = weights.solve(patch, radius, ring, noise, mass.centre) else {
        return mass;
    };
    let gain = (
        (mass.variance.0 - edges.variance.0).max(0.0),
        (mass.variance.1 - edges.variance.1).max(0.0),
    );
    let off = (
        edges.centre.0 - mass.centre.0,
        edges.centre.1 - mass.centre.1,
    );
    let seen = (off.0 * off.0 + off.1 * off.1 - gain.0 - gain.1) / 2.0;
    let asymmetry = seen.max(ASYMMETRY_PX * ASYMMETRY_PX);
    let mix = |mass: f64, off: f64, gain: f64, edges: f64| {
        let part = gain / (gain + asymmetry);
        let rest = (1.0 - part).powi(2) * gain + part * part * asymmetry.min(gain);
        (mass + part * off, edges + rest, part)
    };
    let (x, x_variance, part) = mix(mass.centre.0, off.0, gain.0, edges.variance.0);
    let (y, y_variance, _) = mix(mass.centre.1, off.1, gain.1, edges.variance.1);
    Estimate {
        centre: (x, y),
        variance: (
            x_variance.min(mass.variance.0),
            y_variance.min(mass.variance.1),
        ),
        tilt_px2: mass.tilt_px2 + part * (edges.tilt_px2 - mass.tilt_px2),
    }
}

/// Whether the patch holds the whole round window, and a pixel more.
fn holds(patch: &Patch, (x, y): (f64, f64), radius: f64) -> bool {
    let reach = radius + 1.0;
    x - reach >= f64::from(patch.window.left)
        && y - reach >= f64::from(patch.window.top)
        && x + reach <= f64::from(patch.window.right)
        && y + reach <= f64::from(patch.window.bottom)
}

/// g(r) where the edge of the blur is.
struct Weights {
    /// In steps of `BIN_PX`, each with the change to the next.
    table: Vec<(f64, f64)>,
    /// Distances between which all but `LEFT_OUT` of the information lies, px.
    from: f64,
    to: f64,
}

impl Weights {
    fn of(patch: &Patch, centre: (f64, f64), radius: f64, ring: &Ring, noise: &Noise) -> Self {
        let bins = (radius / BIN_PX) as usize + 2;
        let (mut light, mut count) = (vec![0.0; bins], vec![0.0_f64; bins]);
        for_rows(
            patch,
            centre,
            radius,
            sparse_rows(radius),
            |index, dx, dy| {
                let bin = ((dx * dx + dy * dy).sqrt() / BIN_PX) as u32 as usize;
                light[bin] +=
                    f64::from(patch.light[index]) - ring.plane.at(centre.0 + dx, centre.1 + dy);
                count[bin] += 1.0;
            },
        );
        // S and S′ smoothed by a Gaussian: means of the bins' light weighted with their pixels, and a straight line
        // through them.
        let sigma = (SMOOTHING_PART * radius).max(1.0) / BIN_PX;
        let reach = (3.0 * sigma).ceil() as usize;
        let background = ring.plane.at(centre.0, centre.1);
        let mut information = Vec::with_capacity(bins);
        let mut weights = Vec::with_capacity(bins);
        for bin in 0..bins {
            let (mut n, mut t, mut tt, mut s, mut ts) = (0.0, 0.0, 0.0, 0.0, 0.0);
            for near in bin.saturating_sub(reach)..(bin + reach + 1).min(bins) {
                let off = near as f64 - bin as f64;
                let kernel = (-0.5 * (off / sigma).powi(2)).exp();
                n += kernel * count[near];
                t += kernel * count[near] * off;
                tt += kernel * count[near] * off * off;
                s += kernel * light[near];
                ts += kernel * light[near] * off;
            }
            let spread = n * tt - t * t;
            let (mut fall, mut variance) = (0.0, 1.0);
            if spread > 0.0 {
                fall = (-(n * ts - t * s) / spread / BIN_PX).max(0.0);
                let level = background + s / n;
                variance = noise.variance(level, slope_at(level.max(0.0))).max(1e-12);
            }
            let distance = ((bin as f64 + 0.5) * BIN_PX).max(1.0);
            weights.push(fall / distance / variance);
            information.push(count[bin] * fall * fall / variance);
        }
        // It ends within a bin on either side, so that it has a slope everywhere.
        let (first, last) = most_of(&information);
        let kept = |bin: usize| (first..=last).contains(&bin);
        let weight = |bin: usize| if kept(bin) { weights[bin] } else { 0.0 };
        Self {
            table: (0..bins)
                .map(|bin| (weight(bin), weight(bin + 1) - weight(bin)))
                .collect(),
            from: (first as f64 - 0.5) * BIN_PX,
            to: (last as f64 + 1.5) * BIN_PX,
        }
    }

    /// g at a distance, between the table's entries, and its change a pixel.
    fn at(&self, distance: f64) -> (f64, f64) {
        let place = (distance / BIN_PX - 0.5).max(0.0);
        let low = place as i32;
        let (here, change) = self.table.get(low as usize).copied().unwrap_or_default();
        (here + change * (place - f64::from(low)), change / BIN_PX)
    }

    /// Calls `each` with index, place relative to the centre and distance from it for every pixel of every `step`-th row at the
    /// blur's edge, and within the radius.
    fn for_edge(
        &self,
        patch: &Patch,
        centre: (f64, f64),
        radius: f64,
        step: usize,
        mut each: impl FnMut(usize, f64, f64, f64),
    ) {
        for_spans(patch, centre, radius.min(self.to), step, |span| {
            let dy = f64::from(span.row) - centre.1;
            let start = f64::from(span.first) - centre.0;
            let mut look = |from: usize, to: usize| {
                for along in from..to {
                    let dx = start + along as u32 as f64;
                    each(span.index + along, dx, dy, (dx * dx + dy * dy).sqrt());
                }
            };
            let (left, right) = span.beside(centre, self.from.max(0.0));
            look(0, left);
            look(right, span.count);
        });
    }

    /// The two sums that vanish at the centre, and by how much they fall for each pixel that the place moves along its axis.
    fn sums(
        &self,
        patch: &Patch,
        radius: f64,
        ring: &Ring,
        centre: (f64, f64),
    ) -> ((f64, f64), (f64, f64)) {
        let (mut sums, mut falls) = ((0.0, 0.0), (0.0, 0.0));
        self.for_edge(patch, centre, radius, 1, |index, dx, dy, distance| {
            let (weight, change) = self.at(distance);
            let above = f64::from(patch.light[index]) - ring.plane.at(centre.0 + dx, centre.1 + dy);
            let steep = above * change / distance.max(BIN_PX);
            let here = above * weight;
            sums.0 += dx * here;
            sums.1 += dy * here;
            falls.0 += here + dx * dx * steep;
            falls.1 += here + dy * dy * steep;
        });
        (sums, falls)
    }

    fn solve(
        &self,
        patch: &Patch,
        radius: f64,
        ring: &Ring,
        noise: &Noise,
        start: (f64, f64),
    ) -> Option<Estimate> {
        let radius = radius - 1.0;
        let (mut centre, mut response) = (start, (0.0, 0.0));
        for _ in 0..ROUNDS {
            let (sums, falls) = self.sums(patch, radius, ring, centre);
            if !(falls.0 > 0.0 && falls.1 > 0.0) {
                return None;
            }
            response = falls;
            let step = (sums.0 / falls.0, sums.1 / falls.1);
            centre = (centre.0 + step.0, centre.1 + step.1);
            if !(centre.0 - start.0).hypot(centre.1 - start.1).is_finite()
                || (centre.0 - start.0).hypot(centre.1 - start.1) > 1.0 + 0.1 * radius
                || !holds(patch, centre, radius)
            {
                return None;
            }
            if step.0.hypot(step.1) < LAST_STEP_PX {
                break;
            }
        }
        let step = sparse_rows(radius);
        let (mut variance, mut lever, mut tilt) = ((0.0, 0.0), (0.0, 0.0), 0.0);
        self.for_edge(patch, centre, radius, step, |index, dx, dy, distance| {
            let (weight, _) = self.at(distance);
            let slope = f64::from(patch.tables.slope[usize::from(patch.codes[index])]);
            let var = noise.variance(f64::from(patch.light[index]), slope) * weight * weight;
            variance.0 += dx * dx * var;
            variance.1 += dy * dy * var;
            lever.0 += weight * dx * dx;
            lever.1 += weight * dy * dy;
            let above = f64::from(patch.light[index]) - ring.plane.at(centre.0 + dx, centre.1 + dy);
            tilt += weight * dx * dx * above;
        });
        let step = step as f64;
        variance = (variance.0 * step, variance.1 * step);
        lever = (lever.0 * step, lever.1 * step);
        let variance = (
            (variance.0 + lever.0 * lever.0 * ring.slope_variance) / response.0.powi(2),
            (variance.1 + lever.1 * lever.1 * ring.slope_variance) / response.1.powi(2),
        );
        Some(Estimate {
            centre,
            variance,
            tilt_px2: tilt * step / response.0,
        })
    }
}

/// The first and the last of the bins between which all but `LEFT_OUT` of a sum lies on either side.
fn most_of(parts: &[f64]) -> (usize, usize) {
    let spare = LEFT_OUT * parts.iter().sum::<f64>();
    let outer = |parts: &mut dyn Iterator<Item = &f64>| {
        let mut sum = 0.0;
        let within = |part: &&f64| {
            sum += **part;
            sum <= spare
        };
        parts.take_while(within).count()
    };
    let first = outer(&mut parts.iter());
    let last = parts.len() - 1 - outer(&mut parts.iter().rev()).min(parts.len() - 1);
    (first, last)
}
