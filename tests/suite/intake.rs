//! Tests of intake: what comes out of files as cameras, other programs and vandals write them.

use std::io::Cursor;

use breathmark::intake::{IntakeError, Limits, decode_plane, inspect, preview_jpeg};
use breathmark::measure::{Plane, Samples};
use breathmark::simulate::{PrivateData, Scene, Subsampling, SweepScript};
use breathmark::units::{FNumber, FocusDistance, Metres, Millimetres};
use image::{DynamicImage, ImageFormat};

mod camera_files;
mod mangled;
mod zips;

fn limits() -> Limits {
    Limits::default()
}

fn small(frames: usize) -> SweepScript {
    let mut script = SweepScript::plain(85.0, 2.05, frames);
    script.scene = Scene::two_targets(320, 200);
    script
}

fn eight(plane: &Plane) -> &[u8] {
    match plane.samples() {
        Samples::Eight(codes) => codes,
        Samples::Sixteen(_) => panic!("8 bits expected"),
    }
}

fn mean_difference(a: &Plane, b: &Plane) -> f64 {
    assert_eq!((a.width(), a.height()), (b.width(), b.height()));
    let sum: u64 = eight(a)
        .iter()
        .zip(eight(b))
        .map(|(a, b)| u64::from(a.abs_diff(*b)))
        .sum();
    sum as f64 / eight(a).len() as f64
}

#[test]
fn a_simulated_frame_says_all_that_it_was_given() {
    let mut script = small(5);
    script.capture.sub_second_digits = 3;
    script.capture.interval_s = 0.016;
    script.capture.offset = time::UtcOffset::from_hms(2, 0, 0).ok();
    let info = inspect(
        &script.jpeg(1).expect("renders"),
        "DCIM/100/SWP_0002.JPG",
        &limits(),
    )
    .expect("a frame");
    assert_eq!(
        (info.folder.as_str(), info.file.as_str()),
        ("DCIM/100", "SWP_0002.JPG")
    );
    assert_eq!(info.focal_length, Millimetres::new(85.0).ok());
    assert_eq!(info.focal_length_35mm, Millimetres::new(85.0).ok());
    assert_eq!(info.f_number, FNumber::new(5.6).ok());
    assert_eq!(info.lens.as_deref(), Some("Ostrel Meridian 85 mm"));
    assert_eq!(info.camera.as_deref(), Some("Tindra Bench 2"));
    let taken = info.captured_at.expect("a time");
    assert_eq!(
        taken.local,
        time::macros::datetime!(2026-04-03 10:00:00.016)
    );
    assert_eq!(taken.offset.map(time::UtcOffset::whole_minutes), Some(120));
    let metres = info
        .focus_distance
        .and_then(FocusDistance::metres)
        .map(Metres::m);
    assert!((metres.expect("a distance") - 1.0 / script.dioptres(1)).abs() < 1e-5);
    let last = inspect(&script.jpeg(4).expect("renders"), "x.jpg", &limits()).expect("a frame");
    assert_eq!(last.focus_distance, Some(FocusDistance::Infinity));
}

#[test]
fn a_file_without_metadata_is_a_frame_of_which_nothing_is_known() {
    let mut script = small(2);
    script.capture.write_metadata = false;
    let info = inspect(&script.jpeg(0).expect("renders"), "x.jpg", &limits()).expect("a frame");
    assert_eq!(info.captured_at, None);
    assert_eq!(
        (info.lens, info.camera, info.focus_distance),
        (None, None, None)
    );
}

/// The luma of the file is what was rendered, whatever the colour sampling and scan order, to the loss of JPEG at
/// quality 95.
#[test]
fn jpeg_luma_comes_out_whatever_the_sampling() {
    for subsampling in [Subsampling::S444, Subsampling::S422, Subsampling::S420] {
        for progressive in [false, true] {
            let mut script = small(3);
            // Odd sizes: the last block is not full.
            script.scene = Scene::two_targets(321, 203);
            script.picture.subsampling = subsampling;
            script.picture.progressive = progressive;
            script.picture.jpeg_quality = 95;
            let plane =
                decode_plane(&script.jpeg(0).expect("renders"), &limits()).expect("decodes");
            let difference = mean_difference(&plane, &script.plane(0));
            assert!(
                difference < 1.0,
                "{subsampling:?} {progressive}: {difference}"
            );
        }
    }
}

/// Against another JPEG decoder (of the image crate, converting to RGB and back to grey).
#[test]
fn jpeg_luma_agrees_with_a_full_decode() {
    let jpeg = small(3).jpeg(0).expect("renders");
    let plane = decode_plane(&jpeg, &limits()).expect("decodes");
    let full = image::load_from_memory(&jpeg)
        .expect("decodes")
        .into_luma8();
    let other =
        Plane::new(full.width(), full.height(), Samples::Eight(full.into_raw())).expect("whole");
    // Rec. 709 grey of a nearly neutral picture, rounded twice.
    assert!(mean_difference(&plane, &other) < 1.5);
}

#[test]
fn every_orientation_comes_out_upright() {
    let mut script = small(3);
    let upright = script.plane(0);
    for orientation in 1..=8 {
        script.picture.orientation = orientation;
        let plane = decode_plane(&script.jpeg(0).expect("renders"), &limits()).expect("decodes");
        assert!(mean_difference(&plane, &upright) < 2.0, "{orientation}");
    }
}

