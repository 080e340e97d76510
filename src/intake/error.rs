//! What can be wrong with bytes from outside, each saying how to mend it.

/// Why bytes from outside were refused.
#[derive(Debug, thiserror::Error)]
pub enum IntakeError {
    /// No byte at all.
    #[error("the file is empty; copy it from the card again")]
    Empty,
    /// Not a JPEG, PNG or TIFF.
    #[error("this is not a JPEG, PNG or TIFF picture; send the camera's JPEG files")]
    NotAPicture,
    /// The header claims more pixels than are read.
    #[error(
        "the picture claims {width} × {height} px; at most {max_side} px a side and {max_megapixels} megapixels are read: send smaller JPEG files"
    )]
    TooLarge {
        /// Columns claimed.
        width: u64,
        /// Rows claimed.
        height: u64,
        /// Longest side allowed, px.
        max_side: u32,
        /// Most pixels allowed, millions.
        max_megapixels: u32,
    },
    /// A JPEG file that can be decoded only with all of its coefficients in memory at once, and has too many.
    #[error(
        "the picture is saved as a progressive JPEG, which takes {megabytes} MB to unpack, {max_megabytes} MB at most are given: send the camera's own JPEG files, or save it as a plain (baseline) JPEG"
    )]
    TooMuchAtOnce {
        /// Megabytes that the coefficients take.
        megabytes: u64,
        /// Most megabytes given.
        max_megabytes: u64,
    },
    /// More bytes than are taken.
    #[error("the file has more than {max_bytes} bytes; send small JPEG files")]
    TooManyBytes {
        /// Most bytes allowed.
        max_bytes: u64,
    },
    /// The picture breaks off or is damaged.
    #[error("the picture is damaged or breaks off ({0}); copy it from the card again")]
    Damaged(String),
    /// The zip archive can't be used.
    #[error("the zip archive can't be used: {0}")]
    Archive(String),
    /// A file that is no frame and is not opened.
    #[error("{0}")]
    PassedOver(&'static str),
    /// A list of distances that can't be used.
    #[error("the list of distances, line {line}: {problem}")]
    Distances {
        /// Line of the file, the header is line 1.
        line: u64,
        /// What is wrong and how to mend it.
        problem: String,
    },
    /// A file name that can't be shown.
    #[error("the file name can't be used: {0}")]
    Name(String),
    /// The disk.
    #[error("the file could not be kept: {0}")]
    Io(#[from] std::io::Error),
}
