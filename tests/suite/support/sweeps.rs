//! Simulated sweeps as files, small enough for a fast suite.

use std::path::Path;

use breathmark::simulate::{Breathing, LensModel, Scene, SweepScript};

/// A good sweep of 640 × 426 px frames at a focal length, reaching a worst shift at its closest focus.
pub(crate) fn small(focal_mm: f64, worst_shift_pct: f64, frames: usize) -> SweepScript {
    let mut script = SweepScript::plain(focal_mm, worst_shift_pct, frames);
    script.scene = Scene::two_targets(640, 426);
    script.lens = LensModel {
        f_number: 8.0,
        breathing: Breathing::reaching(worst_shift_pct, script.closest_focus_m),
        ..LensModel::still(focal_mm)
    };
    script.lens.maker = "Ostrel".to_owned();
    script.lens.model = "Ostrel Practice".to_owned();
    script
}

/// Writes the frames of a sweep, and nothing else, into a folder.
pub(crate) fn write_frames(script: &SweepScript, folder: &Path) {
    std::fs::create_dir_all(folder).expect("the folder can be made");
    for frame in 0..script.frames {
        let path = folder.join(script.file_name(frame));
        let bytes = script.jpeg(frame).expect("a frame can be encoded");
        std::fs::write(path, bytes).expect("a frame can be written");
    }
}
