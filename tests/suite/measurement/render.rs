//! An exact renderer for tests, apart from the program's own: tape of rectangles, spread by a convex pupil, a Gaussian
//! and the pixel, all in closed form along rows and by a fine sum across them, in linear light.

use std::f64::consts::PI;

use breathmark::measure::{Plane, Samples};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A rectangle of tape: offset of its middle from the target's, size, px, and its light.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Patch {
    pub(crate) x: f64,
    pub(crate) y: f64,
    pub(crate) width: f64,
    pub(crate) height: f64,
    pub(crate) light: f64,
}

impl Patch {
    pub(crate) fn square(side: f64, light: f64) -> Self {
        Self {
            x: 0.0,
            y: 0.0,
            width: side,
            height: side,
            light,
        }
    }
}

/// The shape that defocus spreads each point into, px.
#[derive(Debug, Clone)]
pub(crate) enum Pupil {
    /// A disc of this diameter.
    Disc(f64),
    /// A regular polygon: blades, diameter of the circle through its corners, turn in radians.
    Polygon(usize, f64, f64),
    /// A cat's eye: the disc of this diameter cut by an equal one moved along x by this much.
    CatsEye(f64, f64),
}

impl Pupil {
    fn half_height(&self) -> f64 {
        match *self {
            Self::Disc(d) | Self::Polygon(_, d, _) | Self::CatsEye(d, _) => d / 2.0,
        }
    }

    /// Where a row at height `v` enters and leaves the pupil.
    fn chord(&self, v: f64) -> Option<(f64, f64)> {
        let disc = |d: f64| {
            let h2 = d * d / 4.0 - v * v;
            (h2 > 0.0).then(|| h2.sqrt())
        };
        match *self {
            Self::Disc(d) => disc(d).map(|h| (-h, h)),
            Self::CatsEye(d, cut) => {
                let h = disc(d)?;
                let (left, right) = ((-h).max(cut - h), h.min(cut + h));
                (left < right).then_some((left, right))
            }
            Self::Polygon(blades, d, turn) => {
                let apothem = d / 2.0 * (PI / blades as f64).cos();
                let (mut left, mut right) = (-d, d);
                for blade in 0..blades {
                    let (s, c) = (turn + 2.0 * PI * blade as f64 / blades as f64).sin_cos();
                    let edge = (apothem - s * v) / c;
                    if c.abs() < 1e-9 {
                        if s * v > apothem {
                            return None;
                        }
                    } else if c > 0.0 {
                        right = right.min(edge);
                    } else {
                        left = left.max(edge);
                    }
                }
                (left < right).then_some((left, right))
            }
        }
    }
}

/// Antiderivatives of a step spread by a Gaussian of width `s`: the step, its first and its second integral.
fn gauss_integrals(x: f64, s: f64) -> (f64, f64) {
    let (phi, cdf) = (
        (-0.5 * (x / s).powi(2)).exp() / (2.0 * PI).sqrt(),
        normal_cdf(x / s),
    );
    (
        x * cdf + s * phi,
        ((x * x + s * s) * cdf + s * x * phi) / 2.0,
    )
}

/// Normal distribution function, by its series or continued fraction (Abramowitz & Stegun 1964, 26.2.10 and 26.2.14).
fn normal_cdf(z: f64) -> f64 {
    let a = z.abs();
    let density = (-0.5 * a * a).exp() / (2.0 * PI).sqrt();
    let upper = if a < 4.0 {
        let (mut term, mut sum, mut n) = (a, a, 1.0);
        while term.abs() > 1e-17 {
            n += 2.0;
            term *= a * a / n;
            sum += term;
        }
        0.5 - density * sum
    } else {
        let tail = (1..=40).rev().fold(a, |below, k| a + f64::from(k) / below);
        density / tail
    };
    if z > 0.0 { 1.0 - upper } else { upper }
}

/// A bar of width `side` spread by Gaussian and pixel: its profile and the integral of it.
struct Bar {
    side: f64,
    softness: f64,
    table: Vec<f64>,
    half: f64,
}

const STEPS: f64 = 128.0;

impl Bar {
    fn new(side: f64, softness: f64) -> Self {
        let half = side / 2.0 + 0.5 + 8.0 * softness;
        let mut bar = Self {
            side,
            softness,
            table: Vec::new(),
            half,
        };
        let count = (2.0 * half * STEPS).ceil() as usize + 2;
        bar.table = (0..count)
            .map(|i| bar.exact_integral(i as f64 / STEPS - half))
            .collect();
        bar
    }

    fn profile(&self, x: f64) -> f64 {
        if x.abs() > self.half {
            return 0.0;
        }
        let e = |x: f64| {
            gauss_integrals(x + 0.5, self.softness).0 - gauss_integrals(x - 0.5, self.softness).0
        };
        e(x + self.side / 2.0) - e(x - self.side / 2.0)
    }

    fn exact_integral(&self, x: f64) -> f64 {
        let e = |x: f64| {
            gauss_integrals(x + 0.5, self.softness).1 - gauss_integrals(x - 0.5, self.softness).1
        };
        e(x + self.side / 2.0) - e(x - self.side / 2.0)
    }

    fn integral(&self, x: f64) -> f64 {
        if x <= -self.half {
            0.0
        } else if x >= self.half {
            self.side
        } else {
            let place = (x + self.half) * STEPS;
            let low = place as usize;
            self.table[low] + (self.table[low + 1] - self.table[low]) * (place - low as f64)
        }
    }
}

/// A picture in linear light, being painted.
#[derive(Clone)]
pub(crate) struct Scene {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) light: Vec<f64>,
}

