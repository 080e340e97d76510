//! Names from outside: what may be shown, and what is passed over by its name.

use std::fmt::Write as _;

use sha2::{Digest, Sha256};

use super::IntakeError;

/// Longest display name, characters.
const LONGEST: usize = 255;

/// Characters kept from the start and from the end of a name that is too long; between them stands a mark that keeps
/// different names different.
const KEPT_START: usize = 180;
const KEPT_END: usize = 60;

/// Whether a character may be shown: no control, bidirectional, zero-width or private-use character.
pub(super) fn is_showable(c: char) -> bool {
    !c.is_control()
        && !matches!(c,
            '\u{061C}' | '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2060}'..='\u{206F}'
            | '\u{FEFF}' | '\u{FFF9}'..='\u{FFFB}' | '\u{E000}'..='\u{F8FF}' | '\u{F0000}'..='\u{10FFFF}')
}

/// A path from outside as a display name: `/` between parts, no `..`, no control or bidi characters, at most 255 characters.
/// A longer one keeps its start and its end, with eight digits of its hash between them.
///
/// # Errors
/// `Name` when nothing usable is left.
pub fn display_path(raw: &str) -> Result<String, IntakeError> {
    let parts: Vec<String> = raw
        .split(['/', '\\'])
        .map(|part| part.chars().filter(|c| is_showable(*c)).collect::<String>())
        .map(|part| part.trim().to_owned())
        .filter(|part| !part.is_empty() && part != "." && part != "..")
        .collect();
    let path = parts.join("/");
    let length = path.chars().count();
    if length == 0 {
        return Err(IntakeError::Name(
            "give the file a name with letters or digits".to_owned(),
        ));
    }
    if length <= LONGEST {
        return Ok(path);
    }
    let mut short: String = path.chars().take(KEPT_START).collect();
    short.push('~');
    for byte in &Sha256::digest(path.as_bytes())[..4] {
        // Writing to a string can't fail.
        let _ = write!(short, "{byte:02x}");
    }
    short.push('~');
    short.extend(path.chars().skip(length - KEPT_END));
    Ok(short)
}

/// Why a file of a card is passed over without being opened (`.DS_Store`, `._x.jpg`, `Thumbs.db`, a film, a raw file …);
/// `None` for a possible frame or archive.
#[must_use]
pub fn skip_reason(path: &str) -> Option<&'static str> {
    let parts: Vec<&str> = path
        .split(['/', '\\'])
        .filter(|part| !part.is_empty())
        .collect();
    let name = parts.last().copied().unwrap_or_default();
    if parts.contains(&"__MACOSX") || name.starts_with('.') {
        return Some("a hidden file of the computer, not of the camera");
    }
    let lower = name.to_ascii_lowercase();
    if matches!(lower.as_str(), "thumbs.db" | "desktop.ini" | "ehthumbs.db") {
        return Some("a file of the computer, not of the camera");
    }
    let (_, extension) = lower.rsplit_once('.')?;
    match extension {
        "mp4" | "mov" | "avi" | "mts" | "m2ts" | "mxf" | "mkv" | "wav" | "mp3" | "braw" | "r3d" => {
            Some("a film or sound file; frames have to be pictures")
        }
        "cr2" | "cr3" | "crw" | "nef" | "nrw" | "arw" | "sr2" | "raf" | "orf" | "rw2" | "pef"
        | "srw" | "dng" | "3fr" | "iiq" | "x3f" | "raw" => {
            Some("a raw file; send the camera's JPEG files")
        }
        "heic" | "heif" | "hif" | "avif" | "webp" | "gif" | "bmp" | "psd" | "jxl" => {
            Some("a picture format that is not read; send JPEG, PNG or TIFF")
        }
        "xmp" | "thm" | "lrv" | "xml" | "ctg" | "dat" | "bin" | "ind" | "inp" | "cpi" | "mpl"
        | "bdm" | "bup" | "txt" | "json" | "csv" | "pdf" | "html" | "md" | "log" | "ini" | "db" => {
            Some("a side file, not a picture")
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(raw: &str) -> String {
        display_path(raw).expect("usable")
    }

    #[test]
    fn paths_become_display_names() {
        assert_eq!(shown("../../x"), "x");
        assert_eq!(
            shown("/DCIM\\100ABCDE//SWP_0001.JPG"),
            "DCIM/100ABCDE/SWP_0001.JPG"
        );
        assert_eq!(shown("a\0b\n\u{202e}gpj.exe"), "abgpj.exe");
        assert_eq!(shown("./é ñ.jpg "), "é ñ.jpg");
        for nothing in ["", "/", "..", "\0", " /./ \u{200B}"] {
            assert!(
                matches!(display_path(nothing), Err(IntakeError::Name(_))),
                "{nothing:?}"
            );
        }
    }

    #[test]
    fn long_names_stay_apart_and_short() {
        let (one, other) = ("x".repeat(5000) + ".jpg", "x".repeat(5001) + ".jpg");
        for long in [&one, &other] {
            assert!(shown(long).chars().count() <= LONGEST);
            assert!(shown(long).ends_with(".jpg"));
        }
        assert_ne!(shown(&one), shown(&other));
        assert_eq!(shown(&shown(&one)), shown(&one));
    }

    #[test]
    fn what_is_no_frame_is_passed_over_by_name() {
        for passed in [
            ".DS_Store",
            "a/._SWP_0001.JPG",
            "__MACOSX/a.jpg",
            "Thumbs.db",
            "CLIP.MP4",
            "a.CR3",
            "a.heic",
            "a.xmp",
            "truth.json",
        ] {
            assert!(skip_reason(passed).is_some(), "{passed}");
        }
        for taken in [
            "SWP_0001.JPG",
            "a/b.jpeg",
            "x.png",
            "x.TIF",
            "card.zip",
            "no_extension",
            "a.b/c",
        ] {
            assert_eq!(skip_reason(taken), None, "{taken}");
        }
    }
}
