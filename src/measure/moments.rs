//! Sums over the round window of a target: its light, its centre of mass, its second and third moments.

use super::background::Tilt;
use super::luminance::Patch;

/// Calls `each` with index and place relative to the centre for every pixel of a round window.
pub(super) fn for_pixels(
    patch: &Patch,
    centre: (f64, f64),
    radius: f64,
    each: impl FnMut(usize, f64, f64),
) {
    for_rows(patch, centre, radius, 1, each);
}

/// As `for_pixels`, for every `step`-th row only.
pub(super) fn for_rows(
    patch: &Patch,
    centre: (f64, f64),
    radius: f64,
    step: usize,
    mut each: impl FnMut(usize, f64, f64),
) {
    for_spans(patch, centre, radius, step, |span| {
        let dy = f64::from(span.row) - centre.1;
        let start = f64::from(span.first) - centre.0;
        for along in 0..span.count as u32 {
            each(span.index + along as usize, start + f64::from(along), dy);
        }
    });
}

/// The part of a picture's row that lies in a round window.
pub(super) struct Span {
    pub(super) row: u32,
    pub(super) first: u32,
    pub(super) count: usize,
    /// Index of the first pixel in the patch.
    pub(super) index: usize,
}

impl Span {
    /// How many of its pixels lie before a round window, and from which one on they lie behind it.
    pub(super) fn beside(&self, (x, y): (f64, f64), radius: f64) -> (usize, usize) {
        let dy = f64::from(self.row) - y;
        let half = radius * radius - dy * dy;
        if half < 0.0 {
            return (self.count, self.count);
        }
        let start = x - f64::from(self.first);
        let within = |place: f64| (place.max(0.0) as usize).min(self.count);
        (
            within((start - half.sqrt()).ceil()),
            within((start + half.sqrt()).floor() + 1.0),
        )
    }
}

/// Calls `each` with the part of every `step`-th row that lies in a round window.
pub(super) fn for_spans(
    patch: &Patch,
    (x, y): (f64, f64),
    radius: f64,
    step: usize,
    mut each: impl FnMut(Span),
) {
    let width = patch.width();
    let rows = (patch.window.top..=patch.window.bottom).zip((0..).step_by(width));
    for (row, line) in rows.step_by(step) {
        let dy = f64::from(row) - y;
        let half = radius * radius - dy * dy;
        if half < 0.0 {
            continue;
        }
        let half = half.sqrt();
        let first = (x - half).ceil().max(f64::from(patch.window.left));
        let last = (x + half).floor().min(f64::from(patch.window.right));
        if last < first {
            continue;
        }
        let (first, last) = (first as u32, last as u32);
        each(Span {
            row,
            first,
            count: (last - first) as usize + 1,
            index: line + (first - patch.window.left) as usize,
        });
    }
}

/// Every how manieth row of a window is looked at for what need not be exact: weights, responses, variances.
pub(super) fn sparse_rows(radius: f64) -> usize {
    /// Rows between, for each px of the window's radius.
    const ROWS_PER_PX: f64 = 1.0 / 30.0;
    ((radius * ROWS_PER_PX) as usize).clamp(1, 4)
}

/// Light above the background in a window and where it lies.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Moments {
    /// All of it, in fully lit pixels.
    pub(super) flux: f64,
    /// Centre of mass, px.
    pub(super) x: f64,
    /// Centre of mass, px.
    pub(super) y: f64,
    /// Second central moments, px².
    pub(super) xx: f64,
    /// See `xx`.
    pub(super) yy: f64,
    /// Third central moment along x, px³.
    pub(super) xxx: f64,
    /// Third central moment along y, px³.
    pub(super) yyy: f64,
}

/// Pixels that are summed beside each other, each into its own sum.
pub(super) const LANES: usize = 4;

impl Moments {
    /// Of the window of this radius around a place; `light` is that of the patch's pixels, which need not be the patch's
    /// own. `None` where there is no light above the background.
    pub(super) fn of(
        patch: &Patch,
        light: &[f32],
        centre: (f64, f64),
        radius: f64,
        background: &Tilt,
    ) -> Option<Self> {
        // Places are counted from a pixel, so that sums of their powers are whole numbers.
        let origin = (centre.0.round(), centre.1.round());
        let mut raw = Self::default();
        for_spans(patch, centre, radius, 1, |span| {
            let start = f64::from(span.first) - origin.0;
            let dy = f64::from(span.row) - origin.1;
            let seen = powers(&light[span.index..span.index + span.count]);
            let dark = Tilted {
                level: background.at(f64::from(span.first), f64::from(span.row)),
                slope: background.along_x(),
            };
            let [s0, s1, s2, s3] = dark.taken_from(seen, span.count as f64);
            // From powers of the place in the span to powers of the place from the origin.
            let along = s1 + start * s0;
            raw.flux += s0;
            raw.x += along;
            raw.y += dy * s0;
            raw.xx += s2 + start * (2.0 * s1 + start * s0);
            raw.yy += dy * dy * s0;
            raw.yyy += dy * dy * dy * s0;
            raw.xxx += s3 + start * (3.0 * s2 + start * (3.0 * s1 + start * s0));
        });
        raw.centred(origin)
    }

