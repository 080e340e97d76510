//! What is known of lens and set-up before a picture is looked at.

use super::distance::blur::BlurCourse;
use super::distance::known::Known;
use super::{FrameInfo, SweepSettings};
use crate::optics;
use crate::units::Metres;

/// What is known of lens and set-up.
#[derive(Debug, Clone, Copy)]
pub(super) struct Facts {
    /// Focal length, mm.
    pub(super) focal_mm: Option<f64>,
    /// f-number.
    pub(super) f_number: Option<f64>,
    /// Pixels to a millimetre of the sensor.
    pub(super) pitch_px_per_mm: Option<f64>,
    /// Closest focus from the sensor plane, m.
    pub(super) closest_m: Option<f64>,
    /// Distance from there to the targets, m.
    pub(super) target_m: Option<f64>,
}

impl Facts {
    /// From what is told, else from what a frame's file states; `size` is that of its picture.
    pub(super) fn of(
        info: Option<&FrameInfo>,
        settings: &SweepSettings,
        size: Option<(u32, u32)>,
    ) -> Self {
        let focal = settings
            .focal_length
            .or_else(|| info.and_then(|info| info.focal_length))
            .map(|f| f.mm());
        // 35 mm focal lengths are stated for 36 mm picture width (CIPA DC-008 means the diagonal; within 4 % for 3:2).
        let width_mm = settings.sensor_width.map(|w| w.mm()).or_else(|| {
            let in_35mm = info.and_then(|info| info.focal_length_35mm)?.mm();
            Some(36.0 * focal? / in_35mm)
        });
        Self {
            focal_mm: focal,
            f_number: settings
                .f_number
                .or_else(|| info.and_then(|info| info.f_number))
                .map(|n| n.n()),
            // The sensor's width is its longer side, however the camera stood.
            pitch_px_per_mm: size
                .zip(width_mm)
                .map(|((width, height), mm)| f64::from(width.max(height)) / mm),
            closest_m: settings.closest_focus.map(Metres::m),
            target_m: settings.target_distance.map(Metres::m),
        }
    }

    /// What distances are estimated from.
    pub(super) fn known(&self) -> Option<Known> {
        Some(Known {
            closest_m: self.closest_m?,
            target_m: self.target_m?,
            focal_m: self.focal_mm.map(|f| f / 1000.0),
            far_blur_px: self.expected_last_blur_px(),
        })
    }

    /// Blur at infinity that the nominal pupil f/N makes, px, where all that it takes is known.
    pub(super) fn expected_last_blur_px(&self) -> Option<f64> {
        self.expected_blur_px(1000.0 * self.target_m?, f64::INFINITY)
    }

    /// The same at closest focus.
    pub(super) fn expected_first_blur_px(&self) -> Option<f64> {
        self.expected_blur_px(1000.0 * self.target_m?, 1000.0 * self.closest_m?)
    }

    /// By how much the blur of targets, px, changes between two focus settings, dioptres, wherever they stand: as much as what is sharp
    /// at one of them is blurred at the other, with the entrance pupil one focal length before the sensor. `None` also where the nearer
    /// one is within two focal lengths, which no lens focuses on.
    pub(super) fn expected_change_px(&self, far: f64, near: f64) -> Option<f64> {
        let nearest_mm = 1000.0 / near;
        let change = self.expected_blur_px(1000.0 / far, nearest_mm)?;
        (nearest_mm > 2.0 * self.focal_mm? && change.is_finite()).then_some(change)
    }

    /// By how much light rises across the entrance pupil, as a part at its rim, seen from targets so far apart in a picture at
    /// infinity, px: light falls off by cos⁴ of the angle θ to an element of the pupil, and that changes by A/(2(D − p))·cos²θ from its middle
    /// to its rim, which makes 4·tan θ times as much. A/(D − p) is the blur at infinity over the focal length. (Textbook photometry, from
    /// memory; own calculation, first order.)
    pub(super) fn across_pupil(&self, separation_px: f64, course: &BlurCourse) -> Option<f64> {
        let focal_px = self.focal_mm? * self.pitch_px_per_mm?;
        let (_, last) = course.signed.last()?;
        let tangent = separation_px / 2.0 / focal_px;
        let square = 1.0 / (1.0 + tangent * tangent);
        Some(2.0 * tangent * square * last.value.abs() / focal_px)
    }

    fn expected_blur_px(&self, target_mm: f64, focus_mm: f64) -> Option<f64> {
        let (focal, n) = (self.focal_mm?, self.f_number?);
        let angle = optics::blur_angle_rad(focal / n, target_mm, focus_mm, focal);
        Some(angle * focal * self.pitch_px_per_mm?)
    }
}
