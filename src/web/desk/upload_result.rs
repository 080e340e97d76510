//! The page of an upload: what arrived, what did not and why, and the sweeps it became.

use askama::Template;
use axum::extract::State;
use axum::response::{Html, Redirect};

use super::board::{Standing, lacks_focal, state_words, warnings_words};
use super::{html, is_measuring};
use crate::app::{App, UNNAMED_SWEEP};
use crate::report::words;
use crate::store::{DeskRow, LensId, UploadId};
use crate::units::Measured;
use crate::web::arrivals;
use crate::web::pages::frame::{PageFrame, Section};
use crate::web::place::Place;
use crate::web::session::{SignedIn, Viewer};
use crate::web::{Web, WebError};

struct Refused {
    name: String,
    reason: String,
}

struct SweepLine {
    id: i64,
    /// Where it has one of its own.
    name: Option<String>,
    /// Name of its lens, where that is not the one of the upload.
    lens: String,
    /// Focal length, where its name does not say it.
    focal: String,
    frames: String,
    shift: String,
    warnings: String,
    state: String,
    lacks_focal: bool,
}

#[derive(Template)]
#[template(path = "desk/upload_result.html")]
struct UploadResultPage {
    page: PageFrame,
    id: UploadId,
    lens: String,
    is_finished: bool,
    is_measuring: bool,
    /// A sweep has a result that can be made public and is not.
    has_ready: bool,
    accepted: Vec<String>,
    refused: Vec<Refused>,
    sweeps: Vec<SweepLine>,
}

/// `GET /desk/uploads/{id}`
pub(in crate::web) async fn show(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<UploadId>,
) -> Result<Html<String>, WebError> {
    let upload = arrivals::own_upload(&app, &account, id).await?;
    let lens = app
        .store
        .lens(upload.lens)
        .await?
        .map_or_else(String::new, |lens| {
            format!("{} {}", lens.about.maker, lens.about.model)
        });
    let refused: Vec<Refused> = app
        .store
        .refusals(id)
        .await?
        .into_iter()
        .map(|(name, reason)| Refused { name, reason })
        .collect();
    let mut accepted: Vec<String> = app
        .store
        .upload_files(id)
        .await?
        .into_iter()
        .map(|file| file.name)
        .collect();
    accepted.retain(|name| !refused.iter().any(|refused| refused.name == *name));
    let rows = app.store.desk_of_upload(id).await?;
    let is_ready =
        |row: &DeskRow| matches!(Standing::of(row), Standing::Ready | Standing::Withdrawn);
    html(&UploadResultPage {
        page: PageFrame::new("What arrived", Section::Desk, &Viewer::of(&account)),
        id,
        lens,
        is_finished: upload.finished,
        is_measuring: rows.iter().any(|row| is_measuring(row.job.as_ref())),
        has_ready: rows.iter().any(is_ready),
        accepted,
        refused,
        sweeps: rows.iter().map(|row| line(row, upload.lens)).collect(),
    })
}

fn line(row: &DeskRow, lens: LensId) -> SweepLine {
    let state = match Standing::of(row) {
        Standing::Ready | Standing::Withdrawn => "measured".to_owned(),
        Standing::Public => "public".to_owned(),
        standing @ (Standing::Measuring | Standing::NeedsYou) => state_words(row, standing).0,
    };
    let shift = row.worst_shift_pct.filter(|_| !row.stopped);
    let focal = row.focal_length_mm.map(words::focal_length);
    let focal = focal.unwrap_or_default();
    SweepLine {
        id: row.id,
        name: Some(row.name.clone()).filter(|name| name != UNNAMED_SWEEP),
        lens: if row.lens_id == lens {
            String::new()
        } else {
            row.lens.clone()
        },
        focal: if row.name.ends_with(&focal) {
            String::new()
        } else {
            focal
        },
        frames: words::count(usize::try_from(row.frames).unwrap_or(usize::MAX), "frame"),
        shift: shift.map_or_else(String::new, |(pct, u)| words::shift(Measured::new(pct, u))),
        warnings: warnings_words(row),
        state,
        lacks_focal: lacks_focal(row),
    }
}

/// `POST /desk/uploads/{id}/finish`
pub(in crate::web) async fn finish(
    State(web): State<Web>,
    account: SignedIn,
    Place(id): Place<UploadId>,
) -> Result<Redirect, WebError> {
    let upload = arrivals::own_upload(&web.app, &account, id).await?;
    arrivals::finish(&web, upload.id).await?;
    Ok(Redirect::to(&format!("/desk/uploads/{id}")))
}

/// `POST /desk/uploads/{id}/discard`: an upload that nothing usable arrived in goes away.
pub(in crate::web) async fn discard(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<UploadId>,
) -> Result<Redirect, WebError> {
    arrivals::own_upload(&app, &account, id).await?;
    app.store.discard_upload(id).await?;
    Ok(Redirect::to("/desk"))
}
