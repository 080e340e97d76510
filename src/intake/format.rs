//! What kind of picture some bytes are and how large they claim to be, from their first bytes alone.

use super::{IntakeError, Limits};

/// The picture formats that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Format {
    /// JPEG, baseline or progressive.
    Jpeg,
    /// PNG.
    Png,
    /// TIFF.
    Tiff,
}

/// The format of a picture whose claimed size is within the limits.
///
/// # Errors
/// `Empty`, `TooManyBytes`, `NotAPicture`, `TooLarge`, or `Damaged` when the header breaks off.
pub(super) fn admit(bytes: &[u8], limits: &Limits) -> Result<Format, IntakeError> {
    if bytes.is_empty() {
        return Err(IntakeError::Empty);
    }
    if bytes.len() as u64 > limits.max_file_bytes {
        return Err(IntakeError::TooManyBytes {
            max_bytes: limits.max_file_bytes,
        });
    }
    let (format, size) = if bytes.starts_with(&[0xFF, 0xD8, 0xFF]) {
        (Format::Jpeg, jpeg_size(bytes))
    } else if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        (Format::Png, png_size(bytes))
    } else if bytes.starts_with(b"II*\0") || bytes.starts_with(b"MM\0*") {
        (Format::Tiff, tiff_size(bytes))
    } else {
        return Err(IntakeError::NotAPicture);
    };
    let (width, height) =
        size.ok_or_else(|| IntakeError::Damaged("its header names no size".to_owned()))?;
    check_size(width, height, limits)?;
    if format == Format::Jpeg {
        check_coefficients(bytes)?;
    }
    Ok(format)
}

/// Most bytes that the coefficients of one JPEG file may take in memory: 42 megapixels with colour at full resolution, 80
/// and more with colour at half (as cameras store it).
const MOST_COEFFICIENT_BYTES: u64 = 256 << 20;

/// Refuses progressive files whose coefficients would take too much memory. A baseline file is decoded row by row; a
/// progressive one, or one that stores its components one after another, only when all of it is there.
fn check_coefficients(bytes: &[u8]) -> Result<(), IntakeError> {
    let Some(needed) = coefficient_bytes(bytes) else {
        return Ok(());
    };
    if needed > MOST_COEFFICIENT_BYTES {
        return Err(IntakeError::TooMuchAtOnce {
            megabytes: needed >> 20,
            max_megabytes: MOST_COEFFICIENT_BYTES >> 20,
        });
    }
    Ok(())
}

/// Bytes of the coefficients, 16 bits each, that are held at once; `None` where they are not, or the header doesn't say.
fn coefficient_bytes(bytes: &[u8]) -> Option<u64> {
    let mut frame = None;
    let mut in_first_scan = None;
    for segment in jpeg_segments(bytes) {
        match segment.marker {
            marker if frame.is_none() && is_frame_header(marker) => frame = Some(segment),
            0xDA => in_first_scan = segment.body.first().copied(),
            _ => {}
        }
    }
    let frame = frame?;
    let (size, components) = frame.body.split_at_checked(6)?;
    let (height, width) = (be(size, 1)?, be(size, 3)?);
    let progressive = matches!(frame.marker, 0xC2 | 0xC6 | 0xCA | 0xCE);
    if !progressive && in_first_scan? >= size[5] {
        return None;
    }
    let sampling: Vec<(u64, u64)> = components
        .chunks_exact(3)
        .take(usize::from(size[5]))
        .map(|component| (u64::from(component[1] >> 4), u64::from(component[1] & 15)))
        .collect();
    let most = |of: fn(&(u64, u64)) -> u64| sampling.iter().map(of).max().unwrap_or(1).max(1);
    // Units of 8 × 8 coefficients lie in groups that hold each component as often as it is sampled.
    let groups = width.div_ceil(8 * most(|s| s.0)) * height.div_ceil(8 * most(|s| s.1));
    let units: u64 = sampling.iter().map(|(h, v)| h * v).sum();
    Some(groups * units * 64 * 2)
}

fn is_frame_header(marker: u8) -> bool {
    matches!(marker, 0xC0..=0xCF) && !matches!(marker, 0xC4 | 0xC8 | 0xCC)
}

/// The 16-bit number at a place.
fn be(bytes: &[u8], at: usize) -> Option<u64> {
    let pair = bytes.get(at..at + 2)?;
    Some(u64::from(u16::from_be_bytes([pair[0], pair[1]])))
}

