//! The few values that are taken from an XMP packet (ISO 16684-1), by name and without a parser for XML: a value is
//! either `name="value"` or `<name>value</name>`.

use std::borrow::Cow;

use exif::{Context, Exif, In, Tag, Value};

use super::format::{self, Format};
use crate::units::{FocusDistance, Metres};

/// Start of the APP1 segment of JPEG that holds XMP (ISO 16684-3).
const JPEG_MARK: &[u8] = b"http://ns.adobe.com/xap/1.0/\0";

/// Tag of TIFF that holds XMP (ISO 16684-3).
const TIFF_TAG: Tag = Tag(Context::Tiff, 700);

/// The XMP packet of a file.
pub(super) fn packet<'a>(
    bytes: &'a [u8],
    format: Format,
    exif: Option<&Exif>,
) -> Option<Cow<'a, str>> {
    match format {
        Format::Jpeg => format::jpeg_segments(bytes)
            .filter(|segment| segment.marker == 0xE1)
            .find_map(|segment| segment.body.strip_prefix(JPEG_MARK))
            .map(String::from_utf8_lossy),
        Format::Tiff => match &exif?.get_field(TIFF_TAG, In::PRIMARY)?.value {
            Value::Byte(packet) | Value::Undefined(packet, _) => {
                Some(Cow::Owned(String::from_utf8_lossy(packet).into_owned()))
            }
            _ => None,
        },
        Format::Png => None,
    }
}

/// The first value of a property, as it is written.
pub(super) fn value<'a>(packet: &'a str, name: &str) -> Option<&'a str> {
    packet.match_indices(name).find_map(|(at, _)| {
        let rest = packet[at + name.len()..].trim_start();
        if let Some(quoted) = rest.strip_prefix('=') {
            let quoted = quoted.trim_start();
            let quote = quoted.chars().next().filter(|c| matches!(c, '"' | '\''))?;
            quoted[1..].split_once(quote).map(|(value, _)| value)
        } else {
            rest.strip_prefix('>')?
                .split_once('<')
                .map(|(value, _)| value.trim())
        }
    })
}

/// Focus distance in metres: `n/d` or a decimal number; 4294967295/1 is infinity as in EXIF.
pub(super) fn focus_distance(packet: &str) -> Option<FocusDistance> {
    ["exif:SubjectDistance", "aux:ApproximateFocusDistance"]
        .into_iter()
        .find_map(|name| distance(value(packet, name)?))
}

fn distance(words: &str) -> Option<FocusDistance> {
    let metres = match words.split_once('/') {
        Some(("4294967295" | "-1", _)) => return Some(FocusDistance::Infinity),
        Some((above, below)) => {
            above.trim().parse::<f64>().ok()? / below.trim().parse::<f64>().ok()?
        }
        None => words.trim().parse().ok()?,
    };
    Metres::new(metres).ok().map(FocusDistance::At)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_are_read_in_both_ways_of_writing() {
        let metres = |packet: &str| focus_distance(packet).map(|d| d.metres().map(Metres::m));
        assert_eq!(
            metres(r#"<rdf:Description aux:ApproximateFocusDistance="63/100" x="y">"#),
            Some(Some(0.63))
        );
        assert_eq!(
            metres("<exif:SubjectDistance>15/4</exif:SubjectDistance>"),
            Some(Some(3.75))
        );
        assert_eq!(
            metres("aux:ApproximateFocusDistance='4294967295/1'"),
            Some(None)
        );
        assert_eq!(
            metres("aux:ApproximateFocusDistance='1.5'"),
            Some(Some(1.5))
        );
    }

    #[test]
    fn what_makes_no_sense_is_unknown() {
        for packet in [
            "",
            "exif:SubjectDistance",
            "exif:SubjectDistance=",
            "exif:SubjectDistance=\"",
            "exif:SubjectDistance=\"0/0\"",
            "exif:SubjectDistance=\"1/0\"",
            "exif:SubjectDistance=\"far\"",
            "exif:SubjectDistance=é1é",
            "<exif:SubjectDistance>-3</exif:SubjectDistance>",
        ] {
            assert_eq!(focus_distance(packet), None, "{packet}");
        }
    }
}