fn encoded(picture: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, format).expect("encodes");
    bytes.into_inner()
}

#[test]
fn png_and_tiff_come_out_to_the_code() {
    let plane = small(2).plane(0);
    let (width, height) = (plane.width(), plane.height());
    let grey = image::GrayImage::from_raw(width, height, eight(&plane).to_vec()).expect("whole");
    let sixteen: Vec<u16> = eight(&plane)
        .iter()
        .enumerate()
        .map(|(i, c)| u16::from(*c) * 256 + i as u16 % 256)
        .collect();
    let deep = image::ImageBuffer::from_raw(width, height, sixteen.clone()).expect("whole");
    let flat = DynamicImage::ImageLuma8(grey);
    let deep = DynamicImage::ImageLuma16(deep);
    for format in [ImageFormat::Png, ImageFormat::Tiff] {
        for same in [flat.clone(), flat.to_rgb8().into(), flat.to_rgba8().into()] {
            let bytes = encoded(&same, format);
            assert!(inspect(&bytes, "x", &limits()).is_ok());
            assert_eq!(
                decode_plane(&bytes, &limits()).expect("decodes"),
                plane,
                "{format:?}"
            );
        }
        for same in [
            deep.clone(),
            deep.to_rgb16().into(),
            deep.to_rgba16().into(),
        ] {
            let decoded = decode_plane(&encoded(&same, format), &limits()).expect("decodes");
            assert_eq!(
                decoded.samples(),
                &Samples::Sixteen(sixteen.clone()),
                "{format:?}"
            );
        }
    }
}

#[test]
fn a_picture_that_breaks_off_is_never_half_a_plane() {
    for progressive in [false, true] {
        let mut script = small(2);
        script.picture.progressive = progressive;
        let jpeg = script.jpeg(0).expect("renders");
        for share in [0.2, 0.5, 0.9, 0.99] {
            let cut = &jpeg[..(jpeg.len() as f64 * share) as usize];
            let refused = decode_plane(cut, &limits());
            assert!(
                matches!(refused, Err(IntakeError::Damaged(_))),
                "{share}: {refused:?}"
            );
        }
        assert!(decode_plane(&jpeg[..jpeg.len() - 2], &limits()).is_err());
    }
    let png = encoded(&image::GrayImage::new(64, 64).into(), ImageFormat::Png);
    assert!(matches!(
        decode_plane(&png[..png.len() / 2], &limits()),
        Err(IntakeError::Damaged(_))
    ));
}

/// Programs that rewrite metadata leave noughts behind a segment; fill bytes are allowed there. Neither changes a pixel. Other
/// bytes there are damage.
#[test]
fn padding_between_header_segments_is_passed_over() {
    let bytes = small(2).jpeg(0).expect("renders");
    let plain = decode_plane(&bytes, &limits()).expect("a picture");
    let padded = |padding: &[u8]| {
        let (mut padded, mut at) = (bytes[..2].to_vec(), 2);
        while bytes[at + 1] != 0xDA {
            let end = at + 2 + usize::from(u16::from_be_bytes([bytes[at + 2], bytes[at + 3]]));
            padded.extend(&bytes[at..end]);
            padded.extend(padding);
            at = end;
        }
        [&padded, &bytes[at..]].concat()
    };
    for padding in [&[0, 0][..], &[0xFF, 0xFF], &[0, 0xFF]] {
        let padded = padded(padding);
        assert_eq!(decode_plane(&padded, &limits()).ok(), Some(plain.clone()));
        let of = |bytes: &[u8]| inspect(bytes, "SWP_0001.JPG", &limits()).expect("a frame");
        assert_eq!(of(&padded), of(&bytes));
    }
    let damaged = decode_plane(&padded(b"xxxxxxxx"), &limits()).expect_err("damage");
    assert!(damaged.to_string().contains("card again"), "{damaged}");
}

#[test]
fn limits_hold_before_a_pixel_is_decoded() {
    let jpeg = small(2).jpeg(0).expect("renders");
    let narrow = Limits {
        max_side_px: 300,
        ..limits()
    };
    let refused = decode_plane(&jpeg, &narrow);
    assert!(
        matches!(
            refused,
            Err(IntakeError::TooLarge {
                width: 320,
                height: 200,
                ..
            })
        ),
        "{refused:?}"
    );
    assert!(matches!(
        inspect(&jpeg, "x", &narrow),
        Err(IntakeError::TooLarge { .. })
    ));
}

#[test]
fn previews_are_small_and_say_nothing_of_the_owner() {
    let mut script = small(2);
    script.picture.orientation = 6;
    script.capture.private = Some(PrivateData {
        owner: "Maren Quay".to_owned(),
        serial: "SN-4711-0815".to_owned(),
        latitude_deg: 54.3233,
        longitude_deg: -10.1228,
    });
    let jpeg = script.jpeg(0).expect("renders");
    let holds =
        |bytes: &[u8], words: &str| bytes.windows(words.len()).any(|w| w == words.as_bytes());
    assert!(holds(&jpeg, "Maren Quay") && holds(&jpeg, "SN-4711-0815"));
    let preview = preview_jpeg(&jpeg, 160, &limits()).expect("made");
    assert!(!holds(&preview, "Maren") && !holds(&preview, "SN-4711") && !holds(&preview, "Exif"));
    let picture = image::load_from_memory(&preview).expect("a JPEG");
    assert_eq!((picture.width(), picture.height()), (160, 100), "upright");
}
