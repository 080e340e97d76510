//! What is taken from outside at most.

/// Limits on bytes from outside; each is a setting with this default.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Most pixels of a picture, millions.
    pub max_megapixels: u32,
    /// Longest side of a picture, px.
    pub max_side_px: u32,
    /// Most bytes of one file.
    pub max_file_bytes: u64,
    /// Most bytes of one zip archive.
    pub max_archive_bytes: u64,
    /// Most entries of one zip archive.
    pub max_archive_entries: u32,
    /// Most bytes that one packed byte may become.
    pub max_archive_ratio: u32,
    /// Most files of one upload.
    pub max_upload_files: u32,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            max_megapixels: 80,
            max_side_px: 16_384,
            max_file_bytes: 64 << 20,
            max_archive_bytes: 2 << 30,
            max_archive_entries: 2_000,
            max_archive_ratio: 100,
            max_upload_files: 4_000,
        }
    }
}
