//! Blur of what is out of focus, and the shape of the pupil that makes it.

/// Diameter of the blur disc on the sensor, mm, of a thin lens: c = A·|u − D|/D·m with A = f/N and m = f/(u − f), u the
/// distance focused at and D that of the target, both from the lens (D. Jacobson, Photographic Lenses Tutorial, part 4,
/// has the same value as f²·|u/D − 1|/(N·(u − f))). `focus_mm` of infinity is allowed: c = A·f/D.
#[must_use]
pub fn thin_lens_blur_mm(focal_mm: f64, f_number: f64, focus_mm: f64, target_mm: f64) -> f64 {
    let pupil = focal_mm / f_number;
    if focus_mm.is_infinite() {
        return pupil * focal_mm / target_mm;
    }
    let magnification = focal_mm / (focus_mm - focal_mm);
    pupil * (focus_mm - target_mm).abs() / target_mm * magnification
}

/// Angle, rad, that the blur of a target fills as seen from the entrance pupil: β = A·|1/(D−p) − 1/(u−p)|.
///
/// `pupil_mm` is the pupil's diameter A; D, u and the pupil's own place p are from the sensor plane, mm; infinity is
/// allowed for u. Whatever the lens does inside, this holds: it is seen from outside.
#[must_use]
pub fn blur_angle_rad(pupil_mm: f64, target_mm: f64, focus_mm: f64, pupil_place_mm: f64) -> f64 {
    pupil_mm * (1.0 / (target_mm - pupil_place_mm) - 1.0 / (focus_mm - pupil_place_mm)).abs()
}

/// Diameter of a uniform blur disc, px, from second moments per axis, px²: c = 4·√(σ² − σ₀²), because a disc of diameter
/// c adds c²/16 per axis and second moments add under convolution. 0 where the target is no wider than its sharp self.
#[must_use]
pub fn blur_diameter_px(variance_px2: f64, sharp_variance_px2: f64) -> f64 {
    4.0 * (variance_px2 - sharp_variance_px2).max(0.0).sqrt()
}

/// Second moment per axis of a pupil with `blades` straight blades over that of its circumscribed circle:
/// (2 + cos(2π/n))/3, from the second moment of a regular polygon (from memory; the values are tested).
#[must_use]
pub fn polygon_second_moment_factor(blades: u32) -> f64 {
    (2.0 + (2.0 * std::f64::consts::PI / f64::from(blades.max(3))).cos()) / 3.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Focal length, f-number, focus and target from the lens, blur; two published forms agreeing (Jacobson, Photographic
    /// Lenses Tutorial part 4).
    #[test]
    fn published_blur_discs() {
        for (focal, n, focus, target, blur) in [
            (50.0, 4.0, 450.0, 2000.0, 1.210_938),
            (50.0, 4.0, 1000.0, 2000.0, 0.328_947),
            (50.0, 4.0, f64::INFINITY, 2000.0, 0.312_500),
            (105.0, 4.0, 1000.0, 3000.0, 2.053_073),
            (24.0, 4.0, 250.0, 1000.0, 0.477_876),
        ] {
            let got = thin_lens_blur_mm(focal, n, focus, target);
            assert!((got - blur).abs() < 6e-7, "{focal} mm at {focus}: {got}");
        }
    }

    /// A thin lens's blur seen from outside: angle × image distance. With the pupil in the lens itself both forms agree.
    #[test]
    fn blur_seen_from_the_pupil_is_the_blur_on_the_sensor() {
        let (focal, n, focus, target) = (50.0, 4.0, 450.0, 2000.0);
        let image = focal * focus / (focus - focal);
        let seen = blur_angle_rad(focal / n, target, focus, 0.0) * image;
        assert!((seen - thin_lens_blur_mm(focal, n, focus, target)).abs() < 1e-12);
    }

    #[test]
    fn published_polygon_factors() {
        for (blades, factor) in [(5, 0.770), (6, 0.833), (7, 0.874), (8, 0.902), (9, 0.922)] {
            // Three decimals printed.
            assert!((polygon_second_moment_factor(blades) - factor).abs() < 6e-4);
        }
    }

    #[test]
    fn blur_from_second_moments() {
        // A square of 20 px blurred by a disc of 12 px: 20²/12 + 12²/16.
        let sharp = 400.0 / 12.0;
        assert!((blur_diameter_px(sharp + 9.0, sharp) - 12.0).abs() < 1e-12);
        assert!(blur_diameter_px(sharp - 1.0, sharp).abs() < f64::EPSILON);
    }
}
