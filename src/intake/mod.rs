//! Bytes from outside: pictures decoded under limits, camera metadata, zip archives, content-addressed originals.

mod archive;
mod decode;
pub mod distances;
mod error;
mod format;
mod limits;
mod metadata;
mod names;
mod octets;
mod orientation;
mod originals;
mod padding;
mod quantization;
mod same;
mod xmp;

pub use archive::{for_each_in_zip, is_zip};
pub use decode::{decode_plane, preview_jpeg};
pub use error::IntakeError;
pub use limits::Limits;
pub use names::{display_path, skip_reason};
pub use originals::{Originals, StoredOriginal, is_sha256, sync_folder};
pub use same::{copies, picture_mark, said_of_copy};

use crate::sweep::FrameInfo;

/// What a picture file says of itself, judged by its header and never by its name; no pixel is decoded.
/// `path` is its path inside the card or archive.
///
/// # Errors
/// `Empty`, `TooManyBytes`, `NotAPicture`, `TooLarge`, `Damaged` or `Name`.
pub fn inspect(bytes: &[u8], path: &str, limits: &Limits) -> Result<FrameInfo, IntakeError> {
    let format = format::admit(bytes, limits)?;
    let path = display_path(path)?;
    let (folder, file) = path.rsplit_once('/').unwrap_or(("", &path));
    let mut info = FrameInfo {
        file: file.to_owned(),
        folder: folder.to_owned(),
        ..FrameInfo::default()
    };
    decode::guarded(move || {
        metadata::describe(bytes, format, &mut info);
        Ok(info)
    })
}
