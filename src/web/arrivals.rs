//! Files that arrive, by form or by API: bytes to the temporary folder under a limit, then judged by what they are and
//! kept, then noted in the upload; a finished upload becomes sweeps.

use std::io::{BufReader, Read as _};
use std::time::Duration;

use axum::body::Bytes;
use futures_util::{Stream, StreamExt as _};
use tempfile::NamedTempFile;
use tokio::io::AsyncWriteExt as _;

use super::{Web, WebError, now_ms};
use crate::app::App;
use crate::intake::{self, IntakeError, Limits, Originals, StoredOriginal};
use crate::store::{Conditions, StoreError, SweepDraft, SweepId, Upload, UploadFile, UploadId};
use crate::sweep::{self, FrameInfo, SweepSettings};

/// How long a client may send nothing in the middle of a file.
const STALL_PATIENCE: Duration = Duration::from_secs(30);
/// How much of a body that is too large is read on and thrown away, so that a browser shows the answer, bytes.
const DRAIN_BYTES: u64 = 16 << 20;
/// How long that may take.
const DRAIN_PATIENCE: Duration = Duration::from_secs(5);
/// What a zip archive begins with (PKWARE APPNOTE 4.3.7 and, for an empty one, 4.3.16).
const ZIP_SIGNATURES: [&[u8]; 2] = [b"PK\x03\x04", b"PK\x05\x06"];

/// A file that arrived whole and lies in the temporary folder.
#[derive(Debug)]
pub(super) struct Received {
    file: NamedTempFile,
    is_archive: bool,
}

/// What became of one file.
#[derive(Debug)]
pub(super) struct Arrival {
    /// Its display name.
    pub(super) name: String,
    /// Where it is kept, or why it was not taken.
    pub(super) outcome: Result<StoredOriginal, String>,
}

/// Writes a body to the temporary folder. Too many bytes are noticed by `declared` before any is written, or while they come.
///
/// # Errors
/// `TooLarge`, after a bounded part of the rest was read; `Unreadable` when the client breaks off or stalls.
pub(super) async fn receive<E: std::fmt::Display>(
    app: &App,
    declared: Option<u64>,
    mut body: impl Stream<Item = Result<Bytes, E>> + Unpin,
) -> Result<Received, WebError> {
    let limits = app.config.limits();
    let file = NamedTempFile::new_in(app.originals.tmp()).map_err(IntakeError::Io)?;
    let mut writer =
        tokio::fs::File::from_std(file.reopen().map_err(IntakeError::Io)?);
    let mut head = Vec::with_capacity(4);
    let mut bytes = 0_u64;
    let mut most = limits.max_file_bytes.max(limits.max_archive_bytes);
    if declared.is_some_and(|declared| declared > most) {
        drain(&mut body).await;
        return Err(IntakeError::TooManyBytes { max_bytes: most }.into());
    }
    loop {
        let next = tokio::time::timeout(STALL_PATIENCE, body.next())
            .await
            .map_err(|_| WebError::Unreadable("the file stopped coming; send it again".into()))?;
        let Some(chunk) = next else { break };
        let chunk = chunk
            .map_err(|error| WebError::Unreadable(format!("the file broke off ({error}); send it again")))?;
        if head.len() < 4 {
            head.extend(chunk.iter().take(4 - head.len()));
            if head.len() == 4 {
                most = if is_zip(&head) {
                    limits.max_archive_bytes
                } else {
                    limits.max_file_bytes
                };
            }
        }
        bytes += chunk.len() as u64;
        if bytes > most || declared.is_some_and(|declared| head.len() == 4 && declared > most) {
            drain(&mut body).await;
            return Err(IntakeError::TooManyBytes { max_bytes: most }.into());
        }
        writer.write_all(&chunk).await.map_err(IntakeError::Io)?;
    }
    writer.flush().await.map_err(IntakeError::Io)?;
    Ok(Received {
        file,
        is_archive: is_zip(&head),
    })
}

fn is_zip(head: &[u8]) -> bool {
    ZIP_SIGNATURES.contains(&head)
}

