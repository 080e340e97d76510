//! Targets that hang one above the other, as where the camera stood upright and was told it did not. They are measured in pictures with
//! rows for columns, so that all else knows pairs that lie side by side alone: what pulls centres is looked for along their line.

use super::{FrameResult, SweepMeasurement, SweepSettings};
use crate::measure::Target;

/// How the targets lie in the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lie {
    /// A left and a right one.
    SideBySide,
    /// An upper and a lower one, measured in pictures with rows for columns.
    OneAboveTheOther,
}

impl Lie {
    /// What the first and the last of them are called.
    #[must_use]
    pub(super) const fn sides(self) -> [&'static str; 2] {
        match self {
            Self::SideBySide => ["left", "right"],
            Self::OneAboveTheOther => ["upper", "lower"],
        }
    }
}

/// Whether the outermost targets of most frames hang one above the other.
#[must_use]
pub(super) fn hang(frames: &[FrameResult]) -> bool {
    let hangs = |frame: &FrameResult| -> Option<bool> {
        let (first, last) = (frame.targets.first()?, frame.targets.last()?);
        let along = |of: fn(&Target) -> f64| (of(last) - of(first)).abs();
        Some(along(|target| target.y_px.value) > along(|target| target.x_px.value))
    };
    let known: Vec<bool> = frames.iter().filter_map(hangs).collect();
    2 * known.iter().filter(|hangs| **hangs).count() > known.len()
}

/// The same settings for pictures with rows for columns.
#[must_use]
pub(super) fn settings(settings: &SweepSettings) -> SweepSettings {
    let mut turned = settings.clone();
    let places = turned.pointed_at.values_mut().flatten();
    places.for_each(|(x, y)| std::mem::swap(x, y));
    turned
}

/// Puts what was measured in pictures with rows for columns back to where it is.
pub(super) fn put_back(measured: &mut SweepMeasurement) {
    measured.picture_size_px = measured
        .picture_size_px
        .map(|(rows, columns)| (columns, rows));
    let targets = measured
        .frames
        .iter_mut()
        .flat_map(|frame| &mut frame.targets);
    targets.for_each(Target::swap_axes);
}
