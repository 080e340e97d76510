//! The way back: a backup becomes a data folder, or nothing happens.

use std::collections::HashSet;
use std::fs::{self, File};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};
use zip::ZipArchive;
use zip::result::ZipError;

use super::{BackupError, CHUNK, DATABASE, MANIFEST, Manifest, damaged, expected_hash, manifest};
use crate::intake::sync_folder;
use crate::store::{AuditEntry, Store};

/// Makes a data folder from a backup. It is unpacked and checked beside `data` (every hash, the database's integrity,
/// every original there) and gets its name only then. `step` hears how many of how many entries are done.
///
/// # Errors
/// `NotEmpty` when `data` holds something: it is left alone. `Damaged` when the file is no backup, or not a whole one.
/// `Store` and `File` when something can't be read or written. `data` is as before then.
pub async fn restore(
    file: &Path,
    data: &Path,
    now_ms: i64,
    step: impl FnMut(usize, usize) + Send + 'static,
) -> Result<Manifest, BackupError> {
    let is_there = match fs::read_dir(data).map(Iterator::count) {
        Ok(0) => true,
        Ok(_) => return Err(BackupError::NotEmpty(data.to_owned())),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => false,
        Err(error) => return Err(BackupError::file(data)(error)),
    };
    let parent = match data.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_owned(),
        _ => PathBuf::from("."),
    };
    fs::create_dir_all(&parent).map_err(BackupError::file(&parent))?;
    let scratch = tempfile::Builder::new()
        .prefix(".breathmark-restore-")
        .tempdir_in(&parent)
        .map_err(BackupError::file(&parent))?;
    let folder = scratch.path().join("data");
    let (from, into) = (file.to_owned(), folder.clone());
    let (manifest, unpacked) = tokio::task::spawn_blocking(move || unpack(&from, &into, step))
        .await
        .map_err(|fault| BackupError::Damaged(fault.to_string()))??;
    check(&folder, &unpacked, now_ms).await?;
    let data = data.to_owned();
    let settling = move || {
        settle(&folder, &data, is_there)?;
        sync_folder(&parent).map_err(BackupError::file(&parent))
    };
    tokio::task::spawn_blocking(settling)
        .await
        .map_err(|fault| BackupError::Damaged(fault.to_string()))??;
    Ok(manifest)
}

/// Puts all that was unpacked on disk, and then under the name of the data folder.
fn settle(folder: &Path, data: &Path, is_there: bool) -> Result<(), BackupError> {
    sync_tree(folder).map_err(BackupError::file(folder))?;
    if is_there {
        fs::remove_dir(data).map_err(BackupError::file(data))?;
    }
    fs::rename(folder, data).map_err(BackupError::file(data))
}

/// Unpacks every entry and compares its hash; the manifest and the hashes of the originals.
fn unpack(
    file: &Path,
    folder: &Path,
    mut step: impl FnMut(usize, usize),
) -> Result<(Manifest, HashSet<String>), BackupError> {
    // Opening a pipe would wait for somebody to write into it, and a zip is read from its end.
    let no_backup = |why| BackupError::NoBackup {
        path: file.to_owned(),
        why,
    };
    match std::fs::metadata(file) {
        Ok(about) if about.is_file() => {}
        Ok(_) => return Err(no_backup("is a folder, a pipe or a device")),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            return Err(no_backup("is not there"));
        }
        Err(error) => return Err(BackupError::file(file)(error)),
    }
    let packed = File::open(file).map_err(BackupError::file(file))?;
    let mut archive = ZipArchive::new(packed).map_err(|error| match error {
        ZipError::Io(error) => BackupError::file(file)(error),
        _ => no_backup("is no backup, or a damaged one without its end"),
    })?;
    let manifest = manifest(&mut archive)?;
    let mut originals = HashSet::new();
    let mut has_database = false;
    for index in 0..archive.len() {
        step(index, archive.len());
        let mut entry = archive.by_index(index).map_err(damaged)?;
        let name = entry.name().map_err(damaged)?.into_owned();
        if name == MANIFEST {
            continue;
        }
        let Some(expected) = expected_hash(&name, &manifest) else {
            return Err(BackupError::Damaged(format!(
                "{name:?} does not belong in it"
            )));
        };
        let to = folder.join(&name);
        let hash = copy(&mut entry, &to)?;
        if hash != expected {
            return Err(BackupError::Damaged(format!(
                "{name} has other bytes than it should"
            )));
        }
        if name == DATABASE {
            has_database = true;
        } else {
            originals.insert(hash);
        }
    }
    step(archive.len(), archive.len());
    if !has_database {
        return Err(BackupError::Damaged("it has no database".to_owned()));
    }
    Ok((manifest, originals))
}

/// Writes an entry to disk for good; its SHA-256, hex.
fn copy(entry: &mut impl Read, to: &Path) -> Result<String, BackupError> {
    let folder = to.parent().unwrap_or(to);
    fs::create_dir_all(folder).map_err(BackupError::file(folder))?;
    let mut file = File::create_new(to).map_err(BackupError::file(to))?;
    let mut hasher = Sha256::new();
    let mut chunk = vec![0_u8; CHUNK];
    loop {
        let read = entry
            .read(&mut chunk)
            .map_err(|error| BackupError::Damaged(error.to_string()))?;
        if read == 0 {
            break;
        }
        hasher.update(&chunk[..read]);
        file.write_all(&chunk[..read])
            .map_err(BackupError::file(to))?;
    }
    file.sync_all().map_err(BackupError::file(to))?;
    Ok(hex::encode(hasher.finalize()))
}

/// Looks whether the database is whole and every original that it knows was unpacked, and notes the restoring in it.
async fn check(folder: &Path, unpacked: &HashSet<String>, now_ms: i64) -> Result<(), BackupError> {
    let store = Store::open(&folder.join(DATABASE)).await?;
    if let Some(harm) = store.integrity_check().await?.first() {
        return Err(BackupError::Damaged(format!(
            "its database is damaged ({harm})"
        )));
    }
    let known = store.originals().await?;
    if let Some((missing, _)) = known.iter().find(|(hash, _)| !unpacked.contains(hash)) {
        return Err(BackupError::Damaged(format!(
            "original {missing} is missing"
        )));
    }
    store
        .audit(&AuditEntry {
            at_ms: now_ms,
            account: None,
            action: "restored",
            subject: format!("{} originals", known.len()),
            detail: String::new(),
            request_id: None,
        })
        .await?;
    store.close().await;
    Ok(())
}

/// Puts the entries of a folder and of all folders in it on disk.
fn sync_tree(folder: &Path) -> std::io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            sync_tree(&path)?;
        }
    }
    sync_folder(folder)
}
