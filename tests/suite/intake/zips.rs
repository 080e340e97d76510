//! Zip archives: good ones, strange ones, and bombs.

use std::io::{Cursor, Write};

use breathmark::intake::{IntakeError, Limits, for_each_in_zip};
use zip::write::SimpleFileOptions;

use super::limits;

/// A zip of (path, bytes).
pub(super) fn zipped(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (path, bytes) in files {
        zip.start_file(*path, SimpleFileOptions::default())
            .expect("started");
        zip.write_all(bytes).expect("written");
    }
    zip.finish().expect("finished").into_inner()
}

type Unpacked = Vec<(String, Result<Vec<u8>, String>)>;

fn unzipped(zip: &[u8], limits: &Limits) -> (Unpacked, Result<(), IntakeError>) {
    let mut files = Vec::new();
    let done = for_each_in_zip(Cursor::new(zip), limits, &mut |path, bytes| {
        files.push((path, bytes.map_err(|error| error.to_string())));
    });
    (files, done)
}

#[test]
fn zips_give_their_files_in_natural_order_with_folders() {
    let zip = zipped(&[
        ("card/10.jpg", b"ten"),
        ("card/9.jpg", b"nine"),
        ("a/1.jpg", b"one"),
    ]);
    let (files, done) = unzipped(&zip, &limits());
    done.expect("usable");
    let expected: Vec<(String, Result<Vec<u8>, String>)> = vec![
        ("a/1.jpg".to_owned(), Ok(b"one".to_vec())),
        ("card/9.jpg".to_owned(), Ok(b"nine".to_vec())),
        ("card/10.jpg".to_owned(), Ok(b"ten".to_vec())),
    ];
    assert_eq!(files, expected);
}

#[test]
fn what_a_zip_must_not_hold_is_passed_over_with_a_reason() {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let plain = SimpleFileOptions::default();
    for path in [
        "../../climb.jpg",
        "/root.jpg",
        "C:\\x.jpg",
        "inner.zip",
        ".DS_Store",
        "good.jpg",
    ] {
        zip.start_file(path, plain).expect("started");
        zip.write_all(b"bytes").expect("written");
    }
    zip.add_symlink("link.jpg", "/etc/passwd", plain)
        .expect("written");
    let zip = zip.finish().expect("finished").into_inner();
    let (files, done) = unzipped(&zip, &limits());
    done.expect("usable");
    assert_eq!(files.len(), 7);
    for (path, bytes) in files {
        assert_eq!(bytes.is_ok(), path == "good.jpg", "{path}: {bytes:?}");
        assert!(!path.contains("..") && !path.starts_with('/'), "{path}");
    }
}

#[test]
fn zip_bombs_go_off_harmlessly() {
    let zeros = vec![0_u8; 4 << 20];
    let zip = zipped(&[("a.jpg", &zeros)]);
    let (_, done) = unzipped(&zip, &limits());
    assert!(
        matches!(done, Err(IntakeError::Archive(_))),
        "ratio {}: {done:?}",
        zeros.len() / zip.len()
    );
    // A header that claims less than is there.
    let mut liar = zipped(&[("a.jpg", &zeros)]);
    let claimed = (zeros.len() as u32).to_le_bytes();
    for at in 0..liar.len() - 4 {
        if liar[at..at + 4] == claimed {
            liar[at..at + 4].copy_from_slice(&5_u32.to_le_bytes());
        }
    }
    let (files, done) = unzipped(&liar, &limits());
    assert!(
        done.is_err()
            || files
                .iter()
                .all(|(_, bytes)| bytes.as_ref().map_or(true, |b| b.len() <= 5))
    );
    let many: Vec<String> = (0..30).map(|i| format!("{i}.jpg")).collect();
    let many: Vec<(&str, &[u8])> = many.iter().map(|name| (name.as_str(), &b"x"[..])).collect();
    let few = Limits {
        max_archive_entries: 29,
        ..limits()
    };
    let (files, done) = unzipped(&zipped(&many), &few);
    assert!(files.is_empty() && matches!(done, Err(IntakeError::Archive(_))));
}

#[test]
fn broken_and_foreign_zips_are_refused_in_words() {
    let zip = zipped(&[("a.jpg", b"bytes")]);
    assert!(matches!(
        unzipped(b"", &limits()).1,
        Err(IntakeError::Empty)
    ));
    assert!(matches!(
        unzipped(b"not a zip", &limits()).1,
        Err(IntakeError::Archive(_))
    ));
    assert!(matches!(
        unzipped(&zip[..zip.len() - 30], &limits()).1,
        Err(IntakeError::Archive(_))
    ));
    let small = Limits {
        max_archive_bytes: 10,
        ..limits()
    };
    assert!(matches!(
        unzipped(&zip, &small).1,
        Err(IntakeError::TooManyBytes { max_bytes: 10 })
    ));
    // A flipped bit in the stored bytes is caught by the check sum: this file only.
    let mut flipped = zipped(&[("a.jpg", b"aaaaaaaaaaaaaaaaaaaaaaaa"), ("b.jpg", b"whole")]);
    flipped[38] ^= 0x10;
    let (files, done) = unzipped(&flipped, &limits());
    done.expect("usable");
    assert!(files[0].1.is_err(), "{files:?}");
    assert_eq!(files[1].1.as_deref(), Ok(&b"whole"[..]));
}