    /// Central moments about the centre of mass, from raw sums about `origin`.
    fn centred(mut self, origin: (f64, f64)) -> Option<Self> {
        if self.flux <= 0.0 {
            return None;
        }
        let (mx, my) = (self.x / self.flux, self.y / self.flux);
        let (xx, yy) = (self.xx / self.flux, self.yy / self.flux);
        self.xxx = self.xxx / self.flux - 3.0 * mx * xx + 2.0 * mx.powi(3);
        self.yyy = self.yyy / self.flux - 3.0 * my * yy + 2.0 * my.powi(3);
        self.xx = xx - mx * mx;
        self.yy = yy - my * my;
        self.x = origin.0 + mx;
        self.y = origin.1 + my;
        Some(self)
    }
}

/// Sums of light × place to the powers 0 to 3, the first pixel's place being 0.
fn powers(light: &[f32]) -> [f64; 4] {
    let mut sums = [[0.0_f64; LANES]; 4];
    let mut place = [0.0, 1.0, 2.0, 3.0];
    let (fours, rest) = light.as_chunks::<LANES>();
    let mut last = [0.0; LANES];
    last[..rest.len()].copy_from_slice(rest);
    for four in fours.iter().chain([&last]) {
        for lane in 0..LANES {
            let s0 = f64::from(four[lane]);
            let s1 = s0 * place[lane];
            let s2 = s1 * place[lane];
            let s3 = s2 * place[lane];
            sums[0][lane] += s0;
            sums[1][lane] += s1;
            sums[2][lane] += s2;
            sums[3][lane] += s3;
            place[lane] += LANES as f64;
        }
    }
    sums.map(|lanes| (lanes[0] + lanes[1]) + (lanes[2] + lanes[3]))
}

/// The background along a span: its level at the first pixel and its change a pixel.
struct Tilted {
    level: f64,
    slope: f64,
}

impl Tilted {
    /// Takes the background out of the sums over `n` pixels; Σ kᵖ for k from 0 to n − 1 in closed form (Faulhaber).
    fn taken_from(&self, seen: [f64; 4], n: f64) -> [f64; 4] {
        let m = n - 1.0;
        let k1 = n * m / 2.0;
        let k2 = k1 * (2.0 * n - 1.0) / 3.0;
        let k3 = k1 * k1;
        let k4 = k2 * (3.0 * n * m - 1.0) / 5.0;
        let sums = [n, k1, k2, k3, k4];
        let mut above = seen;
        for (p, sum) in above.iter_mut().enumerate() {
            *sum -= self.level * sums[p] + self.slope * sums[p + 1];
        }
        above
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::background::Surface;
    use crate::measure::{Plane, Samples};

    /// The same sums pixel by pixel, on a slope that runs both ways and a window that crosses the picture's edge.
    #[test]
    fn sums_are_those_of_single_pixels() {
        let codes = (0..60 * 50_u32).map(|i| (i * 7919 % 251) as u8).collect();
        let plane = Plane::new(60, 50, Samples::Eight(codes)).expect("right count");
        let patch = Patch::around(&plane, (20.3, 27.8), 40.0).expect("inside");
        let corners = [
            (0.0, 0.0, 0.01),
            (60.0, 0.0, 0.05),
            (0.0, 50.0, -0.02),
            (60.0, 50.0, 0.02),
        ];
        let tilt = Surface::fit(&corners.repeat(4), 1, 3.0, 0.1).tilt();
        for (centre, radius) in [
            ((20.3, 27.8), 15.2),
            ((5.6, 44.1), 19.9),
            ((30.0, 20.0), 0.4),
        ] {
            let m = Moments::of(&patch, &patch.light, centre, radius, &tilt).expect("light");
            let mut plain = Moments::default();
            for_pixels(&patch, centre, radius, |index, dx, dy| {
                let light = f64::from(patch.light[index]);
                let above = light - tilt.at(centre.0 + dx, centre.1 + dy);
                plain.flux += above;
                plain.x += dx * above;
                plain.y += dy * above;
                plain.xx += dx * dx * above;
                plain.yy += dy * dy * above;
                plain.xxx += dx * dx * dx * above;
                plain.yyy += dy * dy * dy * above;
            });
            let plain = plain.centred(centre).expect("light");
            let near = |a: f64, b: f64| (a - b).abs() < 1e-9 * (1.0 + b.abs());
            assert!(near(m.flux, plain.flux) && near(m.x, plain.x) && near(m.y, plain.y));
            assert!(near(m.xx, plain.xx) && near(m.yy, plain.yy) && near(m.xxx, plain.xxx));
            assert!(near(m.yyy, plain.yyy));
        }
    }

    #[test]
    fn sums_of_powers() {
        for n in 1..9 {
            let k = |p: i32| (0..n).map(|k| f64::from(k).powi(p)).sum::<f64>();
            let dark = Tilted {
                level: 1.0,
                slope: 0.5,
            };
            let above = dark.taken_from([0.0; 4], f64::from(n));
            for (p, sum) in (0..4).zip(above) {
                assert!((sum + k(p) + 0.5 * k(p + 1)).abs() < 1e-9, "{n} {p}");
            }
        }
    }
}
