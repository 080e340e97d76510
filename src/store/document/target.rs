//! One target as it was measured in a frame.

use serde::{Deserialize, Serialize};

use super::known;
use super::number::{Number, Pair, measured, pair};
use crate::measure::{Flag, Lean, Target, Toned, Uneven, Window};
use crate::store::StoreError;
use crate::units::Measured;

#[derive(Serialize, Deserialize)]
pub(super) struct TargetDoc {
    x_px: Pair,
    y_px: Pair,
    variance_px2: Pair,
    flux: Number,
    peak: Number,
    /// Third central moment, fourth cumulant, tilt.
    #[serde(default)]
    lean: Option<(Pair, Number, Number)>,
    #[serde(default)]
    lean_y_px: Option<Pair>,
    elongation: Number,
    #[serde(default)]
    four_fold_px4: Option<Pair>,
    window_change_px: Number,
    /// Along x and y.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    uneven_px2: Option<(Pair, Pair)>,
    tone_change_px: Number,
    /// Left, top, right, bottom.
    window: (u32, u32, u32, u32),
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    flags: Vec<String>,
}

impl TargetDoc {
    pub(super) fn of(target: &Target) -> Self {
        let Target {
            x_px,
            y_px,
            variance_px2,
            flux,
            peak,
            lean,
            lean_y_px,
            elongation,
            four_fold_px4,
            window_change_px,
            uneven,
            tone_change_px,
            // What only judging a sweep takes: that goes by its pictures, never by what is stored.
            toned: _,
            spots: _,
            beside: _,
            window,
            flags,
        } = target;
        Self {
            x_px: pair(*x_px),
            y_px: pair(*y_px),
            variance_px2: pair(*variance_px2),
            flux: Number(*flux),
            peak: Number(*peak),
            lean: Some((
                pair(lean.third_px3),
                Number(lean.fourth_px4),
                Number(lean.tilt_px2),
            )),
            lean_y_px: Some(pair(*lean_y_px)),
            elongation: Number(*elongation),
            four_fold_px4: Some(pair(*four_fold_px4)),
            window_change_px: Number(*window_change_px),
            uneven_px2: uneven.map(|uneven| (pair(uneven.x_px2), pair(uneven.y_px2))),
            tone_change_px: Number(*tone_change_px),
            window: (window.left, window.top, window.right, window.bottom),
            flags: flags.iter().map(|flag| flag.code().to_owned()).collect(),
        }
    }

    pub(super) fn read(self) -> Result<Target, StoreError> {
        let (left, top, right, bottom) = self.window;
        Ok(Target {
            x_px: measured(self.x_px),
            y_px: measured(self.y_px),
            variance_px2: measured(self.variance_px2),
            flux: self.flux.0,
            peak: self.peak.0,
            // Targets measured before it was looked at have none.
            lean: self.lean.map_or(Lean::NONE, |(third, fourth, tilt)| Lean {
                third_px3: measured(third),
                fourth_px4: fourth.0,
                tilt_px2: tilt.0,
            }),
            lean_y_px: self.lean_y_px.map_or(Measured::new(0.0, 0.0), measured),
            elongation: self.elongation.0,
            four_fold_px4: self.four_fold_px4.map_or(Measured::new(0.0, 0.0), measured),
            window_change_px: self.window_change_px.0,
            uneven: self.uneven_px2.map(|(x, y)| Uneven {
                x_px2: measured(x),
                y_px2: measured(y),
            }),
            tone_change_px: self.tone_change_px.0,
            toned: Toned::default(),
            spots: Vec::new(),
            beside: Vec::new(),
            window: Window {
                left,
                top,
                right,
                bottom,
            },
            flags: self
                .flags
                .iter()
                .map(|code| known("flag", code, Flag::from_code))
                .collect::<Result<_, _>>()?,
        })
    }
}
