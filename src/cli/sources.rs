//! The paths of a command line as frames to measure: folders are walked, zip files unpacked, files taken as they are.

use std::collections::HashMap;
use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};

use crate::intake::{self, IntakeError, Limits};
use crate::report::SkippedDocument;
use crate::sweep::FrameInfo;

/// Folders inside folders are followed this deep; a card has 3 or 4 levels.
const MAX_DEPTH: usize = 16;

/// Frames that came from one path, ready to be sorted into sweeps.
pub(super) struct Source {
    /// Name of the folder, zip file or file.
    pub(super) name: String,
    /// What each frame's file says, and where its bytes lie.
    pub(super) frames: Vec<(FrameInfo, PathBuf)>,
    /// Files that are no frames.
    pub(super) skipped: Vec<SkippedDocument>,
    /// Keeps the unpacked frames of a zip file until they are measured.
    _unpacked: Option<tempfile::TempDir>,
}

/// Reads what `paths` name: every folder and zip file is a source of its own, single files are one source together.
pub(super) fn read(paths: &[PathBuf], limits: &Limits) -> anyhow::Result<Vec<Source>> {
    let mut sources = Vec::new();
    let mut singles = Vec::new();
    for path in paths {
        let about = fs::metadata(path)
            .with_context(|| format!("{} can't be read; check the path", path.display()))?;
        if about.is_dir() {
            sources.push(folder(path, limits)?);
        } else if is_zip(path)? {
            sources.push(archive(path, limits)?);
        } else {
            singles.push(path.clone());
        }
    }
    if !singles.is_empty() {
        sources.push(files(&singles, limits));
    }
    Ok(sources)
}

fn folder(root: &Path, limits: &Limits) -> anyhow::Result<Source> {
    let mut found = Vec::new();
    walk(root, MAX_DEPTH, &mut found)?;
    let named = found.into_iter().map(|path| {
        let inside = path.strip_prefix(root).unwrap_or(&path);
        let parts: Vec<String> = inside
            .components()
            .map(|part| part.as_os_str().to_string_lossy().into_owned())
            .collect();
        (parts.join("/"), path)
    });
    Ok(inspected(name_of(root), named.collect(), limits))
}

fn files(paths: &[PathBuf], limits: &Limits) -> Source {
    let name = paths
        .first()
        .and_then(|path| path.parent())
        .map_or_else(String::new, name_of);
    let named = paths
        .iter()
        .map(|path| (name_of(path), path.clone()))
        .collect();
    inspected(
        if name.is_empty() {
            "frames".to_owned()
        } else {
            name
        },
        named,
        limits,
    )
}

fn archive(path: &Path, limits: &Limits) -> anyhow::Result<Source> {
    let unpacked =
        tempfile::tempdir().context("no room for unpacking; check the temporary folder")?;
    let file =
        fs::File::open(path).with_context(|| format!("{} can't be opened", path.display()))?;
    let mut named = Vec::new();
    let mut skipped = Vec::new();
    intake::for_each_in_zip(std::io::BufReader::new(file), limits, &mut |name, bytes| {
        let place = unpacked.path().join(named.len().to_string());
        match bytes.and_then(|bytes| Ok(fs::write(&place, bytes)?)) {
            Ok(()) => named.push((name, place)),
            Err(error) => skipped.push(SkippedDocument {
                file: name,
                reason: error.to_string(),
            }),
        }
    })
    .with_context(|| path.display().to_string())?;
    let stem = path
        .file_stem()
        .map_or_else(String::new, |stem| stem.to_string_lossy().into_owned());
    let mut source = inspected(stem, named, limits);
    source.skipped.splice(0..0, skipped);
    source._unpacked = Some(unpacked);
    Ok(source)
}

