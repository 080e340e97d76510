//! Files that real cameras wrote (`tests/data/README.md`), and EXIF values that were met in real files.

use std::io::Cursor;

use breathmark::intake::{decode_plane, inspect};
use breathmark::sweep::FrameInfo;
use breathmark::units::{FNumber, FocusDistance, Metres, Millimetres};
use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use time::macros::datetime;

use super::{eight, limits};

fn camera_file(name: &str) -> Vec<u8> {
    let path = format!(
        "{}/tests/data/camera-files/{name}",
        env!("CARGO_MANIFEST_DIR")
    );
    std::fs::read(&path).unwrap_or_else(|error| panic!("{path}: {error}"))
}

fn about(name: &str) -> FrameInfo {
    inspect(&camera_file(name), name, &limits()).expect("a frame")
}

/// What `piexif` 1.1.3 reads in the same files.
#[test]
fn real_files_say_what_another_reader_reads_in_them() {
    for (name, focal_mm, film_mm, f_number, taken) in [
        (
            "compact-1.jpg",
            9.2,
            Some(44.0),
            5.0,
            datetime!(2006-02-16 21:19:26),
        ),
        (
            "compact-2.jpg",
            12.5,
            None,
            5.6,
            datetime!(2013-12-17 14:04:24),
        ),
        (
            "compact-3.jpg",
            12.0,
            Some(57.0),
            3.5,
            datetime!(2014-03-24 17:18:28),
        ),
        (
            "compact-4.jpg",
            16.1,
            Some(76.0),
            2.8,
            datetime!(2013-11-12 13:54:29),
        ),
        (
            "compact-5.jpg",
            50.0,
            Some(100.0),
            10.0,
            datetime!(2007-09-15 13:15:57),
        ),
        (
            "compact-6.jpg",
            15.0,
            None,
            3.6,
            datetime!(2014-08-23 13:05:43),
        ),
        (
            "compact-7.jpg",
            18.3,
            Some(28.0),
            2.8,
            datetime!(2013-03-29 10:06:41),
        ),
        (
            "compact-8.jpg",
            50.0,
            Some(75.0),
            4.5,
            datetime!(2012-12-28 15:25:17),
        ),
        (
            "compact-9.jpg",
            35.0,
            Some(35.0),
            8.0,
            datetime!(2013-04-13 10:22:18),
        ),
        (
            "phone-at-infinity.head",
            4.67,
            Some(26.0),
            2.0,
            datetime!(2018-01-04 08:43:51.959413),
        ),
        (
            "phone-baseline.jpg",
            4.103,
            Some(24.0),
            1.7,
            datetime!(2019-11-09 10:59:36.602695),
        ),
        (
            "phone-turned.jpg",
            4.15,
            Some(39.0),
            2.2,
            datetime!(2016-03-24 14:49:51.308),
        ),
    ] {
        let info = about(name);
        assert_eq!(info.focal_length, Millimetres::new(focal_mm).ok(), "{name}");
        assert_eq!(
            info.focal_length_35mm.map(Millimetres::mm),
            film_mm,
            "{name}"
        );
        assert_eq!(info.f_number, FNumber::new(f_number).ok(), "{name}");
        assert_eq!(info.captured_at.map(|at| at.local), Some(taken), "{name}");
        assert!(info.camera.is_some(), "{name}");
    }
    assert_eq!(
        about("phone-at-infinity.head").focus_distance,
        Some(FocusDistance::Infinity)
    );
    assert_eq!(
        about("compact-4.jpg").lens,
        None,
        "31 zero bytes are no name"
    );
    let padded = about("compact-7.jpg").lens.expect("a lens");
    assert_eq!(padded.len(), 7, "padding is taken off: {padded:?}");
    let bare = about("no-metadata.jpg");
    assert_eq!(
        (bare.camera, bare.captured_at, bare.focal_length),
        (None, None, None)
    );
}

#[test]
fn real_files_decode_as_another_decoder_decodes_them() {
    for name in [
        "compact-1.jpg",
        "compact-2.jpg",
        "compact-3.jpg",
        "compact-4.jpg",
        "compact-5.jpg",
        "compact-6.jpg",
        "compact-7.jpg",
        "compact-8.jpg",
        "compact-9.jpg",
        "phone-baseline.jpg",
        "phone-progressive.jpg",
        "phone-grey.jpg",
        "no-metadata.jpg",
        "drawing.tiff",
    ] {
        let bytes = camera_file(name);
        let plane =
            decode_plane(&bytes, &limits()).unwrap_or_else(|error| panic!("{name}: {error}"));
        let other = image::load_from_memory(&bytes)
            .expect("decodes")
            .into_rgb8();
        assert_eq!(
            (plane.width(), plane.height()),
            other.dimensions(),
            "{name}"
        );
        let difference: f64 = eight(&plane)
            .iter()
            .zip(other.pixels())
            .map(|(code, p)| {
                let luma = 0.299 * f64::from(p.0[0])
                    + 0.587 * f64::from(p.0[1])
                    + 0.114 * f64::from(p.0[2]);
                (f64::from(*code) - luma).abs()
            })
            .sum::<f64>()
            / eight(&plane).len() as f64;
        // Rounding of three colours, and clipping of colours out of range.
        assert!(difference < 0.5, "{name}: {difference}");
    }
}

