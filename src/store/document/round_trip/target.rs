//! Targets with any numbers.

use proptest::collection::vec;
use proptest::prelude::*;
use proptest::{array::uniform7, option::of, sample::select};

use super::{number, value};
use crate::measure::{Beside, Flag, Lean, Spot, Target, Toned, Uneven, Window};
use crate::units::Measured;

fn disc((radius_px, x_px, y_px): (f64, Measured, Measured)) -> Beside {
    Beside {
        radius_px,
        x_px,
        y_px,
    }
}

pub(super) fn target() -> impl Strategy<Value = Target> {
    (
        (value(), value(), value(), value(), value(), value()),
        uniform7(number()),
        any::<(u32, u32, u32, u32)>(),
        of((value(), value())),
        (
            vec((number(), number(), number(), value()), 0..3),
            vec((number(), value(), value()), 0..3),
            vec(select(&Flag::ALL[..]), 0..3),
        ),
    )
        .prop_map(
            |(place, light, (left, top, right, bottom), uneven, (spots, beside, flags))| Target {
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
                toned: Toned {
                    light: [light[0], light[1], light[2]],
                    x: [light[3], light[4], light[5]],
                    xx: [light[6], light[0], light[1]],
                    yy: [light[2], light[3], light[4]],
                    xxx: [light[5], light[6], light[0]],
                },
                spots: spots
                    .into_iter()
                    .map(|(x_px, y_px, radius_px, missing_px2)| Spot {
                        x_px,
                        y_px,
                        radius_px,
                        missing_px2,
                    })
                    .collect(),
                beside: beside.into_iter().map(disc).collect(),
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