/// Reads on for a while and throws away what comes.
pub(super) async fn drain<E>(body: &mut (impl Stream<Item = Result<Bytes, E>> + Unpin)) {
    let reading = async {
        let mut left = DRAIN_BYTES;
        while let Some(Ok(chunk)) = body.next().await {
            left = left.saturating_sub(chunk.len() as u64);
            if left == 0 {
                break;
            }
        }
    };
    // Running out of time is as good an end as running out of bytes.
    let _ = tokio::time::timeout(DRAIN_PATIENCE, reading).await;
}

/// Judges a file (or each file of an archive), keeps what is a picture, and notes all of it in the upload.
///
/// # Errors
/// `Conflict` when the upload is finished or full; `Unwritable` and the like when nothing can be stored. What is wrong
/// with a file is not an error here but its outcome.
pub(super) async fn take_in(
    web: &Web,
    upload: &Upload,
    raw_name: &str,
    received: Received,
) -> Result<Vec<Arrival>, WebError> {
    if upload.finished {
        return Err(WebError::Conflict(
            "this upload is finished; open a new one for more frames".into(),
        ));
    }
    let app = &web.app;
    let limits = app.config.limits();
    let stored = app.store.upload_file_count(upload.id).await?;
    if stored >= u64::from(limits.max_upload_files) {
        return Err(WebError::Conflict(format!(
            "this upload has {stored} files, which is the most that one may have; finish it and open another one"
        )));
    }
    let name = match intake::display_path(raw_name) {
        Ok(name) => name,
        Err(error) => {
            return Ok(vec![Arrival {
                name: "(a file whose name can't be shown)".into(),
                outcome: Err(error.to_string()),
            }]);
        }
    };
    if let Some(reason) = intake::skip_reason(&name) {
        let refused = refuse(app, upload.id, name, reason.to_owned()).await?;
        return Ok(vec![refused]);
    }
    let judged = {
        let _place = web
            .intake
            .acquire()
            .await
            .map_err(WebError::inside)?;
        let originals = app.originals.clone();
        tokio::task::spawn_blocking(move || judge(received, name, &originals, &limits)).await??
    };
    let mut arrivals = Vec::with_capacity(judged.len());
    for (name, outcome) in judged {
        let arrival = match outcome {
            Ok((original, info)) => note(app, upload.id, name, original, info).await?,
            Err(reason) => refuse(app, upload.id, name, reason).await?,
        };
        arrivals.push(arrival);
    }
    Ok(arrivals)
}

type Judged = Vec<(String, Result<(StoredOriginal, FrameInfo), String>)>;

/// Judges and keeps; blocking. Only trouble with the disk is an error.
fn judge(
    received: Received,
    name: String,
    originals: &Originals,
    limits: &Limits,
) -> Result<Judged, WebError> {
    let keep = |bytes: &[u8], name: &str| -> Result<(StoredOriginal, FrameInfo), IntakeError> {
        let info = intake::inspect(bytes, name, limits)?;
        let original = originals.keep(&mut &*bytes, limits.max_file_bytes)?;
        Ok((original, info))
    };
    if !received.is_archive {
        let mut bytes = Vec::new();
        received
            .file
            .as_file()
            .take(limits.max_file_bytes + 1)
            .read_to_end(&mut bytes)
            .map_err(IntakeError::Io)?;
        let outcome = reason_or_trouble(keep(&bytes, &name))?;
        return Ok(vec![(name, outcome)]);
    }
    let folder = name.rsplit_once('.').map_or(name.as_str(), |(stem, _)| stem);
    let mut judged = Judged::new();
    let mut trouble = None;
    let archive = BufReader::new(received.file.reopen().map_err(IntakeError::Io)?);
    let whole = intake::for_each_in_zip(archive, limits, &mut |inside, bytes| {
        if trouble.is_some() {
            return;
        }
        let path = format!("{folder}/{inside}");
        let path = intake::display_path(&path).unwrap_or(path);
        let outcome = match intake::skip_reason(&path) {
            Some(reason) => Ok(Err(reason.to_owned())),
            None => reason_or_trouble(bytes.and_then(|bytes| keep(&bytes, &path))),
        };
        match outcome {
            Ok(outcome) => judged.push((path, outcome)),
            Err(error) => trouble = Some(error),
        }
    });
    if let Some(trouble) = trouble {
        return Err(trouble);
    }
    if let Err(reason) = reason_or_trouble(whole)? {
        judged.push((name, Err(reason)));
    }
    Ok(judged)
}

