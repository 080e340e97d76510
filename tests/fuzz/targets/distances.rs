//! Lists of distances, and names.
#![no_main]

// A list has limits of its own; only the hook is used.
#[allow(dead_code)]
mod limits;

use breathmark::intake::{display_path, distances, skip_reason};

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    limits::let_readers_catch_their_panics();
    let _ = distances::read(bytes);
    let name = String::from_utf8_lossy(bytes);
    let _ = skip_reason(&name);
    if let Ok(path) = display_path(&name) {
        assert!(path.chars().count() <= 255 && !path.chars().any(char::is_control));
        assert_eq!(display_path(&path).ok().as_deref(), Some(&*path));
    }
});
