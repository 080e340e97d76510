//! What stands between lens and file and is no target: dust on the sensor, a reflected copy of the picture.

use super::blur::{Piece, Rect};
use super::disc::BlurDisc;
use super::render::{Geometry, add};
use super::script::SweepScript;

/// The shadow of a grain of dust: a soft dark spot that stays where it is in the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dust {
    /// Middle, px.
    pub x_px: f64,
    /// Middle, px.
    pub y_px: f64,
    /// Standard deviation of the round soft spot, px.
    pub size_px: f64,
    /// Share of the light that is missing in its middle.
    pub depth: f64,
}

/// A faint copy of the targets that surfaces of the lens reflect: turned about the middle of the picture, blurred otherwise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ghost {
    /// Its light over that of the targets.
    pub light: f64,
    /// Its scale: −0.96 puts the copy of the left target near the right one.
    pub scale: f64,
    /// How far it is moved, px right and down.
    pub offset_px: (f64, f64),
    /// Blur of the copy over that of the targets, and what is added to it, px.
    pub blur: (f64, f64),
}

impl SweepScript {
    /// Adds the reflected copy of the targets.
    pub(super) fn reflect(&self, light: &mut [f32], geometry: &Geometry) {
        let Some(ghost) = self.picture.ghost else {
            return;
        };
        let scene = &self.scene;
        let (x0, y0) = scene.centre_px();
        let diameter = ghost.blur.0 * geometry.signed_blur_px.abs() + ghost.blur.1;
        let disc = BlurDisc::new(&self.lens.pupil, diameter, (0.0, 0.0));
        for target in &scene.targets {
            let (x, y) = geometry.place(target.x_px, target.y_px);
            let x = x0 + ghost.scale * (x - x0) + ghost.offset_px.0;
            let y = y0 + ghost.scale * (y - y0) + ghost.offset_px.1;
            let half = |length: f64| geometry.scale * length / 2.0;
            let rect = Rect {
                left: x - half(target.width_px),
                right: x + half(target.width_px),
                top: y - half(target.height_px),
                bottom: y + half(target.height_px),
            };
            let level = ghost.light * target.level;
            let piece = Piece::of_rectangles(&[rect], level, &disc, self.lens.softness_px);
            add(
                light,
                (scene.width_px as usize, scene.height_px as usize),
                &piece,
            );
        }
    }

    /// Takes away what dust on the sensor does.
    pub(super) fn darken(&self, light: &mut [f32]) {
        let width = self.scene.width_px as usize;
        let bell = |i: usize, middle: f64, size: f64| {
            (-((i as f64 - middle) / size.max(1e-6)).powi(2) / 2.0).exp() as f32
        };
        for grain in &self.picture.dust {
            let columns: Vec<f32> = (0..width)
                .map(|x| bell(x, grain.x_px, grain.size_px))
                .collect();
            for (y, row) in light.chunks_mut(width).enumerate() {
                let depth = grain.depth as f32 * bell(y, grain.y_px, grain.size_px);
                if depth > 1e-7 {
                    for (value, column) in row.iter_mut().zip(&columns) {
                        *value *= 1.0 - depth * column;
                    }
                }
            }
        }
    }
}
