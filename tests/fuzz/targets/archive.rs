//! Zip archives.
#![no_main]

mod limits;

use std::io::Cursor;

use breathmark::intake::for_each_in_zip;

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    limits::let_readers_catch_their_panics();
    let mut unpacked = 0;
    let _ = for_each_in_zip(Cursor::new(bytes), &limits::TIGHT, &mut |path, bytes| {
        assert!(!path.is_empty() && !path.split('/').any(|part| part == ".."));
        unpacked += bytes.map_or(0, |bytes| bytes.len());
    });
    assert!(unpacked <= 1 << 20);
});
