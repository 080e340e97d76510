//! What is true of a rendered sweep, frame by frame.

use std::io;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;
use serde::Serialize;

use super::script::SweepScript;

/// What is true of one target in one frame.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TargetTruth {
    /// Centre, px right of the first column's centre.
    pub x_px: f64,
    /// Centre, px below the first row's centre.
    pub y_px: f64,
    /// Diameter of the blur disc (of the circumscribed circle for a bladed pupil), px.
    pub blur_px: f64,
    /// Whether the target with its blur reaches over the frame edge.
    pub clipped: bool,
}

/// What is true of one frame.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FrameTruth {
    /// File name.
    pub file: String,
    /// Focus setting, dioptres; 0 at infinity.
    pub focus_dioptres: f64,
    /// Focus distance, m; `None` at infinity.
    pub focus_distance_m: Option<f64>,
    /// Distance between the outermost targets, px, as if they had stayed where they hung in the first frame.
    pub separation_px: f64,
    /// Separation over that at infinity focus of the same lens − 1, per cent.
    pub shift_pct: f64,
    /// Separation over that of the last frame − 1, per cent.
    pub shift_to_last_pct: f64,
    /// The targets, in the order of the script.
    pub targets: Vec<TargetTruth>,
}

#[derive(Serialize)]
struct SweepTruth {
    maker: String,
    lens: String,
    focal_length_mm: f64,
    f_number: f64,
    target_distance_m: f64,
    closest_focus_m: f64,
    sensor_width_mm: f64,
    width_px: u32,
    height_px: u32,
    seed: u64,
    worst_shift_pct: f64,
    frames: Vec<FrameTruth>,
}

impl SweepScript {
    /// What is true of every frame, in the order from closest focus to the last.
    #[must_use]
    pub fn truth(&self) -> Vec<FrameTruth> {
        let at_infinity = self.separation_px(|x, y| (x, y));
        let mut frames: Vec<FrameTruth> = (0..self.frames)
            .map(|frame| self.frame_truth(frame, at_infinity))
            .collect();
        let last = frames
            .last()
            .map_or(at_infinity, |frame| frame.separation_px);
        for frame in &mut frames {
            frame.shift_to_last_pct = 100.0 * (frame.separation_px / last - 1.0);
        }
        frames
    }

    fn frame_truth(&self, frame: usize, at_infinity: f64) -> FrameTruth {
        let geometry = self.geometry(frame);
        let dioptres = self.dioptres(frame);
        let separation_px = self.separation_px(|x, y| geometry.place(x, y));
        let blur_px = geometry.signed_blur_px.abs();
        let targets = (0..self.scene.targets.len())
            .map(|index| {
                let target = self.hung(index, frame);
                let (x_px, y_px) = geometry.place(target.x_px, target.y_px);
                let margin = blur_px / 2.0 + target.ragged_px * 3.0;
                let (half_width, half_height) = (
                    geometry.scale * target.width_px / 2.0 + margin,
                    geometry.scale * target.height_px / 2.0 + margin,
                );
                let inside = |middle: f64, half: f64, length: u32| {
                    middle - half >= -0.5 && middle + half <= f64::from(length) - 0.5
                };
                TargetTruth {
                    x_px,
                    y_px,
                    blur_px,
                    clipped: !inside(x_px, half_width, self.scene.width_px)
                        || !inside(y_px, half_height, self.scene.height_px),
                }
            })
            .collect();
        FrameTruth {
            file: self.file_name(frame),
            focus_dioptres: dioptres,
            focus_distance_m: (dioptres > 0.0).then(|| 1.0 / dioptres),
            separation_px,
            shift_pct: 100.0 * (separation_px / at_infinity - 1.0),
            shift_to_last_pct: 0.0,
            targets,
        }
    }

    /// Distance between the leftmost and the rightmost target, px; 0 with fewer than two.
    fn separation_px(&self, place: impl Fn(f64, f64) -> (f64, f64)) -> f64 {
        let targets = &self.scene.targets;
        let by_x = |a: &&super::Patch, b: &&super::Patch| a.x_px.total_cmp(&b.x_px);
        let ends = targets.iter().min_by(by_x).zip(targets.iter().max_by(by_x));
        ends.map_or(0.0, |(left, right)| {
            let (a, b) = (place(left.x_px, left.y_px), place(right.x_px, right.y_px));
            (a.0 - b.0).hypot(a.1 - b.1)
        })
    }

    /// Writes every frame as a JPEG and `truth.json` into a folder, making it; `progress` hears how many are written.
    ///
    /// # Errors
    /// Those of the file system, and `InvalidInput` for a scene that JPEG can't hold (a side of 0 or above 65535 px).
    pub fn write_to(&self, folder: &Path, progress: &(dyn Fn(usize) + Sync)) -> io::Result<()> {
        std::fs::create_dir_all(folder)?;
        let written = AtomicUsize::new(0);
        (0..self.frames).into_par_iter().try_for_each(|frame| {
            let bytes = self.jpeg(frame)?;
            std::fs::write(folder.join(self.file_name(frame)), bytes)?;
            progress(written.fetch_add(1, Ordering::Relaxed) + 1);
            io::Result::Ok(())
        })?;
        let frames = self.truth();
        let truth = SweepTruth {
            maker: self.lens.maker.clone(),
            lens: self.lens.model.clone(),
            focal_length_mm: self.lens.focal_mm,
            f_number: self.lens.f_number,
            target_distance_m: self.scene.target_distance_m,
            closest_focus_m: self.closest_focus_m,
            sensor_width_mm: self.scene.sensor_width_mm,
            width_px: self.scene.width_px,
            height_px: self.scene.height_px,
            seed: self.seed,
            worst_shift_pct: frames
                .iter()
                .map(|frame| frame.shift_pct)
                .max_by(|a, b| a.abs().total_cmp(&b.abs()))
                .unwrap_or(0.0),
            frames,
        };
        std::fs::write(
            folder.join("truth.json"),
            serde_json::to_vec_pretty(&truth)?,
        )
    }
}
