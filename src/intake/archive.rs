//! Zip archives: their files one by one, with real bytes counted.

use std::io::{self, Read, Seek, SeekFrom};

use zip::ZipArchive;
use zip::result::ZipError;

use super::decode::guarded;
use super::{IntakeError, Limits, display_path, skip_reason};

/// What a zip archive begins with (APPNOTE 6.3, 4.3.7 and, for an empty one, 4.3.16).
const SIGNATURES: [&[u8]; 2] = [b"PK\x03\x04", END_RECORD];

/// Start of the record at the end of an archive that counts its entries (APPNOTE 6.3, 4.3.16).
const END_RECORD: &[u8; 4] = b"PK\x05\x06";

/// The record is this long at least, and its comment at most 65535 bytes.
const END_RECORD_BYTES: u64 = 22;

/// Whether a file that begins like this is a zip archive.
#[must_use]
pub fn is_zip(head: &[u8]) -> bool {
    SIGNATURES
        .iter()
        .any(|signature| head.starts_with(signature))
}

/// Hands out the files of a zip archive in natural order of their paths, each with its display path and bytes; entries that are passed over
/// or broken come with the reason instead. Counts real bytes against the limits, whatever the headers claim.
///
/// # Errors
/// `Archive` when the archive as a whole can't be used: not a zip, too many entries, too many bytes, a bomb, encrypted.
/// The files handed out before a bomb went off stay good.
pub fn for_each_in_zip(
    mut archive: impl Read + Seek,
    limits: &Limits,
    each: &mut dyn FnMut(String, Result<Vec<u8>, IntakeError>),
) -> Result<(), IntakeError> {
    let packed_bytes = archive.seek(SeekFrom::End(0))?;
    let (mut archive, entries) = guarded(|| open(archive, packed_bytes, limits))?;
    let most = packed_bytes
        .saturating_mul(u64::from(limits.max_archive_ratio))
        .min(limits.max_archive_bytes);
    let mut unpacked = 0_u64;
    for entry in entries {
        let path = match display_path(&entry.name) {
            Ok(path) => path,
            Err(error) => {
                each(format!("entry {}", entry.index + 1), Err(error));
                continue;
            }
        };
        if let Some(reason) = passed_over(&entry) {
            each(path, Err(IntakeError::PassedOver(reason)));
            continue;
        }
        let room = limits.max_file_bytes.min(most - unpacked);
        let mut count = 0;
        let bytes = guarded(|| unpack(&mut archive, entry.index, room, &mut count));
        unpacked += count;
        if unpacked >= most {
            return Err(IntakeError::Archive(format!(
                "it unpacks to more than {most} bytes, or more than {} times its size; send the frames as they are",
                limits.max_archive_ratio
            )));
        }
        each(path, bytes);
    }
    Ok(())
}

/// A file of an archive before it is unpacked.
struct Entry {
    name: String,
    index: usize,
    is_symlink: bool,
}

/// Opens an archive and lists its files in natural order.
fn open<R: Read + Seek>(
    mut archive: R,
    packed_bytes: u64,
    limits: &Limits,
) -> Result<(ZipArchive<R>, Vec<Entry>), IntakeError> {
    if packed_bytes == 0 {
        return Err(IntakeError::Empty);
    }
    if packed_bytes > limits.max_archive_bytes {
        return Err(IntakeError::TooManyBytes {
            max_bytes: limits.max_archive_bytes,
        });
    }
    let most = limits.max_archive_entries;
    let too_many = || {
        IntakeError::Archive(format!(
            "it has more than {most} entries; send smaller archives"
        ))
    };
    // Before the list of entries is read into memory.
    if claimed_entries(&mut archive, packed_bytes)? > most {
        return Err(too_many());
    }
    let mut archive = ZipArchive::new(archive).map_err(whole)?;
    if archive.len() > most as usize {
        return Err(too_many());
    }
    let mut entries = Vec::with_capacity(archive.len());
    for index in 0..archive.len() {
        let entry = archive.by_index_raw(index).map_err(whole)?;
        if entry.encrypted() {
            return Err(IntakeError::Archive(
                "it is encrypted; pack it again without a password".to_owned(),
            ));
        }
        if entry.is_dir() {
            continue;
        }
        let raw = String::from_utf8_lossy(entry.name_raw()).into_owned();
        entries.push(Entry {
            name: entry.name().map_or(raw, |name| name.into_owned()),
            index,
            is_symlink: entry.is_symlink(),
        });
    }
    entries.sort_by(|a, b| natord::compare(&a.name, &b.name).then_with(|| a.name.cmp(&b.name)));
    Ok((archive, entries))
}

/// The largest number of entries that an end record in the last 64 KiB claims. 65535 stands for "more" in it.
fn claimed_entries(archive: &mut (impl Read + Seek), packed_bytes: u64) -> io::Result<u32> {
    let tail = packed_bytes.min(END_RECORD_BYTES + u64::from(u16::MAX));
    archive.seek(SeekFrom::End(-(tail as i64)))?;
    let mut bytes = Vec::with_capacity(tail as usize);
    archive.by_ref().take(tail).read_to_end(&mut bytes)?;
    archive.seek(SeekFrom::Start(0))?;
    let counts = bytes.windows(12).filter(|w| w.starts_with(END_RECORD));
    Ok(counts
        .map(|w| u32::from(u16::from_le_bytes([w[10], w[11]])))
        .max()
        .unwrap_or(0))
}

/// Why an entry is not unpacked.
fn passed_over(entry: &Entry) -> Option<&'static str> {
    let name = &entry.name;
    if entry.is_symlink {
        return Some("a link; pack the file itself");
    }
    let climbs = name.split(['/', '\\']).any(|part| part == "..");
    if climbs || name.starts_with(['/', '\\']) || name.as_bytes().get(1) == Some(&b':') {
        return Some("its path leads out of the archive; pack the folder itself");
    }
    if name.to_ascii_lowercase().ends_with(".zip") {
        return Some("an archive inside the archive; unpack it first");
    }
    skip_reason(name)
}

/// The bytes of an entry, at most `most` of them; `count` learns how many were really unpacked.
fn unpack<R: Read + Seek>(
    archive: &mut ZipArchive<R>,
    index: usize,
    most: u64,
    count: &mut u64,
) -> Result<Vec<u8>, IntakeError> {
    let broken = |why: String| IntakeError::Damaged(why);
    let entry = archive
        .by_index(index)
        .map_err(|error| broken(error.to_string()))?;
    let mut bytes = Vec::new();
    let read = entry.take(most.saturating_add(1)).read_to_end(&mut bytes);
    *count = bytes.len() as u64;
    if *count > most {
        return Err(IntakeError::TooManyBytes { max_bytes: most });
    }
    read.map_err(|error| broken(error.to_string()))?;
    if bytes.is_empty() {
        return Err(IntakeError::Empty);
    }
    Ok(bytes)
}

/// An error about the archive as a whole.
fn whole(error: ZipError) -> IntakeError {
    match error {
        ZipError::Io(error) if error.kind() != io::ErrorKind::UnexpectedEof => error.into(),
        other => IntakeError::Archive(format!("{other}; pack it again")),
    }
}
