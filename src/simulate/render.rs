//! Draws one frame: geometry, then light, then noise, then codes.

use super::blur::{Piece, Rect};
use super::disc::BlurDisc;
use super::noise;
use super::scene::{Clutter, Patch};
use super::script::{Cover, Shading, SweepScript};
use super::tone;
use crate::measure::{Plane, Samples};

/// Separate streams of random numbers.
const SWAY_X: u64 = 0x5357_4159_0001;
const SWAY_Y: u64 = 0x5357_4159_0002;
const FLICKER: u64 = 0x464c_4943_0003;
const GRAIN: u64 = 0x4752_4149_0004;
const TORN: u64 = 0x544f_524e_0005;

/// Slices that a torn patch is made of.
const SLICES: usize = 9;

/// Where and how large everything is in one frame.
#[derive(Debug, Clone, Copy)]
pub(super) struct Geometry {
    /// Picture scale over that at infinity, by breathing and a slipped zoom ring.
    pub(super) scale: f64,
    distortion: f64,
    roll_rad: f64,
    offset_px: (f64, f64),
    centre_px: (f64, f64),
    corner_px: f64,
    /// Diameter of the blur at the targets, px; negative upside down.
    pub(super) signed_blur_px: f64,
}

impl Geometry {
    /// Where a place of the scene, given at infinity focus, lies in this frame, px.
    pub(super) fn place(&self, x_px: f64, y_px: f64) -> (f64, f64) {
        let (dx, dy) = (x_px - self.centre_px.0, y_px - self.centre_px.1);
        let share = dx.hypot(dy) / self.corner_px;
        let factor = self.scale * (1.0 + self.distortion * share * share);
        let (sin, cos) = self.roll_rad.sin_cos();
        (
            self.centre_px.0 + factor * (dx * cos - dy * sin) + self.offset_px.0,
            self.centre_px.1 + factor * (dx * sin + dy * cos) + self.offset_px.1,
        )
    }
}

impl SweepScript {
    /// Shift by breathing alone, per cent against infinity.
    pub(super) fn breathing_pct(&self, frame: usize) -> f64 {
        self.lens.breathing.shift_pct(
            self.dioptres(frame),
            self.lens.focal_mm,
            self.scene.target_distance_m,
        )
    }

    pub(super) fn geometry(&self, frame: usize) -> Geometry {
        let (scene, picture) = (&self.scene, &self.picture);
        let dioptres = self.dioptres(frame);
        let shift_pct = self.breathing_pct(frame);
        let slip = picture
            .zoom_slip
            .filter(|slip| frame >= slip.frame)
            .map_or(1.0, |slip| slip.factor);
        let sway = |stream: u64| picture.sway_px * noise::normal(self.seed ^ stream, frame as u64);
        let mut geometry = Geometry {
            scale: (1.0 + shift_pct / 100.0) * slip,
            distortion: self.lens.distortion_per_dioptre * dioptres,
            roll_rad: picture.roll_deg.to_radians(),
            offset_px: (
                picture.drift_px.0 * frame as f64 + sway(SWAY_X),
                picture.drift_px.1 * frame as f64 + sway(SWAY_Y),
            ),
            centre_px: scene.centre_px(),
            corner_px: f64::from(scene.width_px).hypot(f64::from(scene.height_px)) / 2.0,
            signed_blur_px: slip
                * self.lens.signed_blur_px(
                    dioptres,
                    shift_pct,
                    scene.target_distance_m,
                    scene.pixel_pitch_mm(),
                ),
        };
        if let Some(bump) = picture.bump.filter(|bump| frame >= bump.frame) {
            geometry.roll_rad += bump.roll_deg.to_radians();
            geometry.offset_px.0 += bump.x_px;
            geometry.offset_px.1 += bump.y_px;
        }
        geometry
    }

