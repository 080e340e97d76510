//! Style sheets, scripts and pictures of the pages, embedded in the program; the content's hash is in the address, so
//! that browsers may keep them for ever.

use rust_embed::{EmbeddedFile, RustEmbed};

#[derive(RustEmbed)]
#[folder = "$CARGO_MANIFEST_DIR/static/"]
struct Static;

/// The address of a file in `static/`, e.g. `app.css`, with the hash of its content.
#[must_use]
pub fn url(name: &str) -> String {
    match Static::get(name) {
        Some(file) => format!("/static/{name}?v={}", version(&file)),
        None => format!("/static/{name}"),
    }
}

/// The file, with its media type and its version.
pub(super) fn find(name: &str) -> Option<(EmbeddedFile, &'static str, String)> {
    let file = Static::get(name)?;
    let extension = name.rsplit_once('.').map_or("", |(_, extension)| extension);
    let kind = match extension {
        "css" => "text/css; charset=utf-8",
        "js" => "text/javascript; charset=utf-8",
        "svg" => "image/svg+xml",
        "png" => "image/png",
        "ico" => "image/x-icon",
        "woff2" => "font/woff2",
        "txt" => "text/plain; charset=utf-8",
        _ => "application/octet-stream",
    };
    let version = version(&file);
    Some((file, kind, version))
}

/// The first 8 bytes of the content's SHA-256, in hex.
fn version(file: &EmbeddedFile) -> String {
    hex::encode(&file.metadata.sha256_hash()[..8])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unknown_files_and_paths_outside_are_not_found() {
        for path in ["nowhere.css", "../Cargo.toml", "/etc/passwd", ""] {
            assert!(find(path).is_none(), "{path}");
        }
    }
}
