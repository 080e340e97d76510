//! Findings: what the program noticed about a sweep. Codes, severities and explanations are written once, here.

use std::fmt;

/// What a reviewer can say of a sweep that findings ask for. Where it is said, pages and the command line tell in words of
/// their own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Asked {
    /// Where the first frame is focused.
    ClosestFocus,
    /// How far off the targets stand.
    TargetDistance,
    /// Focus distances of frames.
    Distances,
    /// The order of the frames.
    Order,
}

/// How much a finding weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Published with the warning beside it.
    Warning,
    /// No result until it is mended.
    Stop,
}

impl Severity {
    /// The word for the severity in JSON and storage.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Warning => "warning",
            Self::Stop => "stop",
        }
    }

    /// The severity that a code stands for.
    #[must_use]
    pub fn from_code(code: &str) -> Option<Self> {
        [Self::Note, Self::Warning, Self::Stop]
            .into_iter()
            .find(|severity| severity.code() == code)
    }
}

macro_rules! codes {
    ($($variant:ident, $code:literal, $title:literal, $advice:literal;)*) => {
        /// What a finding is about.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Code {
            $(#[doc = $title] $variant,)*
        }

        impl Code {
            /// Every code.
            pub const ALL: &[Self] = &[$(Self::$variant,)*];

            /// The stable word for the code in JSON and storage.
            #[must_use]
            pub const fn code(self) -> &'static str {
                match self { $(Self::$variant => $code,)* }
            }

            /// What it is, in a few plain words.
            #[must_use]
            pub const fn title(self) -> &'static str {
                match self { $(Self::$variant => $title,)* }
            }

            /// What it does to the number and what to do about it.
            #[must_use]
            pub const fn advice(self) -> &'static str {
                match self { $(Self::$variant => $advice,)* }
            }
        }
    };
}

codes! {
    ReferenceNotAtInfinity, "reference_not_at_infinity", "The last frame is not at infinity",
        "Every shift is relative to the farthest frame, not to infinity. Shoot again with the last frame at true infinity.";
    TargetClipped, "target_clipped", "A target or its blur crosses the frame edge",
        "Frames with a clipped target are not used. Move the targets inwards, or stop down to make the blur smaller.";
    TargetsNotFound, "targets_not_found", "Two targets could not be found in enough frames",
        "There is no result. Check that two bright targets stand on black, or point at them by hand.";
    TargetSaturated, "target_saturated", "A target is burnt out",
        "The centre is less certain. Expose a stop or two darker.";
    TargetsTooFaint, "targets_too_faint", "The targets are faint",
        "The uncertainty is larger. Light the targets more, or expose longer.";
    CameraMoved, "camera_moved", "The camera or the targets moved",
        "A move of the whole picture changes no shift, and one of a single target is taken out as far as the pictures tell. Fasten the tripod, switch stabilisation off and shoot again.";
    FrameMissing, "frame_missing", "Frames seem to be missing",
        "The curve is less certain where frames are missing. Check that every file was copied.";
    FramesNotMeasured, "frames_not_measured", "Some frames could not be measured",
        "Where the nearest frames are missing, the worst shift may be larger than stated. Send the broken files again, or shoot again.";
    OrderUncertain, "order_uncertain", "The order of the frames was restored or is uncertain",
        "Check that the first frame is at closest focus and the last at infinity.";
    MixedLenses, "mixed_lenses", "The files name different lenses",
        "There is no result, as it could belong to none of them. Sort the files and measure again.";
    FocalLengthChanged, "focal_length_changed", "The focal length changed within the sweep",
        "The zoom ring may have slipped. Fix it with tape and shoot again.";
    TooFewFrames, "too_few_frames", "There are few frames",
        "The worst shift and the tolerance distance may fall between frames. Shoot at least 12, better 24.";
    SeveralRuns, "several_runs", "The frames run through the focus more than once",
        "They are several sweeps, and there is no result of all together. Put each run into a folder of its own and send it again, or leave out all frames but those of one.";
    DistanceUnknown, "distance_unknown", "The focus distances are not known",
        "There is no tolerance distance. Give distances for some frames, or closest focus and target distance.";
    DistanceDisagrees, "distance_disagrees", "Two sources of focus distance disagree",
        "The tolerance distance may be off. Check the distances that were given.";
    UnevenExposure, "uneven_exposure", "The light or the exposure changed within the sweep",
        "Shoot with manual exposure and in steady light, and keep out of it, so that every frame is lit alike.";
    TargetsTooCloseTogether, "targets_too_close_together", "The targets are close together",
        "There is less leverage and the uncertainty is larger. Put the targets nearer to the frame edges.";
    OtherLight, "other_light", "Something bright lies beside or behind a target",
        "A reflection, label or lamp in a target's window pulls its centre. Take it away or move the targets, and shoot again.";
    UnevenBackground, "uneven_background", "The background behind the targets is not even",
        "Folds of cloth or the edge of a card, however dim, pull the centres of blurred targets. Put a larger, smooth black behind them and shoot again.";
    SensorDust, "sensor_dust", "Dust on the sensor darkens the blur of a target",
        "Its pull is taken out as far as its place and depth show. Clean the sensor and shoot again for the full certainty.";
    BlurVignetted, "blur_vignetted", "The blur is cut by the lens barrel",
        "Wide open this can shift the result by a percentage point and more. Stop down two stops and shoot again.";
    RepeatsDisagree, "repeats_disagree", "Repeated sweeps disagree",
        "The sweeps differ by more than their uncertainties. The uncertainty that is told is widened by how far they scatter, but one of them may be wrong, and one that counts little far outside it. Measure again, and look for what changed between them.";
}

impl Code {
    /// What its messages may ask for.
    #[must_use]
    pub const fn asks(self) -> &'static [Asked] {
        use Asked::{ClosestFocus, Distances, Order, TargetDistance};
        match self {
            Self::DistanceUnknown | Self::DistanceDisagrees => {
                &[ClosestFocus, TargetDistance, Distances]
            }
            Self::OrderUncertain => &[Order, ClosestFocus, TargetDistance, Distances],
            _ => &[],
        }
    }

    /// The code that a word stands for.
    #[must_use]
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|known| known.code() == code)
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

/// Something the program noticed about a sweep.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// What it is about.
    pub code: Code,
    /// How much it weighs here.
    pub severity: Severity,
    /// What was seen, with figures, what it does to the number and what to do about it.
    pub message: String,
    /// The frames it is about, by file name; empty where it is about the whole sweep.
    pub files: Vec<String>,
}
