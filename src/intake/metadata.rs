//! What a file says of itself: EXIF (CIPA DC-008), then XMP where EXIF is silent.
//!
//! Nothing here is an error: what is missing, empty, 0/0 or absurd is unknown.

use std::io::Cursor;

use exif::{Exif, Field, In, Tag, Value};

use super::format::{self, Format};
use super::names;
use super::orientation::Orientation;
use super::xmp;
use crate::sweep::{CaptureTime, FrameInfo};
use crate::units::{FNumber, FocusDistance, Metres, Millimetres};

/// Numerator of SubjectDistance that means infinity (CIPA DC-008).
const INFINITY: u32 = 0xFFFF_FFFF;

/// Longest text taken from a file, characters.
const LONGEST_TEXT: usize = 100;

/// What the EXIF segment of JPEG begins with (CIPA DC-008, 4.7.2).
const JPEG_MARK: &[u8] = b"Exif\0\0";

/// The EXIF block of a file, as far as it can be read.
pub(super) fn exif_of(bytes: &[u8], format: Format) -> Option<Exif> {
    let mut reader = exif::Reader::new();
    reader.continue_on_error(true);
    let read = match format {
        // Found by its segment, so that a file without EXIF is not searched to its end.
        Format::Jpeg => {
            let block = format::jpeg_segments(bytes)
                .filter(|segment| segment.marker == 0xE1)
                .find_map(|segment| segment.body.strip_prefix(JPEG_MARK))?;
            reader.read_raw(block.to_vec())
        }
        Format::Png | Format::Tiff => reader.read_from_container(&mut Cursor::new(bytes)),
    };
    read.or_else(|error| error.distill_partial_result(|_| {}))
        .ok()
}

/// How the stored pixels are to be turned.
pub(super) fn orientation(exif: Option<&Exif>) -> Orientation {
    let tag = exif.and_then(|exif| whole(exif, Tag::Orientation));
    Orientation::from_tag(tag.unwrap_or(1))
}

/// Fills in what the file says of the shot.
pub(super) fn describe(bytes: &[u8], format: Format, info: &mut FrameInfo) {
    let exif = exif_of(bytes, format);
    if let Some(exif) = &exif {
        info.captured_at = captured_at(exif);
        info.focal_length = ratio(exif, Tag::FocalLength).and_then(|mm| Millimetres::new(mm).ok());
        info.focal_length_35mm = whole(exif, Tag::FocalLengthIn35mmFilm)
            .and_then(|mm| Millimetres::new(f64::from(mm)).ok());
        info.f_number = ratio(exif, Tag::FNumber).and_then(|n| FNumber::new(n).ok());
        info.lens = text(exif, Tag::LensModel);
        info.camera = camera(text(exif, Tag::Make), text(exif, Tag::Model));
        info.focus_distance = subject_distance(exif);
    }
    if let Some(packet) = xmp::packet(bytes, format, exif.as_ref()) {
        info.focus_distance = info.focus_distance.or_else(|| xmp::focus_distance(&packet));
        info.lens = info.lens.take().or_else(|| {
            let words = xmp::value(&packet, "aux:Lens")
                .or_else(|| xmp::value(&packet, "exifEX:LensModel"))?;
            tidy(words)
        });
    }
}

fn field(exif: &Exif, tag: Tag) -> Option<&Field> {
    exif.get_field(tag, In::PRIMARY)
}

/// A whole number.
fn whole(exif: &Exif, tag: Tag) -> Option<u32> {
    field(exif, tag)?.value.get_uint(0)
}

/// A ratio; 0/0 and n/0 are unknown.
fn ratio(exif: &Exif, tag: Tag) -> Option<f64> {
    match &field(exif, tag)?.value {
        Value::Rational(ratios) => ratios.first().filter(|r| r.denom != 0).map(|r| r.to_f64()),
        Value::SRational(ratios) => ratios.first().filter(|r| r.denom != 0).map(|r| r.to_f64()),
        _ => None,
    }
}

/// A text without padding, control and bidirectional characters; empty is unknown.
fn text(exif: &Exif, tag: Tag) -> Option<String> {
    let Value::Ascii(parts) = &field(exif, tag)?.value else {
        return None;
    };
    tidy(&String::from_utf8_lossy(parts.first()?))
}

/// A text as it is shown; one without a letter or digit ("----", "0.0" is kept) says nothing.
fn tidy(raw: &str) -> Option<String> {
    let shown: String = raw
        .chars()
        .filter(|c| names::is_showable(*c))
        .take(LONGEST_TEXT)
        .collect();
    let shown = shown.split_whitespace().collect::<Vec<_>>().join(" ");
    shown.chars().any(char::is_alphanumeric).then_some(shown)
}

/// Model with its maker before it, unless the model begins with the maker's first word.
fn camera(make: Option<String>, model: Option<String>) -> Option<String> {
    let (make, model) = match (make, model) {
        (Some(make), Some(model)) => (make, model),
        (one, other) => return one.or(other),
    };
    let first = |words: &str| words.split(' ').next().map(str::to_lowercase);
    if first(&make) == first(&model) {
        Some(model)
    } else {
        Some(format!("{make} {model}"))
    }
}

