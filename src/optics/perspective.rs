//! What one target distance can't separate from breathing.

use super::thin_lens;

/// Bound, percentage points of shift, on what the entrance pupil's move towards the targets adds: 0 to f·m/D for a lens
/// that extends as a whole while focusing to `closest_mm` (50 mm at 0.5 m with D = 2 m: 0.3 %). One-sided: the picture can only look
/// tighter by it. A second sweep at another target distance separates it. Lengths in mm, distances from the sensor plane.
#[must_use]
pub fn perspective_bound_pct(focal_mm: f64, closest_mm: f64, target_mm: f64) -> f64 {
    // Nearer than 4 f the thin lens ends at life size; a macro lens goes on, but no farther than its own length.
    let magnification = thin_lens::magnification(focal_mm, closest_mm).unwrap_or(1.0);
    100.0 * focal_mm * magnification / target_mm
}

/// How far short of the truth every shift is, per cent, when the farthest frame is focused at `last_mm` and not at infinity, for a thin
/// lens with targets at `target_mm`: about 0.25 % for 50 mm at 20 m. `None` nearer than 4 f.
#[must_use]
pub fn shortfall_pct(focal_mm: f64, last_mm: f64, target_mm: f64) -> Option<f64> {
    thin_lens::fixed_pair_shift_pct(focal_mm, last_mm, target_mm)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bound_of_a_normal_lens() {
        // 50 mm · 0.127 / 2000 mm.
        assert!((perspective_bound_pct(50.0, 500.0, 2000.0) - 0.3175).abs() < 1e-3);
    }

    #[test]
    fn a_last_frame_at_20_metres_costs_a_quarter_per_cent() {
        let short = shortfall_pct(50.0, 20_000.0, 2000.0).expect("far enough");
        assert!((short - 0.25).abs() < 0.02, "{short}");
    }
}
