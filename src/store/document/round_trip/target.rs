//! Targets with any numbers.

use proptest::collection::vec;
use proptest::prelude::*;
use proptest::{array::uniform7, option::of, sample::select};

use super::{number, value};
use crate::measure::{Flag, Lean, Target, Toned, Uneven, Window};

pub(super) fn target() -> impl Strategy<Value = Target> {
    (
        (value(), value(), value(), value(), value(), value()),
        uniform7(number()),
        any::<(u32, u32, u32, u32)>(),
        of((value(), value())),
        vec(select(&Flag::ALL[..]), 0..3),
    )
        .prop_map(
            |(place, light, (left, top, right, bottom), uneven, flags)| Target {
                x_px: place.0,
                y_px: place.1,
                variance_px2: place.2,
                flux: light[0],
                peak: light[1],
                lean: Lean {
                    third_px3: place.3,
                    fourth_px4: light[2],
                    tilt_px2: light[6],
                },
                lean_y_px: place.4,
                elongation: light[3],
                four_fold_px4: place.5,
                window_change_px: light[4],
                uneven: uneven.map(|(x_px2, y_px2)| Uneven { x_px2, y_px2 }),
                tone_change_px: light[5],
                // What is not stored comes back empty.
                toned: Toned::default(),
                spots: Vec::new(),
                beside: Vec::new(),
                window: Window {
                    left,
                    top,
                    right,
                    bottom,
                },
                flags,
            },
        )
}
