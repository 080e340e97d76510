//! The desk: what waits, what is being measured, what is ready, what is public.

use askama::Template;
use axum::Json;
use axum::extract::State;
use axum::response::{Html, IntoResponse};
use serde::Serialize;

use super::{html, is_measuring, progress_words};
use crate::app::App;
use crate::report::words;
use crate::store::{DeskRow, JobState, Role};
use crate::units::Measured;
use crate::web::WebError;
use crate::web::pages::frame::{PageFrame, Section};
use crate::web::session::{SignedIn, Viewer};

/// Most sweeps on the desk.
const ROWS: u32 = 500;

/// Where a sweep stands, in the order of the desk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Standing {
    Measuring,
    NeedsYou,
    Ready,
    Withdrawn,
    Public,
}

impl Standing {
    /// Places where a sweep waits for somebody or something.
    const WAITING: [Self; 4] = [
        Self::Measuring,
        Self::NeedsYou,
        Self::Ready,
        Self::Withdrawn,
    ];

    const fn title(self) -> &'static str {
        match self {
            Self::Measuring => "Being measured",
            Self::NeedsYou => "Needs you",
            Self::Ready => "Ready to publish",
            Self::Withdrawn => "Withdrawn",
            Self::Public => "Public",
        }
    }

    const fn code(self) -> &'static str {
        match self {
            Self::Measuring => "measuring",
            Self::NeedsYou => "needs_you",
            Self::Ready => "ready",
            Self::Withdrawn => "withdrawn",
            Self::Public => "public",
        }
    }

    pub(super) fn of(row: &DeskRow) -> Self {
        if is_measuring(row.job.as_ref()) {
            Self::Measuring
        } else if is_set_aside(row) || row.stopped || row.measured.is_none() || lacks_focal(row) {
            Self::NeedsYou
        } else if row.published && row.published_is_newest {
            Self::Public
        } else if row.withdrawn {
            Self::Withdrawn
        } else {
            Self::Ready
        }
    }
}

/// Whether all that stands against publishing its result is that nobody knows its focal length.
pub(super) fn lacks_focal(row: &DeskRow) -> bool {
    row.measured.is_some() && row.focal_length_mm.is_none() && !row.stopped
}

fn is_set_aside(row: &DeskRow) -> bool {
    row.job
        .as_ref()
        .is_some_and(|job| job.state == JobState::SetAside)
}

struct Line {
    id: i64,
    lens: String,
    slug: String,
    name: String,
    focal: String,
    state: String,
    state_class: &'static str,
    shift: String,
    frames_done: u32,
    frames_total: u32,
    is_running: bool,
    /// Warnings of the newest result in words; empty without.
    warnings: String,
    lacks_focal: bool,
}

impl Line {
    fn new(row: &DeskRow) -> Self {
        let standing = Standing::of(row);
        let (state, state_class) = state_words(row, standing);
        let shift = row.worst_shift_pct.map_or_else(String::new, |(value, u)| {
            words::shift(Measured::new(value, u))
        });
        let job = row.job.as_ref();
        Self {
            id: row.id,
            lens: row.lens.clone(),
            slug: row.lens_slug.clone(),
            name: row.name.clone(),
            focal: row
                .focal_length_mm
                .map_or_else(String::new, words::focal_length),
            state,
            state_class,
            shift: if row.stopped { String::new() } else { shift },
            frames_done: job.map_or(0, |job| job.frames_done),
            frames_total: job.map_or(0, |job| job.frames_total),
            is_running: job.is_some_and(|job| job.state == JobState::Running),
            warnings: warnings_words(row),
            lacks_focal: lacks_focal(row),
        }
    }
}

/// Where a row stands in words, with the class of their tag.
pub(super) fn state_words(row: &DeskRow, standing: Standing) -> (String, &'static str) {
    match standing {
        Standing::Measuring => {
            let words = row.job.as_ref().and_then(progress_words);
            (words.unwrap_or_default(), "tag")
        }
        Standing::NeedsYou if row.stopped => ("no result: see its findings".into(), "tag tag-stop"),
        Standing::NeedsYou if lacks_focal(row) && !is_set_aside(row) => {
            ("its focal length is not known".into(), "tag tag-warning")
        }
        Standing::NeedsYou => ("measuring failed: see why".into(), "tag tag-stop"),
        Standing::Ready | Standing::Withdrawn | Standing::Public => {
            let facts = [
                frames_words(row),
                warnings_words(row),
                if row.published && !row.published_is_newest {
                    "changed since it was published".to_owned()
                } else {
                    String::new()
                },
            ];
            let facts: Vec<String> = facts.into_iter().filter(|fact| !fact.is_empty()).collect();
            let class = if row.warnings > 0 {
                "tag tag-warning"
            } else {
                "tag tag-good"
            };
            (facts.join(", "), class)
        }
    }
}

