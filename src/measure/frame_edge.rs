//! A target at the frame's edge, and the part of a window that lies inside the frame.

use super::centre::Seen;
use super::moments::for_pixels;
use super::{Plane, Window};

/// Whether light of the target reaches the frame's edge.
pub(super) fn clipped(plane: &Plane, seen: &Seen, (x, y): (f64, f64)) -> bool {
    let (right, bottom) = (f64::from(plane.width() - 1), f64::from(plane.height() - 1));
    let support = seen.support;
    if x - support > 0.0 && y - support > 0.0 && x + support < right && y + support < bottom {
        return false;
    }
    let (mut light, mut count) = (0.0, 0.0);
    for_pixels(&seen.patch, (x, y), support, |index, dx, dy| {
        let (u, v) = (x + dx, y + dy);
        if u < 2.0 || v < 2.0 || u > right - 2.0 || v > bottom - 2.0 {
            light += f64::from(seen.patch.light[index]) - seen.ring.plane.at(u, v);
            count += 1.0;
        }
    });
    let noise = (seen.ring.pixel_variance / f64::max(count, 1.0)).sqrt();
    count > 0.0 && light / count > (0.01 * seen.profile.peak).max(4.0 * noise)
}

/// The part of a patch's window that a round window covers.
pub(super) fn inside(window: Window, (x, y): (f64, f64), radius: f64) -> Window {
    let low = |c: f64, least: u32, most: u32| {
        ((c - radius).ceil().max(f64::from(least)) as u32).min(most)
    };
    let high = |c: f64, least: u32, most: u32| {
        ((c + radius)
            .floor()
            .min(f64::from(most))
            .max(f64::from(least))) as u32
    };
    Window {
        left: low(x, window.left, window.right),
        top: low(y, window.top, window.bottom),
        right: high(x, window.left, window.right),
        bottom: high(y, window.top, window.bottom),
    }
}