/// Sorts named files naturally and asks each what it says of itself. A picture that comes twice counts once, where it lies
/// least deep: a folder of copies inside takes no frame out of a sweep.
fn inspected(name: String, mut named: Vec<(String, PathBuf)>, limits: &Limits) -> Source {
    named.sort_by(|(a, _), (b, _)| natord::compare(a, b).then_with(|| a.cmp(b)));
    let mut outermost: Vec<usize> = (0..named.len()).collect();
    outermost.sort_by_key(|&at| named[at].0.matches('/').count());
    // Pictures so far by the length of their files: only files of one length can be the same.
    let mut by_length: HashMap<usize, Vec<usize>> = HashMap::new();
    let mut read: Vec<Result<FrameInfo, String>> = Vec::new();
    read.resize_with(named.len(), || Err(String::new()));
    for at in outermost {
        let (file, path) = &named[at];
        read[at] = inspect(file, path, limits).and_then(|(info, bytes)| {
            let alike = by_length.entry(bytes.len()).or_default();
            let same = |&other: &usize| fs::read(&named[other].1).is_ok_and(|other| other == bytes);
            match alike.iter().copied().find(same) {
                // In the same words as for an upload.
                Some(first) => Err(format!(
                    "the same picture as {}, byte for byte; it counts once",
                    named[first].0
                )),
                None => {
                    alike.push(at);
                    Ok(info)
                }
            }
        });
    }
    let mut source = Source {
        name,
        frames: Vec::new(),
        skipped: Vec::new(),
        _unpacked: None,
    };
    for ((file, path), read) in named.into_iter().zip(read) {
        match read {
            Ok(info) => source.frames.push((info, path)),
            Err(reason) => source.skipped.push(SkippedDocument { file, reason }),
        }
    }
    source
}

/// What a file says of itself, and its bytes.
fn inspect(file: &str, path: &Path, limits: &Limits) -> Result<(FrameInfo, Vec<u8>), String> {
    if let Some(reason) = intake::skip_reason(file) {
        return Err(reason.to_owned());
    }
    bytes(path, limits)
        .and_then(|bytes| Ok((intake::inspect(&bytes, file, limits)?, bytes)))
        .map_err(|error| error.to_string())
}

/// The bytes of a file, unless it has more than a frame may have.
pub(super) fn bytes(path: &Path, limits: &Limits) -> Result<Vec<u8>, IntakeError> {
    if fs::metadata(path)?.len() > limits.max_file_bytes {
        return Err(IntakeError::TooManyBytes {
            max_bytes: limits.max_file_bytes,
        });
    }
    Ok(fs::read(path)?)
}

fn walk(folder: &Path, depth: usize, found: &mut Vec<PathBuf>) -> anyhow::Result<()> {
    if depth == 0 {
        bail!(
            "{} lies too deep; give the folder that holds the frames",
            folder.display()
        );
    }
    let entries = fs::read_dir(folder).with_context(|| {
        format!(
            "{} can't be listed; check its permissions",
            folder.display()
        )
    })?;
    for entry in entries {
        let entry = entry.with_context(|| format!("{} can't be listed", folder.display()))?;
        let kind = entry.file_type()?;
        if kind.is_dir() {
            walk(&entry.path(), depth - 1, found)?;
        } else if kind.is_file() {
            found.push(entry.path());
        }
    }
    Ok(())
}

/// Whether a file begins like a zip archive.
fn is_zip(path: &Path) -> anyhow::Result<bool> {
    use std::io::Read;
    let mut head = Vec::new();
    fs::File::open(path)
        .and_then(|file| file.take(4).read_to_end(&mut head))
        .with_context(|| format!("{} can't be read; check its permissions", path.display()))?;
    Ok(head.starts_with(b"PK\x03\x04") || head.starts_with(b"PK\x05\x06"))
}

fn name_of(path: &Path) -> String {
    let named = if path.file_name().is_some() {
        path.to_owned()
    } else {
        path.canonicalize().unwrap_or_default()
    };
    named
        .file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}
