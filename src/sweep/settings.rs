//! What a reviewer can say about a sweep, overriding what the files say.

use std::collections::BTreeMap;

use crate::units::{FNumber, FocusDistance, Metres, Millimetres, choice};

choice! {
    /// How the frames are put in order, near to far.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
    pub enum FrameOrder {
        /// By capture time, then natural file name; turned round or restored when distances or blur say so.
        #[default]
        Automatic = "auto",
        /// By natural file name.
        Name = "name",
        /// By capture time.
        Time = "time",
        /// By capture time and name, last frame first.
        Reverse = "reverse",
    }
}

/// Everything that may be told about one sweep; all of it may be left unsaid.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SweepSettings {
    /// Distance from sensor plane to targets, m.
    pub target_distance: Option<Metres>,
    /// Distance the first frame is focused at, from the sensor plane, m.
    pub closest_focus: Option<Metres>,
    /// Marked focal length, mm.
    pub focal_length: Option<Millimetres>,
    /// f-number it was shot at.
    pub f_number: Option<FNumber>,
    /// Camera it was shot with.
    pub camera: Option<String>,
    /// Width of the picture area on the sensor, mm.
    pub sensor_width: Option<Millimetres>,
    /// Focus distances by file name.
    pub distances: BTreeMap<String, FocusDistance>,
    /// Order of the frames.
    pub order: FrameOrder,
    /// The last frame is known not to be at infinity.
    pub last_not_at_infinity: bool,
    /// Frames left out, by file name, with the reason.
    pub left_out: BTreeMap<String, String>,
    /// Target places pointed at by hand, by file name: x and y in px.
    pub pointed_at: BTreeMap<String, Vec<(f64, f64)>>,
}
