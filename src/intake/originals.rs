//! Originals: the files as they came, kept under the hash of their bytes and never changed.

use std::collections::HashSet;
use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use sha2::{Digest, Sha256};

use super::IntakeError;

/// Bytes read at a time.
const CHUNK: usize = 256 << 10;

/// The folder of originals inside a data folder. One process owns it.
#[derive(Debug, Clone)]
pub struct Originals {
    folder: PathBuf,
    tmp: PathBuf,
    /// Folders whose entry in their parent is known to be on disk.
    durable: Arc<Mutex<HashSet<PathBuf>>>,
}

/// An original that is safely on disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredOriginal {
    /// SHA-256 of the bytes, 64 lower-case hex digits.
    pub sha256: String,
    /// How many bytes.
    pub bytes: u64,
}

impl Originals {
    /// Opens `originals/` and `tmp/` in a data folder, making them and sweeping left-overs out of `tmp/`.
    ///
    /// # Errors
    /// `Io` when a folder can't be made, listed or swept.
    pub fn open(data: &Path) -> Result<Self, IntakeError> {
        let (folder, tmp) = (data.join("originals"), data.join("tmp"));
        fs::create_dir_all(&folder)?;
        fs::create_dir_all(&tmp)?;
        for left_over in fs::read_dir(&tmp)? {
            let left_over = left_over?;
            if left_over.file_type()?.is_dir() {
                fs::remove_dir_all(left_over.path())?;
            } else {
                fs::remove_file(left_over.path())?;
            }
        }
        sync_folder(data)?;
        Ok(Self::at(data))
    }

    /// The originals of a data folder that another process may own: nothing is made and nothing swept.
    #[must_use]
    pub fn at(data: &Path) -> Self {
        Self {
            folder: data.join("originals"),
            tmp: data.join("tmp"),
            durable: Arc::default(),
        }
    }

    /// Keeps the bytes: written to `tmp/`, hashed, fsynced, renamed to `originals/ab/cd/<sha256>`, the folders fsynced.
    /// The same bytes again change nothing, unless the file on disk is damaged: then it is mended. When it fails, nothing
    /// is left in `tmp/`.
    ///
    /// # Errors
    /// `Empty` for none, `TooManyBytes` for more than `max_bytes`, `Io` when they can't be read or written.
    pub fn keep(
        &self,
        bytes: &mut dyn Read,
        max_bytes: u64,
    ) -> Result<StoredOriginal, IntakeError> {
        // Deletes itself unless it is renamed.
        let mut file = tempfile::Builder::new()
            .prefix("original-")
            .tempfile_in(&self.tmp)?;
        let (mut hasher, mut count) = (Sha256::new(), 0_u64);
        let mut chunk = vec![0_u8; CHUNK];
        loop {
            let read = match bytes.read(&mut chunk) {
                Ok(0) => break,
                Ok(read) => read,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
                Err(error) => return Err(error.into()),
            };
            count += read as u64;
            if count > max_bytes {
                return Err(IntakeError::TooManyBytes { max_bytes });
            }
            hasher.update(&chunk[..read]);
            file.write_all(&chunk[..read])?;
        }
        if count == 0 {
            return Err(IntakeError::Empty);
        }
        let stored = StoredOriginal {
            sha256: hex::encode(hasher.finalize()),
            bytes: count,
        };
        let folder = self.folder_of(&stored.sha256);
        if self.read(&stored.sha256).is_err() {
            file.as_file().sync_all()?;
            self.make_durable(&folder)?;
            file.persist(folder.join(&stored.sha256))
                .map_err(|error| error.error)?;
        }
        // Also for bytes that were there already: whoever brought them may not have come this far.
        self.make_durable(&folder)?;
        sync_folder(&folder)?;
        Ok(stored)
    }

