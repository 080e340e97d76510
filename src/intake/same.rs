//! Telling copies of a picture from pictures: by what is coded in a file, whatever its metadata say.

use sha2::{Digest, Sha256};

use super::format;
use crate::sweep::FrameInfo;

/// SHA-256 of the coded picture of a file, in hexadecimal: of a JPEG file without its metadata (APPn and comment segments),
/// of a PNG file its header, palette and pixels, of others all of it. Two files of the same mark show the same pixels; a
/// picture that was decoded and coded anew has another one.
#[must_use]
pub fn picture_mark(bytes: &[u8]) -> String {
    let mut hasher = Sha256::new();
    if bytes.starts_with(&[0xFF, 0xD8, 0xFF]) {
        let mut end = 2;
        for segment in format::jpeg_segments(bytes) {
            end = segment.end;
            let is_metadata = matches!(segment.marker, 0xE0..=0xEF | 0xFE);
            if !is_metadata {
                hasher.update([segment.marker]);
                hasher.update(segment.body);
            }
        }
        hasher.update(bytes.get(end..).unwrap_or_default());
    } else if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        let mut rest = &bytes[8..];
        while let Some((head, after)) = rest.split_at_checked(8) {
            let length = u32::from_be_bytes([head[0], head[1], head[2], head[3]]) as usize;
            let body = after.get(..length).unwrap_or(after);
            if matches!(&head[4..], b"IHDR" | b"PLTE" | b"IDAT") {
                hasher.update(body);
            }
            // Four bytes of check sum follow.
            rest = after.get(length.saturating_add(4)..).unwrap_or_default();
        }
    } else {
        hasher.update(bytes);
    }
    hex::encode(hasher.finalize())
}

/// Whether a file of the same mark as another one is its copy: unless it says that it was taken at another time. Pictures of
/// nothing, and rendered ones, can be alike to the last bit.
#[must_use]
pub fn is_copy(copy: &FrameInfo, first: &FrameInfo) -> bool {
    copy.captured_at.is_none() || copy.captured_at == first.captured_at
}

/// What is said of a file whose picture came before, in a file of this name.
#[must_use]
pub fn said_of_copy(first: &str) -> String {
    format!("the same picture as {first}; it counts once")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn jpeg(metadata: &[u8], scan: &[u8]) -> Vec<u8> {
        let mut bytes = vec![0xFF, 0xD8];
        bytes.extend(metadata);
        bytes.extend([0xFF, 0xDB, 0, 4, 1, 2, 0xFF, 0xDA, 0, 3, 7]);
        bytes.extend(scan);
        bytes.extend([0xFF, 0xD9]);
        bytes
    }

    #[test]
    fn metadata_make_no_other_picture() {
        let bare = picture_mark(&jpeg(&[], &[5, 6]));
        let described = jpeg(&[0xFF, 0xE1, 0, 5, 9, 9, 9, 0xFF, 0xFE, 0, 3, 65], &[5, 6]);
        assert_eq!(picture_mark(&described), bare);
        assert_ne!(picture_mark(&jpeg(&[], &[5, 7])), bare);
    }

    #[test]
    fn a_png_is_what_its_pixels_are() {
        let png = |words: &[u8], pixels: u8| {
            let mut bytes = b"\x89PNG\r\n\x1a\n".to_vec();
            for (kind, body) in [
                (b"IHDR", &[1, 2][..]),
                (b"tEXt", words),
                (b"IDAT", &[pixels]),
            ] {
                bytes.extend((body.len() as u32).to_be_bytes());
                bytes.extend(kind);
                bytes.extend(body);
                bytes.extend([0; 4]);
            }
            bytes
        };
        assert_eq!(picture_mark(&png(b"a", 1)), picture_mark(&png(b"bc", 1)));
        assert_ne!(picture_mark(&png(b"a", 1)), picture_mark(&png(b"a", 2)));
    }

    #[test]
    fn anything_has_a_mark() {
        let whole = jpeg(&[0xFF, 0xE1, 0, 5, 9, 9, 9], &[5]);
        for cut in 0..whole.len() {
            assert_eq!(picture_mark(&whole[..cut]).len(), 64);
        }
        let boast = [b"\x89PNG\r\n\x1a\n".as_slice(), &[0xFF; 9]].concat();
        assert_ne!(picture_mark(&boast), picture_mark(b"II*\0"));
    }
}
