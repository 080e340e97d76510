//! The page before publishing: what stands against it, what it changes, the lens page as it will be, the versions so far.

use askama::Template;
use axum::extract::State;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};

use super::difference::DifferenceView;
use super::doubts::doubts;
use super::publishing::{self, PublicationLine};
use super::view::{self, FindingView};
use super::{facts, html, sweep_to_change};
use crate::app::App;
use crate::store::{self, StoreError, Sweep, SweepId, now_ms};
use crate::sweep::{DEFAULT_TOLERANCE_PCT, NearEnd};
use crate::web::WebError;
use crate::web::api::{FocalDocument, LensDocument, conditions_words};
use crate::web::errors::FieldError;
use crate::web::inputs::Typed;
use crate::web::pages::frame::{PageFrame, PreviewOf, Section};
use crate::web::pages::{self, ChartShelf, filters};
use crate::web::place::Place;
use crate::web::session::{SignedIn, Viewer};

/// A row of the lens page that will be another.
pub(super) struct RecordLine {
    pub(super) at: String,
    pub(super) conditions: String,
    pub(super) before: String,
    pub(super) after: String,
}

/// What publishing would do.
struct Effect {
    version: u32,
    record: Vec<RecordLine>,
}

#[derive(Template)]
#[template(path = "desk/publish.html")]
struct PublishPage {
    page: PageFrame,
    id: SweepId,
    slug: String,
    lens: String,
    heading: String,
    public_version: Option<u32>,
    /// Why it can't be published.
    reasons: Vec<String>,
    /// That includes its focal length, which nobody gave.
    lacks_focal: bool,
    doubts: Vec<String>,
    findings: Vec<FindingView>,
    verdict: Option<String>,
    effect: Option<Effect>,
    /// Whether the newest result is what readers see.
    is_settled: bool,
    /// What is said of it now against what was published: term, before, after.
    said: Vec<(&'static str, String, String)>,
    difference: Option<DifferenceView>,
    publications: Vec<PublicationLine>,
    typed: Typed,
    errors: Vec<FieldError>,
}

impl PublishPage {
    /// When and why it was taken back, where it was.
    fn withdrawn(&self) -> Option<&str> {
        publishing::withdrawn(&self.publications)
    }

