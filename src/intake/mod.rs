//! Bytes from outside: pictures decoded under limits, camera metadata, zip archives, content-addressed originals.

mod error;
mod limits;
mod originals;

pub use error::IntakeError;
pub use limits::Limits;
pub use originals::{Originals, StoredOriginal};

use crate::measure::Plane;
use crate::sweep::FrameInfo;

/// What a picture file says of itself, judged by its header and never by its name; no pixel is decoded.
/// `path` is its path inside the card or archive.
///
/// # Errors
/// `Empty`, `NotAPicture`, `TooLarge`, `Damaged` or `Name`.
pub fn inspect(bytes: &[u8], path: &str, limits: &Limits) -> Result<FrameInfo, IntakeError> {
    let _ = (bytes, path, limits);
    unimplemented!()
}

/// The luminance of a picture, upright. A panic inside a decoder comes out as `Damaged`.
///
/// # Errors
/// `Empty`, `NotAPicture`, `TooLarge` or `Damaged`.
pub fn decode_plane(bytes: &[u8], limits: &Limits) -> Result<Plane, IntakeError> {
    let _ = (bytes, limits);
    unimplemented!()
}

/// The picture as a new upright JPEG of at most `max_side_px`, made of its pixels alone: no metadata, no thumbnail.
///
/// # Errors
/// As `decode_plane`.
pub fn preview_jpeg(
    bytes: &[u8],
    max_side_px: u32,
    limits: &Limits,
) -> Result<Vec<u8>, IntakeError> {
    let _ = (bytes, max_side_px, limits);
    unimplemented!()
}

/// Why a file of a card is passed over without being opened (`.DS_Store`, `._x.jpg`, `Thumbs.db`, a film, a raw file …); `None` for a possible frame or archive.
#[must_use]
pub fn skip_reason(path: &str) -> Option<&'static str> {
    let _ = path;
    unimplemented!()
}

/// A path from outside as a display name: `/` between parts, no `..`, no control or bidi characters, at most 255 characters.
///
/// # Errors
/// `Name` when nothing usable is left.
pub fn display_path(raw: &str) -> Result<String, IntakeError> {
    let _ = raw;
    unimplemented!()
}

/// Hands out the files of a zip archive in natural order of their paths, each with its display path and bytes; entries that are passed over
/// or broken come with the reason instead. Counts real bytes against the limits.
///
/// # Errors
/// `Archive` when the archive as a whole can't be used: not a zip, too many entries, too many bytes, encrypted.
pub fn for_each_in_zip(
    archive: impl std::io::Read + std::io::Seek,
    limits: &Limits,
    each: &mut dyn FnMut(String, Result<Vec<u8>, IntakeError>),
) -> Result<(), IntakeError> {
    let _ = (archive, limits, each);
    unimplemented!()
}