    /// The bytes of an original, checked against its hash.
    ///
    /// # Errors
    /// `Io` when it is not there or can't be read, `Damaged` when its bytes are no longer those that were kept.
    pub fn read(&self, sha256: &str) -> Result<Vec<u8>, IntakeError> {
        if !is_sha256(sha256) {
            let unusable = io::Error::new(
                io::ErrorKind::InvalidInput,
                "that is no SHA-256 in hex digits",
            );
            return Err(unusable.into());
        }
        let bytes = fs::read(self.path(sha256))?;
        if hex::encode(Sha256::digest(&bytes)) != sha256 {
            return Err(IntakeError::Damaged(
                "the stored bytes no longer match their hash".to_owned(),
            ));
        }
        Ok(bytes)
    }

    /// Whether all of them are away, and not one: their folder can't be listed, or is empty as where a disk was mounted, or
    /// nothing can be written beside it. Asked only after an original could not be read, so that there should be some.
    #[must_use]
    pub fn are_away(&self) -> bool {
        let is_written = || -> io::Result<()> {
            let mut file = tempfile::tempfile_in(&self.tmp)?;
            file.write_all(b"?")?;
            file.sync_all()
        };
        let has_some =
            fs::read_dir(&self.folder).is_ok_and(|mut inside| inside.any(|one| one.is_ok()));
        !has_some || is_written().is_err()
    }

    /// Where an original lies.
    #[must_use]
    pub fn path(&self, sha256: &str) -> PathBuf {
        self.folder_of(sha256).join(sha256)
    }

    /// The folder of originals.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Where unfinished files lie.
    #[must_use]
    pub fn tmp(&self) -> &Path {
        &self.tmp
    }

    fn folder_of(&self, sha256: &str) -> PathBuf {
        let part = |range| sha256.get(range).unwrap_or("--");
        self.folder.join(part(0..2)).join(part(2..4))
    }

    /// Makes a folder two levels down so that it outlives a power cut. Those who come second wait for the first.
    fn make_durable(&self, folder: &Path) -> io::Result<()> {
        let mut durable = self.durable.lock().unwrap_or_else(PoisonError::into_inner);
        if durable.contains(folder) {
            return Ok(());
        }
        fs::create_dir_all(folder)?;
        for parent in folder.ancestors().skip(1).take(2) {
            sync_folder(parent)?;
        }
        durable.insert(folder.to_owned());
        Ok(())
    }
}

/// Whether a text is a SHA-256 as originals are named by it: 64 lower-case hex digits.
#[must_use]
pub fn is_sha256(text: &str) -> bool {
    text.len() == 64
        && text
            .bytes()
            .all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'))
}

