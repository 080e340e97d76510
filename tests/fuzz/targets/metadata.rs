//! EXIF and XMP: the bytes stand where a camera writes them in a JPEG file, so that none is spent on finding the place.
#![no_main]

mod limits;

use breathmark::intake::inspect;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    limits::let_readers_catch_their_panics();
    let Some((&kind, block)) = bytes.split_first() else {
        return;
    };
    let mark: &[u8] = if kind % 4 == 0 {
        b"http://ns.adobe.com/xap/1.0/\0"
    } else {
        b"Exif\0\0"
    };
    let block = &block[..block.len().min(60_000)];
    let length = (2 + mark.len() + block.len()) as u16;
    let mut file = vec![0xFF, 0xD8, 0xFF, 0xE1];
    file.extend(length.to_be_bytes());
    file.extend(mark);
    file.extend(block);
    // A frame header of 8 × 8 px in grey, and a start of scan.
    file.extend([0xFF, 0xC0, 0, 11, 8, 0, 8, 0, 8, 1, 1, 0x11, 0]);
    file.extend([0xFF, 0xDA, 0, 8, 1, 1, 0, 0, 63, 0, 0, 0xFF, 0xD9]);
    let about = inspect(&file, "a.jpg", &limits::TIGHT).expect("an odd block is no reason to refuse a picture");
    for text in [&about.lens, &about.camera].into_iter().flatten() {
        assert!(!text.is_empty() && !text.chars().any(char::is_control));
    }
});
