//! What can be remarkable about one measured target, defined once.

/// Something noticed on a target that was measured all the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Flag {
    /// The target or its blur crosses the frame edge.
    Clipped,
    /// A plateau of the target is at the sensor's or the file's ceiling.
    Saturated,
    /// The target stands out of the noise by little.
    Faint,
    /// The light is lopsided along x or y, as mechanical vignetting or something bright beside the target makes it.
    Vignetted,
    /// Another bright thing lies inside the target's window.
    Crowded,
}

impl Flag {
    /// Every flag.
    pub const ALL: [Self; 5] = [
        Self::Clipped,
        Self::Saturated,
        Self::Faint,
        Self::Vignetted,
        Self::Crowded,
    ];

    /// The word that stands for the flag in JSON and storage.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Clipped => "clipped",
            Self::Saturated => "saturated",
            Self::Faint => "faint",
            Self::Vignetted => "vignetted",
            Self::Crowded => "crowded",
        }
    }

    /// The flag that a code stands for.
    #[must_use]
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|flag| flag.code() == code)
    }
}
