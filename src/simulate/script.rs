//! The script of one sweep: scene, lens, capture and picture, with defaults of a good shoot.

use time::macros::datetime;

use super::breathing::{Breathing, LensModel};
use super::scene::Scene;
use super::stray::{Dust, Ghost};
use super::tone::ToneCurve;
use crate::units::FocusDistance;

/// How JPEG stores colour: columns × rows of pixels to one colour sample.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subsampling {
    /// 1 × 1.
    S444,
    /// 2 × 1.
    S422,
    /// 2 × 2.
    S420,
}

/// Noise of the sensor in linear light: variance = read² + shot²·light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    /// Standard deviation in the dark, linear light.
    pub read: f64,
    /// Standard deviation at the ceiling by photon noise alone; 0.004 is 62 500 electrons.
    pub shot: f64,
}

/// The camera was knocked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bump {
    /// First frame after the knock.
    pub frame: usize,
    /// Move of the picture to the right, px.
    pub x_px: f64,
    /// Move of the picture downwards, px.
    pub y_px: f64,
    /// Turn of the picture, degrees clockwise.
    pub roll_deg: f64,
}

/// Something dark stands before one side of a target in some frames, in the object plane: it blurs with the target.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cover {
    /// Which target.
    pub target: usize,
    /// Share of its width that is hidden, from the right; negative from the left.
    pub share: f64,
    /// First frame in which it is.
    pub frame: usize,
    /// In how many frames it is.
    pub frames: usize,
}

/// A target moves where it hangs, as peeling tape does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peel {
    /// Which target.
    pub target: usize,
    /// First frame in which it hangs elsewhere for good.
    pub frame: usize,
    /// Frame intervals that it takes: 1 at once, between two frames.
    pub over: usize,
    /// How far it moved, px right and down at infinity focus.
    pub by_px: (f64, f64),
}

/// The zoom ring slipped.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ZoomSlip {
    /// First frame after the slip.
    pub frame: usize,
    /// Focal length afterwards over before.
    pub factor: f64,
}

/// The camera's clock was set while shooting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClockJump {
    /// First frame after the jump.
    pub frame: usize,
    /// Seconds added.
    pub seconds: f64,
}

/// Private data that cameras write; for tests that it never gets out.
#[derive(Debug, Clone, PartialEq)]
pub struct PrivateData {
    /// Owner's name.
    pub owner: String,
    /// Serial number of the body.
    pub serial: String,
    /// Latitude, degrees north.
    pub latitude_deg: f64,
    /// Longitude, degrees east.
    pub longitude_deg: f64,
}

/// How the files were written.
#[derive(Debug, Clone, PartialEq)]
pub struct Capture {
    /// Maker of the camera.
    pub camera_maker: String,
    /// Model of the camera.
    pub camera_model: String,
    /// When the first frame was taken, by the camera's clock.
    pub start: time::PrimitiveDateTime,
    /// Seconds between frames.
    pub interval_s: f64,
    /// Digits of the sub-second field; 0 leaves it out.
    pub sub_second_digits: u8,
    /// Offset from UTC; `None` leaves it out.
    pub offset: Option<time::UtcOffset>,
    /// A clock that jumps.
    pub clock_jump: Option<ClockJump>,
    /// File name; the run of `#` stands for the file number.
    pub name: String,
    /// Number of the first file; runs on from 9999 to 0001.
    pub first_number: u32,
    /// File numbers without order.
    pub shuffled_names: bool,
    /// Whether metadata is written at all.
    pub write_metadata: bool,
    /// Whether the focus distance is written into the files.
    pub write_distances: bool,
    /// Focal length written, where it is not the lens's own.
    pub stated_focal_mm: Option<f64>,
    /// Private data to be written as well.
    pub private: Option<PrivateData>,
}

impl Default for Capture {
    fn default() -> Self {
        Self {
            camera_maker: "Tindra".to_owned(),
            camera_model: "Tindra Bench 2".to_owned(),
            start: datetime!(2026-04-03 10:00:00),
            interval_s: 0.8,
            sub_second_digits: 2,
            offset: Some(time::UtcOffset::UTC),
            clock_jump: None,
            name: "SWP_####.JPG".to_owned(),
            first_number: 1,
            shuffled_names: false,
            write_metadata: true,
            write_distances: true,
            stated_focal_mm: None,
            private: None,
        }
    }
}

/// Brightness of the picture against that of its middle, 1 + square·r² + fourth·r⁴, r being the distance from the middle over
/// that of a corner: negative where light falls off, positive where the camera evens out more than the lens loses.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Shading {
    /// Factor of r².
    pub square: f64,
    /// Factor of r⁴.
    pub fourth: f64,
    /// What `square` has more at the last frame than at the first, growing evenly.
    pub change: f64,
}

