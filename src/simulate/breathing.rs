//! The lens: how it breathes, and the shape of the light it lets through.

/// Shape of the entrance pupil, as out-of-focus lights show it.
#[derive(Debug, Clone, PartialEq)]
pub struct Pupil {
    /// Blades of the iris; `None` is a round opening. A bladed pupil is a regular polygon whose circumscribed circle
    /// has the diameter f/N.
    pub blades: Option<u32>,
    /// Turn of the first corner, degrees.
    pub rotation_deg: f64,
    /// Mechanical vignetting: how far the barrel's edge is seen displaced against the pupil at the picture's corner, in
    /// pupil diameters; 0 is none.
    pub vignetting: f64,
    /// Diameter of the barrel's opening in pupil diameters: 1 wide open, 1.41 one stop down, 2 two stops down.
    pub barrel: f64,
}

impl Default for Pupil {
    fn default() -> Self {
        Self {
            blades: None,
            rotation_deg: 0.0,
            vignetting: 0.0,
            barrel: 1.0,
        }
    }
}

/// How the picture scale changes with the focus setting.
#[derive(Debug, Clone, PartialEq)]
pub enum Breathing {
    /// Not at all.
    None,
    /// A thin lens moved as a whole: m = [(u/f−2) − √((u/f−2)²−4)]/2 at object-to-sensor distance u, and a fixed pair
    /// at D grows by (1+m)(D−f)/(D−f(1+m)) − 1. Source: Jacobson, Photographic Lenses Tutorial.
    ThinLens,
    /// Shift in per cent as a polynomial of the focus setting in dioptres without constant term: c₀·δ + c₁·δ² + …
    Polynomial(Vec<f64>),
    /// Shift in per cent at some focus settings (dioptres, per cent), smooth between them; (0, 0) is understood.
    Points(Vec<(f64, f64)>),
}

impl Breathing {
    /// Grows smoothly and without turning to `worst_pct` at the closest focus; a third of it bends with the square.
    #[must_use]
    pub fn reaching(worst_pct: f64, closest_focus_m: f64) -> Self {
        Self::Polynomial(vec![
            worst_pct * closest_focus_m * 2.0 / 3.0,
            worst_pct * closest_focus_m * closest_focus_m / 3.0,
        ])
    }

    /// Goes to `turn_pct` about half-way (in dioptres) and comes to `end_pct` at the closest focus: 4·t·(1−t) and t
    /// combined, t the share of the closest setting.
    #[must_use]
    pub fn turning(turn_pct: f64, end_pct: f64, closest_focus_m: f64) -> Self {
        let hump = 4.0 * (turn_pct - end_pct / 2.0);
        Self::Polynomial(vec![
            (hump + end_pct) * closest_focus_m,
            -hump * closest_focus_m * closest_focus_m,
        ])
    }

    /// Shift in per cent at a focus setting.
    #[must_use]
    pub fn shift_pct(&self, dioptres: f64, focal_mm: f64, target_distance_m: f64) -> f64 {
        match self {
            Self::None => 0.0,
            Self::ThinLens => thin_lens_shift_pct(dioptres, focal_mm, target_distance_m),
            Self::Polynomial(coefficients) => coefficients
                .iter()
                .rev()
                .fold(0.0, |sum, c| (sum + c) * dioptres),
            Self::Points(points) => through_points(points, dioptres),
        }
    }
}

fn thin_lens_shift_pct(dioptres: f64, focal_mm: f64, target_distance_m: f64) -> f64 {
    if dioptres <= 0.0 {
        return 0.0;
    }
    let half = 1000.0 / dioptres / focal_mm - 2.0;
    // Nearer than 4 f from the sensor a thin lens can't focus; it stays at life size.
    let magnification = if half <= 2.0 {
        1.0
    } else {
        (half - (half * half - 4.0).sqrt()) / 2.0
    };
    let distance = target_distance_m * 1000.0;
    let grown = 1.0 + magnification;
    100.0 * (grown * (distance - focal_mm) / (distance - focal_mm * grown) - 1.0)
}

/// Cubic Hermite interpolation with parabolic tangents; beyond the ends the end value stays.
fn through_points(points: &[(f64, f64)], at: f64) -> f64 {
    let mut knots: Vec<(f64, f64)> = points
        .iter()
        .copied()
        .filter(|(x, y)| x.is_finite() && y.is_finite() && *x > 0.0)
        .chain([(0.0, 0.0)])
        .collect();
    knots.sort_by(|a, b| a.0.total_cmp(&b.0));
    knots.dedup_by(|a, b| a.0 <= b.0);
    let last = knots.len() - 1;
    if last == 0 || at <= 0.0 {
        return 0.0;
    }
    if at >= knots[last].0 {
        return knots[last].1;
    }
    let above = knots.partition_point(|knot| knot.0 <= at);
    let (low, high) = (knots[above - 1], knots[above]);
    let slope = |i: usize| {
        let chord = |a: usize, b: usize| (knots[b].1 - knots[a].1) / (knots[b].0 - knots[a].0);
        if i == 0 || i == last {
            let (near, far) = if i == 0 { (0, 1) } else { (last - 1, last) };
            return chord(near, far);
        }
        let (before, after) = (knots[i].0 - knots[i - 1].0, knots[i + 1].0 - knots[i].0);
        (chord(i - 1, i) * after + chord(i, i + 1) * before) / (before + after)
    };
    let step = high.0 - low.0;
    let t = (at - low.0) / step;
    let (t2, t3) = (t * t, t * t * t);
    (2.0 * t3 - 3.0 * t2 + 1.0) * low.1
        + (t3 - 2.0 * t2 + t) * step * slope(above - 1)
        + (3.0 * t2 - 2.0 * t3) * high.1
        + (t3 - t2) * step * slope(above)
}