/// Tells what is wrong with a file from trouble with the disk.
fn reason_or_trouble<T>(result: Result<T, IntakeError>) -> Result<Result<T, String>, WebError> {
    match result {
        Ok(value) => Ok(Ok(value)),
        Err(error @ IntakeError::Io(_)) => Err(error.into()),
        Err(error) => Ok(Err(error.to_string())),
    }
}

async fn note(
    app: &App,
    upload: UploadId,
    name: String,
    original: StoredOriginal,
    info: FrameInfo,
) -> Result<Arrival, WebError> {
    let file = UploadFile {
        name: name.clone(),
        sha256: original.sha256.clone(),
        bytes: original.bytes,
        refused: None,
        info,
    };
    match app.store.add_upload_file(upload, &file, now_ms()).await {
        Ok(()) => Ok(Arrival {
            name,
            outcome: Ok(original),
        }),
        Err(StoreError::Conflict(_)) => {
            let reason =
                "another picture of this name was sent before; rename one of them and send it again";
            refuse(app, upload, name, reason.to_owned()).await
        }
        Err(error) => Err(error.into()),
    }
}

async fn refuse(
    app: &App,
    upload: UploadId,
    name: String,
    reason: String,
) -> Result<Arrival, WebError> {
    app.store.add_refusal(upload, &name, &reason).await?;
    Ok(Arrival {
        name,
        outcome: Err(reason),
    })
}

/// Sorts the frames of an upload into sweeps and queues them to be measured. Doing it again gives the same sweeps.
///
/// # Errors
/// `Conflict` when no frame has arrived.
pub(super) async fn finish(app: &App, upload: &Upload) -> Result<Vec<SweepId>, WebError> {
    if upload.finished {
        return Ok(app.store.sweeps_of_upload(upload.id).await?);
    }
    let lens = app
        .store
        .lens(upload.lens)
        .await?
        .ok_or_else(|| WebError::no_such("lens"))?;
    let mut files: Vec<UploadFile> = Vec::new();
    for file in app.store.upload_files(upload.id).await? {
        if file.refused.is_some() {
            continue;
        }
        match files.iter().find(|kept| kept.sha256 == file.sha256) {
            Some(kept) => {
                let reason = format!("this is the same picture as {}, byte for byte; it counts once", kept.name);
                app.store.add_refusal(upload.id, &file.name, &reason).await?;
            }
            None => files.push(file),
        }
    }
    if files.is_empty() {
        return Err(WebError::Conflict(
            "no frame has arrived that can be used; send the camera's JPEG files first".into(),
        ));
    }
    let source = format!("{} {}", lens.about.maker, lens.about.model);
    let drafts = drafts(&files, &source, &upload.conditions);
    let sweeps = app.store.finish_upload(upload.id, &drafts, now_ms()).await?;
    app.wake.notify_one();
    Ok(sweeps)
}

fn drafts(files: &[UploadFile], source: &str, conditions: &Conditions) -> Vec<SweepDraft> {
    let infos: Vec<FrameInfo> = files.iter().map(|file| file.info.clone()).collect();
    sweep::split(&infos, source)
        .into_iter()
        .map(|group| SweepDraft {
            name: group.name,
            settings: SweepSettings {
                target_distance: conditions.target_distance,
                closest_focus: conditions.closest_focus,
                ..SweepSettings::default()
            },
            files: group
                .frames
                .iter()
                .filter_map(|index| files.get(*index).cloned())
                .collect(),
        })
        .collect()
}
