//! Mangled and arbitrary bytes through every reader: an answer in words or a result, no panic, no hang.

use std::io::Cursor;
use std::sync::LazyLock;

use breathmark::intake::{
    Limits, decode_plane, display_path, distances, for_each_in_zip, inspect, preview_jpeg,
    skip_reason,
};
use breathmark::measure::{Plane, Samples};
use image::{DynamicImage, ImageFormat};
use proptest::prelude::*;

use super::zips::zipped;
use super::{encoded, small};

/// Small enough that a lying header costs nothing.
const TIGHT: Limits = Limits {
    max_megapixels: 1,
    max_side_px: 2048,
    max_file_bytes: 1 << 20,
    max_archive_bytes: 1 << 20,
    max_archive_entries: 50,
    max_archive_ratio: 100,
    max_upload_files: 50,
};

/// One good file of each kind.
static GOOD: LazyLock<Vec<Vec<u8>>> = LazyLock::new(|| {
    let mut script = small(2);
    script.scene = breathmark::simulate::Scene::two_targets(96, 64);
    let baseline = script.jpeg(0).expect("renders");
    script.picture.progressive = true;
    script.picture.orientation = 6;
    let progressive = script.jpeg(1).expect("renders");
    let grey = image::load_from_memory(&baseline)
        .expect("decodes")
        .into_luma16();
    let deep = DynamicImage::ImageLuma16(grey);
    vec![
        baseline.clone(),
        progressive,
        encoded(&deep, ImageFormat::Png),
        encoded(&deep, ImageFormat::Tiff),
        zipped(&[("a/1.jpg", &baseline), ("b.jpg", b"x"), ("c/", b"")]),
        b"file,distance_m\nSWP_0001.JPG,0.45\nSWP_0002.JPG,inf\n\"x, y\",3\n".to_vec(),
    ]
});

/// Every reader on the same bytes.
fn read_all(bytes: &[u8]) {
    let about = inspect(bytes, "a/b.jpg", &TIGHT);
    let plane = decode_plane(bytes, &TIGHT);
    if let Ok(plane) = &plane {
        // Room that another picture leaves behind shows in none.
        let size = plane.width() * plane.height();
        drop(Plane::new(size, 1, Samples::Eight(vec![77; size as usize])));
        assert_eq!(decode_plane(bytes, &TIGHT).as_ref().ok(), Some(plane));
        assert!(about.is_ok(), "what decodes can be inspected");
        assert!(u64::from(plane.width()) * u64::from(plane.height()) <= 1_000_000);
    }
    assert_eq!(preview_jpeg(bytes, 32, &TIGHT).is_ok(), plane.is_ok());
    let mut unpacked = 0;
    let _ = for_each_in_zip(Cursor::new(bytes), &TIGHT, &mut |path, bytes| {
        assert!(
            !path.is_empty() && !path.contains("..") && !path.contains('\0'),
            "{path:?}"
        );
        unpacked += bytes.map_or(0, |bytes| bytes.len());
    });
    assert!(unpacked <= 1 << 20);
    let _ = distances::read(bytes);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn mangled_files_are_answered(
        which in 0..6_usize,
        pokes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..24),
        near_start in prop::collection::vec((0..600_usize, any::<u8>()), 0..8),
        cut in prop::option::weighted(0.3, any::<prop::sample::Index>()),
        doubled in prop::option::weighted(0.2, any::<prop::sample::Index>()),
    ) {
        let mut bytes = GOOD[which].clone();
        for (place, value) in pokes {
            let at = place.index(bytes.len());
            bytes[at] = value;
        }
        for (at, value) in near_start {
            if let Some(byte) = bytes.get_mut(at) {
                *byte = value;
            }
        }
        if let Some(place) = doubled {
            let again = bytes[place.index(bytes.len())..].to_vec();
            bytes.extend(again);
        }
        if let Some(place) = cut {
            bytes.truncate(place.index(bytes.len()));
        }
        read_all(&bytes);
    }

    #[test]
    fn arbitrary_bytes_are_answered(
        magic in prop::sample::select(vec![
            &b""[..], b"\xFF\xD8\xFF", b"\x89PNG\r\n\x1a\n", b"II*\0", b"MM\0*", b"PK\x03\x04", b"file,distance_m\n",
            b"\xFF\xD8\xFF\xE1\x00\x80Exif\0\0II*\0\x08\0\0\0",
        ]),
        rest in prop::collection::vec(any::<u8>(), 0..400),
    ) {
        read_all(&[magic, &rest].concat());
    }

    #[test]
    fn any_name_becomes_a_safe_one(raw in "\\PC{0,300}|.{0,40}|[./\\\\]{0,8}") {
        let _ = skip_reason(&raw);
        if let Ok(path) = display_path(&raw) {
            prop_assert!(path.chars().count() <= 255);
            prop_assert!(!path.chars().any(char::is_control));
            prop_assert!(path.split('/').all(|part| !part.is_empty() && part != ".." && part != "."));
            prop_assert_eq!(display_path(&path).ok(), Some(path.clone()), "stays as it is");
        }
    }
}
