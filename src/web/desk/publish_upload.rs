//! Publishing what came with one upload together: a zoom is shot in one evening and read as one lens.

use std::collections::BTreeSet;

use askama::Template;
use axum::Form;
use axum::extract::{Extension, Query, State};
use axum::response::{Html, IntoResponse, Redirect, Response};

use super::doubts::doubts;
use super::publish_page::{self, RecordLine, record_lines};
use super::publishing::{actor, check_scope, lacks_focal, stops};
use super::{facts, html};
use crate::app::App;
use crate::report::words;
use crate::store::{StoreError, Sweep, SweepId, UploadId, now_ms};
use crate::web::WebError;
use crate::web::arrivals;
use crate::web::observe::RequestId;
use crate::web::pages::frame::{PageFrame, PreviewOf, Section};
use crate::web::pages::{ChartShelf, filters};
use crate::web::place::Place;
use crate::web::session::{SignedIn, Viewer};

/// A sweep that can be published.
struct ReadyLine {
    id: SweepId,
    focal: String,
    verdict: String,
    warnings: Vec<String>,
    doubts: Vec<String>,
}

/// A sweep that can't.
struct OtherLine {
    id: SweepId,
    focal: String,
    reasons: Vec<String>,
    lacks_focal: bool,
}

#[derive(Template)]
#[template(path = "desk/publish_upload.html")]
struct PublishUploadPage {
    page: PageFrame,
    id: UploadId,
    lens: String,
    slug: String,
    ready: Vec<ReadyLine>,
    others: Vec<OtherLine>,
    record: Vec<RecordLine>,
}

/// Fields of a form or query, where `sweep` may come several times.
type Chosen = Vec<(String, String)>;

/// The sweeps of an upload: those that can be published, and the others with what stands against it.
struct Sorted {
    ready: Vec<Sweep>,
    others: Vec<(Sweep, Vec<String>)>,
}

async fn sorted(app: &App, account: &SignedIn, id: UploadId) -> Result<Sorted, WebError> {
    arrivals::own_upload(app, account, id).await?;
    let mut sorted = Sorted {
        ready: Vec::new(),
        others: Vec::new(),
    };
    for sweep in app.store.sweeps_of_upload(id).await? {
        let Some(sweep) = app.store.sweep(sweep).await? else {
            continue;
        };
        let mut reasons = stops(&sweep);
        if reasons.is_empty() {
            match app.store.preview(&[sweep.id], account.id, now_ms()).await {
                Ok(_) => {}
                Err(StoreError::AlreadyPublic) => {
                    reasons.push("Its newest result is public.".into())
                }
                Err(StoreError::Conflict(reason)) => reasons.push(reason),
                Err(error) => return Err(error.into()),
            }
        }
        if reasons.is_empty() {
            sorted.ready.push(sweep);
        } else {
            sorted.others.push((sweep, reasons));
        }
    }
    Ok(sorted)
}

/// The sweeps that were chosen among those of the upload. Whether they can be published is judged where they are.
///
/// # Errors
/// `Conflict` where none was chosen, and for a sweep that did not come with this upload.
async fn chosen(
    app: &App,
    account: &SignedIn,
    id: UploadId,
    fields: &Chosen,
) -> Result<Vec<SweepId>, WebError> {
    arrivals::own_upload(app, account, id).await?;
    let named: BTreeSet<&str> = fields
        .iter()
        .filter(|(name, _)| name == "sweep")
        .map(|(_, value)| value.as_str())
        .collect();
    if named.is_empty() {
        return Err(WebError::Conflict(
            "no sweep was chosen; go back and tick one".into(),
        ));
    }
    let mut ids = app.store.sweeps_of_upload(id).await?;
    ids.retain(|id| named.contains(id.to_string().as_str()));
    if ids.len() < named.len() {
        return Err(WebError::Conflict(
            "a sweep that was chosen can't be published now; load the page again to see why".into(),
        ));
    }
    Ok(ids)
}

