//! The paths of a command line as frames to measure: folders are walked, zip files unpacked, files taken as they are.

use std::fs;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use anyhow::Context;

use crate::intake::{self, IntakeError, Limits};
use crate::report::SkippedDocument;
use crate::sweep::FrameInfo;

/// Folders inside folders are followed this deep; a card has 3 or 4 levels.
const MAX_DEPTH: usize = 16;

/// One frame before it is measured.
pub(super) struct Frame {
    /// What its file says.
    pub(super) info: FrameInfo,
    /// Where its bytes lie.
    pub(super) path: PathBuf,
    /// Alike in copies of the picture.
    pub(super) mark: String,
}

/// Frames that came from one path, ready to be sorted into sweeps.
pub(super) struct Source {
    /// Name of the folder, zip file or file.
    pub(super) name: String,
    /// Its frames.
    pub(super) frames: Vec<Frame>,
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
        } else if about.is_file() && is_zip(path)? {
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
    let mut walk = Walk {
        root,
        found: Vec::new(),
        skipped: Vec::new(),
    };
    walk.folder(root, MAX_DEPTH)?;
    let mut source = inspected(name_of(root), walk.found, limits);
    source.skipped.splice(0..0, walk.skipped);
    Ok(source)
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

/// Sorts named files naturally and asks each what it says of itself. A picture that comes twice counts once.
fn inspected(name: String, mut named: Vec<(String, PathBuf)>, limits: &Limits) -> Source {
    named.sort_by(|(a, _), (b, _)| natord::compare(a, b).then_with(|| a.cmp(b)));
    let read: Vec<(String, Result<Frame, String>)> = named
        .into_iter()
        .map(|(file, path)| {
            let read = inspect(&file, &path, limits);
            (file, read)
        })
        .collect();
    let frames: Vec<(&String, &Frame)> = read
        .iter()
        .filter_map(|(file, read)| Some((file, read.as_ref().ok()?)))
        .collect();
    let infos: Vec<&FrameInfo> = frames.iter().map(|(_, frame)| &frame.info).collect();
    let mut copies = intake::copies(&infos, |at| frames[at].1.mark.clone())
        .into_iter()
        .map(|first| Some(intake::said_of_copy(frames[first?].0)))
        .collect::<Vec<Option<String>>>()
        .into_iter();
    let mut source = Source {
        name,
        frames: Vec::new(),
        skipped: Vec::new(),
        _unpacked: None,
    };
    for (file, read) in read {
        let counting = read.and_then(|frame| copies.next().flatten().map_or(Ok(frame), Err));
        match counting {
            Ok(frame) => source.frames.push(frame),
            Err(reason) => source.skipped.push(SkippedDocument { file, reason }),
        }
    }
    source
}

/// What a file says of itself.
fn inspect(file: &str, path: &Path, limits: &Limits) -> Result<Frame, String> {
    if let Some(reason) = intake::skip_reason(file) {
        return Err(reason.to_owned());
    }
    let about = |bytes: Vec<u8>| {
        Ok(Frame {
            info: intake::inspect(&bytes, file, limits)?,
            path: path.to_owned(),
            mark: intake::picture_mark(&bytes),
        })
    };
    bytes(path, limits)
        .and_then(about)
        .map_err(|error| error.to_string())
}

/// What is said of pipes, sockets and devices: opening one may wait forever, and reading one may never end.
const NO_FILE: &str = "a pipe, a socket or a device, and only files are read; copy the picture into a folder and give that";

/// The bytes of a file, unless it has more than a frame may have, were it that it grows while it is read.
pub(super) fn bytes(path: &Path, limits: &Limits) -> Result<Vec<u8>, IntakeError> {
    let about = fs::metadata(path)?;
    if !about.is_file() {
        return Err(IntakeError::PassedOver(NO_FILE));
    }
    let most = limits.max_file_bytes;
    let mut bytes = Vec::new();
    if about.len() <= most {
        bytes.reserve_exact(about.len() as usize);
        fs::File::open(path)?
            .take(most + 1)
            .read_to_end(&mut bytes)?;
    }
    if about.len().max(bytes.len() as u64) > most {
        return Err(IntakeError::TooManyBytes { max_bytes: most });
    }
    Ok(bytes)
}

/// A walk through a folder and those inside it.
struct Walk<'a> {
    root: &'a Path,
    /// Files with their paths from the root.
    found: Vec<(String, PathBuf)>,
    /// Folders that can't be walked, and why.
    skipped: Vec<SkippedDocument>,
}

impl Walk<'_> {
    /// Finds the files of a folder. The root has to be listed; a folder inside that can't be is passed over, as cards have
    /// some that belong to the system.
    fn folder(&mut self, folder: &Path, depth: usize) -> anyhow::Result<()> {
        let entries = match fs::read_dir(folder) {
            Err(_) if folder != self.root => {
                self.skip(folder, "this folder can't be listed; check its permissions");
                return Ok(());
            }
            entries => entries.with_context(|| {
                format!(
                    "{} can't be listed; check its permissions",
                    folder.display()
                )
            })?,
        };
        for entry in entries {
            let entry = entry.with_context(|| format!("{} can't be listed", folder.display()))?;
            let (path, kind) = (entry.path(), entry.file_type()?);
            if kind.is_dir() && depth == 0 {
                self.skip(&path, "it lies too deep; give this folder itself");
            } else if kind.is_dir() {
                self.folder(&path, depth - 1)?;
            } else if kind.is_file() {
                self.found.push((self.inside(&path), path));
            } else if kind.is_symlink() {
                match fs::metadata(&path) {
                    Ok(about) if about.is_file() => self.found.push((self.inside(&path), path)),
                    // It may lead back here.
                    Ok(about) if about.is_dir() => {
                        self.skip(&path, "a link to a folder; give that folder itself");
                    }
                    Ok(_) => self.skip(&path, NO_FILE),
                    Err(_) => self.skip(&path, "a link that leads nowhere"),
                }
            } else {
                self.skip(&path, NO_FILE);
            }
        }
        Ok(())
    }

    fn inside(&self, path: &Path) -> String {
        let inside = path.strip_prefix(self.root).unwrap_or(path);
        let parts: Vec<String> = inside
            .components()
            .map(|part| part.as_os_str().to_string_lossy().into_owned())
            .collect();
        parts.join("/")
    }

    fn skip(&mut self, path: &Path, reason: &str) {
        self.skipped.push(SkippedDocument {
            file: self.inside(path),
            reason: reason.to_owned(),
        });
    }
}

/// Whether a file begins like a zip archive.
fn is_zip(path: &Path) -> anyhow::Result<bool> {
    let mut head = Vec::new();
    fs::File::open(path)
        .and_then(|file| file.take(4).read_to_end(&mut head))
        .with_context(|| format!("{} can't be read; check its permissions", path.display()))?;
    Ok(intake::is_zip(&head))
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