/// Refuses sizes beyond the limits, and empty ones.
pub(super) fn check_size(width: u64, height: u64, limits: &Limits) -> Result<(), IntakeError> {
    if width == 0 || height == 0 {
        return Err(IntakeError::Damaged(
            "it claims to have no pixels".to_owned(),
        ));
    }
    let side = u64::from(limits.max_side_px);
    let pixels = u64::from(limits.max_megapixels) * 1_000_000;
    if width > side || height > side || width.saturating_mul(height) > pixels {
        return Err(IntakeError::TooLarge {
            width,
            height,
            max_side: limits.max_side_px,
            max_megapixels: limits.max_megapixels,
        });
    }
    Ok(())
}

/// One marker segment of a JPEG file: the marker's second byte and what follows the length.
pub(super) struct Segment<'a> {
    pub(super) marker: u8,
    pub(super) body: &'a [u8],
    /// Where the bytes after the segment begin.
    pub(super) end: usize,
}

/// The marker segments of a JPEG file up to and including the first start of scan.
pub(super) fn jpeg_segments(bytes: &[u8]) -> impl Iterator<Item = Segment<'_>> {
    let mut at = 2;
    let mut scan_reached = false;
    std::iter::from_fn(move || {
        if scan_reached {
            return None;
        }
        loop {
            // Bytes before a marker and fill bytes are passed over, as decoders do.
            at += bytes.get(at..)?.iter().position(|byte| *byte == 0xFF)?;
            at += bytes.get(at..)?.iter().position(|byte| *byte != 0xFF)?;
            let marker = *bytes.get(at)?;
            at += 1;
            match marker {
                0x00 | 0x01 | 0xD0..=0xD8 => {}
                0xD9 => return None,
                _ => {
                    let length = bytes.get(at..at + 2)?;
                    let length = usize::from(u16::from_be_bytes([length[0], length[1]]));
                    let body = bytes.get(at + 2..at + length.max(2))?;
                    at += length.max(2);
                    scan_reached = marker == 0xDA;
                    return Some(Segment {
                        marker,
                        body,
                        end: at,
                    });
                }
            }
        }
    })
}

/// Whether the coded picture of a JPEG file runs on to its end-of-image marker; a file that breaks off has none.
pub(super) fn jpeg_is_whole(bytes: &[u8]) -> bool {
    let Some(mut at) = jpeg_segments(bytes)
        .find(|segment| segment.marker == 0xDA)
        .map(|segment| segment.end)
    else {
        return false;
    };
    // Nearly always the marker ends the file, but for some padding.
    let padding = bytes.iter().rev().take_while(|byte| **byte == 0).count();
    let tail = &bytes[..bytes.len() - padding];
    if tail.len() >= at + 2 && tail.ends_with(&[0xFF, 0xD9]) {
        return true;
    }
    loop {
        let Some(step) = bytes
            .get(at..)
            .and_then(|rest| rest.iter().position(|b| *b == 0xFF))
        else {
            return false;
        };
        at += step + 1;
        match bytes.get(at) {
            Some(0xD9) => return true,
            Some(_) => {}
            None => return false,
        }
    }
}

fn jpeg_size(bytes: &[u8]) -> Option<(u64, u64)> {
    let frame = jpeg_segments(bytes).find(|segment| is_frame_header(segment.marker))?;
    Some((be(frame.body, 3)?, be(frame.body, 1)?))
}

fn png_size(bytes: &[u8]) -> Option<(u64, u64)> {
    let number = |at: usize| {
        Some(u64::from(u32::from_be_bytes(
            bytes.get(at..at + 4)?.try_into().ok()?,
        )))
    };
    (bytes.get(12..16)? == b"IHDR").then_some(())?;
    Some((number(16)?, number(20)?))
}

