//! The thin lens that is focused by moving it as a whole.
//!
//! A real lens with pupil magnification P grows the picture by f(u)·(1 + m/P), and its focal length may change while it
//! focuses: the bare thin lens is off by 1 to 40 % of the shift. It checks code and plans a shoot; it is never an
//! expectation for a real lens.

/// Magnification of a thin lens of focal length f whose object lies `object_mm` from the sensor plane:
/// m = [(u/f − 2) − √((u/f − 2)² − 4)]/2 (D. Jacobson, Photographic Lenses Tutorial). `None` nearer than 4 f, where
/// nothing can be sharp.
#[must_use]
pub fn magnification(focal_mm: f64, object_mm: f64) -> Option<f64> {
    let spread = object_mm / focal_mm - 2.0;
    let inside = spread * spread - 4.0;
    // 2/(a + √(a²−4)) is the same as (a − √(a²−4))/2 and doesn't lose digits for far objects.
    (spread >= 2.0 && inside >= 0.0).then(|| 2.0 / (spread + inside.sqrt()))
}

/// Distance from the lens to the sensor, mm, when focused on an object `object_mm` from the sensor plane: v = f·(1 + m).
/// `None` nearer than 4 f.
#[must_use]
pub fn image_distance_mm(focal_mm: f64, object_mm: f64) -> Option<f64> {
    Some(focal_mm * (1.0 + magnification(focal_mm, object_mm)?))
}

/// Shift, per cent, of the separation of two fixed targets `target_mm` from the sensor plane when a thin lens is focused
/// from infinity to `focus_mm`: (1+m)·(D−f)/(D−f·(1+m)) − 1. It holds the lens's own move towards the targets.
/// `None` nearer than 4 f, or where the lens would touch the targets.
#[must_use]
pub fn fixed_pair_shift_pct(focal_mm: f64, focus_mm: f64, target_mm: f64) -> Option<f64> {
    let grown = 1.0 + magnification(focal_mm, focus_mm)?;
    let room = target_mm - focal_mm * grown;
    (room > 0.0).then(|| 100.0 * (grown * (target_mm - focal_mm) / room - 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::angle_of_view_deg;

    /// Focal length, object to sensor, magnification, image distance, horizontal angle on 36 mm, v/f − 1 in %, shift of a
    /// fixed pair at 2000 mm in %. From m = [(u/f−2) − √((u/f−2)²−4)]/2, v = f(1+m) (Jacobson, Photographic Lenses
    /// Tutorial); fixed pair (1+m)(D−f)/(D−f(1+m)) − 1, computed.
    const ROWS: [[f64; 7]; 11] = [
        [24.0, 250.0, 0.120_538, 26.8929, 67.5905, 12.0538, 12.2181],
        [24.0, 1000.0, 0.025_226, 24.6054, 72.3744, 2.5226, 2.5540],
        [35.0, 300.0, 0.155_871, 40.4555, 47.9718, 15.5871, 15.9089],
        [50.0, 450.0, 0.145_898, 57.2949, 34.8817, 14.5898, 15.0201],
        [50.0, 500.0, 0.127_017, 56.3508, 35.4298, 12.7017, 13.0699],
        [50.0, 1000.0, 0.055_728, 52.7864, 37.6584, 5.5728, 5.7239],
        [50.0, 2000.0, 0.026_334, 51.3167, 38.6580, 2.6334, 2.7028],
        [50.0, 5000.0, 0.010_205, 50.5103, 39.2284, 1.0205, 1.0470],
        [85.0, 800.0, 0.137_470, 96.6850, 21.0922, 13.7470, 14.4454],
        [
            105.0, 1000.0, 0.135_346, 119.2113, 17.1727, 13.5346, 14.3925,
        ],
        [105.0, 5000.0, 0.021_931, 107.3028, 19.0454, 2.1931, 2.3175],
    ];

    #[test]
    fn published_thin_lens_values() {
        for [focal, object, m, image, angle, growth, pair] in ROWS {
            let got_m = magnification(focal, object).expect("beyond 4 f");
            let got_image = image_distance_mm(focal, object).expect("beyond 4 f");
            let got_pair = fixed_pair_shift_pct(focal, object, 2000.0).expect("room");
            // Half a unit of the last digit printed, and a little for the source's own rounding.
            for (got, printed, digit) in [
                (got_m, m, 1e-6),
                (got_image, image, 1e-4),
                (angle_of_view_deg(36.0, got_image), angle, 1e-4),
                (100.0 * got_m, growth, 1e-4),
                (got_pair, pair, 1e-4),
            ] {
                assert!(
                    (got - printed).abs() < 0.6 * digit,
                    "{focal} mm at {object} mm: {got} is not {printed}"
                );
            }
        }
    }

    #[test]
    fn nothing_is_sharp_nearer_than_four_focal_lengths() {
        assert_eq!(magnification(50.0, 199.0), None);
        assert!((magnification(50.0, 200.0).expect("life size") - 1.0).abs() < 1e-12);
        assert_eq!(fixed_pair_shift_pct(50.0, 200.0, 90.0), None);
    }
}