/// Puts a folder's entries on disk.
///
/// # Errors
/// What the system says where the folder can't be opened or written.
pub fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Scratch {
        _data: tempfile::TempDir,
        originals: Originals,
    }

    fn scratch() -> Scratch {
        let data = tempfile::tempdir().expect("a folder");
        let originals = Originals::open(data.path()).expect("opens");
        Scratch {
            _data: data,
            originals,
        }
    }

    fn in_tmp(originals: &Originals) -> usize {
        fs::read_dir(originals.tmp()).expect("listed").count()
    }

    #[test]
    fn bytes_come_back_as_they_went() {
        let s = scratch();
        let kept = s.originals.keep(&mut &b"abc"[..], 10).expect("kept");
        // FIPS 180-4, appendix example "abc".
        assert_eq!(
            kept.sha256,
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
        assert_eq!(kept.bytes, 3);
        assert_eq!(s.originals.read(&kept.sha256).expect("read"), b"abc");
        assert!(
            s.originals
                .path(&kept.sha256)
                .ends_with(format!("originals/ba/78/{}", kept.sha256))
        );
        assert_eq!(
            s.originals.keep(&mut &b"abc"[..], 10).expect("kept again"),
            kept
        );
        assert_eq!(in_tmp(&s.originals), 0);
    }

    #[test]
    fn nothing_too_much_and_broken_streams_leave_nothing_behind() {
        struct Breaks;
        impl Read for Breaks {
            fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
                Err(io::Error::other("the line broke"))
            }
        }
        let s = scratch();
        assert!(matches!(
            s.originals.keep(&mut io::empty(), 10),
            Err(IntakeError::Empty)
        ));
        let too_many = s.originals.keep(&mut &b"abcd"[..], 3);
        assert!(matches!(
            too_many,
            Err(IntakeError::TooManyBytes { max_bytes: 3 })
        ));
        let broken = s.originals.keep(&mut (&b"abc"[..]).chain(Breaks), 10);
        assert!(matches!(broken, Err(IntakeError::Io(_))));
        assert_eq!(in_tmp(&s.originals), 0);
        assert_eq!(
            fs::read_dir(s.originals.folder()).expect("listed").count(),
            0
        );
    }

    #[test]
    fn a_flipped_bit_is_named_and_mended_by_the_same_bytes() {
        let s = scratch();
        let kept = s.originals.keep(&mut &b"abc"[..], 10).expect("kept");
        fs::write(s.originals.path(&kept.sha256), b"abd").expect("written");
        assert!(matches!(
            s.originals.read(&kept.sha256),
            Err(IntakeError::Damaged(_))
        ));
        s.originals.keep(&mut &b"abc"[..], 10).expect("kept again");
        assert_eq!(s.originals.read(&kept.sha256).expect("read"), b"abc");
    }

    #[test]
    fn left_overs_are_swept_and_originals_stay() {
        let data = tempfile::tempdir().expect("a folder");
        let originals = Originals::open(data.path()).expect("opens");
        let kept = originals.keep(&mut &b"abc"[..], 10).expect("kept");
        fs::write(originals.tmp().join("half"), b"ab").expect("written");
        let again = Originals::open(data.path()).expect("opens again");
        assert_eq!(in_tmp(&again), 0);
        assert_eq!(again.read(&kept.sha256).expect("read"), b"abc");
    }

    #[test]
    fn a_name_that_is_no_hash_reaches_no_file() {
        let s = scratch();
        for name in [
            "",
            "é",
            "../../etc/passwd",
            &"A".repeat(64),
            &"é".repeat(32),
        ] {
            assert!(
                matches!(s.originals.read(name), Err(IntakeError::Io(_))),
                "{name}"
            );
        }
    }

    /// A file where a folder has to be stands for a disk that refuses: root may write through permissions.
    #[test]
    fn a_disk_that_refuses_gives_an_error_and_leaves_nothing() {
        let s = scratch();
        let in_the_way = s.originals.folder().join("ba");
        fs::write(&in_the_way, b"").expect("written");
        assert!(matches!(
            s.originals.keep(&mut &b"abc"[..], 10),
            Err(IntakeError::Io(_))
        ));
        assert_eq!(in_tmp(&s.originals), 0);
        fs::remove_file(&in_the_way).expect("removed");
        let kept = s
            .originals
            .keep(&mut &b"abc"[..], 10)
            .expect("kept when there is room again");
        assert_eq!(s.originals.read(&kept.sha256).expect("read"), b"abc");
    }

    #[test]
    fn many_keep_at_once() {
        let s = scratch();
        std::thread::scope(|scope| {
            for thread in 0..8_u8 {
                let originals = &s.originals;
                scope.spawn(move || {
                    for i in 0..8_u8 {
                        // Half of them the same bytes in every thread.
                        let bytes = if i % 2 == 0 {
                            vec![i; 100]
                        } else {
                            vec![i, thread]
                        };
                        let kept = originals.keep(&mut &bytes[..], 1000).expect("kept");
                        assert_eq!(originals.read(&kept.sha256).expect("read"), bytes);
                    }
                });
            }
        });
        assert_eq!(in_tmp(&s.originals), 0);
    }
}