/// Width and height out of the first directory of a TIFF file (TIFF 6.0: tags 256 and 257, SHORT or LONG).
fn tiff_size(bytes: &[u8]) -> Option<(u64, u64)> {
    let little = bytes[0] == b'I';
    let short = |at: usize| {
        let pair: [u8; 2] = bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if little {
            u16::from_le_bytes(pair)
        } else {
            u16::from_be_bytes(pair)
        })
    };
    let long = |at: usize| {
        let four: [u8; 4] = bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if little {
            u32::from_le_bytes(four)
        } else {
            u32::from_be_bytes(four)
        })
    };
    let directory = long(4)? as usize;
    let (mut width, mut height) = (None, None);
    for entry in 0..usize::from(short(directory)?) {
        let at = directory.checked_add(2 + entry * 12)?;
        let value = || match short(at + 2)? {
            3 => Some(u64::from(short(at + 8)?)),
            4 => Some(u64::from(long(at + 8)?)),
            _ => None,
        };
        match short(at)? {
            256 => width = value(),
            257 => height = value(),
            _ => {}
        }
    }
    Some((width?, height?))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 333 bytes that claim 65500 × 65500 px.
    fn boaster() -> Vec<u8> {
        let mut bytes = vec![
            0xFF, 0xD8, 0xFF, 0xC0, 0, 11, 8, 0xFF, 0xDC, 0xFF, 0xDC, 1, 1, 0x11, 0,
        ];
        bytes.extend([0xFF, 0xDA, 0, 8, 1, 1, 0, 0, 63, 0]);
        bytes.resize(331, 0);
        bytes.extend([0xFF, 0xD9]);
        bytes
    }

    #[test]
    fn a_boasting_header_is_refused_before_any_pixel() {
        let bytes = boaster();
        assert_eq!(bytes.len(), 333);
        let refused = admit(&bytes, &Limits::default());
        assert!(
            matches!(
                refused,
                Err(IntakeError::TooLarge {
                    width: 65500,
                    height: 65500,
                    ..
                })
            ),
            "{refused:?}"
        );
    }

    /// A header of so many pixels and components, each with its sampling, and a scan of the first `scanned` of them.
    fn header(marker: u8, (width, height): (u16, u16), sampling: &[u8], scanned: u8) -> Vec<u8> {
        let count = sampling.len() as u8;
        let mut bytes = vec![0xFF, 0xD8, 0xFF, marker, 0, 8 + 3 * count, 8];
        bytes.extend(height.to_be_bytes());
        bytes.extend(width.to_be_bytes());
        bytes.push(count);
        for (id, sampling) in (1..).zip(sampling) {
            bytes.extend([id, *sampling, 0]);
        }
        bytes.extend([0xFF, 0xDA, 0, 6 + 2 * scanned, scanned]);
        bytes.extend((1..=scanned).flat_map(|id| [id, 0]));
        bytes.extend([0, 63, 0, 0xFF, 0xD9]);
        bytes
    }

    /// 10000 × 8000 px: 80 million coefficients of luma at 2 bytes are 152.6 MiB, with chroma at half width and height
    /// 228.9, at full 457.8 (own calculation).
    #[test]
    fn a_progressive_giant_is_refused_before_any_pixel() {
        let (full, half) = ([0x11, 0x11, 0x11], [0x22, 0x11, 0x11]);
        let judge = |marker, sampling: &[u8], scanned| {
            let bytes = header(marker, (10_000, 8_000), sampling, scanned);
            (
                coefficient_bytes(&bytes).map(|b| b >> 20),
                admit(&bytes, &Limits::default()),
            )
        };
        for (marker, sampling, scanned, held, admitted) in [
            (0xC0, full, 3, None, true),
            (0xC0, full, 1, Some(457), false),
            (0xC2, full, 3, Some(457), false),
            (0xC2, half, 3, Some(228), true),
        ] {
            let (megabytes, judged) = judge(marker, &sampling, scanned);
            assert_eq!(megabytes, held, "{marker:x} {sampling:?}");
            match judged {
                Ok(format) => assert!(admitted && format == Format::Jpeg),
                Err(IntakeError::TooMuchAtOnce { megabytes, .. }) => {
                    assert!(!admitted);
                    assert_eq!(Some(megabytes), held);
                }
                other => panic!("{other:?}"),
            }
        }
    }

    #[test]
    fn what_is_no_picture_is_said_to_be_none() {
        let judge = |bytes: &[u8]| admit(bytes, &Limits::default());
        assert!(matches!(judge(b""), Err(IntakeError::Empty)));
        assert!(matches!(judge(b"hello"), Err(IntakeError::NotAPicture)));
        assert!(matches!(judge(b"II*\0"), Err(IntakeError::Damaged(_))));
        assert!(matches!(
            judge(&[0xFF, 0xD8, 0xFF, 0xD9]),
            Err(IntakeError::Damaged(_))
        ));
        let small = Limits {
            max_file_bytes: 3,
            ..Limits::default()
        };
        assert!(matches!(
            admit(b"hello", &small),
            Err(IntakeError::TooManyBytes { max_bytes: 3 })
        ));
    }

    #[test]
    fn a_file_that_breaks_off_has_no_end() {
        let whole = boaster();
        assert!(jpeg_is_whole(&whole));
        for cut in 0..whole.len() {
            assert!(!jpeg_is_whole(&whole[..cut]), "{cut}");
        }
        assert!(jpeg_is_whole(&[&whole[..], &[0; 9]].concat()), "padded");
        assert!(
            jpeg_is_whole(&[&whole[..], b"a second picture"].concat()),
            "something behind it"
        );
    }
}