    /// Linear light of a frame without noise and before the ceiling, row by row; 1 is the ceiling.
    #[must_use]
    pub fn light(&self, frame: usize) -> Vec<f32> {
        let scene = &self.scene;
        let geometry = self.geometry(frame);
        let (width, height) = (scene.width_px as usize, scene.height_px as usize);
        let mut light = self.background();
        for index in 0..scene.targets.len() {
            add(
                &mut light,
                (width, height),
                &self.patch(
                    &geometry,
                    &self.hung(index, frame),
                    index as u64,
                    self.hidden(index, frame),
                ),
            );
        }
        for item in &scene.background.clutter {
            match *item {
                Clutter::Glint {
                    x_px,
                    y_px,
                    diameter_px,
                    level,
                } => {
                    // A square of the same area: its shape is lost in any blur.
                    let side = diameter_px * (std::f64::consts::PI / 4.0).sqrt();
                    let patch = Patch {
                        level,
                        ..Patch::new(x_px, y_px, side, side)
                    };
                    add(
                        &mut light,
                        (width, height),
                        &self.patch(&geometry, &patch, 0, 0.0),
                    );
                }
                Clutter::Label {
                    x_px,
                    y_px,
                    width_px,
                    height_px,
                    level,
                } => {
                    let patch = Patch {
                        level,
                        ..Patch::new(x_px, y_px, width_px, height_px)
                    };
                    add(
                        &mut light,
                        (width, height),
                        &self.patch(&geometry, &patch, 0, 0.0),
                    );
                }
                Clutter::HotPixel { x_px, y_px, level } => {
                    if x_px < scene.width_px && y_px < scene.height_px {
                        light[y_px as usize * width + x_px as usize] += level as f32;
                    }
                }
                Clutter::Reflection { .. } => {}
            }
        }
        self.reflect(&mut light, &geometry);
        let flicker = self.picture.flicker * noise::normal(self.seed ^ FLICKER, frame as u64);
        let exposure = (scene.exposure * (1.0 + flicker)).max(0.0) as f32;
        if (exposure - 1.0).abs() > f32::EPSILON {
            light.iter_mut().for_each(|value| *value *= exposure);
        }
        self.shade(&mut light, frame);
        self.darken(&mut light);
        light
    }

    /// Makes the corners darker or brighter than the middle.
    fn shade(&self, light: &mut [f32], frame: usize) {
        let Shading {
            square,
            fourth,
            change,
        } = self.picture.shading;
        let square = square + change * frame as f64 / (self.frames.max(2) - 1) as f64;
        if square.abs().max(fourth.abs()) < f64::EPSILON {
            return;
        }
        let (x, y) = self.scene.centre_px();
        let corner = (x + 0.5).powi(2) + (y + 0.5).powi(2);
        let rows = light.chunks_mut(self.scene.width_px as usize);
        for (row, values) in rows.enumerate() {
            for (column, value) in values.iter_mut().enumerate() {
                let r2 = ((column as f64 - x).powi(2) + (row as f64 - y).powi(2)) / corner;
                *value *= (1.0 + r2 * (square + r2 * fourth)).max(0.0) as f32;
            }
        }
    }

    /// Level, slope and reflections.
    fn background(&self) -> Vec<f32> {
        let (scene, background) = (&self.scene, &self.scene.background);
        let (width, height) = (scene.width_px as usize, scene.height_px as usize);
        let share = |i: usize, length: usize| (i as f64 + 0.5) / length as f64 - 0.5;
        let mut light = Vec::with_capacity(width * height);
        for y in 0..height {
            let row = background.level + background.slope_y * share(y, height);
            if background.slope_x.abs() > 0.0 {
                light.extend(
                    (0..width)
                        .map(|x| (row + background.slope_x * share(x, width)).max(0.0) as f32),
                );
            } else {
                light.resize(light.len() + width, row.max(0.0) as f32);
            }
        }
        for item in &background.clutter {
            let Clutter::Reflection {
                x_px,
                y_px,
                width_px,
                height_px,
                level,
            } = *item
            else {
                continue;
            };
            // Two standard deviations make the named size.
            let bell = |i: usize, middle: f64, size: f64| {
                (-((i as f64 - middle) * 2.0 / size.max(1e-6)).powi(2) / 2.0).exp() as f32
            };
            let columns: Vec<f32> = (0..width).map(|x| bell(x, x_px, width_px)).collect();
            for (y, row) in light.chunks_mut(width).enumerate() {
                let factor = level as f32 * bell(y, y_px, height_px);
                if factor > 1e-7 {
                    for (value, column) in row.iter_mut().zip(&columns) {
                        *value += factor * column;
                    }
                }
            }
        }
        light
    }

    /// A target where it hangs in a frame.
    pub(super) fn hung(&self, target: usize, frame: usize) -> Patch {
        let patch = self.scene.targets[target].clone();
        let peel = self.picture.peel.filter(|peel| peel.target == target);
        let (x_px, y_px) = peel.map_or((0.0, 0.0), |peel| {
            let begun = (frame + peel.over) as f64 - peel.frame as f64;
            let part = (begun / peel.over as f64).clamp(0.0, 1.0);
            (part * peel.by_px.0, part * peel.by_px.1)
        });
        Patch {
            x_px: patch.x_px + x_px,
            y_px: patch.y_px + y_px,
            ..patch
        }
    }

    /// Share of a target's width that is hidden in a frame, from the right; negative from the left.
    fn hidden(&self, target: usize, frame: usize) -> f64 {
        let hides = |cover: &Cover| {
            cover.target == target && (cover.frame..cover.frame + cover.frames).contains(&frame)
        };
        let cover = self.picture.cover.filter(hides);
        cover.map_or(0.0, |cover| cover.share)
    }

