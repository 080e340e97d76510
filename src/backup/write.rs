//! Making a backup while a server may be running.

use std::fs::File;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

use super::{BackupError, CHUNK, DATABASE, MANIFEST, Manifest, damaged, expected_hash, manifest};
use crate::intake::{Originals, sync_folder};
use crate::store::Store;

/// Writes a backup of a data folder to `file` and reads it back; only then it gets its name. A server may go on writing:
/// the backup is one state of the database, and originals never change. `step` hears how many of how many are done.
///
/// # Errors
/// `Exists` when there is such a file, `Harm` when database or originals are damaged, `Damaged` when what was written
/// does not read back, `Store` and `File` when something can't be read or written. Nothing is left behind then.
pub async fn write(
    store: &Store,
    originals: &Originals,
    file: &Path,
    now_ms: i64,
    step: impl FnMut(usize, usize) + Send + 'static,
) -> Result<Manifest, BackupError> {
    if file.exists() {
        return Err(BackupError::Exists(file.to_owned()));
    }
    let parent = match file.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
        _ => PathBuf::from("."),
    };
    let scratch = tempfile::Builder::new()
        .prefix(".breathmark-backup-")
        .tempdir_in(&parent)
        .map_err(BackupError::file(&parent))?;
    let database = scratch.path().join(DATABASE);
    store.copy_to(&database).await?;
    // What is kept is what the copy says, not what the running database says by now.
    let copy = Store::open_as_it_is(&database).await?;
    let harm = copy.integrity_check().await?;
    let known = copy.originals().await?;
    copy.close().await;
    if let Some(harm) = harm.first() {
        return Err(BackupError::Harm(format!(
            "the database is damaged ({harm})"
        )));
    }
    let packing = Packing {
        originals: originals.clone(),
        hashes: known.into_iter().map(|(sha256, _)| sha256).collect(),
        packed: scratch.path().join("backup.zip"),
        database,
        now_ms,
    };
    let to = file.to_owned();
    tokio::task::spawn_blocking(move || {
        let manifest = packing.pack(step)?;
        read_back(&packing.packed, &manifest)?;
        name_it(&packing.packed, &to).map_err(BackupError::file(&to))?;
        sync_folder(&parent).map_err(BackupError::file(&parent))?;
        drop(scratch);
        Ok(manifest)
    })
    .await
    .map_err(|fault| BackupError::Harm(fault.to_string()))?
}

/// Gives a file its name, unless something has that name by now. Disks of cameras and sticks (FAT, exFAT) know no hard links,
/// and some network disks no rename that replaces nothing, so that one of both has to do.
fn name_it(file: &Path, name: &Path) -> std::io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    use rustix::io::Errno;
    match renameat_with(CWD, file, CWD, name, RenameFlags::NOREPLACE) {
        Err(Errno::INVAL | Errno::NOSYS | Errno::OPNOTSUPP) => std::fs::hard_link(file, name),
        renamed => Ok(renamed?),
    }
}

/// What goes into a backup.
struct Packing {
    originals: Originals,
    hashes: Vec<String>,
    database: PathBuf,
    packed: PathBuf,
    now_ms: i64,
}

impl Packing {
    fn pack(&self, mut step: impl FnMut(usize, usize)) -> Result<Manifest, BackupError> {
        let manifest = Manifest {
            breathmark: env!("CARGO_PKG_VERSION").to_owned(),
            made_ms: self.now_ms,
            database_sha256: hash_of(
                &mut File::open(&self.database).map_err(BackupError::file(&self.database))?,
            )
            .map_err(BackupError::file(&self.database))?,
            originals: self.hashes.len(),
        };
        let wrong = BackupError::file(self.packed.clone());
        self.write_zip(&manifest, &mut step)
            .map_err(|error| match error {
                PackError::Original(error) => error,
                PackError::Io(cause) => wrong(cause),
            })?;
        Ok(manifest)
    }

