//! A light rim around what is laid over a picture, so that dark ink stays readable on dark footage. The grid has none: a
//! mid grey shows on both, and rims would make it the heaviest thing of the chart.

use super::layout::type_size;
use super::palette::{Rgb, Role};
use super::scene::{Mark, Scene};

/// Width of the rim, type sizes.
const RIM: f64 = 0.11;
/// Least width of the rim, px.
const LEAST_RIM_PX: f64 = 1.25;
/// Opacity up to which a pixel is a tint, which needs no rim, and from which it is ink, of 255. The tints of the charts
/// stay below a quarter; a hair line that falls between two pixels gives each a half.
const TINT: u8 = 72;
const INK: u8 = 120;

/// Width of the rim of this scene, px.
fn rim(scene: &Scene) -> f64 {
    (type_size(scene.width, scene.height) * RIM).max(LEAST_RIM_PX)
}

/// The scene with the rims of its marks behind them, in the role of the ground.
pub(super) fn behind(scene: &Scene) -> Scene {
    let rim = rim(scene);
    let rims = scene.marks.iter().filter_map(|mark| match mark {
        Mark::Area(_, Role::Ground, _) => None,
        Mark::Area(_, _, opacity) if *opacity < 1.0 => None,
        Mark::Area(corners, _, _) => {
            let around = corners.iter().chain(corners.first()).copied().collect();
            Some(Mark::Path(around, Role::Ground, 2.0 * rim))
        }
        Mark::Path(_, Role::Grid, _) => None,
        Mark::Path(points, _, width) => {
            Some(Mark::Path(points.clone(), Role::Ground, width + 2.0 * rim))
        }
        Mark::Text(text) => {
            let mut text = text.clone();
            text.role = Role::Ground;
            Some(Mark::Text(text))
        }
    });
    Scene {
        marks: rims.chain(scene.marks.iter().cloned()).collect(),
        ..*scene
    }
}

/// The grid, which lies under everything, and all else.
pub(super) fn parted(scene: &Scene) -> (Scene, Scene) {
    let is_grid = |mark: &&Mark| matches!(mark, Mark::Path(_, Role::Grid, _));
    let of = |wanted: bool| Scene {
        marks: scene
            .marks
            .iter()
            .filter(|mark| is_grid(mark) == wanted)
            .cloned()
            .collect(),
        ..*scene
    };
    (of(true), of(false))
}

/// Lays a picture over another in place; four bytes a pixel.
pub(super) fn over(upper: &mut [u8], lower: &[u8]) {
    for (above, below) in upper.chunks_exact_mut(4).zip(lower.chunks_exact(4)) {
        let (opaque, rest) = (f64::from(above[3]) / 255.0, f64::from(below[3]) / 255.0);
        let under = (1.0 - opaque) * rest;
        if under <= 0.0 {
            continue;
        }
        for (value, seen) in above.iter_mut().zip(below).take(3) {
            let mixed = f64::from(*value) * opaque + f64::from(*seen) * under;
            *value = (mixed / (opaque + under)).round() as u8;
        }
        above[3] = ((opaque + under) * 255.0).round() as u8;
    }
}

/// Width of the stroke around the letters of a rim, px: half of it lies outside them.
pub(super) fn stroke(scene: &Scene) -> f64 {
    2.0 * rim(scene)
}

/// Puts rims of this colour behind the ink of a picture; four bytes a pixel.
pub(super) fn behind_pixels(rgba: &mut [u8], scene: &Scene, colour: Rgb) {
    let (width, height) = (scene.width as usize, scene.height as usize);
    let radius = rim(scene);
    let reach = radius.ceil() as isize;
    let disc: Vec<(isize, isize, f64)> = (-reach..=reach)
        .flat_map(|dy| (-reach..=reach).map(move |dx| (dx, dy)))
        .map(|(dx, dy)| {
            let covered = radius + 0.5 - (dx as f64).hypot(dy as f64);
            (dx, dy, covered.clamp(0.0, 1.0))
        })
        .filter(|(_, _, covered)| *covered > 0.0)
        .collect();
    let mut rims = vec![0_u8; width * height];
    for (index, pixel) in rgba.chunks_exact(4).enumerate() {
        if pixel[3] <= TINT {
            continue;
        }
        let ink = (f64::from(pixel[3] - TINT) / f64::from(INK - TINT)).min(1.0) * 255.0;
        let (x, y) = (index % width, index / width);
        for (dx, dy, covered) in &disc {
            let (Some(x), Some(y)) = (x.checked_add_signed(*dx), y.checked_add_signed(*dy)) else {
                continue;
            };
            if x < width && y < height {
                let rim = &mut rims[y * width + x];
                *rim = (*rim).max((ink * covered) as u8);
            }
        }
    }
    let (r, g, b) = colour;
    for (pixel, rim) in rgba.chunks_exact_mut(4).zip(rims) {
        if rim == 0 || pixel[3] == 255 {
            continue;
        }
        let over = f64::from(pixel[3]) / 255.0;
        let under = (1.0 - over) * f64::from(rim) / 255.0;
        for (value, light) in pixel.iter_mut().zip([r, g, b]) {
            let mixed = f64::from(*value) * over + f64::from(light) * under;
            *value = (mixed / (over + under)).round() as u8;
        }
        pixel[3] = ((over + under) * 255.0).round() as u8;
    }
}