impl Scene {
    /// A background: level and change per pixel along x and y.
    pub(crate) fn new(width: usize, height: usize, level: f64, slope: (f64, f64)) -> Self {
        let light = (0..width * height)
            .map(|i| {
                level
                    + slope.0 * ((i % width) as f64 - width as f64 / 2.0)
                    + slope.1 * ((i / width) as f64 - height as f64 / 2.0)
            })
            .collect();
        Self {
            width,
            height,
            light,
        }
    }

    /// Adds a target whose middle is at (x, y).
    pub(crate) fn add(
        mut self,
        (x, y): (f64, f64),
        tape: &[Patch],
        pupil: &Pupil,
        softness: f64,
    ) -> Self {
        for patch in tape {
            self.add_patch((x + patch.x, y + patch.y), patch, pupil, softness);
        }
        self
    }

    fn add_patch(&mut self, (x, y): (f64, f64), patch: &Patch, pupil: &Pupil, softness: f64) {
        let (across, down) = (
            Bar::new(patch.width, softness),
            Bar::new(patch.height, softness),
        );
        let half = pupil.half_height();
        let count = ((half * 2.0 * 4.0).ceil() as usize).max(64);
        // Rows through the pupil at equal steps of angle, so that the round ends are dense.
        let rows: Vec<(f64, f64, f64, f64)> = (0..count)
            .filter_map(|i| {
                let angle = PI * ((i as f64 + 0.5) / count as f64 - 0.5);
                let weight = half * angle.cos() * PI / count as f64;
                let v = half * angle.sin();
                pupil.chord(v).map(|(left, right)| (v, left, right, weight))
            })
            .collect();
        let area: f64 = rows
            .iter()
            .map(|&(_, left, right, weight)| weight * (right - left))
            .sum();
        let (reach_x, reach_y) = (half + across.half, half + down.half);
        for row in (y - reach_y).floor().max(0.0) as usize
            ..((y + reach_y).ceil().max(0.0) as usize + 1).min(self.height)
        {
            let lit: Vec<(f64, f64, f64)> = rows
                .iter()
                .filter_map(|&(v, left, right, weight)| {
                    let lit = down.profile(row as f64 - y - v) * weight;
                    (lit > 1e-12).then_some((left, right, lit))
                })
                .collect();
            for column in (x - reach_x).floor().max(0.0) as usize
                ..((x + reach_x).ceil().max(0.0) as usize + 1).min(self.width)
            {
                let dx = column as f64 - x;
                let sum: f64 = lit
                    .iter()
                    .map(|&(left, right, lit)| {
                        lit * (across.integral(dx - left) - across.integral(dx - right))
                    })
                    .sum();
                self.light[row * self.width + column] += patch.light * sum / area;
            }
        }
    }

    /// Adds to single pixels.
    pub(crate) fn spot(mut self, x: usize, y: usize, light: f64) -> Self {
        self.light[y * self.width + x] += light;
        self
    }

    /// Noise of the sensor: variance = read² + shot·light, in linear light.
    pub(crate) fn noisy(mut self, read: f64, shot: f64, seed: u64) -> Self {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        for light in &mut self.light {
            let sigma = (read * read + shot * light.max(0.0)).sqrt();
            let (a, b): (f64, f64) = (random.random(), random.random());
            *light += sigma * (-2.0 * (1.0 - a).ln()).sqrt() * (2.0 * PI * b).cos();
        }
        self
    }

    /// Codes of full scale `top`, IEC 61966-2-1.
    fn codes(&self, top: f64) -> impl Iterator<Item = f64> + '_ {
        self.light.iter().map(move |&light| {
            let l = light.clamp(0.0, 1.0);
            let coded = if l <= 0.003_130_8 {
                12.92 * l
            } else {
                1.055 * l.powf(1.0 / 2.4) - 0.055
            };
            (coded * top).round()
        })
    }

    pub(crate) fn eight_bit(&self) -> Plane {
        self.plane(Samples::Eight(self.codes(255.0).map(|c| c as u8).collect()))
    }

    pub(crate) fn sixteen_bit(&self) -> Plane {
        self.plane(Samples::Sixteen(
            self.codes(65_535.0).map(|c| c as u16).collect(),
        ))
    }

    fn plane(&self, samples: Samples) -> Plane {
        Plane::new(self.width as u32, self.height as u32, samples).expect("one code a pixel")
    }

    /// The picture after a JPEG file of this quality.
    pub(crate) fn jpeg(&self, quality: u8) -> Plane {
        let codes: Vec<u8> = self.codes(255.0).map(|c| c as u8).collect();
        let mut file = Vec::new();
        jpeg_encoder::Encoder::new(&mut file, quality)
            .encode(
                &codes,
                self.width as u16,
                self.height as u16,
                jpeg_encoder::ColorType::Luma,
            )
            .expect("a JPEG of sane size");
        let step = rounding_step(&file);
        let options = zune_core::options::DecoderOptions::default()
            .jpeg_set_out_colorspace(zune_core::colorspace::ColorSpace::Luma);
        let cursor = zune_core::bytestream::ZCursor::new(file);
        let decoded = zune_jpeg::JpegDecoder::new_with_options(cursor, options)
            .decode()
            .expect("own JPEG");
        self.plane(Samples::Eight(decoded)).with_rounding_step(step)
    }
}

/// Root mean square of the quantization steps of the mean and the five lowest frequencies, from the file's first table.
fn rounding_step(file: &[u8]) -> f64 {
    let at = file
        .windows(2)
        .position(|w| w == [0xFF, 0xDB])
        .expect("a quantization table");
    let table = &file[at + 5..];
    (table[..6]
        .iter()
        .map(|&q| f64::from(q).powi(2))
        .sum::<f64>()
        / 6.0)
        .sqrt()
}