/// Warnings of the newest result in words; empty without.
pub(super) fn warnings_words(row: &DeskRow) -> String {
    match row.warnings {
        0 => String::new(),
        some => words::count(usize::try_from(some).unwrap_or(usize::MAX), "warning"),
    }
}

fn frames_words(row: &DeskRow) -> String {
    row.measured.map_or_else(String::new, |measured| {
        format!("{measured} of {} frames measured", row.frames)
    })
}

struct Group {
    title: &'static str,
    lines: Vec<Line>,
}

/// The public sweeps of a lens, newest first.
struct Shelf {
    lens: String,
    slug: String,
    lines: Vec<Line>,
}

impl Shelf {
    /// Whether another sweep here has the same focal length.
    fn repeats(&self, line: &Line) -> bool {
        self.lines
            .iter()
            .any(|other| other.id != line.id && other.focal == line.focal)
    }
}

fn shelves(rows: &[DeskRow]) -> Vec<Shelf> {
    let mut shelves: Vec<Shelf> = Vec::new();
    for row in rows
        .iter()
        .filter(|row| Standing::of(row) == Standing::Public)
    {
        let line = Line::new(row);
        match shelves.iter_mut().find(|shelf| shelf.slug == line.slug) {
            Some(shelf) => shelf.lines.push(line),
            None => shelves.push(Shelf {
                lens: line.lens.clone(),
                slug: line.slug.clone(),
                lines: vec![line],
            }),
        }
    }
    shelves
}

struct OpenUpload {
    id: i64,
    lens: String,
    opened: String,
    files: String,
}

#[derive(Template)]
#[template(path = "desk/board.html")]
struct DeskPage {
    page: PageFrame,
    uploads: Vec<OpenUpload>,
    groups: Vec<Group>,
    shelves: Vec<Shelf>,
    is_operator: bool,
    signature: String,
}

/// `GET /desk`
pub(in crate::web) async fn show(
    State(app): State<App>,
    account: SignedIn,
) -> Result<Html<String>, WebError> {
    let rows = sweeps(&app, &account).await?;
    let groups = Standing::WAITING
        .into_iter()
        .map(|standing| Group {
            title: standing.title(),
            lines: rows
                .iter()
                .filter(|row| Standing::of(row) == standing)
                .map(Line::new)
                .collect(),
        })
        .filter(|group| !group.lines.is_empty())
        .collect();
    let mut uploads = Vec::new();
    for upload in app.store.open_uploads(account.id).await? {
        let files = app.store.upload_file_count(upload.id).await?;
        let lens = app.store.lens(upload.lens).await?;
        uploads.push(OpenUpload {
            id: upload.id,
            lens: lens.map_or_else(String::new, |lens| lens.about.name()),
            opened: words::moment(upload.created_ms),
            files: words::count(usize::try_from(files).unwrap_or(usize::MAX), "file"),
        });
    }
    html(&DeskPage {
        page: PageFrame::new("Desk", Section::Desk, &Viewer::of(&account)),
        uploads,
        groups,
        shelves: shelves(&rows),
        is_operator: account.role == Role::Operator,
        signature: signature(&rows),
    })
}

async fn sweeps(app: &App, account: &SignedIn) -> Result<Vec<DeskRow>, WebError> {
    Ok(app.store.desk(account.confined_to(), ROWS).await?)
}

/// Changes when a sweep moves from one group to another, so that the script knows when to fetch the page again.
fn signature(rows: &[DeskRow]) -> String {
    rows.iter()
        .map(|row| format!("{}{}", row.id, Standing::of(row).code()))
        .collect::<Vec<_>>()
        .join(" ")
}

#[derive(Serialize)]
struct DeskDocument {
    signature: String,
    measuring: bool,
    sweeps: Vec<DeskEntry>,
}

#[derive(Serialize)]
struct DeskEntry {
    id: i64,
    place: &'static str,
    state: String,
    frames_done: u32,
    frames_total: u32,
}

/// `GET /desk.json`
pub(in crate::web) async fn document(
    State(app): State<App>,
    account: SignedIn,
) -> Result<impl IntoResponse, WebError> {
    let rows = sweeps(&app, &account).await?;
    Ok(Json(DeskDocument {
        signature: signature(&rows),
        measuring: rows.iter().any(|row| is_measuring(row.job.as_ref())),
        sweeps: rows
            .iter()
            .map(|row| {
                let line = Line::new(row);
                DeskEntry {
                    id: row.id,
                    place: Standing::of(row).code(),
                    state: line.state,
                    frames_done: line.frames_done,
                    frames_total: line.frames_total,
                }
            })
            .collect(),
    }))
}