    fn error(&self, field: &str) -> Option<&str> {
        FieldError::told(&self.errors, field)
    }
}

/// `GET /sweeps/{id}/publish`
pub(in crate::web) async fn show(
    State(app): State<App>,
    account: SignedIn,
    Place(id): Place<SweepId>,
) -> Result<Html<String>, WebError> {
    let sweep = sweep_to_change(&app.store, &account, id).await?;
    page(&app, &account, &sweep, Typed::default(), Vec::new()).await
}

/// The page with a form as it was typed and what is wrong with it.
pub(super) async fn show_refused(
    app: &App,
    account: &SignedIn,
    id: SweepId,
    typed: Typed,
    errors: Vec<FieldError>,
) -> Result<Response, WebError> {
    let sweep = sweep_to_change(&app.store, account, id).await?;
    let page = page(app, account, &sweep, typed, errors).await?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

async fn page(
    app: &App,
    account: &SignedIn,
    sweep: &Sweep,
    typed: Typed,
    errors: Vec<FieldError>,
) -> Result<Html<String>, WebError> {
    let viewer = Viewer::of(account);
    let mut reasons = publishing::stops(sweep);
    let mut is_settled = false;
    let mut effect = None;
    if reasons.is_empty() {
        match app.store.preview(&[sweep.id], account.id, now_ms()).await {
            Ok(preview) => {
                let now = app.store.lens_page(&sweep.lens.slug).await?;
                let now = now.map_or_else(Vec::new, |page| page.results);
                effect = Some(Effect {
                    version: preview.version,
                    record: record_lines(now, preview.page.results),
                });
            }
            Err(StoreError::AlreadyPublic) => is_settled = true,
            Err(StoreError::Conflict(reason)) => reasons.push(reason),
            Err(error) => return Err(error.into()),
        }
    }
    let published = app.store.published_sweep(sweep.id).await?;
    let public = published.as_ref().map(|published| &published.sweep);
    let lens = sweep.lens.about.name();
    html(&PublishPage {
        page: PageFrame::new(
            format!("Publish sweep {} of {lens}", sweep.id),
            Section::Desk,
            &viewer,
        ),
        id: sweep.id,
        slug: sweep.lens.slug.clone(),
        heading: facts::heading(sweep),
        lens,
        public_version: published.as_ref().map(|published| published.version),
        doubts: doubts(&app.store, &viewer, sweep).await?,
        findings: view::findings(sweep),
        verdict: sweep
            .result
            .as_ref()
            .and_then(|result| facts::verdict(&result.measurement)),
        said: public.map_or_else(Vec::new, |public| said_anew(public, sweep)),
        difference: public
            .and_then(|public| public.result.as_ref())
            .zip(sweep.result.as_ref())
            .map(|(before, after)| DifferenceView::new(sweep, before, after)),
        publications: publishing::publications(sweep),
        lacks_focal: publishing::lacks_focal(sweep),
        effect,
        is_settled,
        reasons,
        typed,
        errors,
    })
}

/// `GET /sweeps/{id}/publish/preview`: the page of the lens as it will be, made by the same code.
pub(in crate::web) async fn preview_page(
    State(app): State<App>,
    State(shelf): State<ChartShelf>,
    account: SignedIn,
    Place(id): Place<SweepId>,
) -> Result<Response, WebError> {
    let sweep = sweep_to_change(&app.store, &account, id).await?;
    let stops = publishing::stops(&sweep);
    if !stops.is_empty() {
        return Err(WebError::Conflict(stops.join(" ")));
    }
    let preview_of = PreviewOf {
        address: format!("/sweeps/{id}/publish"),
        what: format!("sweep {id}"),
    };
    preview(&app, &shelf, &account, &[id], preview_of).await
}

/// The page of the lens as it will be once these of its sweeps are published.
pub(super) async fn preview(
    app: &App,
    shelf: &ChartShelf,
    account: &SignedIn,
    sweeps: &[SweepId],
    preview_of: PreviewOf,
) -> Result<Response, WebError> {
    let preview = app.store.preview(sweeps, account.id, now_ms()).await?;
    let site = app.config.public_url();
    let document = LensDocument::of(app, preview.page, DEFAULT_TOLERANCE_PCT).await?;
    let viewer = Viewer::of(account);
    let mut page = pages::lens_as_published(shelf, &site, &viewer, document, preview_of).await?;
    page.headers_mut().insert(
        header::CACHE_CONTROL,
        HeaderValue::from_static("private, no-store"),
    );
    Ok(page)
}

/// The focal lengths whose row of the lens page will be another.
pub(super) fn record_lines(
    now: Vec<store::FocalResult>,
    then: Vec<store::FocalResult>,
) -> Vec<RecordLine> {
    let documents = |results: Vec<store::FocalResult>| -> Vec<FocalDocument> {
        results
            .into_iter()
            .map(|result| FocalDocument::new(result, DEFAULT_TOLERANCE_PCT, NearEnd::default()))
            .collect()
    };
    let (now, then) = (documents(now), documents(then));
    let same =
        |a: &FocalDocument, b: &FocalDocument| a.conditions == b.conditions && a.at() == b.at();
    let nothing = || "not on the page".to_owned();
    let mut lines: Vec<RecordLine> = then
        .iter()
        .map(|focal| RecordLine {
            at: focal.at(),
            conditions: conditions_words(focal.result.conditions),
            before: now
                .iter()
                .find(|was| same(was, focal))
                .map_or_else(nothing, row_words),
            after: row_words(focal),
        })
        .collect();
    let gone = now
        .iter()
        .filter(|was| !then.iter().any(|focal| same(was, focal)));
    lines.extend(gone.map(|was| RecordLine {
        at: was.at(),
        conditions: conditions_words(was.result.conditions),
        before: row_words(was),
        after: nothing(),
    }));
    lines.retain(|line| line.before != line.after);
    lines
}

/// What the lens page says of a focal length, in short.
fn row_words(focal: &FocalDocument) -> String {
    let sweeps: Vec<String> = focal.sweeps.iter().map(ToString::to_string).collect();
    format!(
        "{}; tolerance distance: {}; from sweep {}",
        focal.worst_words(),
        focal.tolerance_words(),
        sweeps.join(" and ")
    )
}

/// What is said of the shoot that was not published so.
fn said_anew(public: &Sweep, draft: &Sweep) -> Vec<(&'static str, String, String)> {
    let before = facts::conditions(public);
    facts::conditions(draft)
        .into_iter()
        .filter_map(|(term, after)| {
            let was = before.iter().find(|(known, _)| *known == term);
            let was = was.map_or_else(|| "not stated".to_owned(), |(_, words)| words.clone());
            (was != after).then_some((term, was, after))
        })
        .collect()
}
