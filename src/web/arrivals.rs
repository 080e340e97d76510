//! Files that arrive, by form or by API: bytes to the temporary folder under a limit, then judged by what they are and
//! kept, then noted in the upload; a finished upload becomes sweeps.

use std::io::{BufReader, Read as _};
use std::sync::Arc;
use std::time::Duration;

use axum::body::Bytes;
use futures_util::{Stream, StreamExt as _};
use tempfile::NamedTempFile;
use tokio::io::AsyncWriteExt as _;
use tokio::runtime::Handle;

use super::observe::RequestId;
use super::session::SignedIn;
use super::{Web, WebError};
use crate::app::{App, ReceiveError};
use crate::intake::{self, IntakeError, Limits, StoredOriginal};
use crate::store::{
    AuditEntry, Conditions, Lens, LensDraft, StoreError, SweepId, Upload, UploadId, now_ms,
};

/// How long a client may send nothing in the middle of a file.
const STALL_PATIENCE: Duration = Duration::from_secs(30);
/// How much of a body that is too large is read on and thrown away, so that a browser shows the answer, bytes.
const DRAIN_BYTES: u64 = 16 << 20;
/// How long that may take.
const DRAIN_PATIENCE: Duration = Duration::from_secs(5);

/// A file that arrived whole and lies in the temporary folder.
#[derive(Debug)]
pub(super) struct Received {
    file: NamedTempFile,
    is_archive: bool,
}

impl Received {
    /// Whether it is a zip archive.
    pub(super) fn is_archive(&self) -> bool {
        self.is_archive
    }
}