/// A lens of invented make.
#[derive(Debug, Clone, PartialEq)]
pub struct LensModel {
    /// Maker.
    pub maker: String,
    /// Model, as the file names it; empty where the camera knows none.
    pub model: String,
    /// Marked focal length, mm.
    pub focal_mm: f64,
    /// f-number.
    pub f_number: f64,
    /// Shape of its pupil.
    pub pupil: Pupil,
    /// How far the entrance pupil lies in front of the sensor plane, mm.
    pub pupil_distance_mm: f64,
    /// How it breathes.
    pub breathing: Breathing,
    /// Change of radial distortion from infinity to a focus setting of 1 dioptre, as a share of the radius at the
    /// picture's corner; 0 where distortion does not depend on focus.
    pub distortion_per_dioptre: f64,
    /// Softness that is always there, lens and sensor filter together: standard deviation of a Gaussian, px.
    pub softness_px: f64,
}

impl LensModel {
    /// A round-pupil lens at f/5.6 that does not breathe.
    #[must_use]
    pub fn still(focal_mm: f64) -> Self {
        Self {
            maker: "Ostrel".to_owned(),
            model: format!("Ostrel Meridian {focal_mm} mm"),
            focal_mm,
            f_number: 5.6,
            pupil: Pupil::default(),
            pupil_distance_mm: focal_mm,
            breathing: Breathing::None,
            distortion_per_dioptre: 0.0,
            softness_px: 0.6,
        }
    }

    /// Blur disc of a point at the targets, px on the sensor, with the sign of the pupil's image: negative (upside
    /// down) where the focus is nearer than the targets. β = A·(1/(D−p) − 1/(u−p)), seen through f·(1+shift).
    #[must_use]
    pub fn signed_blur_px(
        &self,
        dioptres: f64,
        shift_pct: f64,
        target_distance_m: f64,
        pixel_pitch_mm: f64,
    ) -> f64 {
        // Nothing can lie nearer to the pupil than 1 mm: keeps absurd scripts finite.
        let from_pupil = |sensor_mm: f64| 1.0 / (sensor_mm - self.pupil_distance_mm).max(1.0);
        let focused = if dioptres <= 0.0 {
            0.0
        } else {
            from_pupil(1000.0 / dioptres)
        };
        let angle =
            self.focal_mm / self.f_number * (from_pupil(target_distance_m * 1000.0) - focused);
        angle * self.focal_mm * (1.0 + shift_pct / 100.0) / pixel_pitch_mm
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows of a published table computed from Jacobson, Photographic Lenses Tutorial: (1+m)(D−f)/(D−f(1+m)) − 1.
    #[test]
    fn thin_lens_matches_published_rows() {
        for (focal_mm, object_mm, shift_pct) in [
            (24.0, 250.0, 12.2181),
            (24.0, 1000.0, 2.5540),
            (35.0, 300.0, 15.9089),
            (50.0, 450.0, 15.0201),
        ] {
            let got = Breathing::ThinLens.shift_pct(1000.0 / object_mm, focal_mm, 2.0);
            assert!(
                (got - shift_pct).abs() < 1e-4,
                "{focal_mm} mm at {object_mm} mm: {got}"
            );
        }
    }

    #[test]
    fn curves_pass_where_they_are_told_to() {
        let reaching = Breathing::reaching(-1.4, 0.5);
        assert!((reaching.shift_pct(2.0, 50.0, 2.0) + 1.4).abs() < 1e-12);
        let turning = Breathing::turning(-0.6, 0.9, 0.5);
        assert!((turning.shift_pct(1.0, 50.0, 2.0) + 0.6).abs() < 1e-12);
        assert!((turning.shift_pct(2.0, 50.0, 2.0) - 0.9).abs() < 1e-12);
        // A double Gauss 50 f/2, unit focusing, traced through its published prescription.
        let traced = Breathing::Points(vec![(2.0, 10.677), (1.0, 4.782), (1.0 / 3.0, 1.496)]);
        for (dioptres, shift) in [(0.0, 0.0), (1.0 / 3.0, 1.496), (1.0, 4.782), (2.0, 10.677)] {
            assert!((traced.shift_pct(dioptres, 50.0, 2.0) - shift).abs() < 1e-9);
        }
        assert!(traced.shift_pct(1.5, 50.0, 2.0) > 7.0 && traced.shift_pct(1.5, 50.0, 2.0) < 8.2);
    }
}