/// `GET /desk/uploads/{id}/publish`
pub(in crate::web) async fn show(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<UploadId>,
) -> Result<Html<String>, WebError> {
    let sorted = sorted(&app, &account, id).await?;
    let viewer = Viewer::of(&account);
    let any = sorted
        .ready
        .first()
        .or_else(|| sorted.others.first().map(|(sweep, _)| sweep));
    let Some(lens) = any.map(|sweep| sweep.lens.clone()) else {
        return Err(WebError::Conflict(
            "no sweep came with this upload yet; finish it first".into(),
        ));
    };
    let ids: Vec<SweepId> = sorted.ready.iter().map(|sweep| sweep.id).collect();
    let mut record = Vec::new();
    if !ids.is_empty() {
        let then = app.store.preview(&ids, account.id, now_ms()).await?;
        let now = app.store.lens_page(&lens.slug).await?;
        let now = now.map_or_else(Vec::new, |page| page.results);
        record = record_lines(now, then.page.results);
    }
    let mut ready = Vec::new();
    for sweep in &sorted.ready {
        ready.push(ready_line(&app, &viewer, sweep).await?);
    }
    let others = sorted.others.into_iter().map(|(sweep, reasons)| OtherLine {
        id: sweep.id,
        focal: focal(&sweep),
        lacks_focal: lacks_focal(&sweep),
        reasons,
    });
    html(&PublishUploadPage {
        page: PageFrame::new(format!("Publish upload {id}"), Section::Desk, &viewer),
        id,
        lens: lens.about.name(),
        slug: lens.slug,
        ready,
        others: others.collect(),
        record,
    })
}

async fn ready_line(app: &App, viewer: &Viewer, sweep: &Sweep) -> Result<ReadyLine, WebError> {
    let measurement = sweep.result.as_ref().map(|result| &result.measurement);
    let warnings = measurement.map_or_else(Vec::new, |measurement| {
        measurement
            .findings
            .iter()
            .map(|finding| finding.code.title().to_owned())
            .collect()
    });
    Ok(ReadyLine {
        id: sweep.id,
        focal: focal(sweep),
        verdict: measurement.and_then(facts::verdict).unwrap_or_default(),
        warnings,
        doubts: doubts(&app.store, viewer, sweep).await?,
    })
}

/// Its focal length in words; empty where nobody knows it.
fn focal(sweep: &Sweep) -> String {
    let measured = sweep
        .result
        .as_ref()
        .and_then(|result| result.measurement.focal_length);
    let known = measured.or(sweep.settings.focal_length);
    known.map_or_else(String::new, |focal| words::focal_length(focal.mm()))
}

/// `GET /desk/uploads/{id}/publish/preview`: the page of the lens as it will be with the chosen sweeps.
pub(in crate::web) async fn preview(
    State(app): State<App>,
    State(shelf): State<ChartShelf>,
    account: SignedIn,
    Place(id): Place<UploadId>,
    Query(fields): Query<Chosen>,
) -> Result<Response, WebError> {
    let ids = chosen(&app, &account, id, &fields).await?;
    let preview_of = PreviewOf {
        address: format!("/desk/uploads/{id}/publish"),
        what: words::count(ids.len(), "sweep"),
    };
    publish_page::preview(&app, &shelf, &account, &ids, preview_of).await
}

/// `POST /desk/uploads/{id}/publish`: all of the chosen sweeps, or none.
pub(in crate::web) async fn publish(
    State(app): State<App>,
    account: SignedIn,
    Extension(request): Extension<RequestId>,
    Place(id): Place<UploadId>,
    Form(fields): Form<Chosen>,
) -> Result<Response, WebError> {
    let ids = chosen(&app, &account, id, &fields).await?;
    check_scope(&account)?;
    app.store
        .publish_together(&ids, actor(&account, &request), now_ms())
        .await?;
    Ok(Redirect::to(&format!("/desk/uploads/{id}")).into_response())
}
