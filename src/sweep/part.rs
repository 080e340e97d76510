//! The parts of an uncertainty budget. Words and descriptions are written once, here.

macro_rules! parts {
    ($($variant:ident, $code:literal, $random:literal, $description:literal;)*) => {
        /// What a line of an uncertainty budget is about.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Part {
            $(#[doc = $description] $variant,)*
        }

        impl Part {
            /// Every part, in the order in which budgets list them.
            pub const ALL: &[Self] = &[$(Self::$variant,)*];

            /// The stable word for the part in JSON and storage.
            #[must_use]
            pub const fn code(self) -> &'static str {
                match self { $(Self::$variant => $code,)* }
            }

            /// Its size is a standard uncertainty (k = 1) that repeats would scatter by; else it is a bound that stands
            /// apart.
            #[must_use]
            pub const fn is_random(self) -> bool {
                match self { $(Self::$variant => $random,)* }
            }

            /// What it is and how its size is found, in plain words.
            #[must_use]
            pub const fn description(self) -> &'static str {
                match self { $(Self::$variant => $description,)* }
            }
        }
    };
}

parts! {
    CentreNoise, "centre_noise", true,
        "Noise of the target centres in this frame";
    ReferenceNoise, "reference_noise", true,
        "Noise of the reference that every shift is stated against";
    Scatter, "scatter", true,
        "Scatter of the frames about a smooth curve beyond that: small moves of camera or targets, compression";
    WindowChoice, "window_choice", true,
        "Background slope and choice of the window: half the difference between two windows";
    Background, "background", true,
        "Unevenness of the background within the window, as folds of cloth or a dim edge make it: what the same window measures \
         on the empty background above and below the targets, beyond noise and the line before";
    ToneCurve, "tone_curve", true,
        "Tone curve of the camera: the difference between two plausible curves";
    Shading, "shading", true,
        "Brightness that falls off towards the sides of the picture, or is evened out by the camera, or comes unevenly through the \
         pupil, tilts the blur: what is left after it was taken out, from how well the tilt is known; all that is expected of it \
         where it was not";
    WarpedBlur, "warped_blur", true,
        "A picture stretched towards its sides, as a camera does to take out barrel distortion, stretches the blur and pulls the \
         centres outwards: half of what was taken out for it, as some pupils stretch the blur without a pull; all of it where nothing was";
    VignettedBlur, "vignetted_blur", true,
        "Blur cut by the lens barrel, or that may be, from its measured shape";
    SensorDust, "sensor_dust", true,
        "Dust on the sensor darkens a spot of the blur: a quarter of the pull that was taken out for it, as the light at its place \
         is known from a model in most frames";
    OtherLight, "other_light", true,
        "Light of something else in a target's window, from what tape does not show: lopsided light, light that changes";
    MovedTarget, "moved_target", true,
        "A target moved where it hangs between this frame and the reference: what is left once its move was taken out, from how \
         well the middle between the targets tells its size";
    FrameOrder, "frame_order", true,
        "The frames came out of order and nothing shows which end is at closest focus, or they were given in an order that \
         distances or blur speak against: what the shift would be otherwise, \
         read from the other end: the difference over √2";
    EntrancePupil, "entrance_pupil", false,
        "The entrance pupil may move towards the targets while focusing, which looks like a tighter picture: from 0 to \
         this. A second sweep at another target distance would separate it.";
    UnseenShading, "unseen_shading", false,
        "Brightness that falls off towards the sides of the picture may tilt the blur by less than the pictures can show: no \
         more than this, to either side.";
    UnevenPupil, "uneven_pupil", false,
        "A wide pupil sends more light from the side that is nearer to a target (cos⁴ of the angle to it), which tilts the blur: \
         no more than this, from the blur and the angle, as far as the pictures do not show that there is less.";
    UnseenVignetting, "unseen_vignetting", false,
        "The lens barrel may cut the blur by less than the pictures can show: no more than this, from how well the shape of \
         the blur is known.";
    ZoomSlip, "zoom_slip", false,
        "The zoom ring slipped, or a target moved, between this frame and the reference: the shift holds the step in the \
         picture's scale, of this size, beside the breathing.";
    UntoldMove, "untold_move", false,
        "The middle between the targets moves beside the breathing, so slowly, or the distance steps by so little, that it can't tell whether the \
         camera moved, or the lens's axis, which change no shift, or one target alone: what the shift would hold then.";
    AssumedInfinity, "assumed_infinity", false,
        "That the last frame is at infinity is taken from the blur, which a frame that is short of it shows as well if the \
         entrance pupil lies elsewhere: what every shift would lack then, with the pupil one focal length before the sensor. Where \
         blur does not tell the distances, it is taken on trust: what every shift would lack for each step of the bracket by which it is \
         short.";
    ReferenceNotAtInfinity, "reference_not_at_infinity", false,
        "The reference is short of infinity: what the curve, running on straight or bent by up to a third more than at its end, \
         whichever is more, still does in the dioptres, or the frames, left. Every shift lacks about this much.";
}

impl Part {
    /// The part that a word stands for.
    #[must_use]
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|part| part.code() == code)
    }
}