/// A JPEG with these EXIF fields and this much XMP.
fn jpeg_with(fields: &[(Tag, Value)], xmp: &str) -> Vec<u8> {
    let fields: Vec<Field> = fields
        .iter()
        .map(|(tag, value)| Field {
            tag: *tag,
            ifd_num: In::PRIMARY,
            value: value.clone(),
        })
        .collect();
    let mut writer = Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut block = Cursor::new(Vec::new());
    writer.write(&mut block, false).expect("written");
    let mut jpeg = Vec::new();
    let mut encoder = jpeg_encoder::Encoder::new(&mut jpeg, 90);
    encoder
        .add_exif_metadata(&block.into_inner())
        .expect("fits");
    if !xmp.is_empty() {
        let packet = [b"http://ns.adobe.com/xap/1.0/\0", xmp.as_bytes()].concat();
        encoder.add_app_segment(1, packet).expect("fits");
    }
    encoder
        .encode(&[7; 64], 8, 8, jpeg_encoder::ColorType::Luma)
        .expect("encodes");
    jpeg
}

fn ratio(num: u32, denom: u32) -> Value {
    Value::Rational(vec![Rational { num, denom }])
}

fn ascii(words: &str) -> Value {
    Value::Ascii(vec![words.as_bytes().to_vec()])
}

fn read(fields: &[(Tag, Value)]) -> FrameInfo {
    inspect(&jpeg_with(fields, ""), "x.jpg", &limits()).expect("a frame")
}

/// CIPA DC-008, tag 0x9206, and values met in real files.
#[test]
fn subject_distance_has_two_special_values() {
    let of = |num, denom| read(&[(Tag::SubjectDistance, ratio(num, denom))]).focus_distance;
    let at = |metres| Metres::new(metres).ok().map(FocusDistance::At);
    assert_eq!(of(4_294_967_295, 1), Some(FocusDistance::Infinity));
    assert_eq!(of(0, 0), None);
    assert_eq!(of(0, 1), None);
    assert_eq!(of(5, 0), None);
    assert_eq!(of(15, 4), at(3.75));
    assert_eq!(of(63, 100), at(0.63));
}

#[test]
fn values_that_mean_unknown_are_unknown() {
    let info = read(&[
        (Tag::FocalLength, ratio(0, 0)),
        (Tag::FNumber, ratio(0, 10)),
        (Tag::FocalLengthIn35mmFilm, Value::Short(vec![0])),
        (Tag::LensModel, ascii("     ")),
        (Tag::DateTimeOriginal, ascii("    :  :     :  :  ")),
        (Tag::Model, ascii("")),
    ]);
    assert_eq!(
        info,
        FrameInfo {
            file: "x.jpg".to_owned(),
            ..FrameInfo::default()
        }
    );
    let absurd = read(&[
        (Tag::FocalLength, ascii("long")),
        (Tag::DateTimeOriginal, ascii("2026:02:30 25:61:61")),
        (Tag::SubjectDistance, Value::Short(vec![3])),
    ]);
    assert_eq!(
        (
            absurd.focal_length,
            absurd.captured_at,
            absurd.focus_distance
        ),
        (None, None, None)
    );
}

#[test]
fn sub_seconds_and_offset_belong_to_their_time() {
    let taken = read(&[
        (Tag::DateTimeOriginal, ascii("2026:04:03 10:00:00")),
        (Tag::SubSecTimeOriginal, ascii("016")),
        (Tag::OffsetTimeOriginal, ascii("+02:00")),
        (Tag::DateTime, ascii("2026:05:05 11:11:11")),
        (Tag::SubSecTime, ascii("99")),
    ])
    .captured_at
    .expect("a time");
    assert_eq!(taken.local, datetime!(2026-04-03 10:00:00.016));
    assert_eq!(taken.offset, time::UtcOffset::from_hms(2, 0, 0).ok());
    let changed = read(&[(Tag::DateTime, ascii("2026:05:05 11:11:11"))])
        .captured_at
        .expect("a time");
    assert_eq!(
        (changed.local, changed.offset),
        (datetime!(2026-05-05 11:11:11), None)
    );
}

#[test]
fn xmp_fills_in_what_exif_leaves_open() {
    let packet = r#"<x:xmpmeta><rdf:Description aux:Lens="Ostrel Meridian 50"
        aux:ApproximateFocusDistance="63/100"/></x:xmpmeta>"#;
    let info = |fields: &[(Tag, Value)]| {
        inspect(&jpeg_with(fields, packet), "x.jpg", &limits()).expect("a frame")
    };
    let open = info(&[(Tag::Make, ascii("Tindra"))]);
    assert_eq!(
        open.focus_distance,
        Metres::new(0.63).ok().map(FocusDistance::At)
    );
    assert_eq!(open.lens.as_deref(), Some("Ostrel Meridian 50"));
    let told = info(&[(Tag::SubjectDistance, ratio(15, 4))]);
    assert_eq!(
        told.focus_distance,
        Metres::new(3.75).ok().map(FocusDistance::At)
    );
}