/// From light to file, and what went wrong with the tripod.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// Sensor noise.
    pub noise: Noise,
    /// Tone curve.
    pub tone: ToneCurve,
    /// JPEG quality, 1 to 100.
    pub jpeg_quality: u8,
    /// JPEG colour sampling.
    pub subsampling: Subsampling,
    /// Progressive instead of baseline JPEG.
    pub progressive: bool,
    /// EXIF orientation, 1 to 8: the pixels are stored turned, the truth is upright.
    pub orientation: u8,
    /// Turn of the camera, degrees clockwise in the picture.
    pub roll_deg: f64,
    /// A knock.
    pub bump: Option<Bump>,
    /// A target that is partly hidden for a while.
    pub cover: Option<Cover>,
    /// A target that does not stay where it hangs.
    pub peel: Option<Peel>,
    /// A slipped zoom ring.
    pub zoom_slip: Option<ZoomSlip>,
    /// Slow sag: move of the picture per frame, px right and down.
    pub drift_px: (f64, f64),
    /// Stabilisation at work: standard deviation of a random move of each frame, px.
    pub sway_px: f64,
    /// Uneven exposure: standard deviation of a random factor on each frame's light.
    pub flicker: f64,
    /// Brightness towards the corners.
    pub shading: Shading,
    /// Dust on the sensor.
    pub dust: Vec<Dust>,
    /// A reflected copy of the targets.
    pub ghost: Option<Ghost>,
}

impl Default for Picture {
    fn default() -> Self {
        Self {
            noise: Noise {
                read: 0.0002,
                shot: 0.004,
            },
            tone: ToneCurve::Srgb,
            jpeg_quality: 90,
            subsampling: Subsampling::S420,
            progressive: false,
            orientation: 1,
            roll_deg: 0.0,
            bump: None,
            cover: None,
            peel: None,
            zoom_slip: None,
            drift_px: (0.0, 0.0),
            sway_px: 0.0,
            flicker: 0.0,
            shading: Shading::default(),
            dust: Vec::new(),
            ghost: None,
        }
    }
}

/// One sweep to be rendered. Frames run from closest focus to `last`, evenly spaced in dioptres unless `settings` are given.
#[derive(Debug, Clone, PartialEq)]
pub struct SweepScript {
    /// What stands in front of the camera.
    pub scene: Scene,
    /// The lens.
    pub lens: LensModel,
    /// How many frames.
    pub frames: usize,
    /// Focus distance of the first frame from the sensor plane, m.
    pub closest_focus_m: f64,
    /// Focus distance of the last frame.
    pub last: FocusDistance,
    /// Focus settings of the frames, dioptres, where they are not even: a hand that turns the ring from mark to mark, a
    /// bracket that arrives before it ends. Frames beyond the list are at `last`.
    pub settings: Option<Vec<f64>>,
    /// How the files are written.
    pub capture: Capture,
    /// From light to file.
    pub picture: Picture,
    /// Seed of everything random.
    pub seed: u64,
}

impl SweepScript {
    /// An ordinary good sweep: 1920 × 1280 px, two patches on black 2 m away, f/5.6, quality 90, closest focus at ten
    /// focal lengths (at least 0.28 m), shift growing smoothly to `worst_shift_pct` there.
    #[must_use]
    pub fn plain(focal_mm: f64, worst_shift_pct: f64, frames: usize) -> Self {
        let closest_focus_m = (focal_mm / 100.0).max(0.28);
        Self {
            scene: Scene::two_targets(1920, 1280),
            lens: LensModel {
                breathing: Breathing::reaching(worst_shift_pct, closest_focus_m),
                ..LensModel::still(focal_mm)
            },
            frames,
            closest_focus_m,
            last: FocusDistance::Infinity,
            settings: None,
            capture: Capture::default(),
            picture: Picture::default(),
            seed: 1,
        }
    }

    /// Focus setting of a frame, dioptres.
    #[must_use]
    pub fn dioptres(&self, frame: usize) -> f64 {
        let (near, far) = (1.0 / self.closest_focus_m, self.last.dioptres());
        if let Some(settings) = &self.settings {
            return settings.get(frame).copied().unwrap_or(far);
        }
        if self.frames < 2 {
            return far;
        }
        let travel = frame as f64 / (self.frames - 1) as f64;
        near + (far - near) * travel
    }

    /// Name of a frame's file.
    #[must_use]
    pub fn file_name(&self, frame: usize) -> String {
        let place = if self.capture.shuffled_names {
            self.shuffled_place(frame)
        } else {
            frame
        };
        let number = (self.capture.first_number as usize + place).saturating_sub(1) % 9999 + 1;
        let pattern = &self.capture.name;
        let Some(start) = pattern.find('#') else {
            return format!("{number:04}_{pattern}");
        };
        let digits = pattern[start..].chars().take_while(|c| *c == '#').count();
        let (before, after) = (&pattern[..start], &pattern[start + digits..]);
        format!("{before}{number:0digits$}{after}")
    }

    /// Place of a frame in a random order of all frames: the rank of its random number.
    fn shuffled_place(&self, frame: usize) -> usize {
        let key = |i: usize| (super::noise::mix(self.seed ^ 0x5348_5546, i as u64), i);
        let own = key(frame);
        (0..self.frames).filter(|&i| key(i) < own).count()
    }

    /// When a frame was taken, by the camera's clock.
    #[must_use]
    pub fn captured_at(&self, frame: usize) -> time::PrimitiveDateTime {
        let mut seconds = self.capture.interval_s * frame as f64;
        if let Some(jump) = self.capture.clock_jump.filter(|jump| frame >= jump.frame) {
            seconds += jump.seconds;
        }
        // An absurd interval stops the clock instead of the program.
        let passed = time::Duration::checked_seconds_f64(seconds).unwrap_or_default();
        self.capture.start.saturating_add(passed)
    }
}
