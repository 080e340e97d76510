//! Padding between the header segments of a JPEG file.

use std::borrow::Cow;

use super::format;

/// A JPEG file without bytes of 0 and of 0xFF that stand between its header segments. Bytes of 0xFF are allowed there (ITU-T T.81,
/// B.1.1.2); bytes of 0 are not, but programs that rewrite metadata leave them, other readers pass over them, and they say nothing
/// about the picture. Anything else that stands there is damage, and left to be refused.
pub(super) fn taken_out(bytes: &[u8]) -> Cow<'_, [u8]> {
    const START: usize = 2;
    let mut plain: Vec<u8> = Vec::new();
    let mut end = START;
    for segment in format::jpeg_segments(bytes) {
        // A marker of two bytes and a length of two.
        let begin = segment.end - segment.body.len() - 4;
        let Some(between) = bytes.get(end..begin) else {
            return Cow::Borrowed(bytes);
        };
        if !between.iter().all(|byte| matches!(byte, 0 | 0xFF)) {
            return Cow::Borrowed(bytes);
        }
        if !between.is_empty() && plain.is_empty() {
            plain.extend(&bytes[..end]);
        }
        if !plain.is_empty() {
            plain.extend(&bytes[begin..segment.end]);
        }
        end = segment.end;
    }
    if plain.is_empty() {
        return Cow::Borrowed(bytes);
    }
    plain.extend(&bytes[end..]);
    Cow::Owned(plain)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(between: &[u8]) -> Vec<u8> {
        let mut bytes = vec![0xFF, 0xD8, 0xFF, 0xFE, 0, 3, 65];
        bytes.extend(between);
        bytes.extend([0xFF, 0xDB, 0, 4, 1, 2]);
        bytes.extend(between);
        bytes.extend([0xFF, 0xDA, 0, 3, 7, 5, 0, 0, 6, 0xFF, 0xD9]);
        bytes
    }

    #[test]
    fn padding_goes_and_the_picture_stays() {
        let plain = with(&[]);
        assert!(matches!(taken_out(&plain), Cow::Borrowed(_)));
        for padding in [&[0, 0][..], &[0xFF], &[0xFF; 9], &[0, 0xFF, 0xFF]] {
            assert_eq!(taken_out(&with(padding)), plain, "{padding:?}");
        }
    }

    #[test]
    fn damage_is_left_as_it_is() {
        for damaged in [with(&[7]), with(&[0, 1, 0]), vec![], vec![0xFF, 0xD8]] {
            assert_eq!(taken_out(&damaged), damaged);
        }
        let whole = with(&[0, 0]);
        for cut in 0..whole.len() {
            assert!(taken_out(&whole[..cut]).len() <= cut);
        }
    }
}