    /// A patch of the object plane as it lies in this frame, without the share of its width that is hidden.
    fn patch(&self, geometry: &Geometry, patch: &Patch, index: u64, hidden: f64) -> Piece {
        let (x, y) = geometry.place(patch.x_px, patch.y_px);
        let field = (
            (x - geometry.centre_px.0) / geometry.corner_px,
            (y - geometry.centre_px.1) / geometry.corner_px,
        );
        let disc = BlurDisc::new(&self.lens.pupil, geometry.signed_blur_px, field);
        let (first, last) = (
            (-0.5 - hidden.min(0.0)) * patch.width_px,
            (0.5 - hidden.max(0.0)) * patch.width_px,
        );
        let shown = |end: f64| match hidden {
            0.0 => end,
            _ => end.clamp(first, last.max(first)),
        };
        let rects: Vec<Rect> = self
            .slices(patch, index)
            .iter()
            .map(|slice| Rect {
                left: x + geometry.scale * shown(slice.left),
                right: x + geometry.scale * shown(slice.right),
                top: y + geometry.scale * slice.top,
                bottom: y + geometry.scale * slice.bottom,
            })
            .collect();
        Piece::of_rectangles(&rects, patch.level, &disc, self.lens.softness_px)
    }

    /// A patch about its centre of light, at infinity focus, in slices whose ends wander when it is torn.
    fn slices(&self, patch: &Patch, index: u64) -> Vec<Rect> {
        let (half_width, half_height) = (patch.width_px / 2.0, patch.height_px / 2.0);
        if patch.ragged_px <= 0.0 {
            return vec![Rect {
                left: -half_width,
                right: half_width,
                top: -half_height,
                bottom: half_height,
            }];
        }
        let torn = |end: u64, slice: usize| {
            let place = (index * 2 + end) * SLICES as u64 + slice as u64;
            patch.ragged_px * noise::normal(self.seed ^ TORN, place)
        };
        let step = patch.height_px / SLICES as f64;
        let mut slices: Vec<Rect> = (0..SLICES)
            .map(|i| {
                let (left, right) = (-half_width + torn(0, i), half_width + torn(1, i));
                Rect {
                    left: left.min(right),
                    right: right.max(left),
                    top: -half_height + step * i as f64,
                    bottom: -half_height + step * (i + 1) as f64,
                }
            })
            .collect();
        let area: f64 = slices.iter().map(|s| s.right - s.left).sum();
        let x = slices
            .iter()
            .map(|s| (s.right * s.right - s.left * s.left) / 2.0)
            .sum::<f64>()
            / area;
        let y = slices
            .iter()
            .map(|s| (s.right - s.left) * (s.top + s.bottom) / 2.0)
            .sum::<f64>()
            / area;
        for slice in &mut slices {
            slice.left -= x;
            slice.right -= x;
            slice.top -= y;
            slice.bottom -= y;
        }
        slices
    }

    /// Luminance codes of a frame, upright, as a camera would have them before JPEG.
    ///
    /// # Panics
    /// When the scene has no pixel.
    #[must_use]
    pub fn plane(&self, frame: usize) -> Plane {
        let mut light = self.light(frame);
        let (width, height) = (self.scene.width_px, self.scene.height_px);
        let table = self.picture.tone.table();
        let noise = self.picture.noise;
        let (read, shot) = (
            (noise.read * noise.read) as f32,
            (noise.shot * noise.shot) as f32,
        );
        let steps = tone::STEPS as f32;
        let seed = noise::mix(self.seed ^ GRAIN, frame as u64);
        let mut grain = vec![0.0_f32; width as usize];
        let mut codes = Vec::with_capacity(light.len());
        for (y, row) in light.chunks_mut(width as usize).enumerate() {
            noise::normal_row(seed, y as u64, &mut grain);
            for (value, z) in row.iter_mut().zip(&grain) {
                // The photosite fills up before it is read: photon noise ends at the ceiling too.
                let level = value.clamp(0.0, 1.0);
                *value = (*value + (read + shot * level).sqrt() * z).clamp(0.0, 1.0);
            }
            codes.extend(
                row.iter()
                    .map(|value| table[(value * steps + 0.5) as usize]),
            );
        }
        Plane::new(width, height, Samples::Eight(codes)).expect("a scene has at least one pixel")
    }
}

/// Adds a piece of light to a picture, as far as it lies inside.
pub(super) fn add(light: &mut [f32], (width, height): (usize, usize), piece: &Piece) {
    for (j, row) in piece.light.chunks(piece.width.max(1)).enumerate() {
        let y = piece.top + j as i64;
        if y < 0 || y >= height as i64 {
            continue;
        }
        let first = piece.left.clamp(0, width as i64);
        let last = (piece.left + row.len() as i64).clamp(first, width as i64);
        let source = &row[(first - piece.left).clamp(0, row.len() as i64) as usize..];
        let start = y as usize * width;
        for (value, more) in light[start + first as usize..start + last as usize]
            .iter_mut()
            .zip(source)
        {
            *value += more;
        }
    }
}
