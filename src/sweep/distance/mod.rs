//! Where each frame is focused, dioptres from the sensor plane.

pub(super) mod given;

use super::{DistanceSource, FrameInfo, SweepSettings};
use crate::units::Measured;

/// The distance scale of a sweep.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct DistanceScale {
    /// Where it comes from.
    pub(super) source: DistanceSource,
    /// Focus setting of each frame in sweep order, dioptres.
    pub(super) dioptres: Vec<Option<Measured>>,
}

/// The best distance scale that is known without looking at the pictures: what the reviewer gave, else the files.
/// `frames` are in sweep order.
#[must_use]
pub(super) fn stated(frames: &[&FrameInfo], settings: &SweepSettings) -> DistanceScale {
    let entered: Vec<Option<f64>> = frames
        .iter()
        .map(|frame| settings.distances.get(&frame.file).map(|d| d.dioptres()))
        .collect();
    if entered.iter().flatten().count() >= 2 {
        return DistanceScale {
            source: DistanceSource::Entered,
            dioptres: given::between(&entered),
        };
    }
    let from_files: Vec<Option<f64>> = frames
        .iter()
        .map(|frame| frame.focus_distance.map(|d| d.dioptres()))
        .collect();
    if from_files.iter().flatten().count() >= 2 {
        return DistanceScale {
            source: DistanceSource::Exif,
            dioptres: given::between(&from_files),
        };
    }
    DistanceScale {
        source: DistanceSource::None,
        dioptres: vec![None; frames.len()],
    }
}