/// What a file is called whose name can't be shown.
const UNSHOWABLE: &str = "(a file whose name can't be shown)";

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
    let mut writer = tokio::fs::File::from_std(file.reopen().map_err(IntakeError::Io)?);
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
        let chunk = chunk.map_err(|error| {
            WebError::Unreadable(format!("the file broke off ({error}); send it again"))
        })?;
        if head.len() < 4 {
            head.extend(chunk.iter().take(4 - head.len()));
            if head.len() == 4 {
                most = if intake::is_zip(&head) {
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
        is_archive: intake::is_zip(&head),
    })
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
/// `Conflict` when the upload is finished or full, unless the same was sent before; `Unwritable` and the like when nothing
/// can be stored. What is wrong with a file is not an error here but its outcome.
pub(super) async fn take_in(
    web: &Web,
    upload: &Upload,
    raw_name: &str,
    received: Received,
) -> Result<Vec<Arrival>, WebError> {
    let app = &web.app;
    let name = match intake::display_path(raw_name) {
        Ok(name) => name,
        Err(error) => {
            return Ok(vec![Arrival {
                name: UNSHOWABLE.into(),
                outcome: Err(error.to_string()),
            }]);
        }
    };
    if let Some(reason) = intake::skip_reason(&name) {
        let refused = refuse(app, upload, name, reason.to_owned()).await?;
        return Ok(vec![refused]);
    }
    let judged = {
        let _place = web.intake.acquire().await.map_err(WebError::inside)?;
        let desk = Desk {
            app: app.clone(),
            upload: upload.id,
            limits: app.config.limits(),
            runtime: Handle::current(),
        };
        tokio::task::spawn_blocking(move || desk.judge(&received, name)).await??
    };
    let refused_before = app.store.refusals(upload.id).await?;
    let mut arrivals = Vec::with_capacity(judged.len());
    for (name, outcome) in judged {
        arrivals.push(match outcome {
            Ok(original) => {
                if !upload.finished && refused_before.iter().any(|(refused, _)| *refused == name) {
                    app.store.clear_refusal(upload.id, &name).await?;
                }
                Arrival {
                    name,
                    outcome: Ok(original),
                }
            }
            Err(reason) => refuse(app, upload, name, reason).await?,
        });
    }
    Ok(arrivals)
}

/// Notes a file that was not taken; a finished upload keeps the notes that it was finished with.
async fn refuse(
    app: &App,
    upload: &Upload,
    name: String,
    reason: String,
) -> Result<Arrival, WebError> {
    if !upload.finished {
        app.store.add_refusal(upload.id, &name, &reason).await?;
    }
    Ok(Arrival {
        name,
        outcome: Err(reason),
    })
}

/// A file that is judged and, where it is a picture, kept and noted in the upload.
type Judged = Vec<(String, Result<StoredOriginal, String>)>;

/// Where judged files go.
struct Desk {
    app: App,
    upload: UploadId,
    limits: Limits,
    runtime: Handle,
}

impl Desk {
    /// Judges and keeps one file or all files of an archive; blocking. Only trouble with the disk or the database is an error.
    fn judge(&self, received: &Received, name: String) -> Result<Judged, WebError> {
        if !received.is_archive {
            let mut bytes = Vec::new();
            received
                .file
                .reopen()
                .map_err(IntakeError::Io)?
                .take(self.limits.max_file_bytes + 1)
                .read_to_end(&mut bytes)
                .map_err(IntakeError::Io)?;
            let outcome = self.keep(bytes, &name)?;
            return Ok(vec![(name, outcome)]);
        }
        let folder = name
            .rsplit_once('.')
            .map_or(name.as_str(), |(stem, _)| stem);
        let mut judged = Judged::new();
        let mut trouble = None;
        let archive = BufReader::new(received.file.reopen().map_err(IntakeError::Io)?);
        let whole = intake::for_each_in_zip(archive, &self.limits, &mut |inside, bytes| {
            if trouble.is_some() {
                return;
            }
            let path = format!("{folder}/{inside}");
            let path = intake::display_path(&path).unwrap_or(path);
            let outcome = match (intake::skip_reason(&path), bytes) {
                (Some(reason), _) => Ok(Err(reason.to_owned())),
                (None, Ok(bytes)) => self.keep(bytes, &path),
                (None, Err(error)) => reason_or_trouble(error).map(Err),
            };
            match outcome {
                Ok(outcome) => judged.push((path, outcome)),
                Err(error) => trouble = Some(error),
            }
        });
        if let Some(trouble) = trouble {
            return Err(trouble);
        }
        if let Err(error) = whole {
            judged.push((name, Err(reason_or_trouble(error)?)));
        }
        Ok(judged)
    }

    /// Keeps and notes a frame; what is none comes back as the reason.
    fn keep(&self, bytes: Vec<u8>, name: &str) -> Result<Result<StoredOriginal, String>, WebError> {
        let receiving = self.app.receive_file(self.upload, name, bytes, now_ms());
        match self.runtime.block_on(receiving) {
            Ok(file) => Ok(Ok(StoredOriginal {
                sha256: file.sha256,
                bytes: file.bytes,
            })),
            Err(ReceiveError::Intake(error)) => reason_or_trouble(error).map(Err),
            Err(ReceiveError::Store(StoreError::OtherBytes(_))) => Ok(Err(OTHER_BYTES.to_owned())),
            Err(error) => Err(error.into()),
        }
    }
}

/// What is wrong with a file, or trouble with the disk.
fn reason_or_trouble(error: IntakeError) -> Result<String, WebError> {
    match error {
        IntakeError::Io(_) => Err(error.into()),
        wrong => Ok(wrong.to_string()),
    }
}

/// Why a second file of the same name is not taken.
pub(super) const OTHER_BYTES: &str =
    "another picture of this name was sent before; rename one of them and send it again";

/// Notes a file that was not taken, under its display name.
pub(super) async fn note_refusal(
    app: &App,
    upload: &Upload,
    raw_name: &str,
    reason: String,
) -> Result<(), WebError> {
    let name = intake::display_path(raw_name).unwrap_or_else(|_| UNSHOWABLE.into());
    refuse(app, upload, name, reason).await?;
    Ok(())
}

/// Makes a lens.
pub(super) async fn make_lens(
    app: &App,
    account: &SignedIn,
    draft: &LensDraft,
    request: &RequestId,
) -> Result<Lens, WebError> {
    let lens = app
        .store
        .add_lens(draft, Some(account.id), now_ms())
        .await?;
    app.store
        .audit(&AuditEntry {
            at_ms: now_ms(),
            account: Some(account.id),
            action: "lens made",
            subject: lens.slug.clone(),
            detail: String::new(),
            request_id: Some(request.0.clone()),
        })
        .await?;
    Ok(lens)
}

/// Opens an upload of a lens.
pub(super) async fn open(
    app: &App,
    account: &SignedIn,
    lens: &Lens,
    conditions: &Conditions,
) -> Result<Upload, WebError> {
    let id = app
        .store
        .open_upload(account.id, lens.id, conditions, now_ms())
        .await?;
    own_upload(app, account, id).await
}

/// An upload of this account; for others it is not there.
pub(super) async fn own_upload(
    app: &App,
    account: &SignedIn,
    id: UploadId,
) -> Result<Upload, WebError> {
    app.store
        .upload(id)
        .await?
        .filter(|upload| account.may_work_on(upload.account))
        .ok_or_else(|| WebError::no_such("upload"))
}

/// Sorts the frames of an upload into sweeps and queues them to be measured. Doing it again gives the same sweeps. Once begun
/// it goes on, whether or not somebody still waits for it; whoever asks meanwhile waits for the one who asked first.
///
/// # Errors
/// `Conflict` when no frame has arrived, or when files are still arriving.
pub(super) async fn finish(web: &Web, upload: UploadId) -> Result<Vec<SweepId>, WebError> {
    let place = Arc::clone(&web.finishing).acquire_owned().await;
    let place = place.map_err(WebError::inside)?;
    let app = web.app.clone();
    let finishing = async move {
        let _place = place;
        finish_in_turn(&app, upload).await
    };
    tokio::spawn(finishing).await?
}

async fn finish_in_turn(app: &App, id: UploadId) -> Result<Vec<SweepId>, WebError> {
    let upload = app.store.upload(id).await?;
    let upload = upload.ok_or_else(|| WebError::no_such("upload"))?;
    if app.store.upload_file_count(id).await? == 0 {
        return Err(WebError::Conflict(
            "no frame has arrived that can be used; send the camera's JPEG files first".into(),
        ));
    }
    Ok(app.finish_upload(&upload, now_ms()).await?)
}
