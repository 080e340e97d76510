/// Small enough that a lying header costs little, so that slowness found is real slowness.
pub const TIGHT: breathmark::intake::Limits = breathmark::intake::Limits {
    max_megapixels: 1,
    max_side_px: 2048,
    max_file_bytes: 1 << 20,
    max_archive_bytes: 1 << 20,
    max_archive_entries: 50,
    max_archive_ratio: 100,
    max_upload_files: 50,
};

/// A panic inside a decoder is caught where it belongs; only one that gets out of the reader counts. The fuzzer's own
/// hook would stop at the first of either kind.
pub fn let_readers_catch_their_panics() {
    static ONCE: std::sync::Once = std::sync::Once::new();
    ONCE.call_once(|| std::panic::set_hook(Box::new(|_| {})));
}
