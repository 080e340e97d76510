//! The reviewers' pages: signing in, the desk, uploading, a sweep with its frames, publishing.

mod archive;
pub(super) mod board;
pub(super) mod changes;
mod difference;
mod doubts;
mod facts;
pub(super) mod filing;
pub(super) mod frames;
pub(super) mod lens_changes;
pub(super) mod lenses;
mod overlay;
mod pictures;
pub(super) mod pointing;
pub(super) mod progress;
pub(super) mod publish_page;
pub(super) mod publish_upload;
pub(super) mod publishing;
mod repeats;
pub(super) mod sign_in;
pub(super) mod sweep;
pub(super) mod take_away;
pub(super) mod upload;
pub(super) mod upload_result;
pub(super) mod versions;
mod view;

pub(super) use pictures::Pictures;

use askama::Template;
use axum::response::Html;

use super::WebError;
use super::session::{SignedIn, Viewer};
use crate::store::{JobState, JobView, Store, Sweep, SweepId, Whose};

/// A page as an answer.
fn html(page: &impl Template) -> Result<Html<String>, WebError> {
    Ok(Html(page.render()?))
}

/// A sweep that this account may work on; for others it is not there.
pub(super) async fn own_sweep(
    store: &Store,
    account: &SignedIn,
    id: SweepId,
) -> Result<Sweep, WebError> {
    store
        .sweep(id)
        .await?
        .filter(|sweep| account.may_work_on(sweep.account))
        .ok_or_else(|| WebError::no_such("sweep"))
}

/// Passes where this account may work on a sweep; for others it is not there.
async fn check_own(store: &Store, account: &SignedIn, id: SweepId) -> Result<(), WebError> {
    let whose = store.whose_sweep(id).await?;
    whose
        .filter(|whose| account.may_work_on(whose.account))
        .map(|_| ())
        .ok_or_else(|| WebError::no_such("sweep"))
}

/// A sweep that this account may change. That a public one is there everybody can see, so its others are told whose it is;
/// drafts of others are not there.
pub(super) async fn sweep_to_change(
    store: &Store,
    account: &SignedIn,
    id: SweepId,
) -> Result<Sweep, WebError> {
    match own_sweep(store, account, id).await {
        Err(WebError::NotFound(_)) if is_public(store.whose_sweep(id).await?) => {
            Err(WebError::NotAllowed(
                "this sweep is another reviewer's: only they or an operator can change, publish or withdraw it"
                    .to_owned(),
            ))
        }
        sweep => sweep,
    }
}

fn is_public(sweep: Option<Whose>) -> bool {
    sweep.is_some_and(|whose| whose.public_version.is_some())
}

/// Whether a viewer works on a sweep, or only sees what is public of it.
///
/// # Errors
/// `NotFound` or `Gone` where this viewer may not know of it.
async fn may_see(store: &Store, viewer: &Viewer, id: SweepId) -> Result<(Whose, bool), WebError> {
    match store.whose_sweep(id).await? {
        Some(whose) if viewer.may_work_on(whose.account) => Ok((whose, true)),
        Some(whose) if whose.public_version.is_some() => Ok((whose, false)),
        _ => Err(not_public(store, id).await?),
    }
}

/// A sweep as this viewer may see it: the newest result for those who work on it, the public version for everybody else.
#[derive(Debug)]
pub(super) struct Seen {
    /// The sweep with the result that may be seen.
    pub(super) sweep: Sweep,
    /// The viewer works on it.
    pub(super) is_own: bool,
    /// Version that is public now.
    pub(super) public_version: Option<u32>,
    /// Version that was asked for and is shown.
    pub(super) shown_version: Option<u32>,
}

/// Finds a sweep for a viewer.
///
/// # Errors
/// `NotFound` where there is none, or none that this viewer may know of.
pub(super) async fn seen_sweep(
    store: &Store,
    viewer: &Viewer,
    id: SweepId,
) -> Result<Seen, WebError> {
    let (whose, is_own) = may_see(store, viewer, id).await?;
    let (sweep, public_version) = if is_own {
        (store.sweep(id).await?, whose.public_version)
    } else {
        let published = store.published_sweep(id).await?;
        published.map(|it| (it.sweep, it.version)).unzip()
    };
    match sweep {
        Some(sweep) => Ok(Seen {
            sweep,
            is_own,
            public_version,
            shown_version: None,
        }),
        None => Err(not_public(store, id).await?),
    }
}

/// Why a sweep is not shown to readers: it was withdrawn, with this reason, or there is none.
async fn not_public(store: &Store, id: SweepId) -> Result<WebError, WebError> {
    Ok(match store.withdrawal(id).await? {
        Some(withdrawal) => WebError::Gone(format!(
            "this sweep was withdrawn: {}; its lens is at /lenses/{}",
            withdrawal.reason, withdrawal.lens_slug
        )),
        None => WebError::no_such("sweep"),
    })
}

/// Where a measurement is, in words; `None` when nothing waits or runs.
fn progress_words(job: &JobView) -> Option<String> {
    match job.state {
        JobState::Waiting if job.attempts > 0 => {
            Some(format!("waiting for try {} of measuring", job.attempts + 1))
        }
        JobState::Waiting => Some("waiting to be measured".to_owned()),
        JobState::Running if job.frames_total == 0 => Some("being measured".to_owned()),
        JobState::Running => Some(format!(
            "being measured: {} of {} frames",
            job.frames_done, job.frames_total
        )),
        JobState::Done | JobState::SetAside => None,
    }
}

/// How far a measurement that waits or runs is, as pages show it.
struct Progress {
    words: String,
    frames_done: u32,
    frames_total: u32,
}

impl Progress {
    /// `None` when nothing waits or runs, and for those who don't work on the sweep.
    fn of(sweep: &Sweep, is_own: bool) -> Option<Self> {
        let job = sweep.job.as_ref().filter(|_| is_own)?;
        Some(Self {
            words: progress_words(job)?,
            frames_done: job.frames_done,
            frames_total: job.frames_total,
        })
    }
}

/// Whether a measurement waits or runs.
fn is_measuring(job: Option<&JobView>) -> bool {
    job.is_some_and(|job| matches!(job.state, JobState::Waiting | JobState::Running))
}
