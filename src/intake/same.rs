//! Telling copies of a picture from pictures: by what is coded in a file, whatever its metadata say.

use std::collections::HashMap;

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

/// For each file the one that counts in its place, where its picture is that of another one. A picture counts once: where its
/// file says when it was taken, and lies least deep, and comes first. So a folder of copies inside, or copies that lost their
/// metadata, take no frame out of a sweep and make none of their own. `mark` tells the [`picture_mark`] of a file, and is
/// asked only where there may be a copy.
#[must_use]
pub fn copies(files: &[&FrameInfo], mark: impl Fn(usize) -> String) -> Vec<Option<usize>> {
    let is_mute = |at: usize| files[at].captured_at.is_none();
    let some_mute = (0..files.len()).any(is_mute);
    let mut times: Vec<_> = files.iter().map(|file| file.captured_at).collect();
    times.sort_unstable();
    let is_shared = |at: usize| {
        let time = &files[at].captured_at;
        let first = times.partition_point(|known| known < time);
        times.get(first + 1) == Some(time)
    };
    let mut foremost: Vec<usize> = (0..files.len())
        .filter(|&at| some_mute || is_shared(at))
        .collect();
    foremost.sort_by_key(|&at| (is_mute(at), depth(files[at])));
    let mut counting: HashMap<String, Vec<usize>> = HashMap::new();
    let mut copies = vec![None; files.len()];
    for at in foremost {
        let alike = counting.entry(mark(at)).or_default();
        match alike
            .iter()
            .find(|&&first| is_copy(files[at], files[first]))
        {
            Some(&first) => copies[at] = Some(first),
            None => alike.push(at),
        }
    }
    copies
}

/// Whether a file of the same mark as another one is its copy: unless it says that it was taken at another time. Pictures of
/// nothing, and rendered ones, can be alike to the last bit.
fn is_copy(copy: &FrameInfo, first: &FrameInfo) -> bool {
    copy.captured_at.is_none() || copy.captured_at == first.captured_at
}

/// How many folders a file lies in.
fn depth(file: &FrameInfo) -> usize {
    let parts = file.folder.split('/');
    parts.filter(|part| !part.is_empty()).count()
}

/// What is said of a file whose picture came before, in a file of this name.
#[must_use]
pub fn said_of_copy(first: &str) -> String {
    format!("the same picture as {first}; it counts once")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sweep::CaptureTime;

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
    fn a_picture_counts_once_where_it_is_dated_and_lies_least_deep() {
        let file = |folder: &str, second: Option<u8>| FrameInfo {
            folder: folder.to_owned(),
            captured_at: second.map(|second| CaptureTime {
                local: time::macros::datetime!(2026-04-03 10:00)
                    + time::Duration::seconds(second.into()),
                offset: None,
            }),
            ..FrameInfo::default()
        };
        let copies_of = |files: &[(FrameInfo, &str)]| {
            let infos: Vec<&FrameInfo> = files.iter().map(|(info, _)| info).collect();
            copies(&infos, |at| files[at].1.to_owned())
        };
        assert_eq!(
            copies_of(&[
                (file("card/backup", Some(1)), "a"),
                (file("card", Some(1)), "a"),
                (file("", None), "a"),
                (file("card", Some(2)), "b"),
                (file("card", Some(2)), "c"),
                (file("card", Some(3)), "b"),
            ]),
            [Some(1), None, Some(1), None, None, None]
        );
        let two_of_nothing = [(file("", None), "a"), (file("", None), "a")];
        assert_eq!(copies_of(&two_of_nothing), [None, Some(0)]);
    }

    #[test]
    fn no_file_is_read_where_none_can_be_a_copy() {
        let dated = |second: u8| FrameInfo {
            captured_at: Some(CaptureTime {
                local: time::macros::datetime!(2026-04-03 10:00)
                    + time::Duration::seconds(second.into()),
                offset: None,
            }),
            ..FrameInfo::default()
        };
        let infos = [dated(1), dated(2), dated(3)];
        let infos: Vec<&FrameInfo> = infos.iter().collect();
        assert_eq!(copies(&infos, |at| panic!("{at} is read")), [None; 3]);
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
