//! Angle of view and equivalent focal length.

use crate::units::Measured;

/// Angle of view, degrees, over a side (width, height or diagonal) of the picture area: 2·atan(d / 2f).
///
/// For a rectilinear lens focused at infinity; both lengths in mm and positive.
///
/// ```
/// # use breathmark::optics::angle_of_view_deg;
/// assert!((angle_of_view_deg(36.0, 24.0) - 73.739795).abs() < 1e-6);
/// ```
#[must_use]
pub fn angle_of_view_deg(side_mm: f64, focal_mm: f64) -> f64 {
    (2.0 * (side_mm / (2.0 * focal_mm)).atan()).to_degrees()
}

/// Change of the angle of view, per cent, that goes with a shift of picture scale, per cent: a tighter picture
/// (positive shift) has a smaller angle (negative change).
///
/// Small shifts obey dα/α = −(sin α / α)·ds/s: at 24 mm on 36 mm 1 % of scale is 0.75 % of the horizontal angle, at
/// long focal lengths both are alike.
#[must_use]
pub fn angle_shift_pct(shift_pct: f64, side_mm: f64, focal_mm: f64) -> f64 {
    let before = angle_of_view_deg(side_mm, focal_mm);
    let like = equivalent_focal_length_mm(focal_mm, Measured::new(shift_pct, 0.0));
    let after = angle_of_view_deg(side_mm, like.value);
    (after / before - 1.0) * 100.0
}

/// Standard uncertainty of an angle of view, degrees, that goes with a small relative one of the focal length:
/// u(α) = sin α · u(f)/f, from dα/df = −sin α / f.
///
/// ```
/// # use breathmark::optics::angle_of_view_u_deg;
/// assert!((angle_of_view_u_deg(90.0, 0.01) - 0.572958).abs() < 1e-6);
/// ```
#[must_use]
pub fn angle_of_view_u_deg(angle_deg: f64, relative_u: f64) -> f64 {
    (angle_deg.to_radians().sin() * relative_u).to_degrees()
}

/// Focal length, mm, that a lens frames like: nominal focal length × (1 + shift). Its standard uncertainty is that of the
/// shift; the nominal focal length may be off by 5 %.
///
/// ```
/// # use breathmark::{optics::equivalent_focal_length_mm, units::Measured};
/// let like = equivalent_focal_length_mm(85.0, Measured::new(2.0, 0.01));
/// assert!((like.value - 86.7).abs() < 1e-9 && (like.std_error - 0.0085).abs() < 1e-9);
/// ```
#[must_use]
pub fn equivalent_focal_length_mm(focal_mm: f64, shift_pct: Measured) -> Measured {
    let shift = shift_pct.scaled(0.01);
    Measured::new(focal_mm * (1.0 + shift.value), focal_mm * shift.std_error)
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// Focal length; horizontal, vertical, diagonal angle on 36 × 24 mm. Horizontal column of the first nine rows as in a
    /// published table (conversionencyclopedia.com, focal length to horizontal angle of view at full frame 36 mm), the
    /// rest computed.
    pub(in crate::optics) const ANGLES: [(f64, f64, f64, f64); 9] = [
        (14.0, 104.250_033, 81.202_589, 114.182_131),
        (24.0, 73.739_795, 53.130_102, 84.062_228),
        (28.0, 65.470_453, 46.397_181, 75.380_650),
        (35.0, 54.432_223, 37.849_289, 63.439_967),
        (50.0, 39.597_753, 26.991_467, 46.793_003),
        (85.0, 23.913_168, 16.071_421, 28.558_322),
        (105.0, 19.455_157, 13.039_604, 23.283_664),
        (135.0, 15.189_287, 10.159_216, 18.208_119),
        (200.0, 10.285_529, 6.867_261, 12.346_968),
    ];

    #[test]
    fn published_angles_of_view() {
        for (focal, horizontal, vertical, diagonal) in ANGLES {
            let sides = [
                (36.0, horizontal),
                (24.0, vertical),
                (36_f64.hypot(24.0), diagonal),
            ];
            for (side, angle) in sides {
                // The table has six decimals.
                assert!(
                    (angle_of_view_deg(side, focal) - angle).abs() < 1e-6,
                    "{focal} mm, side {side}"
                );
            }
        }
    }

    /// Common practice, no source: an 85 mm at +2.0 % frames like 86.7 mm, 70 mm at +2 % like 71.4, 105 mm at +3.8 % like 109.
    #[test]
    fn lenses_frame_like_others() {
        for (focal, shift, like, decimals) in [
            (85.0, 2.0, 86.7, 0.05),
            (70.0, 2.0, 71.4, 0.05),
            (105.0, 3.8, 109.0, 0.5),
        ] {
            let told = equivalent_focal_length_mm(focal, Measured::new(shift, 0.0));
            assert!((told.value - like).abs() < decimals);
        }
    }

    #[test]
    fn a_per_cent_of_scale_is_less_of_the_angle() {
        let derivative = |focal: f64| {
            let angle = angle_of_view_deg(36.0, focal).to_radians();
            angle.sin() / angle
        };
        for focal in [24.0, 50.0, 200.0] {
            // Second-order terms of a shift of 0.01 % are below 1e-6.
            let change = angle_shift_pct(0.01, 36.0, focal);
            assert!((change / -0.01 - derivative(focal)).abs() < 1e-4);
        }
        assert!((derivative(24.0) - 0.746).abs() < 5e-4);
        assert!(derivative(200.0) > 0.99);
    }
}
