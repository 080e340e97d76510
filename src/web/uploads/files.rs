//! `POST /api/v1/uploads`, `GET /api/v1/uploads/{id}`, `PUT …/files/{name}`, `POST …/finish`.

use axum::Json;
use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::{Deserialize, Serialize};

use super::Document;
use crate::app::App;
use crate::intake;
use crate::store::{SweepId, UploadId};
use crate::web::arrivals::{self, Arrival, OTHER_BYTES};
use crate::web::inputs::{Check, ConditionsInput};
use crate::web::place::Place;
use crate::web::session::SignedIn;
use crate::web::{Web, WebError};

/// An upload to be opened.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::web) struct Opening {
    /// Slug of the lens.
    lens: String,
    #[serde(default)]
    conditions: ConditionsInput,
}

/// An upload, as it stands.
#[derive(Serialize)]
struct UploadDocument {
    id: UploadId,
    lens: Option<String>,
    /// As they were given when it was opened.
    conditions: ConditionsInput,
    finished: bool,
    files: Vec<FileDocument>,
    refused: Vec<RefusedDocument>,
    sweeps: Vec<SweepId>,
}

#[derive(Serialize)]
struct FileDocument {
    name: String,
    sha256: String,
    bytes: u64,
}

#[derive(Serialize)]
struct RefusedDocument {
    name: String,
    reason: String,
}

/// Opens an upload.
pub(in crate::web) async fn open(
    State(app): State<App>,
    account: SignedIn,
    Document(opening): Document<Opening>,
) -> Result<impl IntoResponse, WebError> {
    let mut check = Check::default();
    let conditions = opening.conditions.check(&mut check);
    let lens = app.store.lens_by_slug(&opening.lens).await?;
    if lens.is_none() {
        check.refuse(
            "lens",
            "there is no lens of this slug; make it with POST /api/v1/lenses first",
        );
    }
    let lens = check.finish(lens)?;
    let upload = arrivals::open(&app, &account, &lens, &conditions).await?;
    let location = format!("/api/v1/uploads/{}", upload.id);
    let document = document(&app, &account, upload.id).await?;
    Ok((
        StatusCode::CREATED,
        [(header::LOCATION, location)],
        Json(document),
    ))
}

/// What an upload has so far.
pub(in crate::web) async fn show(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<UploadId>,
) -> Result<impl IntoResponse, WebError> {
    Ok(Json(document(&app, &account, id).await?))
}

async fn document(app: &App, account: &SignedIn, id: UploadId) -> Result<UploadDocument, WebError> {
    let upload = arrivals::own_upload(app, account, id).await?;
    let refused: Vec<RefusedDocument> = app
        .store
        .refusals(id)
        .await?
        .into_iter()
        .map(|(name, reason)| RefusedDocument { name, reason })
        .collect();
    let files = app
        .store
        .upload_files(id)
        .await?
        .into_iter()
        .map(|file| FileDocument {
            name: file.name,
            sha256: file.sha256,
            bytes: file.bytes,
        })
        .collect();
    let sweeps = if upload.finished {
        app.store.sweeps_of_upload(id).await?
    } else {
        Vec::new()
    };
    Ok(UploadDocument {
        id,
        lens: app.store.lens(upload.lens).await?.map(|lens| lens.slug),
        conditions: ConditionsInput::from(&upload.conditions),
        finished: upload.finished,
        files,
        refused,
        sweeps,
    })
}

/// What became of the files of one request.
#[derive(Serialize)]
struct ArrivedDocument {
    files: Vec<FileDocument>,
    refused: Vec<RefusedDocument>,
}

/// Takes one frame or one zip archive as the raw body. 201 for a new file, 200 for one that was there with the same
/// bytes, 409 for other bytes under the same name, 422 for one that can't be used.
pub(in crate::web) async fn put(
    State(web): State<Web>,
    account: SignedIn,
    Place((id, name)): Place<(UploadId, String)>,
    headers: HeaderMap,
    body: Body,
) -> Result<Response, WebError> {
    let upload = arrivals::own_upload(&web.app, &account, id).await?;
    let declared = headers
        .get(header::CONTENT_LENGTH)
        .and_then(|length| length.to_str().ok())
        .and_then(|length| length.parse().ok());
    let received = match arrivals::receive(&web.app, declared, body.into_data_stream()).await {
        Ok(received) => received,
        Err(error @ WebError::TooLarge(_)) => {
            // The rest of the body may still be on its way: the connection can't be used again.
            let mut response = error.into_response();
            response
                .headers_mut()
                .insert(header::CONNECTION, HeaderValue::from_static("close"));
            return Ok(response);
        }
        Err(error) => return Err(error),
    };
    let is_archive = received.is_archive();
    let shown = intake::display_path(&name).unwrap_or_default();
    let known = web.app.store.upload_file_count(id).await?;
    let arrivals = arrivals::take_in(&web, &upload, &name, received).await?;
    let added = web.app.store.upload_file_count(id).await? > known;
    if !is_archive && let Some(reason) = only_refusal(&arrivals) {
        return Err(if reason == OTHER_BYTES {
            WebError::Conflict(format!("{shown}: {reason}"))
        } else {
            WebError::UnusableFile(format!("{shown}: {reason}"))
        });
    }
    let mut document = ArrivedDocument {
        files: Vec::new(),
        refused: Vec::new(),
    };
    for arrival in arrivals {
        match arrival.outcome {
            Ok(original) => document.files.push(FileDocument {
                name: arrival.name,
                sha256: original.sha256,
                bytes: original.bytes,
            }),
            Err(reason) => document.refused.push(RefusedDocument {
                name: arrival.name,
                reason,
            }),
        }
    }
    let status = if added {
        StatusCode::CREATED
    } else {
        StatusCode::OK
    };
    Ok((status, Json(document)).into_response())
}

fn only_refusal(arrivals: &[Arrival]) -> Option<String> {
    match arrivals {
        [only] => only.outcome.as_ref().err().cloned(),
        _ => None,
    }
}

/// The sweeps that an upload became.
#[derive(Serialize)]
struct FinishedDocument {
    sweeps: Vec<SweepId>,
}

/// Sorts the frames into sweeps and queues them.
pub(in crate::web) async fn finish(
    State(web): State<Web>,
    account: SignedIn,
    Place(id): Place<UploadId>,
) -> Result<impl IntoResponse, WebError> {
    let upload = arrivals::own_upload(&web.app, &account, id).await?;
    let sweeps = arrivals::finish(&web, upload.id).await?;
    Ok(Json(FinishedDocument { sweeps }))
}
