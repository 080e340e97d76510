//! JPEG, PNG, TIFF and their EXIF and XMP: inspecting, decoding, previews.
#![no_main]

mod limits;

use breathmark::intake::{decode_plane, inspect, preview_jpeg};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    limits::let_readers_catch_their_panics();
    let about = inspect(bytes, "a/b.jpg", &limits::TIGHT);
    let plane = decode_plane(bytes, &limits::TIGHT);
    if let Ok(plane) = &plane {
        assert!(about.is_ok(), "what decodes can be inspected");
        assert!(u64::from(plane.width()) * u64::from(plane.height()) <= 1_000_000);
        assert!(preview_jpeg(bytes, 32, &limits::TIGHT).is_ok());
    }
});
