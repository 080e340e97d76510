//! The page of an upload: what arrived, what did not and why, and the sweeps it became.

use askama::Template;
use axum::extract::State;
use axum::response::{Html, Redirect};

use super::publishing::stops;
use super::{html, is_measuring, progress_words};
use crate::app::App;
use crate::report::words;
use crate::store::{LensId, Sweep, UploadId};
use crate::sweep::{Finding, Severity};
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
    name: String,
    /// Name of its lens, where that is not the one of the upload.
    lens: String,
    focal: String,
    frames: String,
    shift: String,
    warnings: String,
    state: String,
}

#[derive(Template)]
#[template(path = "desk/upload_result.html")]
struct UploadResultPage {
    page: PageFrame,
    id: UploadId,
    lens: String,
    is_finished: bool,
    is_measuring: bool,
    /// A sweep has a result that is not public.
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
    let mut sweeps = Vec::new();
    let mut measuring = false;
    let mut has_ready = false;
    if upload.finished {
        for sweep in app.store.sweeps_of_upload(id).await? {
            if let Some(sweep) = app.store.sweep(sweep).await? {
                measuring |= is_measuring(sweep.job.as_ref());
                has_ready |= stops(&sweep).is_empty() && !is_public(&sweep);
                sweeps.push(line(&sweep, upload.lens));
            }
        }
    }
    html(&UploadResultPage {
        page: PageFrame::new("What arrived", Section::Desk, &Viewer::of(&account)),
        id,
        lens,
        is_finished: upload.finished,
        is_measuring: measuring,
        has_ready,
        accepted,
        refused,
        sweeps,
    })
}

fn line(sweep: &Sweep, lens: LensId) -> SweepLine {
    let focal = sweep
        .result
        .as_ref()
        .and_then(|result| result.measurement.focal_length)
        .or(sweep.settings.focal_length);
    let state = match sweep.job.as_ref().and_then(progress_words) {
        Some(words) => words,
        None => match &sweep.result {
            Some(result) if result.measurement.is_stopped() => "no result: see its findings".into(),
            Some(_) if is_public(sweep) => "public".into(),
            Some(_) => "measured".into(),
            None => "measuring failed: see why".into(),
        },
    };
    let measurement = sweep.result.as_ref().map(|result| &result.measurement);
    let shift = measurement
        .filter(|measurement| !measurement.is_stopped())
        .and_then(|measurement| measurement.summary.as_ref())
        .map_or_else(String::new, |summary| words::shift(summary.worst_shift_pct));
    let warnings = measurement.map_or(0, |measurement| {
        let is_warning = |finding: &&Finding| finding.severity == Severity::Warning;
        measurement.findings.iter().filter(is_warning).count()
    });
    SweepLine {
        id: sweep.id,
        name: sweep.name.clone(),
        lens: if sweep.lens.id == lens {
            String::new()
        } else {
            sweep.lens.about.name()
        },
        focal: focal.map_or_else(String::new, |focal| words::focal_length(focal.mm())),
        frames: words::count(sweep.files.len(), "frame"),
        shift,
        warnings: if warnings > 0 {
            words::count(warnings, "warning")
        } else {
            String::new()
        },
        state,
    }
}

/// Whether readers see a version of it.
fn is_public(sweep: &Sweep) -> bool {
    sweep
        .publications
        .first()
        .is_some_and(|newest| newest.withdrawn.is_none())
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
