//! What distances are estimated from, and where a lens may have its entrance pupil.

/// A last frame is told from one at infinity by the size of its blur where it would lack so much of it: f-numbers, vignetting
/// and irises of few blades explain less.
const TELLING_SHARE: f64 = 0.2;

/// What the estimate starts from, m from the sensor plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::sweep) struct Known {
    /// Closest focus, where the first frame is.
    pub(in crate::sweep) closest_m: f64,
    /// Distance to the targets.
    pub(in crate::sweep) target_m: f64,
    /// Focal length, where known.
    pub(in crate::sweep) focal_m: Option<f64>,
    /// Blur at infinity that the nominal pupil f/N makes, px, where known.
    pub(in crate::sweep) far_blur_px: Option<f64>,
}

impl Known {
    /// Range of places of the entrance pupil that lenses have, m in front of the sensor plane: about one focal length,
    /// up to a decimetre more in wide retrofocus lenses, behind the sensor in some long ones (from the trade, no source).
    pub(super) fn pupil_range_m(&self) -> (f64, f64) {
        let highest = 0.6 * self.closest_m.min(self.target_m);
        match self.focal_m {
            Some(f) => (-f, (f + 0.1).min(highest)),
            None => (-0.1, 0.35 * self.closest_m),
        }
    }

    /// Where the entrance pupil is as a rule, m in front of the sensor plane: one focal length.
    pub(super) fn nominal_pupil_m(&self) -> f64 {
        let (lowest, highest) = self.pupil_range_m();
        let usual = self.focal_m.unwrap_or(0.1 * self.closest_m);
        usual.clamp(lowest, highest)
    }

    /// 1/(u − p) at the last frame, 1/m, u its focus distance, from the blur (px) of the first and the last frame and the pupil's
    /// place p, m: 0 at infinity. It falls as the pupil moves forward.
    pub(super) fn last_per_m(&self, first: f64, last: f64, pupil: f64) -> f64 {
        let beyond = 1.0 / (self.target_m - pupil);
        beyond - last / first * (1.0 / (self.closest_m - pupil) - beyond)
    }

    /// The same as a focus setting, dioptres; `None` at infinity and beyond.
    pub(super) fn last_dioptres(&self, first: f64, last: f64, pupil: f64) -> Option<f64> {
        let left = self.last_per_m(first, last, pupil);
        (left > 0.0).then(|| 1.0 / (pupil + 1.0 / left))
    }

    /// Whether a last frame whose blur (px) would be short of infinity by so many dioptres, by the blur of the first one, is blurred
    /// as the nominal pupil blurs at infinity: then the first frame is not where it is said to be.
    pub(super) fn is_blurred_as_infinity(&self, last: f64, short: f64) -> bool {
        let due = 1.0 - short * self.target_m;
        self.far_blur_px.is_some_and(|expected| {
            let share = last / expected;
            // Nearer to all of it than to what is due, as ratios.
            due < 1.0 - TELLING_SHARE && share * share > due.max(0.0)
        })
    }
}