/// Focus distance of tag 0x9206: 0xFFFFFFFF is infinity, 0 or n/0 unknown.
fn subject_distance(exif: &Exif) -> Option<FocusDistance> {
    let Value::Rational(ratios) = &field(exif, Tag::SubjectDistance)?.value else {
        return None;
    };
    let distance = ratios.first()?;
    if distance.num == INFINITY {
        return Some(FocusDistance::Infinity);
    }
    if distance.denom == 0 {
        return None;
    }
    Metres::new(distance.to_f64()).ok().map(FocusDistance::At)
}

/// When the picture was taken: original, else digitised, else changed, each with its own sub-seconds and offset.
fn captured_at(exif: &Exif) -> Option<CaptureTime> {
    const SOURCES: [(Tag, Tag, Tag); 3] = [
        (
            Tag::DateTimeOriginal,
            Tag::SubSecTimeOriginal,
            Tag::OffsetTimeOriginal,
        ),
        (
            Tag::DateTimeDigitized,
            Tag::SubSecTimeDigitized,
            Tag::OffsetTimeDigitized,
        ),
        (Tag::DateTime, Tag::SubSecTime, Tag::OffsetTime),
    ];
    SOURCES.into_iter().find_map(|(stamp, sub_second, offset)| {
        let ascii = |tag| match &field(exif, tag)?.value {
            Value::Ascii(parts) => parts.first(),
            _ => None,
        };
        let read = exif::DateTime::from_ascii(ascii(stamp)?).ok()?;
        let month = time::Month::try_from(read.month).ok()?;
        let date = time::Date::from_calendar_date(i32::from(read.year), month, read.day).ok()?;
        let nanosecond = ascii(sub_second)
            .and_then(|digits| nanoseconds(digits))
            .unwrap_or(0);
        let clock =
            time::Time::from_hms_nano(read.hour, read.minute, read.second, nanosecond).ok()?;
        Some(CaptureTime {
            local: time::PrimitiveDateTime::new(date, clock),
            offset: ascii(offset).and_then(|words| utc_offset(words)),
        })
    })
}

/// Sub-seconds are a decimal fraction and not an integer: "016" is 0.016 s, "5" is 0.5 s.
fn nanoseconds(digits: &[u8]) -> Option<u32> {
    let digits = digits.trim_ascii();
    let shown = digits
        .iter()
        .take_while(|byte| byte.is_ascii_digit())
        .count();
    if shown == 0 || shown < digits.len() {
        return None;
    }
    let fraction = digits.iter().chain(std::iter::repeat(&b'0')).take(9);
    Some(fraction.fold(0, |sum, digit| sum * 10 + u32::from(digit - b'0')))
}

/// "+02:00" and the like.
fn utc_offset(words: &[u8]) -> Option<time::UtcOffset> {
    let words = std::str::from_utf8(words).ok()?.trim();
    let sign: i8 = match words.as_bytes().first()? {
        b'+' => 1,
        b'-' => -1,
        _ => return None,
    };
    let (hours, minutes) = words.get(1..)?.split_once(':')?;
    let (hours, minutes): (i8, i8) = (hours.parse().ok()?, minutes.parse().ok()?);
    time::UtcOffset::from_hms(sign.checked_mul(hours)?, sign.checked_mul(minutes)?, 0).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sub_seconds_are_a_decimal_fraction() {
        assert_eq!(nanoseconds(b"016"), Some(16_000_000));
        assert_eq!(nanoseconds(b"5 "), Some(500_000_000));
        assert_eq!(nanoseconds(b"1234567891"), Some(123_456_789));
        assert_eq!(nanoseconds(b""), None);
        assert_eq!(nanoseconds(b"-1"), None);
    }

    #[test]
    fn offsets_from_utc() {
        let minutes = |words: &[u8]| utc_offset(words).map(time::UtcOffset::whole_minutes);
        assert_eq!(minutes(b"+02:00"), Some(120));
        assert_eq!(minutes(b"-03:30"), Some(-210));
        assert_eq!(minutes(b"   :  "), None);
        assert_eq!(minutes(b"-99:99"), None);
        assert_eq!(minutes(b"--128:0"), None);
        assert_eq!(minutes(b""), None);
    }

    #[test]
    fn the_maker_is_not_said_twice() {
        let of = |make: &str, model: &str| camera(Some(make.to_owned()), Some(model.to_owned()));
        assert_eq!(
            of("Tindra", "Tindra Bench 2").as_deref(),
            Some("Tindra Bench 2")
        );
        assert_eq!(
            of("TINDRA OPTICAL", "Tindra Bench 2").as_deref(),
            Some("Tindra Bench 2")
        );
        assert_eq!(of("Tindra", "B2").as_deref(), Some("Tindra B2"));
        assert_eq!(camera(None, Some("B2".to_owned())).as_deref(), Some("B2"));
        assert_eq!(tidy("   "), None);
        assert_eq!(tidy("----"), None);
        assert_eq!(
            tidy(" Ostrel \u{202e}50 \0\0").as_deref(),
            Some("Ostrel 50")
        );
    }
}