    fn write_zip(
        &self,
        manifest: &Manifest,
        step: &mut impl FnMut(usize, usize),
    ) -> Result<(), PackError> {
        // Pictures are packed already; the database is small beside them.
        let stored = SimpleFileOptions::default()
            .compression_method(CompressionMethod::Stored)
            .large_file(true)
            .unix_permissions(0o600);
        let mut options = File::options();
        options.write(true).create_new(true);
        // Password hashes are inside: nobody else may read it.
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        let mut zip = ZipWriter::new(options.open(&self.packed)?);
        zip.start_file(MANIFEST, stored)?;
        zip.write_all(&serde_json::to_vec_pretty(manifest).map_err(std::io::Error::other)?)?;
        zip.start_file(DATABASE, stored)?;
        std::io::copy(&mut File::open(&self.database)?, &mut zip)?;
        for (done, sha256) in self.hashes.iter().enumerate() {
            step(done, self.hashes.len());
            let bytes = self.originals.read(sha256).map_err(|error| {
                PackError::Original(BackupError::Harm(format!("original {sha256}: {error}")))
            })?;
            let name = format!("originals/{}/{}/{sha256}", &sha256[..2], &sha256[2..4]);
            zip.start_file(name, stored)?;
            zip.write_all(&bytes)?;
        }
        step(self.hashes.len(), self.hashes.len());
        zip.finish()?.sync_all()?;
        Ok(())
    }
}

/// Why packing broke off.
enum PackError {
    Original(BackupError),
    Io(std::io::Error),
}

impl From<std::io::Error> for PackError {
    fn from(error: std::io::Error) -> Self {
        Self::Io(error)
    }
}

impl From<zip::result::ZipError> for PackError {
    fn from(error: zip::result::ZipError) -> Self {
        Self::Io(std::io::Error::other(error))
    }
}

/// Reads every byte of a backup and compares its hashes.
fn read_back(packed: &Path, written: &Manifest) -> Result<(), BackupError> {
    let file = File::open(packed).map_err(BackupError::file(packed))?;
    let mut archive = ZipArchive::new(file).map_err(damaged)?;
    let manifest = manifest(&mut archive)?;
    if manifest != *written || archive.len() != manifest.originals + 2 {
        return Err(BackupError::Damaged("it reads back otherwise".to_owned()));
    }
    for index in 0..archive.len() {
        let mut entry = archive.by_index(index).map_err(damaged)?;
        let name = entry.name().map_err(damaged)?.into_owned();
        if name == MANIFEST {
            continue;
        }
        let hash = hash_of(&mut entry).map_err(|error| BackupError::Damaged(error.to_string()))?;
        if expected_hash(&name, &manifest) != Some(hash.as_str()) {
            return Err(BackupError::Damaged(format!("{name} reads back otherwise")));
        }
    }
    Ok(())
}

/// SHA-256 of what is read, hex.
fn hash_of(from: &mut impl Read) -> std::io::Result<String> {
    let mut hasher = Sha256::new();
    let mut chunk = vec![0_u8; CHUNK];
    loop {
        match from.read(&mut chunk)? {
            0 => return Ok(hex::encode(hasher.finalize())),
            read => hasher.update(&chunk[..read]),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_given_once_and_without_a_second_link() {
        let folder = tempfile::tempdir().expect("a folder");
        let (packed, name) = (folder.path().join("packed"), folder.path().join("name"));
        std::fs::write(&packed, "whole").expect("written");
        name_it(&packed, &name).expect("the name is free");
        assert!(!packed.exists(), "a link would need a disk that has links");
        std::fs::write(&packed, "another").expect("written");
        let taken = name_it(&packed, &name).expect_err("the name is taken");
        assert_eq!(taken.kind(), std::io::ErrorKind::AlreadyExists);
        assert_eq!(std::fs::read(&name).expect("there"), b"whole");
    }
}
